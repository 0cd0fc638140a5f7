"""Large layers split into a survey for each water."""

from io import BytesIO
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from numpy.testing import assert_allclose

from toolbox.batch.batch_file import BatchFile, load_batch_file
from toolbox.batch.inputs import Split, read_split, split_digest, split_inputs
from toolbox.batch.splitting import owners
from toolbox.errors import InputFileError, SettingsError
from toolbox.formats.soundings_file import read_soundings
from toolbox.layers.crs import project
from toolbox.survey.settings import load_settings

METRES = "EPSG:32633"
ISLAND = shapely.box(500_040, 5_300_040, 500_060, 5_300_060)
LAKES = {
    "West": shapely.Polygon(
        shapely.box(500_000, 5_300_000, 500_100, 5_300_100).exterior, [ISLAND.exterior]
    ),
    "East": shapely.box(500_100, 5_300_000, 500_200, 5_300_100),
    "Empty": shapely.box(500_300, 5_300_000, 500_400, 5_300_100),
}
ROWS = np.array(
    [
        [500_010, 5_300_010, 1.5],
        [500_090, 5_300_090, 2.5],
        [500_050, 5_300_050, 9.0],  # on the island
        [500_100, 5_300_050, 3.5],  # on the border of two
        [500_150, 5_300_050, 4.5],
        [500_250, 5_300_050, 9.0],  # between waters
    ]
)


def _written(folder: Path, lakes_crs: str = METRES, **more: Any) -> BatchFile:
    frame = geopandas.GeoDataFrame(
        {"name": list(LAKES), "code": [1.0, 2.0, 3.0]}, geometry=list(LAKES.values()), crs=METRES
    )
    frame.to_crs(lakes_crs).to_file(folder / "lakes.gpkg", layer="lakes")
    np.savetxt(
        folder / "soundings.csv", ROWS, "%.2f", ",", header="easting,northing,depth", comments=""
    )
    given = {
        "waters": {"file": "lakes.gpkg"},
        "soundings": [{"file": "soundings.csv", "crs": METRES, "source": "track", "draft": 0.5}],
    }
    return load_batch_file(given | more, folder / "batch.toml")


def _split(wanted: BatchFile, folder: Path) -> Split:
    place = folder / "inputs"
    place.mkdir()
    return split_inputs(wanted, place, folder / "nowhere")


def test_each_sounding_goes_to_one_water_and_none_is_lost(tmp_path: Path) -> None:
    split = _split(_written(tmp_path), tmp_path)
    assert split.folders == ("West", "East", "Empty")
    assert split.soundings == (3, 1, 0)
    assert split.outside == {"in no water": 2}
    assert sum(split.soundings) + sum(split.outside.values()) == len(ROWS)
    assert read_split((tmp_path / "inputs" / "split.json").read_bytes()) == split
    assert not (tmp_path / "inputs" / "Empty").exists()
    outside = geopandas.read_file(tmp_path / "inputs" / "outside.gpkg")
    assert outside["row"].tolist() == [3, 6]
    assert outside["depth"].tolist() == [9.0, 9.0]
    assert outside["why"].unique().tolist() == ["in no water"]
    assert_allclose(
        shapely.get_coordinates(outside.to_crs(METRES).geometry), ROWS[[2, 5], :2], atol=1e-6
    )


def test_each_water_gets_a_survey_that_runs_alone(tmp_path: Path) -> None:
    _split(_written(tmp_path, make={"cell": 2}, datum={"elevation": 100.0}), tmp_path)
    settings = load_settings(tmp_path / "inputs" / "West" / "survey.toml")
    assert settings.water.name == "West"
    assert (settings.make.cell, settings.datum.elevation) == (2.0, 100.0)
    (source,) = settings.soundings
    assert (source.source, source.draft, source.crs) == ("track", 0.5, None)
    read = read_soundings(source.file)
    assert read.depth.tolist() == [1.5, 2.5, 3.5]
    assert_allclose(read.coordinates, ROWS[[0, 1, 3], :2], rtol=0, atol=0)
    shape = geopandas.read_file(settings.water.shoreline).geometry[0]
    assert shape.equals(LAKES["West"])


def _many(folder: Path, suffix: str, crs: str, count: int = 200) -> Path:
    """Write soundings in all waters, between them, without a place, and with all else."""
    rng = np.random.default_rng(20_261_126)
    place = rng.uniform((499_990, 5_299_990), (500_260, 5_300_110), (count, 2))
    late, fish = np.arange(count) > count - 9, rng.uniform(0, 1, count) < 0.1
    frame = geopandas.GeoDataFrame(
        {
            "depth": rng.uniform(0, 9, count).round(2),
            "line": pd.Series(np.arange(count) // 50, dtype="Int64").mask(late),
            "flag": fish,
            "reason": np.where(fish, "a fish", ""),
            "time": pd.to_datetime(pd.Series(["2026-05-12T11:00:00Z"] * count)).mask(~late),
            "sd": pd.Series(rng.uniform(0, 1, count)).mask(late),
        },
        geometry=shapely.points(place),
        crs=METRES,
    ).to_crs(crs)
    frame.loc[rng.choice(count, 5, replace=False), "geometry"] = None
    path = folder / f"many.{suffix}"
    frame.to_parquet(path) if suffix == "parquet" else frame.to_file(path)
    return path


def _at_once(sources: list[Path]) -> tuple[dict[str, list[bytes]], geopandas.GeoDataFrame]:
    """Read each file at once, and return the files of each water and what lies in none."""
    files: dict[str, list[bytes]] = {name: [] for name in LAKES}
    outside = []
    for path in sources:
        whole = read_soundings(path)
        assert whole.crs is not None
        owner = owners(project(whole.coordinates, whole.crs, METRES), np.array([*LAKES.values()]))
        for number, name in enumerate(LAKES):
            buffer = BytesIO()
            whole.frame[owner == number].to_parquet(buffer, index=False)
            files[name] += [buffer.getvalue()] if (owner == number).any() else []
        rows = np.flatnonzero(owner < 0)
        part = whole.frame.iloc[rows][["depth", "geometry"]].to_crs(4326)
        why = np.where(np.isfinite(whole.coordinates[rows, 0]), "in no water", "no place")
        outside.append(part.assign(file=path.name, row=rows + 1, why=why))
    return files, pd.concat(outside, ignore_index=True)


@pytest.mark.parametrize("rows", [37, 100_000])
@pytest.mark.parametrize("crs", [METRES, "EPSG:4326"])
def test_portions_make_the_files_that_reading_at_once_makes(
    crs: str, rows: int, tmp_path: Path
) -> None:
    sources = [_many(tmp_path, "parquet", crs), _many(tmp_path, "gpkg", crs)]
    wanted = _written(tmp_path, soundings=[{"file": path.name} for path in sources])
    place = tmp_path / "inputs"
    place.mkdir()
    split = split_inputs(wanted, place, tmp_path / "nowhere", rows=rows)
    files, outside = _at_once(sources)
    for name, count in zip(split.folders, split.soundings, strict=True):
        made = sorted((place / name).glob("*.parquet"))
        assert [path.read_bytes() for path in made] == files[name]  # bit for bit
        assert bool(made) == bool(count)
    kept = geopandas.read_file(place / "outside.gpkg")
    assert_geodataframe_equal(
        kept[list(outside.columns)], outside, check_dtype=False, check_less_precise=False
    )
    assert split.outside == outside["why"].value_counts().to_dict()
    assert split.outside["no place"] == 10
    assert sum(split.soundings) + sum(split.outside.values()) == 400
    names = {path.name for path in place.iterdir()}
    assert names == {"West", "East", "waters.parquet", "outside.gpkg", "split.json"}


def test_layers_in_different_crs(tmp_path: Path) -> None:
    # in degrees the border of the two is where it was, to a fraction of a micrometre
    split = _split(_written(tmp_path, "EPSG:4326"), tmp_path)
    assert split.soundings[2] == 0
    assert sum(split.soundings) == 4
    assert split.soundings in {(3, 1, 0), (2, 2, 0)}


def test_elevations_become_depths_once(tmp_path: Path) -> None:
    source = {"file": "soundings.csv", "crs": METRES, "elevation": "depth", "unit": "ft"}
    wanted = _written(tmp_path, soundings=[source], datum={"elevation": 10.0})
    _split(wanted, tmp_path)
    (read,) = load_settings(tmp_path / "inputs" / "East" / "survey.toml").soundings
    # derived: an elevation of 4.5 ft is 10 m - 4.5 * 0.3048 m deep
    assert read_soundings(read.file).depth == pytest.approx([10 - 4.5 * 0.3048])


def test_what_a_split_is_made_from_is_known_again(tmp_path: Path) -> None:
    wanted = _written(tmp_path)
    before = split_digest(wanted)
    assert split_digest(_written(tmp_path, make={"cell": 2})) != before
    (tmp_path / "soundings.csv").write_text("easting,northing,depth\n1,2,3\n", encoding="utf-8")
    assert split_digest(wanted) != before
    assert read_split(b"{}") is None
    assert read_split(None) is None


def test_folders_are_named_by_an_id(tmp_path: Path) -> None:
    split = _split(_written(tmp_path, waters={"file": "lakes.gpkg", "id": "code"}), tmp_path)
    assert split.folders == ("1", "2", "3")
    assert split.names == ("West", "East", "Empty")


@pytest.mark.parametrize(
    ("waters", "message"),
    [
        ({"name": "title"}, "lakes.gpkg has no column 'title', only name, code"),
        ({"layer": "ponds"}, "has no layer 'ponds', only lakes"),
    ],
)
def test_columns_and_layers_that_are_not_there(
    waters: dict[str, str], message: str, tmp_path: Path
) -> None:
    with pytest.raises((SettingsError, InputFileError), match=message):
        _split(_written(tmp_path, waters={"file": "lakes.gpkg", **waters}), tmp_path)


def test_waters_of_one_name_need_an_id(tmp_path: Path) -> None:
    wanted = _written(tmp_path)
    frame = geopandas.read_file(tmp_path / "lakes.gpkg").assign(name="Mud Lake")
    frame.to_file(tmp_path / "lakes.gpkg", layer="lakes")
    message = r"row 2 \('Mud Lake'\) and lakes.gpkg, row 1 .*name a column that tells .* with id"
    with pytest.raises(SettingsError, match=message):
        _split(wanted, tmp_path)


def test_lines_are_no_waters(tmp_path: Path) -> None:
    wanted = _written(tmp_path)
    frame = geopandas.read_file(tmp_path / "lakes.gpkg")
    frame.set_geometry(frame.boundary).to_file(tmp_path / "lakes.gpkg", layer="lakes")
    with pytest.raises(InputFileError, match=r"must hold polygons, got .*LineString"):
        _split(wanted, tmp_path)


def test_a_shoreline_that_finds_no_room_on_the_disk_is_told(tmp_path: Path) -> None:
    """GDAL itself calls it written: the file is there, and ends early."""
    resource = pytest.importorskip("resource", reason="no limit can be set on the size of files")
    wanted = _written(tmp_path)
    lake = shapely.Point(500_050, 5_300_050).buffer(40, quad_segs=4000)  # 256 kB
    frame = geopandas.GeoDataFrame({"name": ["Round"]}, geometry=[lake], crs=METRES)
    frame.to_file(tmp_path / "lakes.gpkg", layer="lakes")
    (tmp_path / "soundings.csv").write_text("easting,northing,depth\n500050,5300050,3\n")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))
    try:
        with pytest.raises(OSError, match=r"^\[Errno 27\] File too large$"):
            _split(wanted, tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert (tmp_path / "inputs" / "Round" / "shoreline.fgb").is_file()
