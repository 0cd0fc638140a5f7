"""Gridding: the bed as a depth raster."""

import math
from collections.abc import Iterator
from typing import Annotated, Any

import numpy as np

from toolbox.errors import ParameterError, TooLargeError
from toolbox.layers import Grid, Tin
from toolbox.layers.grid_blocks import GridBlocks
from toolbox.tool import Range, tool
from toolbox.units import round_number

__all__ = ["default_cell", "grid_bed", "grid_bed_blocks", "grid_shape"]

_GIB = 2**30
_MOST = 1e9  # cells along a side: beyond it no memory helps
_COPIES = 4  # the grid itself, one derived from it, and what writing takes


def grid_bed_blocks(bed: Tin, *, cell: float | None = None, rows: int = 512) -> GridBlocks:
    """Evaluate the bed at the centres of square cells, some rows at a time.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    cell : float, optional
        Width of a cell, m; if left out, as for :func:`grid_bed`.
    rows : int
        Of a block, rounded up to whole bands of 32.

    Returns
    -------
    GridBlocks
        What :func:`grid_bed` gives, to the bit, however large it is.

    Raises
    ------
    TooLargeError
        If a row would have more than 1e9 cells.
    ParameterError
        Once all is gone through: if no centre lies in the water.
    """
    from toolbox.bed import kernels

    cell = default_cell(bed) if cell is None else float(cell)
    left, top, shape = _snapped(bed, cell)
    step = -(-rows // kernels.BAND) * kernels.BAND

    def begin() -> Iterator[Grid]:
        northing = bed.vertices[:, 1]
        bands = kernels.sort_into_bands(northing, bed.triangles, top, cell, shape[0])
        known = False
        for first in range(0, shape[0], step):
            height = min(step, shape[0] - first)
            block = _filled(bed, bands, (left, top, cell), (height, shape[1]), first)
            known = known or not np.isnan(block.values).all()
            yield block
        _check_known(known, cell)

    return GridBlocks(begin, shape=shape)


@tool("Depth grid", blocks=grid_bed_blocks)
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
    from toolbox.bed import kernels

    cell = default_cell(bed) if cell is None else float(cell)
    left, top, shape = _snapped(bed, cell)
    _check_memory(shape, cell)
    bands = kernels.sort_into_bands(bed.vertices[:, 1], bed.triangles, top, cell, shape[0])
    grid = _filled(bed, bands, (left, top, cell), shape)
    _check_known(not np.isnan(grid.values).all(), cell)
    return grid


def _filled(
    bed: Tin, bands: Any, corner: tuple[float, float, float], shape: tuple[int, int], first: int = 0
) -> Grid:
    """Grid rows from the `first` on, below a corner (left, top) of cells so wide."""
    from affine import Affine

    from toolbox.bed import kernels

    (start, member), (left, top, cell) = bands, corner
    own = start[first // kernels.BAND :][: -(-shape[0] // kernels.BAND) + 1]
    values = np.full(shape, np.nan, np.float32)
    mesh = (bed.vertices, bed.depth, bed.triangles)
    kernels.fill(*mesh, own, member, left, top, cell, values, first)
    place = Affine(cell, 0, left, 0, -cell, top - first * cell)
    return Grid(values, place, bed.crs, "depth", "m")


def _check_known(known: bool, cell: float) -> None:
    if not known:
        raise ParameterError(f"no cell centre lies in the water: cell = {cell:g} m is too wide")


def default_cell(bed: Tin) -> float:
    """Choose a cell width that keeps what the bed's vertices tell, m."""
    return round_number(math.sqrt(float(bed.areas().sum()) / len(bed.depth)) / 2)


def grid_shape(bed: Tin, cell: float) -> tuple[int, int]:
    """Return the rows and columns of the grid of a bed."""
    return _snapped(bed, cell)[2]


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
