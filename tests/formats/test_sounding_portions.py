"""Soundings read some rows at a time are those that are read at once."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import laspy
import numpy as np
import pandas as pd
import pytest
import shapely
from pandas.testing import assert_frame_equal

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.sounding_portions import sounding_portions
from toolbox.formats.soundings_file import read_soundings

COUNT, METRES = 60, "EPSG:32633"


def _layer(count: int = COUNT, crs: str = METRES) -> geopandas.GeoDataFrame:
    """Return points whose columns look otherwise at the end than at the beginning."""
    rng = np.random.default_rng(20261126)
    place = rng.uniform((500_000, 5_300_000), (501_000, 5_301_000), (count, 2))
    late = np.arange(count) >= count - 5
    hours = [f"2026-05-12T{k % 24:02d}:00:00{'+02:00' if k % 2 else 'Z'}" for k in range(count)]
    frame = geopandas.GeoDataFrame(
        {
            "depth_ft": rng.uniform(1, 30, count).round(2),
            "line": pd.Series(np.arange(count) // 7, dtype="Int64").mask(late),
            "flag": np.arange(count) % 9 == 4,
            "reason": np.where(np.arange(count) % 9 == 4, "echo of a fish, då", ""),
            "time": pd.to_datetime(pd.Series(hours), utc=True, format="ISO8601").mask(~late),
            "sd": pd.Series(rng.uniform(0, 1, count)).mask(late),
            "temperature": np.arange(count),
            "remark": [f"no {k}" for k in range(count)],
        },
        geometry=shapely.points(place),
        crs=METRES,
    )
    return frame.to_crs(crs)


def _parquet(frame: geopandas.GeoDataFrame, folder: Path) -> Path:
    frame.loc[3, "geometry"] = None
    frame.to_parquet(folder / "s.parquet", row_group_size=17)
    return folder / "s.parquet"


def _vector(suffix: str, **options: Any) -> Callable[[geopandas.GeoDataFrame, Path], Path]:
    def write(frame: geopandas.GeoDataFrame, folder: Path) -> Path:
        path = folder / f"s.{suffix}"
        frame.to_file(path, **options)
        return path

    return write


def _text(frame: geopandas.GeoDataFrame, folder: Path) -> Path:
    table = pd.DataFrame(frame.drop(columns="geometry"))
    east, north = shapely.get_coordinates(frame.geometry).round(7).T
    names = ("longitude", "latitude") if frame.crs.is_geographic else ("easting", "northing")
    table.insert(0, names[0], east)
    table.insert(1, names[1], north)
    table["line"] = [f"{k:03d}" if k < 50 else "end" for k in range(len(table))]
    table["depth_ft"] = table["depth_ft"].astype(str).where(table.index != 40, "n/a")
    table["flag"] = np.where(table["flag"], "TRUE", "no")
    table.loc[:20, "flag"] = "TRUE"  # read as truths by themselves, as texts with the others
    table.to_csv(folder / "s.csv", index=False)
    return folder / "s.csv"


def _numbered(frame: geopandas.GeoDataFrame, folder: Path) -> Path:
    """Write a text with a decimal comma, no header, and lines that are whole numbers at first."""
    east, north = shapely.get_coordinates(frame.geometry).round(2).T
    lines = [f"{e:.2f};{n:.2f};{k}" for k, (e, n) in enumerate(zip(east, north, strict=True), 1)]
    lines[-1] += ",5"
    (folder / "s.txt").write_text("\n".join(lines).replace(".", ","), encoding="utf-8")
    return folder / "s.txt"


WRITERS = {
    "parquet": _parquet,
    "gpkg": _vector("gpkg"),
    "fgb": _vector("fgb", SPATIAL_INDEX="NO"),
    "geojson": _vector("geojson"),
    "shp": _vector("shp"),
    "shp in another encoding": _vector("shp", encoding="ISO-8859-1"),
    "text": _text,
}


@pytest.mark.filterwarnings("ignore:Column names longer:UserWarning")
@pytest.mark.filterwarnings("ignore:.*field.*:RuntimeWarning")
@pytest.mark.filterwarnings("ignore:Normalized/laundered:RuntimeWarning")
@pytest.mark.parametrize("rows", [7, 1000])
@pytest.mark.parametrize("crs", [METRES, "EPSG:4326"])
@pytest.mark.parametrize("form", WRITERS)
def test_portions_are_the_whole(form: str, crs: str, rows: int, tmp_path: Path) -> None:
    path = WRITERS[form](_layer(crs=crs), tmp_path)
    given = {"crs": crs} if path.suffix == ".csv" and crs == METRES else {}
    whole = read_soundings(path, **given)
    parts = list(sounding_portions(path, rows=rows, **given))
    assert (len(parts) > 5) == (rows == 7)
    assert all(part.crs == whole.crs for part in parts)
    together = pd.concat([part.frame.reset_index(drop=True) for part in parts], ignore_index=True)
    assert whole.flag.any()
    times = whole.frame["time"].dtype  # known in the end only: the first have none
    assert_frame_equal(together.astype({"time": times}), whole.frame, check_exact=True)


@pytest.mark.parametrize("suffix", [".csv", ".fgb"])
def test_portions_are_read_by_the_zone_of_their_times(suffix: str, tmp_path: Path) -> None:
    places = shapely.points(500_000 + np.arange(9.0), 5_300_000)
    local = pd.date_range("2026-07-01 14:00", periods=9, freq="h")
    frame = geopandas.GeoDataFrame({"depth": 2.0, "time": local}, geometry=places, crs=METRES)
    path = tmp_path / f"s{suffix}"
    if suffix == ".csv":
        table = frame.drop(columns="geometry").assign(x=shapely.get_x(places), y=5_300_000.0)
        table.to_csv(path, index=False)
    else:
        frame.to_file(path)
    options = {"timezone": "Europe/Berlin"} | ({"crs": METRES} if suffix == ".csv" else {})
    whole = read_soundings(path, **options)
    parts = [part.frame["time"] for part in sounding_portions(path, rows=4, **options)]
    # in July two hours ahead of UTC (IANA time zone database, from memory)
    wanted = (local - pd.Timedelta(hours=2)).tz_localize("UTC").tolist()
    read = pd.to_datetime(whole.frame["time"], utc=True).tolist()
    assert sorted(read) == wanted  # one of the forms orders its features by place
    assert pd.to_datetime(pd.concat(parts), utc=True).tolist() == read


def test_a_decimal_comma_and_a_fraction_at_the_end(tmp_path: Path) -> None:
    path = _numbered(_layer(), tmp_path)
    options: dict[str, Any] = {"crs": METRES, "depth": "3"}
    whole = read_soundings(path, **options)
    parts = list(sounding_portions(path, rows=9, **options))
    assert whole.depth.tolist() == [*map(float, range(1, COUNT)), COUNT + 0.5]
    assert np.concatenate([part.depth for part in parts]).tolist() == whole.depth.tolist()


def test_laz_and_gpx(tmp_path: Path) -> None:
    from pyproj import CRS

    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.01] * 3, [500_000, 5_300_000, 0]
    header.add_crs(CRS.from_user_input(METRES))
    cloud = laspy.LasData(header)
    frame = _layer()
    cloud.x, cloud.y = shapely.get_coordinates(frame.geometry).T
    cloud.z = np.asarray(frame["depth_ft"])
    cloud.classification = np.where(np.arange(COUNT) % 6 == 0, 7, 40)
    cloud.return_number = cloud.number_of_returns = np.ones(COUNT, int)
    cloud.write(tmp_path / "s.laz")
    whole = read_soundings(tmp_path / "s.laz", depth="Z")
    parts = list(sounding_portions(tmp_path / "s.laz", rows=11, depth="Z"))
    assert [len(part) for part in parts] == [9, 9, 9, 9, 9, 5]
    together = pd.concat([part.frame for part in parts], ignore_index=True)
    assert_frame_equal(together, whole.frame, check_exact=True)


def _texts(path: Path, *lines: str) -> Path:
    path.write_text("\n".join(("easting,northing,depth", *lines)), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (["1,2,3", "1,2,3", "1,2,x"], r"s.csv, line 4: column 'depth' must hold a number .* 'x'"),
        (["1,2,-3", "1,2,-3", "1,2,3"], "most depths in column 'depth' are negative"),
        (["1,2,3"] * 60 + ["1,2"], "line 62: the row must have 3 cells, got 2"),
        ([",,3", ",,4", ",,4"], "holds no coordinates"),
        ([], "no figures below it"),
    ],
)
def test_faults_are_told_as_of_the_whole(lines: list[str], message: str, tmp_path: Path) -> None:
    path = _texts(tmp_path / "s.csv", *lines)
    with pytest.raises(InputFileError, match=message):
        read_soundings(path, crs=METRES)
    with pytest.raises(InputFileError, match=message):
        list(sounding_portions(path, rows=1, crs=METRES))


def test_depths_that_are_negative_at_first_only(tmp_path: Path) -> None:
    path = _texts(tmp_path / "s.csv", "1,2,-3", "1,2,3", "1,2,4")
    parts = list(sounding_portions(path, rows=1, crs=METRES))
    assert [part.depth.tolist() for part in parts] == [[-3], [3], [4]]


def test_options_of_other_formats_are_refused(tmp_path: Path) -> None:
    path = _texts(tmp_path / "s.csv", "1,2,3")
    with pytest.raises(ParameterError, match="layer is for vector files, not for text"):
        list(sounding_portions(path, crs=METRES, layer="a"))
    _layer().to_parquet(tmp_path / "s.parquet")
    with pytest.raises(ParameterError, match="where is not for Parquet files, got 'a'"):
        list(sounding_portions(tmp_path / "s.parquet", where="a"))
    _layer().to_file(tmp_path / "s.gpkg")
    with pytest.raises(InputFileError, match="holds no features where depth_ft > 99"):
        list(sounding_portions(tmp_path / "s.gpkg", where="depth_ft > 99"))
