"""How much of a raster to work on at a time, so that memory holds it."""

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

from toolbox.blocks.memory import memory_left, raster_memory
from toolbox.formats.raster_blocks import TILE
from toolbox.layers.grid_windows import GridWindows
from toolbox.tool import Tool

__all__ = ["window_size"]

_LAYERS = 4
"""Rasters of a window's size while it is read and worked on, of four bytes a cell."""

_ROW_LAYERS = 4
"""Rasters of the size of a block of whole rows while it is put together and written."""

_TALLEST = 16 * TILE
_CUT, _LOW = 1.1, 1.5
"""What it costs to cut rows, and to write less than whole tiles: as if so much more were read."""

_NEARLY = 1.05
"""Of windows that cost as much as the best, or up to so many times, the smallest is taken."""


class _Choice(NamedTuple):
    needed: int
    cost: float
    rows: int
    cols: int


def window_size(
    tool: Tool, depth: GridWindows, options: dict[str, Any], allowed: int, fixed: int
) -> tuple[int, int]:
    """Choose how much to keep of a window.

    Parameters
    ----------
    tool : Tool
        With its reach declared.
    depth : GridWindows
        The raster.
    options : dict
        The tool's.
    allowed : int
        Memory for the whole process, bytes.
    fixed : int
        What is to be left for other things, bytes.

    Returns
    -------
    (int, int)
        Rows and columns, so that little is read twice.

    Raises
    ------
    ParameterError
        If memory is too little for the smallest window, with the amount that would do.
    """
    choices = list(_choices(tool, depth, options))
    room = memory_left(allowed, fixed + min(choices).needed) - fixed
    fitting = [choice for choice in choices if choice.needed <= room]
    best = min(choice.cost for choice in fitting)
    taken = min(choice for choice in fitting if choice.cost <= _NEARLY * best)
    return taken.rows, taken.cols


def _choices(tool: Tool, depth: GridWindows, options: dict[str, Any]) -> Iterator[_Choice]:
    reach = tool.reach(depth, options)
    for rows, cols in _sizes(depth.shape):
        shape = min(rows + 2 * reach, depth.shape[0]), min(cols + 2 * reach, depth.shape[1])
        needed = raster_memory(shape, layers=_LAYERS) + tool.workspace(depth, shape, options)
        needed += raster_memory((rows, depth.shape[1]), layers=_ROW_LAYERS)
        cost = shape[0] * shape[1] / (rows * cols)
        cost *= (_CUT if cols < depth.shape[1] else 1) * (_LOW if rows < TILE else 1)
        yield _Choice(needed, cost, rows, cols)


def _sizes(shape: tuple[int, int]) -> Iterator[tuple[int, int]]:
    """Give whole tiles and, for want of memory, less than a tile's rows; whole rows and parts."""
    heights = [32, 64, 128, 256, *range(TILE, _TALLEST + 1, TILE)]
    parts = {math.ceil(shape[1] / 2**k / TILE) * TILE for k in range(20)}
    for rows in sorted({min(height, shape[0]) for height in heights}):
        for cols in sorted({min(width, shape[1]) for width in parts}):
            yield rows, cols
