"""Files for others are those that the survey asks for, and hold what it found."""

import shutil
import zipfile
from pathlib import Path
from typing import get_args

import geopandas
import gpxpy
import numpy as np
import pytest
import rasterio
import trimesh

from toolbox.errors import SettingsError
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings
from toolbox.survey.wanted import Export

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
MARKS = '\n[marks]\npegs = "pegs.csv"\ncrs = "EPSG:32625"\ncount = 5\n'


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("desk")
    for name in ("shoreline.gpkg", "boat_points.csv", "plummet.csv", "water_level.csv", "pegs.csv"):
        shutil.copy(SAMPLE / name, folder)
    return folder


def survey(desk: Path, exports: str) -> Path:
    text = (SAMPLE / "points.toml").read_text(encoding="utf-8")
    assert "[make]\n" in text
    path = desk / "survey.toml"
    path.write_text(text.replace("[make]\n", f"[make]\nexports = {exports}\n") + MARKS)
    return path


@pytest.fixture(scope="module")
def everything(desk: Path) -> Path:
    every = str(list(get_args(Export)))
    run(load_settings(survey(desk, every)), desk / "all")
    return desk / "all"


def test_all_that_was_asked_for_is_there(everything: Path) -> None:
    names = {path.name for path in (everything / "exports").iterdir()}
    files = {
        "marks.gpx",
        "map.kmz",
        "map.mbtiles",
        "isobaths.dxf",
        "bed.ply",
        "bed.glb",
        "depth.xyz",
    }
    layers = {"isobaths", "depth_zones", "features", "marks", "pegs", "isobath_labels"}
    suffixes = ("geojson", "fgb", "parquet")
    assert names == files | {f"{layer}.{suffix}" for layer in layers for suffix in suffixes}


def test_marks_are_waypoints_where_the_layer_has_them(everything: Path) -> None:
    read = gpxpy.parse((everything / "exports" / "marks.gpx").read_text(encoding="utf-8"))
    marks = geopandas.read_file(everything / "lakebed.gpkg", layer="marks").to_crs(4326)
    pegs = geopandas.read_file(everything / "lakebed.gpkg", layer="pegs")
    assert len(read.waypoints) == len(marks) + len(pegs)
    places = {(round(p.longitude, 6), round(p.latitude, 6)) for p in read.waypoints}
    for mark in marks.geometry:
        assert (round(mark.x, 6), round(mark.y, 6)) in places


def test_the_bed_has_the_depths_of_the_survey(everything: Path) -> None:
    mesh = trimesh.load(everything / "exports" / "bed.ply", process=False)
    depth = geopandas.read_file(everything / "lakebed.gpkg", layer="bed_vertices")["depth"]
    assert len(mesh.vertices) == len(depth)
    high, low = mesh.vertices[:, 2].max(), mesh.vertices[:, 2].min()
    assert high - low == pytest.approx(depth.max() - depth.min(), abs=1e-3)


def test_depths_as_text_are_those_of_the_raster(everything: Path) -> None:
    table = np.loadtxt(everything / "exports" / "depth.xyz", comments=("#", "e"))
    with rasterio.open(everything / "depth.tif") as raster:
        values = raster.read(1, masked=True).compressed()
    assert np.sort(table[:, 2]) == pytest.approx(np.sort(values), abs=1e-3)


def test_the_map_for_globes_is_whole(everything: Path) -> None:
    with zipfile.ZipFile(everything / "exports" / "map.kmz") as archive:
        assert archive.testzip() is None
        assert "doc.kml" in archive.namelist()


def test_nothing_asked_for_gives_no_folder(desk: Path) -> None:
    run(load_settings(survey(desk, "[]")), desk / "none")
    assert not (desk / "none" / "exports").exists()


def test_an_unknown_format_is_refused(desk: Path) -> None:
    with pytest.raises(SettingsError, match=r"make\.exports.*'gpx', 'kmz'"):
        load_settings(survey(desk, '["pdf"]'))
