"""Drivers of GDAL that the environment switches off are named in one line."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS

from toolbox.errors import InputFileError, OutputError
from toolbox.formats.drivers import need_driver
from toolbox.formats.geotiff import read_grid, write_grid
from toolbox.formats.kml import write_kmz
from toolbox.formats.mbtiles import write_mbtiles
from toolbox.formats.raster_blocks import read_grid_windows, write_grid_blocks
from toolbox.formats.vector import read_features, write_features
from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks

GRID = Grid(np.ones((4, 5)), Affine(2, 0, 500_000, 0, -2, 5_300_000), None, "depth", "m")
START = "from toolbox.cli import console; console()"
OFF = r"{}='{}' in the environment switches off the driver {} of GDAL; unset it$"


def square() -> Grid:
    """Make a square of depths that lies on the earth."""
    place = Affine(1, 0, 500_000, 0, -1, 5_300_000)
    values = np.linspace(1, 9, 400).reshape(20, 20)
    return Grid(values, place, CRS.from_epsg(32633), "depth", "m")


def spots() -> geopandas.GeoDataFrame:
    """Make two points."""
    places = shapely.points([[500_000, 5_300_000], [500_001, 5_300_000]])
    return geopandas.GeoDataFrame({"a": [1, 2]}, geometry=places, crs="EPSG:32633")


@pytest.mark.parametrize(
    ("variable", "value", "off"),
    [
        ("GDAL_SKIP", "GTiff", True),
        ("GDAL_SKIP", "PDF gtiff HDF5", True),
        ("GDAL_SKIP", "PDF, gtiff", True),
        ("OGR_SKIP", "GTiff", True),
        ("GDAL_SKIP", "GTiffs HDF5", False),
        ("GDAL_SKIP", "", False),
        ("GDAL_SKIPS", "GTiff", False),
    ],
)
def test_a_driver_is_off_if_the_environment_names_it(
    variable: str, value: str, off: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(variable, value)
    if not off:
        need_driver(Path("a.tif"), "GTiff", OutputError)
        return
    with pytest.raises(OutputError, match=OFF.format(variable, value, "GTiff")):
        need_driver(Path("a.tif"), "GTiff", OutputError)


def test_a_name_may_hold_a_space(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OGR_SKIP", "ESRI Shapefile")
    with pytest.raises(OutputError, match=r"^a\.shp cannot be written: OGR_SKIP='ESRI Shapefile'"):
        need_driver(Path("a.shp"), "ESRI Shapefile", OutputError)


@pytest.mark.parametrize("driver", ["GTiff", "COG"])
def test_no_raster_is_written_without_its_driver(
    driver: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GDAL_SKIP", driver)
    told = r"^a\.tif cannot be written: " + OFF.format("GDAL_SKIP", driver, driver)
    with pytest.raises(OutputError, match=told):
        write_grid(GRID, tmp_path / "a.tif")
    with pytest.raises(OutputError, match=told):
        write_grid_blocks(GridBlocks.of(GRID), tmp_path / "a.tif")
    assert list(tmp_path.iterdir()) == []


def test_no_raster_is_read_without_its_driver(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_grid(GRID, tmp_path / "a.tif")
    monkeypatch.setenv("GDAL_SKIP", "GTiff")
    told = r"^a\.tif cannot be read: " + OFF.format("GDAL_SKIP", "GTiff", "GTiff")
    with pytest.raises(InputFileError, match=told):
        read_grid(tmp_path / "a.tif")


@pytest.mark.parametrize(
    ("suffix", "driver"),
    [
        (".gpkg", "GPKG"),
        (".shp", "ESRI Shapefile"),
        (".fgb", "FlatGeobuf"),
        (".geojson", "GeoJSON"),
    ],
)
def test_no_layer_is_written_or_read_without_its_driver(
    suffix: str, driver: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_features(spots(), tmp_path / f"a{suffix}", layer="a")
    monkeypatch.setenv("OGR_SKIP", driver)
    told = rf"\{suffix} cannot be {{}}: " + OFF.format("OGR_SKIP", driver, driver)
    with pytest.raises(InputFileError, match="^a" + told.format("read")):
        read_features(tmp_path / f"a{suffix}")
    with pytest.raises(OutputError, match="^b" + told.format("written")):
        write_features(spots(), tmp_path / f"b{suffix}", layer="a")


@pytest.mark.parametrize(
    ("variable", "value"),
    [("OGR_SQLITE_JOURNAL", "WAL"), ("OGR_SQLITE_PRAGMA", "journal_mode=WAL")],
)
def test_a_geopackage_is_one_file_whatever_the_environment_says(
    variable: str, value: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bytes 18 and 19 are 2 if changes wait beside it (SQLite, Database File Format, 1.3.3)."""
    monkeypatch.setenv(variable, value)
    write_features(spots(), tmp_path / "a.gpkg", layer="a")
    assert [path.name for path in tmp_path.iterdir()] == ["a.gpkg"]
    assert (tmp_path / "a.gpkg").read_bytes()[18:20] == b"\1\1"
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as file:
        assert file.execute("PRAGMA journal_mode").fetchone() == ("delete",)


@pytest.mark.parametrize("said", ["NONE", "", "WORLDFILE"])
def test_a_raster_lies_where_it_does_whatever_the_environment_says(
    said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """NONE: the file's own place is not read (GDAL, GTiff driver, GEOREF_SOURCES; from memory)."""
    grid, place = square(), square().transform
    write_grid(grid, tmp_path / "before.tif")
    monkeypatch.setenv("GDAL_GEOREF_SOURCES", said)
    write_grid(grid, tmp_path / "now.tif")
    write_grid_blocks(GridBlocks.of(grid), tmp_path / "blocks.tif")
    for name in ("before", "now", "blocks"):
        path = tmp_path / f"{name}.tif"
        assert read_grid(path).transform == place
        assert read_grid_windows(path).transform == place
    monkeypatch.delenv("GDAL_GEOREF_SOURCES")
    for name in ("now", "blocks"):
        with rasterio.open(tmp_path / f"{name}.tif") as raster:
            assert (raster.transform, raster.crs.to_epsg()) == (place, 32633)


def test_a_picture_on_the_ground_needs_a_driver_that_warps_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GDAL_SKIP", "MEM")
    told = r"^a\.kmz cannot be written: " + OFF.format("GDAL_SKIP", "MEM", "MEM")
    with pytest.raises(OutputError, match=told):
        write_kmz(tmp_path / "a.kmz", depth=square())
    write_mbtiles(tmp_path / "a.mbtiles", square())  # needs none


@pytest.mark.parametrize("driver", ["GTiff", "GPKG", "MEM"])
def test_a_run_is_refused_before_the_work_in_one_line(
    driver: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GDAL_SKIP", driver)
    (tmp_path / "soundings.csv").write_text("easting,northing,depth_m\n1,2,3\n")
    write_features(spots(), tmp_path / "shore.geojson", layer="a")
    text = '[water]\nname = "Pond"\nshoreline = "shore.geojson"\ncrs = "EPSG:32633"\n'
    text += '[[soundings]]\nfile = "soundings.csv"\ncrs = "EPSG:32633"\n'
    (tmp_path / "survey.toml").write_text(text)
    command = [sys.executable, "-c", START, "run", "survey.toml", "--out", "result"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True)
    told = (
        f"leadline: result cannot be written: GDAL_SKIP='{driver}' in the environment switches off "
        f"the driver {driver} of GDAL; unset it\n"
    )
    assert (done.returncode, done.stderr) == (2, told)
    assert not (tmp_path / "result").exists()
