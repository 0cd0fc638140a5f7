"""The example package of the docs, installed as another package is."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from affine import Affine
from pyproj import CRS

from toolbox.formats.geotiff import read_grid, write_grid
from toolbox.layers import Grid

PACKAGE = Path(__file__).resolve().parents[1] / "docs" / "example_package"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install it into a folder of its own."""
    source, folder = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("installed")
    for file in PACKAGE.iterdir():
        if file.is_file():
            (source / file.name).write_bytes(file.read_bytes())
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check", "install", "--quiet")
    where = ("--no-deps", "--no-build-isolation", "--target", folder)
    subprocess.run([*pip, *where, source], check=True)
    return folder


def leadline(installed: Path, *arguments: str | Path) -> str:
    """Call the command with the package on its way, and return what it prints."""
    done = subprocess.run(
        [Path(sys.executable).with_name("leadline"), *arguments],
        env=os.environ | {"PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


@pytest.fixture
def slope(tmp_path: Path) -> Path:
    """Depths of 0.2, 0.4, ... 2.0 m from west to east, and no water in the first row."""
    values = np.tile(np.arange(1, 11, dtype=np.float32) * 0.2, (6, 1))
    values[0] = np.nan
    path = tmp_path / "slope.tif"
    write_grid(Grid(values, Affine(2, 0, 0, 0, -2, 12), CRS.from_epsg(32633), "depth", "m"), path)
    return path


def test_help_lists_its_tools(installed: Path) -> None:
    told = leadline(installed, "--help")
    assert "Tools: other packages" in told
    assert "wadable-bed" in told.split("Tools: other packages")[1]


def test_its_raster_is_made_and_written(installed: Path, slope: Path, tmp_path: Path) -> None:
    out = tmp_path / "wadable.tif"
    leadline(installed, "wadable-bed", slope, "--deepest", "70 cm", "--out", out)
    found = read_grid(out)
    expected = [[np.nan] * 10, *([[1, 1, 1, 0, 0, 0, 0, 0, 0, 0]] * 5)]
    np.testing.assert_array_equal(found.values, expected)


def test_its_table_is_printed(installed: Path, slope: Path, tmp_path: Path) -> None:
    leadline(installed, "wadable-share", slope, "--out", tmp_path / "share.csv")
    row = pd.read_csv(tmp_path / "share.csv").loc[0]
    assert row["area_m2"] == 5 * 4 * 4  # rows, columns down to 0.8 m, m2 a cell
    assert row["share"] == pytest.approx(0.4)
