"""Slope, curvature and ruggedness of 5000 x 5000 cells, against a memory copy and gdaldem.

The copy is np.copyto into an array that is there; the tools also make their result. gdaldem runs
in its own process on an uncompressed GeoTIFF and writes one.
"""

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from invented_lake import CRS_CODE, SIDE, SOUTH, WEST, bed_depth
from measure import SLOWER, Row, Sides, foreign_environment, medians, show
from pyproj import CRS

from toolbox.layers import Grid
from toolbox.terrain.aspect import aspect
from toolbox.terrain.curvature import curvature
from toolbox.terrain.kernels.gradients import slope as slope_kernel
from toolbox.terrain.kernels.windows import HORN
from toolbox.terrain.relief import shaded_relief
from toolbox.terrain.ruggedness import roughness, ruggedness_index, surface_area_ratio
from toolbox.terrain.slope import slope

ACROSS, ROUNDS, SLOW_ROUNDS, DEGREES = 5_000, 15, 5, 2
CELL = SIDE / ACROSS
COPIES = [
    ("central", "slope as ratio, Zevenbergen and Thorne,", 3),
    ("aspect", "aspect", None),
    ("profile", "profile curvature", 3),
    ("plan", "plan curvature", 3),
    ("total", "total curvature", 3),
    ("rugosity", "surface-area ratio", 8),
    ("roughness", "roughness", None),
    ("ruggedness", "ruggedness index", None),
    ("relief", "shaded relief", None),
]
"""Sides that are held against a copy, what each is, and how many copies it may take."""


def lake_grid() -> Grid:
    """Return depths with a third of the cells, those beyond a round shore, missing."""
    step = (np.arange(ACROSS) + 0.5) * CELL
    values = np.empty((ACROSS, ACROSS), np.float32)
    for row, northing in enumerate(SOUTH + SIDE - step):
        places = np.column_stack([WEST + step, np.full(ACROSS, northing)])
        dry = np.hypot(*(places - (WEST + SIDE / 2, SOUTH + SIDE / 2)).T) > 0.46 * SIDE
        values[row] = np.where(dry, np.nan, bed_depth(places))
    transform = Affine(CELL, 0, WEST, 0, -CELL, SOUTH + SIDE)
    return Grid(values, transform, CRS.from_user_input(CRS_CODE), "depth", "m")


def write_plain(values: np.ndarray, like: Grid, path: Path) -> None:
    """Write a GeoTIFF as gdaldem does: uncompressed."""
    rows, cols = like.shape
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": rows, "width": cols}
    profile |= {"transform": like.transform, "crs": CRS_CODE, "nodata": np.nan}
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(values, 1)


def read(path: Path) -> np.ndarray:
    """Read a band."""
    with rasterio.open(path) as raster:
        return np.asarray(raster.read(1))


def gdaldem(source: Path, target: Path) -> None:
    """Let gdaldem compute degrees."""
    command = ["gdaldem", "slope", "-q", str(source), str(target)]
    subprocess.run(command, check=True, env=foreign_environment())


def rows() -> list[Row]:
    """Measure."""
    depth = lake_grid()
    copied = np.empty_like(depth.values)
    quick: Sides = {
        "copy": lambda: np.copyto(copied, depth.values),
        "fresh": depth.values.copy,
        "ratio": lambda: slope(depth, unit="ratio"),
        "degree": lambda: slope(depth, unit="degree"),
        "central": lambda: slope(depth, unit="ratio", method="zevenbergen-thorne"),
        "aspect": lambda: aspect(depth),
        "profile": lambda: curvature(depth, kind="profile"),
        "plan": lambda: curvature(depth, kind="plan"),
        "total": lambda: curvature(depth, kind="total"),
        "rugosity": lambda: surface_area_ratio(depth),
        "roughness": lambda: roughness(depth),
        "ruggedness": lambda: ruggedness_index(depth),
        "relief": lambda: shaded_relief(depth),
        "kernel": lambda: slope_kernel(depth.values, depth.cell, HORN, DEGREES, copied),
    }
    for side in quick.values():
        side()  # compiled kernels are loaded once
    fast = medians(quick, ROUNDS)
    with tempfile.TemporaryDirectory() as name:
        source, target = Path(name) / "depth.tif", Path(name) / "out.tif"
        write_plain(depth.values, depth, source)
        slow = medians(
            {
                "gdaldem": lambda: gdaldem(source, target),
                "files": lambda: write_plain(read(source), depth, target),
                "degree": quick["degree"],
                "kernel": quick["kernel"],
            },
            SLOW_ROUNDS,
        )
        gdaldem(source, target)
        same = _difference(slope(depth, unit="degree").values, read(target))
    return _rows(fast, slow, same)


def _difference(ours: np.ndarray, theirs: np.ndarray) -> float:
    """Greatest difference where both have a value; theirs has none at the shore."""
    both = np.isfinite(ours) & np.isfinite(theirs) & (theirs != -9999)
    return float(np.abs(ours - theirs)[both].max())


def _rows(fast: dict[str, float], slow: dict[str, float], difference: float) -> list[Row]:
    copy, fresh = fast["copy"], fast["fresh"]
    computing = slow["gdaldem"] - slow["files"]
    cells = "of 5000 x 5000 cells"
    return [
        Row(f"slope as ratio {cells}", "np.copyto", fast["ratio"] / copy, SLOWER, at_most=3),
        Row(f"slope as ratio {cells}", "a fresh copy", fast["ratio"] / fresh, SLOWER),
        Row(f"slope in degrees {cells}", "np.copyto", fast["degree"] / copy, SLOWER),
        *(
            Row(f"{what} {cells}", "np.copyto", fast[side] / copy, SLOWER, at_most=goal)
            for side, what, goal in COPIES
        ),
        Row(
            f"slope in degrees {cells}, into an array that is there",
            "gdaldem slope, reading and writing",
            slow["gdaldem"] / slow["kernel"],
        ),
        Row(
            f"slope in degrees {cells}, making its array",
            "gdaldem slope, reading and writing",
            slow["gdaldem"] / slow["degree"],
            at_least=20,
        ),
        Row(f"slope in degrees {cells}", "gdaldem less read and write", computing / slow["degree"]),
        Row("greatest difference of slopes", "gdaldem", difference, "degrees", at_most=1e-3),
    ]


if __name__ == "__main__":
    show(rows())
