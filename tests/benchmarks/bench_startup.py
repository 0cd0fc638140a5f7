"""Start-up: how long ``leadline --help`` keeps a person waiting, files in the system's cache."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from measure import SLOWER, Row, Sides, medians, show

ROUNDS = 10
LEADLINE = Path(sys.executable).with_name("leadline")
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
"""An installed package is byte-compiled, so one that is not may become so."""


def start(*command: str | Path) -> None:
    """Run a command to its end."""
    subprocess.run(command, check=True, capture_output=True, env=ENVIRONMENT)


def write_small(path: Path) -> None:
    """Write a raster of 100 x 100 cells."""
    values = np.add.outer(np.arange(100.0), np.arange(100.0)).astype(np.float32)
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 100, "width": 100}
    place = {"transform": Affine(2, 0, 500_000, 0, -2, 5_300_000), "crs": "EPSG:32633"}
    with rasterio.open(path, "w", **profile, **place) as raster:
        raster.write(values, 1)


def slope(folder: Path) -> None:
    """Let the command make a layer of a small raster."""
    target = folder / "slope.tif"
    target.unlink(missing_ok=True)
    start(LEADLINE, "slope", folder / "small.tif", "--out", target)


def rows() -> list[Row]:
    """Measure."""
    with tempfile.TemporaryDirectory() as name:
        write_small(Path(name) / "small.tif")
        return _rows(Path(name))


def _rows(folder: Path) -> list[Row]:
    sides: Sides = {
        "slope": lambda: slope(folder),
        "help": lambda: start(LEADLINE, "--help"),
        "version": lambda: start(LEADLINE, "--version"),
        "tool": lambda: start(LEADLINE, "slope", "--help"),
        "numpy": lambda: start(sys.executable, "-c", "import numpy"),
        "python": lambda: start(sys.executable, "-c", ""),
    }
    for side in sides.values():
        side()
    seconds = medians(sides, ROUNDS)
    help_ = seconds["help"]
    return [
        Row("leadline --help", "", help_, "s", at_most=0.5),
        Row("leadline slope of a small raster", "", seconds["slope"], "s", at_most=1.5),
        Row("leadline slope --help", "", seconds["tool"], "s"),
        Row("leadline --version", "", seconds["version"], "s"),
        Row("leadline --help", "python, importing numpy", help_ / seconds["numpy"], SLOWER),
        Row("leadline --help", "python, doing nothing", help_ / seconds["python"], SLOWER),
    ]


if __name__ == "__main__":
    show(rows())
