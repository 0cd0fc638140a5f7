"""Drivers of GDAL that the environment switches off are named in one line."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from affine import Affine

from toolbox.errors import InputFileError, OutputError
from toolbox.formats.drivers import need_driver
from toolbox.formats.geotiff import read_grid, write_grid
from toolbox.formats.raster_blocks import write_grid_blocks
from toolbox.formats.vector import read_features, write_features
from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks

GRID = Grid(np.ones((4, 5)), Affine(2, 0, 500_000, 0, -2, 5_300_000), None, "depth", "m")
START = "from toolbox.cli import console; console()"
OFF = r"{}='{}' in the environment switches off the driver {} of GDAL; unset it$"


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
