"""Hypsography of depth rasters, block by block, exact for the way the cells are read."""

from collections.abc import Iterable
from typing import Annotated, Literal

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Grid, Table
from toolbox.layers.crs import is_plane
from toolbox.layers.geodesy import areal_scale
from toolbox.layers.grid_blocks import GridBlocks, continued, overlapping
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.volume.hypsography import completed, figures, stepped

__all__ = ["Reading", "area_and_volume_of_blocks", "hypsography_of_grid"]

Reading = Literal["stepped", "bilinear"]

_NODES = 65  # along a row: the scale of a map is smooth
_MANY_ZEROS = 0.05  # of the cells: no shore is so wide (judgement)


def area_and_volume_of_blocks(
    blocks: Iterable[Grid], levels: np.ndarray, *, reading: Reading = "bilinear"
) -> tuple[np.ndarray, np.ndarray]:
    """Compute the area at or deeper than each level, and the volume of water below it.

    Parameters
    ----------
    blocks : iterable of Grid
        Depths, m, positive down: blocks of whole rows of one raster, from north to south. Only
        one is held at a time.
    levels : (k,) array
        Depths below the datum, m, ascending.
    reading : str
        ``"stepped"``: each cell is a box with a level floor. ``"bilinear"``: the bed runs through
        the cell centres, bilinear between each four.

    Returns
    -------
    area, volume : (k,) array
        On the ground, m2 and m3.

    Raises
    ------
    LayerError
        If a block does not continue the one before.

    Notes
    -----
    Both are exact for the reading. Where one of four neighbours is missing, as all along the shore,
    the quarters of the others about that corner lie level: so the water has the area of its cells
    either way, and the rim of half a cell is read as boxes are. Levels are taken to 32 bits, the
    precision of a grid, so that a cell exactly as deep as a level counts.
    """
    from toolbox.volume.kernels.levels import accumulate_boxes, accumulate_patches

    wanted = np.asarray(levels, np.float32).astype(float)
    sums = np.zeros((4, len(wanted) + 1))
    add = accumulate_boxes if reading == "stepped" else accumulate_patches
    parts = continued(blocks)
    for block in parts if reading == "stepped" else overlapping(parts):
        sums += add(block.values, _ground(block), wanted).sum(axis=0)
    return completed(sums, wanted)


def _ground(block: Grid) -> np.ndarray:
    """Area on the ground of the cells of the first and the last row, (2, cols), m2."""
    rows, cols = block.shape
    if is_plane(block.crs):
        return np.full((2, cols), block.cell**2)
    nodes = np.linspace(0, cols - 1, _NODES)
    left, _, _, top = block.bounds
    places = [
        np.column_stack([left + (nodes + 0.5) * block.cell, np.full(_NODES, top - middle)])
        for middle in (block.cell / 2, (rows - 0.5) * block.cell)
    ]
    scale = areal_scale(block.crs, np.vstack(places)).reshape(2, _NODES)
    return np.array([block.cell**2 / np.interp(np.arange(cols), nodes, line) for line in scale])


@tool("Hypsographic table of a raster")
def hypsography_of_grid(
    depth: GridBlocks,
    *,
    reading: Reading = "bilinear",
    step: Annotated[float, Range("m", above=0)] | None = None,
    levels: Annotated[tuple[float, ...], Range("m")] | None = None,
    datum: Annotated[float, Range("m")] | None = None,
) -> Table:
    """Tabulate area and volume by depth of a bed that is given as a raster.

    Parameters
    ----------
    depth : GridBlocks
        Depth below the datum water level, m, positive down; no data is no water. Of a grid in
        memory ``GridBlocks.of(grid)``.
    reading : str
        ``"stepped"``: each cell is a box with a level floor. ``"bilinear"``: the bed runs through
        the cell centres, bilinear between each four; the rim of half a cell, beyond the outermost
        centres, lies level.
    step : float, optional
        Depth between rows; if left out, 1, 2 or 5 times a power of ten that gives 10 to 25 rows.
    levels : tuple of float, optional
        The depths to tabulate instead, negative above the datum.
    datum : float, optional
        Elevation of the datum water level, for the column of elevations.

    Returns
    -------
    Table
        Columns ``depth_m, elevation_m, area_m2, volume_below_m3, volume_above_m3, area_share,
        volume_share``, as of the hypsographic table of a bed; shares and volumes above refer to
        the datum.

    Raises
    ------
    LayerError
        If there is no water in the raster.
    ParameterError
        If `step` and `levels` are both given.

    Notes
    -----
    Exact for the reading, on the ground. A cell of exactly 0 m counts as water's edge, to the area
    and not to the volume; where more than 5 % of the cells are so, as where land was written as 0,
    a note tells. Cells above the datum are known land that a rise of the
    water would cover; nobody knows how it would spread beyond the raster. The raster is gone
    through twice, in blocks of rows of which one is held at a time, so that it may be larger than
    memory.
    """
    if step is not None and levels is not None:
        raise ParameterError("give step or levels, not both")
    if levels == ():
        raise ParameterError("levels must name at least one depth, got none")
    highest, deepest, cell, zeros = _extent(depth)
    if not deepest > 0:
        raise LayerError("the raster is nowhere deeper than the datum, there is no water in it")
    top = min(0.0, highest)
    rows = stepped(top, deepest, step) if levels is None else np.unique(np.asarray(levels, float))
    everything = np.union1d(rows, 0.0)
    found = area_and_volume_of_blocks(depth, everything, reading=reading)
    frame = figures(everything, *found, rows, 0.0, datum)
    notes: tuple[str, ...] = (
        "shares and volume above refer to depth 0 m",
        f"cells of {cell:g} m, read {reading}",
    )
    if zeros > _MANY_ZEROS:
        told = f"{zeros:.0%} of the cells are exactly 0 m deep and count to the area"
        notes += (Caution(f"{told}: if they are land, make them no data"),)
    return Table(frame, "Area and volume by depth", depth.notes + notes)


def _extent(depth: GridBlocks) -> tuple[float, float, float, float]:
    """Least and greatest depth and width of the cells, m, and the share of them at 0 m."""
    least, most, cell = np.inf, -np.inf, np.nan
    zeros = known = 0
    for block in depth:
        cell = block.cell
        least = min(least, float(np.fmin.reduce(block.values, axis=None, initial=np.inf)))
        most = max(most, float(np.fmax.reduce(block.values, axis=None, initial=-np.inf)))
        zeros += int((block.values == 0).sum())
        known += int(np.isfinite(block.values).sum())
    return least, most, cell, zeros / max(known, 1)
