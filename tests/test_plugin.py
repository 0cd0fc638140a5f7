"""The commands behind rasterio's and fiona's own, called as a person calls them."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from toolbox.formats.geotiff import read_grid, write_grid
from toolbox.layers import Grid

HOSTS = ("rio", "fio")
each_host = pytest.mark.parametrize("host", HOSTS)


def call(host: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    program = Path(sys.executable).with_name(host)
    return subprocess.run([program, *arguments], capture_output=True, text=True, check=False)


def told(done: subprocess.CompletedProcess[str]) -> list[str]:
    """Return what it said of an error, beside warnings of the host's own libraries."""
    return [line for line in done.stderr.splitlines() if "Deprecat" not in line and line[0] != " "]


@pytest.fixture
def plane(tmp_path: Path) -> Path:
    """Depths that grow by one in ten to the east."""
    values = np.tile(np.arange(30, dtype=np.float32) * 0.2, (20, 1))
    grid = Grid(values, Affine(2, 0, 0, 0, -2, 40), CRS.from_epsg(32633), "depth", "m")
    write_grid(grid, tmp_path / "plane.tif")
    return tmp_path / "plane.tif"


@each_host
def test_the_host_lists_the_commands(host: str) -> None:
    assert "leadline" in call(host, "--help").stdout
    help_ = call(host, "leadline", "--help")
    assert help_.returncode == 0
    assert f"Usage: {host} leadline" in help_.stdout
    assert "grid-bed" in help_.stdout


@each_host
def test_a_tool_runs_behind_the_host(host: str, plane: Path, tmp_path: Path) -> None:
    done = call(host, "leadline", "slope", plane, "--unit", "ratio", "--out", tmp_path / "s.tif")
    assert (done.returncode, told(done)) == (0, [])
    assert np.allclose(read_grid(tmp_path / "s.tif").values, 0.1, atol=1e-6)


@each_host
def test_bad_input_gets_one_line_and_exit_code_2(host: str, plane: Path, tmp_path: Path) -> None:
    done = call(host, "leadline", "slope", plane, "--unit", "furlong", "--out", tmp_path / "s.tif")
    assert done.returncode == 2
    (line,) = told(done)
    assert line.startswith("leadline: ")
    assert "furlong" in line
    assert not (tmp_path / "s.tif").exists()


def test_layers_flow_between_hosts(plane: Path, tmp_path: Path) -> None:
    """What one host writes the other reads: depths by ours, bounds by rasterio's own command."""
    out = tmp_path / "relief.tif"
    assert call("fio", "leadline", "shaded-relief", plane, "--out", out).returncode == 0
    found = json.loads(call("rio", "bounds", "--projected", out).stdout)
    assert found["bbox"] == [0, 0, 60, 40]
