"""Gridding: the bed as a depth raster."""

import math
from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError, TooLargeError
from toolbox.layers import Grid, Tin
from toolbox.tool import Range, tool
from toolbox.units import round_number

__all__ = ["default_cell", "grid_bed"]

_GIB = 2**30
_MOST = 1e9  # cells along a side: beyond it no memory helps
_COPIES = 4  # the grid itself, one derived from it, and what writing takes


@tool("Depth grid")
def grid_bed(bed: Tin, *, cell: Annotated[float, Range("m", above=0)] | None = None) -> Grid:
    """Evaluate the bed at the centres of square cells.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    cell : float, optional
        Width of a cell; if left out, about half the spacing of the bed's vertices, rounded down
        to 1, 2 or 5 times a power of ten.

    Returns
    -------
    Grid
        Depth in metres, positive down, exact on each triangle; NaN outside the water. Cell edges
        lie on whole multiples of the cell width, so grids of one cell width fit together.

    Raises
    ------
    TooLargeError
        If the grid would not fit into the memory that is free, with a cell width that would.
    ParameterError
        If cells are so wide that no centre lies in the water.

    Notes
    -----
    A cell belongs to the water if its centre does. A centre on the edge between two triangles
    belongs to exactly one.
    """
    from affine import Affine

    from toolbox.bed import kernels

    cell = default_cell(bed) if cell is None else float(cell)
    left, top, shape = _snapped(bed, cell)
    _check_memory(shape, cell)
    values = np.full(shape, np.nan, np.float32)
    bands = kernels.sort_into_bands(bed.vertices[:, 1], bed.triangles, top, cell, shape[0])
    kernels.fill(bed.vertices, bed.depth, bed.triangles, *bands, left, top, cell, values)
    if np.isnan(values).all():
        raise ParameterError(f"no cell centre lies in the water: cell = {cell:g} m is too wide")
    return Grid(values, Affine(cell, 0, left, 0, -cell, top), bed.crs, "depth", "m")


def default_cell(bed: Tin) -> float:
    """Choose a cell width that keeps what the bed's vertices tell, m."""
    return round_number(math.sqrt(float(bed.areas().sum()) / len(bed.depth)) / 2)


def _snapped(bed: Tin, cell: float) -> tuple[float, float, tuple[int, int]]:
    low, high = bed.vertices.min(axis=0), bed.vertices.max(axis=0)
    with np.errstate(over="ignore"):
        left, bottom = np.floor(low / cell) * cell
        right, top = np.ceil(high / cell) * cell
    if not np.isfinite([left, bottom, right, top]).all() or (high - low).max() / cell > _MOST:
        raise TooLargeError(
            f"cell = {cell:g} m is too fine for a water {(high - low).max():.0f} m long"
        )
    return float(left), float(top), (round((top - bottom) / cell), round((right - left) / cell))


def _check_memory(shape: tuple[int, int], cell: float) -> None:
    import psutil

    needed = 4.0 * _COPIES * max(shape[0], 1) * max(shape[1], 1)
    free = psutil.virtual_memory().available
    if needed > free:
        fits = round_number(cell * math.sqrt(needed / free), up=True)
        raise TooLargeError(
            f"cell = {cell:g} m makes {shape[0]:,} x {shape[1]:,} cells, which need "
            f"{needed / _GIB:,.0f} GiB; {free / _GIB:,.1f} GiB are free; "
            f"cell = {fits:g} m would fit"
        )
