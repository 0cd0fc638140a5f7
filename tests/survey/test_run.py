"""The whole job: everything is written, counted and repeatable, or nothing is."""

import csv
import errno
import hashlib
import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from geopandas.testing import assert_geodataframe_equal
from shapely.geometry import LineString, box

from toolbox.cli import main
from toolbox.errors import OutputError
from toolbox.formats.bed_file import read_bed
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.vector import layer_names
from toolbox.survey import run as module
from toolbox.survey import writing, writing_layers
from toolbox.survey.lineage import Lineage
from toolbox.survey.run import read_inputs, run
from toolbox.survey.settings import load_settings
from toolbox.survey.stages import STAGES

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
RASTERS = (
    *("depth", "distance_to_sounding", "slope", "aspect", "shaded_relief", "profile_curvature"),
    *("relative_position", "surface_area_ratio", "vector_ruggedness", "landforms"),
)
WRITTEN = {
    "lakebed.gpkg",
    *(f"{name}.tif" for name in RASTERS),
    "crossings.csv",
    "line_offsets.csv",
    "orders.csv",
    "features.csv",
    "hypsography.csv",
    "morphometry.csv",
    "map.png",
    "lineage.json",
}
RICH = {"crossings.csv", "line_offsets.csv", "orders.csv", "features.csv"}
"""Only of surveys whose lines cross, and of beds on which something stands out."""

LAYERS = ["shoreline", "soundings", "bed_vertices", "bed_triangles", "crossings"]
LAYERS += ["depth_zones", "isobaths", "isobath_labels", "features"]


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Carry out the survey of the invented lake twice."""
    folder = tmp_path_factory.mktemp("runs")
    for name in ("first", "second"):
        run(load_settings(SAMPLE / "points.toml"), folder / name)
    return folder / "first", folder / "second"


@pytest.fixture(scope="module")
def lineage(runs: tuple[Path, Path]) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((runs[0] / "lineage.json").read_text(encoding="utf-8"))
    return told


def held(folder: Path) -> dict[str, bytes]:
    """Return everything in a folder, hidden files too."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
    }


def rows_of(name: str) -> int:
    with (SAMPLE / name).open(encoding="utf-8", newline="") as file:
        return sum(1 for _ in csv.reader(file)) - 1


# ---- what is written ----


def test_everything_is_written_and_nothing_is_empty(runs: tuple[Path, Path]) -> None:
    files = {path.name: path.stat().st_size for path in runs[0].iterdir()}
    assert set(files) > WRITTEN  # and a page of plain text
    assert min(files.values()) > 0
    assert layer_names(runs[0] / "lakebed.gpkg") == LAYERS


def test_the_bed_is_that_of_the_invented_lake(runs: tuple[Path, Path]) -> None:
    """The truth is the integral of the analytic bed, in the README of sample_layers."""
    with (runs[0] / "morphometry.csv").open(encoding="utf-8", newline="") as file:
        told = {row["measure"]: float(row["value"]) for row in csv.DictReader(file)}
    # areas and lengths in the README are on the map: UTM's scale here is taken out
    bed = read_bed(runs[0] / "lakebed.gpkg")
    on_ground = bed.ground_areas().sum() / bed.areas().sum()
    assert told["water area"] == pytest.approx(210_703 * on_ground, rel=1e-4)
    assert told["volume"] == pytest.approx(997_111 * on_ground, rel=0.03)
    assert told["greatest depth"] == pytest.approx(11.955, abs=0.35)
    assert told["islands"] == 2
    shores = told["shoreline length"] + told["island shoreline length"]
    assert shores == pytest.approx(2939.7 * np.sqrt(on_ground), rel=1e-4)


def test_rasters_fit_each_other_and_the_water(runs: tuple[Path, Path]) -> None:
    shore = geopandas.read_file(runs[0] / "lakebed.gpkg", layer="shoreline")
    (water,) = shore.geometry
    shapes, masks = set(), []
    for name in RASTERS:
        with rasterio.open(runs[0] / f"{name}.tif") as file:
            assert file.crs.to_epsg() == 32625
            shapes.add((file.shape, file.transform))
            masks.append(file.read_masks(1) > 0)
            row, col = np.indices(file.shape)
            east, north = file.transform @ (col + 0.5, row + 0.5)
    assert len(shapes) == 1
    inside = shapely.contains_xy(water, east, north)
    for name, mask in zip(RASTERS, masks, strict=True):
        if name in ("profile_curvature", "relative_position"):  # need bed on enough sides
            assert not (mask & ~inside).any()
            assert mask.sum() > 0.9 * inside.sum()
        else:
            assert (mask == inside).all(), name


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="gdalinfo is not installed")
@pytest.mark.parametrize("name", RASTERS)
def test_no_file_beside_a_raster_is_taken_for_a_part_of_it(
    name: str, runs: tuple[Path, Path]
) -> None:
    """GDAL knows sidecar files by their names: what it lists is moved and deleted together."""
    path = runs[0] / f"{name}.tif"
    done = subprocess.run(
        ["gdalinfo", "-json", str(path)], capture_output=True, text=True, check=True
    )
    told = json.loads(done.stdout)
    beside = [f"{path}.aux.xml"] if name == "landforms" else []  # what its codes mean
    assert told["files"] == [str(path), *beside]
    assert set(told["metadata"][""]) == {"AREA_OR_POINT"}


def test_the_page_of_text_says_what_was_done_and_how_far_to_trust_it(
    runs: tuple[Path, Path],
) -> None:
    page = runs[0] / "findings.txt"
    text = page.read_text(encoding="utf-8")
    for words in (
        "Figment Mere (invented)",
        "2,396 soundings, 2,384 kept, 12 rejected",
        "rejected: 9 no depth",
        "rejected: 3 outside the water",
        "Not for navigation",
        "elevation 212.400 m, invented local height datum",
    ):
        assert words in text
    assert max(map(len, text.splitlines())) <= 92
    for name in WRITTEN - {"lineage.json"}:
        assert name in text


# ---- where it came from ----


def test_what_came_in_is_what_was_kept_and_rejected(
    runs: tuple[Path, Path], lineage: dict[str, Any]
) -> None:
    came_in = {name: rows_of(name) for name in ("boat_points.csv", "plummet.csv")}
    steps = {step["step"]: step for step in lineage["steps"]}
    read = {
        Path(step["file"]).name: step["soundings_out"]
        for step in lineage["steps"]
        if step["step"] == "read soundings"
    }
    assert read == came_in
    total, kept = steps["reject outside"]["soundings_in"], steps["reject outside"]["soundings_kept"]
    assert total == sum(came_in.values())
    assert kept + sum(row["soundings"] for row in lineage["rejections"]) == total
    # README of sample_layers: nine depths are empty and three positions lie ashore
    assert lineage["rejections"] == [
        {"file": "boat_points.csv", "reason": "no depth", "soundings": 9},
        {"file": "boat_points.csv", "reason": "outside the water", "soundings": 3},
    ]
    written = geopandas.read_file(runs[0] / "lakebed.gpkg", layer="soundings")
    assert len(written) == total
    assert int((~written["flag"].astype(bool)).sum()) == kept
    assert written.groupby("file").size().to_dict() == came_in


def test_every_sounding_can_be_found_in_its_file(runs: tuple[Path, Path]) -> None:
    written = geopandas.read_file(runs[0] / "lakebed.gpkg", layer="soundings")
    boat = written[written["file"] == "boat_points.csv"]
    with (SAMPLE / "boat_points.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    picked = [rows[record - 1]["depth"] for record in boat["record"]]
    wanted = np.array([float(depth) if depth else np.nan for depth in picked])
    assert boat["depth"].to_numpy() == pytest.approx(wanted, nan_ok=True, abs=1e-12)
    assert set(written["source"]) == {"track", "plummet"}


def test_depths_read_on_another_level_are_at_the_datum(runs: tuple[Path, Path]) -> None:
    """Read on 212.30 m, the datum at 212.40 m: all depths grow by 0.10 m (derived)."""
    written = geopandas.read_file(runs[0] / "lakebed.gpkg", layer="soundings")
    first = written[written["file"] == "plummet.csv"]["depth"].iloc[0]
    with (SAMPLE / "plummet.csv").open(encoding="utf-8", newline="") as file:
        as_read = next(csv.DictReader(file, delimiter=";"))["depth"]
    assert first == pytest.approx(float(as_read.replace(",", ".")) + 0.10, abs=1e-9)


def test_hashes_are_those_of_the_files(lineage: dict[str, Any]) -> None:
    for row in lineage["inputs"]:
        data = Path(row["file"]).read_bytes()
        assert row["bytes"] == len(data)
        assert row["sha256"] == hashlib.sha256(data).hexdigest()
    names = {Path(row["file"]).name for row in lineage["inputs"]}
    assert names == {"shoreline.gpkg", "boat_points.csv", "plummet.csv"}


def test_every_step_is_told_in_order(lineage: dict[str, Any]) -> None:
    told = [step["step"] for step in lineage["steps"]]
    order = [
        "read shoreline",
        "read soundings",
        "reject outside",
        "triangulate",
        "grid",
        "terrain",
        "isobaths",
        "features",
        "hypsography",
    ]
    places = [told.index(step) for step in order]
    assert places == sorted(places)
    assert told.count("read soundings") == 2
    assert lineage["settings"]["make"]["cell"] == 2.0


def test_two_runs_differ_in_nothing_but_their_time(runs: tuple[Path, Path]) -> None:
    first, second = (held(folder) for folder in runs)
    assert set(first) == set(second)
    differing = {name for name in first if first[name] != second[name]}
    assert differing <= {"lakebed.gpkg", "lineage.json"}
    one, other = (json.loads(files["lineage.json"]) for files in (first, second))
    assert one.pop("made_at") <= other.pop("made_at")
    assert one == other
    for layer in LAYERS:
        one, other = (geopandas.read_file(folder / "lakebed.gpkg", layer=layer) for folder in runs)
        assert_geodataframe_equal(one, other, check_like=False)


def test_the_soundings_of_a_run_can_be_used_again(runs: tuple[Path, Path]) -> None:
    again = read_soundings(runs[0] / "lakebed.gpkg", layer="soundings")
    assert (len(again), len(again.kept)) == (2396, 2384)
    assert again.rejections() == {"no depth": 9, "outside the water": 3}


# ---- a small pond, for what goes wrong ----

WATER = box(500_000, 5_200_000, 500_100, 5_200_100)
POND = """
[water]
name = "Pond"
shoreline = "shoreline.gpkg"
[datum]
elevation = 100
[bed]
method = "triangulated"
[[soundings]]
file = "soundings.csv"
crs = "EPSG:32633"
"""
"""Further keys of the source may follow."""


@pytest.fixture
def pond(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "desk"
    folder.mkdir()
    monkeypatch.chdir(folder)
    geopandas.GeoDataFrame({"number": [1]}, geometry=[WATER], crs=32633).to_file(
        folder / "shoreline.gpkg"
    )
    (folder / "soundings.csv").write_text(
        "easting,northing,depth\n500020,5200020,3\n500050,5200050,4\n500080,5200030,5\n"
    )
    (folder / "survey.toml").write_text(POND)
    return folder


def test_stages_are_told_in_order(pond: Path) -> None:
    told: list[str] = []
    run(load_settings(pond / "survey.toml"), pond / "result", watch=told.append)
    assert tuple(told) == STAGES


def test_a_folder_that_is_there_is_refused_before_any_work(
    pond: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (pond / "result").mkdir()
    monkeypatch.setattr(module, "read_inputs", lambda *_: pytest.fail("the work must not begin"))
    with pytest.raises(
        OutputError,
        match="result exists already; choose another name, or replace it with --overwrite",
    ):
        run(load_settings(pond / "survey.toml"), pond / "result")


def test_overwriting_replaces_a_former_result_whole(pond: Path) -> None:
    settings = load_settings(pond / "survey.toml")
    run(settings, pond / "result")
    (pond / "result" / "stale.txt").write_text("stale")
    (pond / "result" / "depth.tif").unlink()
    run(settings, pond / "result", overwrite=True)
    names = {path.name for path in (pond / "result").iterdir()}
    assert names > (WRITTEN - RICH)
    assert "stale.txt" not in names


@pytest.mark.parametrize("out", [".", "data"], ids=["the survey's own folder", "a folder of data"])
def test_overwriting_never_replaces_a_folder_that_is_no_result(
    out: str, pond: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (pond / "data").mkdir()
    (pond / "data" / "photo.jpg").write_bytes(b"dear to someone")
    before = held(pond)
    target = str(pond) if out == "." else out
    assert main(["run", "survey.toml", "--out", target, "--overwrite"]) == 2
    assert len(capfd.readouterr().err.splitlines()) == 1
    assert held(pond) == before


def test_overwriting_never_replaces_a_result_that_holds_an_input(
    pond: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    run(load_settings(pond / "survey.toml"), pond / "result")
    (pond / "soundings.csv").rename(pond / "result" / "soundings.csv")
    (pond / "survey.toml").write_text(POND.replace("soundings.csv", "result/soundings.csv"))
    before = held(pond)
    assert main(["run", "survey.toml", "--out", "result", "--overwrite"]) == 2
    assert "soundings.csv" in capfd.readouterr().err
    assert held(pond) == before


WRITERS = {
    "write_features": writing_layers,
    "write_bed": writing_layers,
    "write_grid": writing_layers,
    "write_layer_styles": writing_layers,
    "write_delimited": writing,
    "write_map": writing,
    "write_exports": writing,
    "write_summary": writing,
}
FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
FULL_SAID = "leadline: result cannot be written: No space left on device\n"
STOPPED_SAID = "leadline: interrupted, nothing was written\n"
MEMORY_SAID = "leadline: there is not enough memory for this"
FAILURES = {
    **{f"disk full in {name}": (name, FULL, 2, FULL_SAID) for name in WRITERS},
    **{
        f"interrupt in {name}": (name, KeyboardInterrupt(), 130, STOPPED_SAID)
        for name in ("read_inputs", "make_bed", *WRITERS)
    },
    "memory in grid_bed": ("grid_bed", MemoryError(), 2, MEMORY_SAID),
}


@pytest.mark.parametrize("former", [False, True], ids=["fresh", "overwriting"])
@pytest.mark.parametrize(("step", "fault", "code", "said"), FAILURES.values(), ids=FAILURES.keys())
def test_a_failure_in_the_middle_leaves_everything_as_it_was(
    step: str,
    fault: BaseException,
    code: int,
    said: str,
    former: bool,
    pond: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    if former:  # stands for a result, and is known as one by its lineage
        (pond / "result").mkdir()
        (pond / "result" / "lineage.json").write_text('{"made_with": {"leadline": "0.1.0"}}')
        (pond / "result" / "depth.tif").write_bytes(b"former")
    before = held(pond)

    def fail(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(WRITERS.get(step, module), step, fail)
    arguments = ["run", "survey.toml", "--out", "result", *(["--overwrite"] if former else [])]
    assert main(arguments) == code
    out, err = capfd.readouterr()
    assert out == ""
    line = err.removeprefix("\n")  # an interrupt first leaves the line of the terminal's ^C
    assert line.startswith(said)
    assert len(line.splitlines()) == 1
    assert held(pond) == before


def test_a_failure_of_the_last_file_leaves_nothing(
    pond: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = held(pond)

    def fail(self: Lineage, path: Path) -> None:
        assert {file.name for file in path.parent.iterdir()} > (WRITTEN - RICH) - {"lineage.json"}
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Lineage, "write", fail)
    with pytest.raises(OutputError, match=r"result cannot be written: Permission denied$"):
        run(load_settings(pond / "survey.toml"), pond / "result")
    assert held(pond) == before


# ---- what a survey file can ask for ----


def with_settings(folder: Path, text: str) -> Lineage:
    (folder / "survey.toml").write_text(POND + text)
    return run(load_settings(folder / "survey.toml"), folder / "result", overwrite=True)


def test_a_pond_without_datum_has_no_elevations(pond: Path) -> None:
    (pond / "survey.toml").write_text(POND.replace("[datum]\nelevation = 100\n", ""))
    run(load_settings(pond / "survey.toml"), pond / "result")
    with (pond / "result" / "hypsography.csv").open(encoding="utf-8", newline="") as file:
        assert {row["elevation_m"] for row in csv.DictReader(file)} == {""}


def test_levels_and_units_that_are_asked_for_are_made(pond: Path) -> None:
    with_settings(pond, '[make]\ncell = "10 ft"\nlevels = [0, "5 ft", 2]\nslope_unit = "percent"\n')
    with (pond / "result" / "hypsography.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["depth_m"]) for row in rows] == pytest.approx([0, 1.524, 2])
    assert [float(row["elevation_m"]) for row in rows] == pytest.approx([100, 98.476, 98])
    with rasterio.open(pond / "result" / "slope.tif") as file:
        assert file.units == ("%",)
        assert file.transform.a == pytest.approx(3.048)


def test_breaklines_and_open_edges_take_part(pond: Path) -> None:
    geopandas.GeoDataFrame(
        {"depth_m": [2.0]},
        geometry=[LineString([(500_020, 5_200_080), (500_080, 5_200_080)])],
        crs=32633,
    ).to_file(pond / "lines.gpkg")
    geopandas.GeoDataFrame(
        {"number": [1]},
        geometry=[LineString([(500_100, 5_200_000), (500_100, 5_200_100)])],
        crs=32633,
    ).to_file(pond / "ends.gpkg")
    text = POND.replace("[datum]", 'open_edges = "ends.gpkg"\n[datum]')
    text = text.replace("[bed]", '[bed]\nbreaklines = { file = "lines.gpkg" }')
    (pond / "survey.toml").write_text(text)
    lineage = run(load_settings(pond / "survey.toml"), pond / "result")
    kinds = geopandas.read_file(pond / "result" / "lakebed.gpkg", layer="bed_vertices")["kind"]
    assert {"breakline", "open_edge", "sounding", "shoreline"} <= set(kinds)
    assert "column 'depth_m' read in m, as its name says" in lineage.notes
    names = {Path(row["file"]).name for row in _inputs(pond)}
    assert {"lines.gpkg", "ends.gpkg"} <= names


def _inputs(folder: Path) -> list[dict[str, Any]]:
    told = json.loads((folder / "result" / "lineage.json").read_text(encoding="utf-8"))
    inputs: list[dict[str, Any]] = told["inputs"]
    return inputs


@pytest.mark.parametrize(("level", "deepest"), [(100.0, 5.0), (99.5, 5.5), (100.25, 4.75)])
def test_soundings_of_another_day_come_to_the_datum(
    level: float, deepest: float, pond: Path
) -> None:
    lineage = with_settings(pond, f"water_level = {level}\n")
    bed = read_bed(pond / "result" / "lakebed.gpkg")
    assert bed.depth.max() == pytest.approx(deepest, abs=1e-12)
    assert any(f"{level:g} m" in note for note in lineage.notes)


def test_a_stage_table_splits_the_storage(pond: Path) -> None:
    with_settings(pond, "[stage]\nstep = 0.5\ndead = 97\nfull = 99\n")
    table = pd.read_csv(pond / "result" / "stage.csv")
    assert table["elevation_m"].is_monotonic_increasing
    # derived: storage is what is dead, active and surcharge together
    parts = table[["dead_m3", "active_m3", "surcharge_m3"]].sum(axis=1)
    np.testing.assert_allclose(parts, table["storage_m3"], rtol=1e-9)
    assert table["dead_m3"].max() == table.loc[table["elevation_m"] == 97, "storage_m3"].item()


def test_reading_alone_writes_nothing(pond: Path) -> None:
    before = held(pond)
    settings = load_settings(pond / "survey.toml")
    inputs = read_inputs(settings, Lineage(settings))
    assert len(inputs.soundings.kept) == 3
    assert inputs.shoreline.crs == inputs.soundings.crs
    assert held(pond) == before
