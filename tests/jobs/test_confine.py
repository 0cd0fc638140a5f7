"""A worker's libraries open what they should, and nothing that leads elsewhere."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pyogrio
import pytest

from toolbox.jobs.confine import ALLOWED, environment, other_drivers

OPEN = """
import json, sys
import fiona, fiona.errors, pyogrio, rasterio

def outcome(call):
    try:
        call()
        return "opened"
    except Exception as error:
        return type(error).__name__

raster, vector = sys.argv[1:]
print(json.dumps({
    "rasterio": outcome(lambda: rasterio.open(raster).read()),
    "pyogrio": outcome(lambda: pyogrio.read_info(vector)),
    "fiona": outcome(lambda: fiona.open(vector)),
}))
"""


def opened(folder: Path, raster: str, vector: str, variables: dict[str, str]) -> dict[str, str]:
    """Let three libraries open a raster and a vector layer in a process of their own."""
    (folder / "layer.tif").write_text(raster)
    (folder / "layer.geojson").write_text(vector)
    names = [str(folder / "layer.tif"), str(folder / "layer.geojson")]
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", OPEN, *names],
        env=os.environ | variables,
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, str] = json.loads(done.stdout)
    return found


@pytest.fixture(scope="module")
def confined() -> dict[str, str]:
    """Give the environment of a worker."""
    return environment(other_drivers(), 1024**3)


def test_virtual_layers_that_lead_elsewhere_are_not_opened(
    tmp_path: Path, confined: dict[str, str]
) -> None:
    point = {"type": "Feature", "properties": {}}
    point |= {"geometry": {"type": "Point", "coordinates": [1, 2]}}
    secret = tmp_path / "secret.geojson"
    secret.write_text(json.dumps({"type": "FeatureCollection", "features": [point]}))
    raster = '<VRTDataset rasterXSize="1" rasterYSize="1"><VRTRasterBand dataType="Byte" band="1"/>'
    raster += "</VRTDataset>"
    vector = f"<OGRVRTDataSource><OGRVRTLayer name='secret'><SrcDataSource>{secret}"
    vector += "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    free = opened(tmp_path, raster, vector, {})
    assert free["rasterio"] == free["pyogrio"] == "opened"  # else this proves nothing
    held = opened(tmp_path, raster, vector, confined)
    assert held == {
        "rasterio": "RasterioIOError",
        "pyogrio": "DataSourceError",
        "fiona": "DriverError",
    }


def test_what_should_be_opened_is(tmp_path: Path, confined: dict[str, str]) -> None:
    point = {"type": "Point", "coordinates": [1, 2]}
    text = json.dumps({"type": "Feature", "properties": {}, "geometry": point})
    told = opened(tmp_path, "II", text, confined)
    assert (told["pyogrio"], told["fiona"]) == ("opened", "opened")


def test_no_other_driver_is_left(confined: dict[str, str]) -> None:
    skipped = set(confined["GDAL_SKIP"].split(","))
    assert {"VRT", "OGR_VRT", "HTTP", "WMS", "GTI", "WFS"} <= skipped
    assert "GDALG" in skipped or pyogrio.__gdal_version__ < (3, 11)
    assert not skipped & ALLOWED


@pytest.mark.skipif(sys.platform != "linux", reason="only there are data counted")
def test_a_few_words_in_a_table_take_little_of_what_a_job_may(confined: dict[str, str]) -> None:
    code = """
import pandas, psutil
before = psutil.Process().memory_info().data
pandas.DataFrame({"name": ["a", "b"]})
print(psutil.Process().memory_info().data - before)
"""
    told = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | confined,
        capture_output=True,
        text=True,
        check=True,
    )
    assert int(told.stdout) < 100 * 2**20
