"""Layers of wide windows on 5000 x 5000 cells, against a memory copy, scipy and gdaldem.

The copy is np.copyto into an array that is there; the tools also make their result. gdaldem runs in
its own process on an uncompressed GeoTIFF and writes one; scipy takes means over squares, as it has
nothing quick for discs, of a raster without missing cells.
"""

import subprocess
import tempfile
from pathlib import Path

import numpy as np
from bench_terrain import lake_grid, read, write_plain
from measure import SLOWER, Row, Sides, foreign_environment, medians, show
from scipy.ndimage import correlate, uniform_filter

from toolbox.layers import Grid
from toolbox.terrain.landforms import landforms
from toolbox.terrain.position import relative_position
from toolbox.terrain.surface import arc_chord_ratio, vector_ruggedness

ROUNDS, SLOW_ROUNDS = 15, 3
CUT = 400
"""Side of the piece that scipy correlates with the ring itself, cells."""


def position(depth: Grid, cells: float) -> Grid:
    """Return the position over a ring from half a radius to the radius, in cells."""
    return relative_position(depth, inner=cells / 2 * depth.cell, outer=cells * depth.cell)


def squares(values: np.ndarray, cells: int) -> np.ndarray:
    """Return the same by scipy over square rings."""
    whole, hole = 2 * cells + 1, cells + 1
    outer = uniform_filter(values, whole) * whole**2
    inner = uniform_filter(values, hole) * hole**2
    return np.asarray((outer - inner) / (whole**2 - hole**2) - values)


def gdaldem(source: Path, target: Path) -> None:
    """Let gdaldem compute heights above the mean of the eight neighbours."""
    command = ["gdaldem", "TPI", "-q", str(source), str(target)]
    subprocess.run(command, check=True, env=foreign_environment())


def rows() -> list[Row]:
    """Measure."""
    depth = lake_grid()
    copied = np.empty_like(depth.values)
    filled = np.nan_to_num(depth.values, nan=0.0)
    quick: Sides = {
        "copy": lambda: np.copyto(copied, depth.values),
        "position 10": lambda: position(depth, 10),
        "position 50": lambda: position(depth, 50),
        "ruggedness": lambda: vector_ruggedness(depth, window=3 * depth.cell),
        "arc-chord": lambda: arc_chord_ratio(depth, window=3 * depth.cell),
    }
    for side in quick.values():
        side()  # compiled kernels are loaded once
    fast = medians(quick, ROUNDS)
    seen: Sides = {
        "landforms": lambda: landforms(depth, radius=20 * depth.cell),
        "position 10": quick["position 10"],
        "scipy": lambda: squares(filled, 10),
    }
    seen["landforms"]()
    slow = medians(seen, SLOW_ROUNDS)
    return [*_fast_rows(fast), *_slow_rows(slow), *_beside_gdaldem(depth), _beside_scipy(depth)]


def _fast_rows(fast: dict[str, float]) -> list[Row]:
    copy, cells = fast["copy"], "of 5000 x 5000 cells"
    return [
        Row(
            f"position over a ring of {radius} cells' radius {cells}",
            "np.copyto",
            fast[f"position {radius}"] / copy,
            SLOWER,
            at_most=8,
        )
        for radius in (10, 50)
    ] + [
        Row(
            f"vector ruggedness, window of 3 cells, {cells}",
            "np.copyto",
            fast["ruggedness"] / copy,
            SLOWER,
            at_most=12,
        ),
        Row(
            f"arc-chord ratio, window of 3 cells, {cells}",
            "np.copyto",
            fast["arc-chord"] / copy,
            SLOWER,
        ),
    ]


def _slow_rows(slow: dict[str, float]) -> list[Row]:
    return [
        Row(
            "landforms, 20 cells' radius, 5000 x 5000 cells", "", slow["landforms"], "s", at_most=20
        ),
        Row(
            "position over a ring of 10 cells' radius",
            "scipy's uniform_filter over square rings",
            slow["scipy"] / slow["position 10"],
            at_least=10,
        ),
    ]


def _beside_gdaldem(depth: Grid) -> list[Row]:
    """Measure the ring of eight neighbours."""

    def ours() -> Grid:
        return relative_position(depth, inner=0, outer=1.5 * depth.cell, known=1)

    with tempfile.TemporaryDirectory() as name:
        source, target = Path(name) / "depth.tif", Path(name) / "out.tif"
        write_plain(depth.values, depth, source)
        ours()
        slow = medians({"gdaldem": lambda: gdaldem(source, target), "ours": ours}, SLOW_ROUNDS)
        theirs = read(target)
    both = np.isfinite(theirs) & (theirs != -9999)
    difference = np.abs(ours().values + theirs)[both].max()
    ratio = slow["gdaldem"] / slow["ours"]
    return [
        Row("position over eight neighbours", "gdaldem TPI, reading and writing", ratio),
        Row("greatest difference of it", "gdaldem TPI", float(difference), "m", at_most=1e-4),
    ]


def _beside_scipy(depth: Grid) -> Row:
    """Compare a piece without missing cells with a correlation in double precision."""
    middle = slice(depth.shape[0] // 2, depth.shape[0] // 2 + CUT)
    piece = Grid(depth.values[middle, middle], depth.transform, depth.crs, "depth", "m")
    wide, inside = 10, slice(10, -10)
    single = np.zeros((2 * CUT, 2 * CUT), np.float32)
    single[CUT, CUT] = 1
    spot = Grid(single, depth.transform, depth.crs, "depth", "m")
    around = slice(CUT - wide, CUT + wide + 1)
    ring = position(spot, 10).values[around, around].astype(float)  # what one cell lends others
    ring[wide, wide] = 0
    exact = correlate(piece.values.astype(float), ring) - piece.values
    found = position(piece, 10).values
    difference = np.abs(found - exact)[inside, inside].max()
    return Row(
        "greatest difference of positions",
        "scipy's correlate",
        float(difference),
        "m",
        at_most=1e-4,
    )


if __name__ == "__main__":
    show(rows())
