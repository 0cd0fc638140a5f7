"""Rasters of a page: thinned to what a screen can show, and packed."""

import math
from typing import Any

import numpy as np
from affine import Affine

from toolbox.layers import Grid
from toolbox.report.page.packing import packed, packed_bits, whole_steps

__all__ = ["MOST_CELLS", "packed_grid", "thinned"]

MOST_CELLS = 900_000
"""Of one raster of a page."""


def thinned(grid: Grid, *, most: int = MOST_CELLS, greatest: bool = False) -> Grid:
    """Return a raster of at most so many cells.

    Parameters
    ----------
    grid : Grid
        Any raster.
    most : int
        Cells; a raster that has no more is returned as it is.
    greatest : bool
        Whether a larger cell takes the greatest value in it rather than the mean.

    Returns
    -------
    Grid
        Each cell stands for a square of whole cells of `grid`; those without a value are left out.
    """
    rows, cols = grid.shape
    step = max(1, math.ceil(math.sqrt(rows * cols / most)))
    if step == 1:
        return grid
    high, wide = -(-rows // step), -(-cols // step)
    filled = np.full((high * step, wide * step), np.nan, np.float32)
    filled[:rows, :cols] = grid.values
    blocks = filled.reshape(high, step, wide, step).swapaxes(1, 2).reshape(high, wide, -1)
    known = np.isfinite(blocks)
    if greatest:
        values = np.where(known, blocks, -np.inf).max(axis=-1)
    else:
        values = np.where(known, blocks, 0).sum(axis=-1, dtype=float) / np.maximum(
            known.sum(axis=-1), 1
        )
    values = np.where(known.any(axis=-1), values, np.nan)
    moved = grid.transform @ Affine.scale(step)
    return Grid(values, moved, grid.crs, grid.name, grid.unit, grid.notes)


def packed_grid(
    grid: Grid, *, step: float, west: float, north: float, shown: int = 1
) -> dict[str, Any]:
    """Pack a raster.

    Parameters
    ----------
    grid : Grid
        Any raster.
    step : float
        To whole multiples of this the values are rounded.
    shown : int
        Steps of what is displayed.
    west, north : float
        Easting and northing from which the page counts, m.

    Returns
    -------
    dict
        Its shape, cell and upper left corner (m east of `west` and south of `north`), the values
        over `step`, and which of them there are.
    """
    known = np.isfinite(grid.values)
    whole = whole_steps(np.where(known, grid.values, 0), step, shown=shown)
    left, _, _, top = grid.bounds
    return {
        "rows": grid.shape[0],
        "cols": grid.shape[1],
        "cell": grid.cell,
        "left": left - west,
        "top": north - top,
        "step": step,
        "unit": grid.unit,
        "values": packed(_filled(whole, known), along=grid.shape[1]),
        "known": packed_bits(known),
    }


def _filled(whole: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Give cells without a value that of a neighbour in their row, which packs to nothing."""
    columns = np.arange(whole.shape[1])
    before = np.maximum.accumulate(np.where(known, columns, -1), axis=1)
    first = np.where(known.any(axis=1), known.argmax(axis=1), 0)
    return np.take_along_axis(whole, np.where(before < 0, first[:, None], before), axis=1)
