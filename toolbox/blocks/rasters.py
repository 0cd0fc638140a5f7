"""Rasters that are larger than memory: tools carried out piece by piece, the same to the bit."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolbox.blocks.memory import fits, in_gib, memory_left, raster_memory
from toolbox.blocks.window_size import window_size
from toolbox.errors import TooLargeError
from toolbox.formats.raster_blocks import TILE, tile_cache, write_grid_blocks
from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks
from toolbox.layers.grid_windows import GridWindows, by_windows
from toolbox.tool import Tool

__all__ = ["Written", "derived_blocks", "too_large", "write_blocks", "write_derived"]

_WHOLE = 8
"""Rasters held at once, of four bytes a cell, where one is made and written in one go."""

_LAYERS = 4
"""Rasters of a block's size while it is made and written, of four bytes a cell."""

_SPARE = 24 * 2**20
"""Bytes for what allocators keep, and small things."""

_FINISHING = 80 * 2**20
"""Bytes that are taken while the finished file is made, beside a row of tiles."""

_LOW, _MOST = 32, 4
"""Least rows of a block, and most tiles one below the other."""

_CACHE, _LEAST_CACHE = 2**27, 2**24
"""Bytes of tiles that GDAL keeps: an eighth of the memory allowed, between these."""


@dataclass(frozen=True)
class Written:
    """What is worth telling of a raster that was written.

    Parameters
    ----------
    known : bool
        Whether any cell has a value.
    notes : tuple of str
        What a reader must know to use it.
    """

    known: bool
    notes: tuple[str, ...]


def derived_blocks(
    tool: Tool, depth: GridWindows, options: dict[str, Any], size: tuple[int, int]
) -> GridBlocks:
    """Carry out a tool window by window.

    Parameters
    ----------
    tool : Tool
        From raster to raster, with its reach declared.
    depth : GridWindows
        The raster.
    options : dict
        The tool's other parameters; what is left out has its default.
    size : (int, int)
        Rows and columns that are kept of a window; any give the same values.

    Returns
    -------
    GridBlocks
        What the tool gives of the whole raster, to the bit.

    Raises
    ------
    ParameterError
        If an option is not allowed, or does not fit the raster.

    Examples
    --------
    >>> from affine import Affine
    >>> import numpy as np
    >>> from toolbox.terrain.slope import slope
    >>> rise = np.arange(6.0).repeat(4).reshape(6, 4)
    >>> depth = Grid(rise, Affine(1, 0, 0, 0, -1, 6), None, "depth", "m")
    >>> blocks = derived_blocks(slope.tool, GridWindows.of(depth), {"unit": "ratio"}, (3, 4))
    >>> [float(block.values.max()) for block in blocks]
    [1.0, 1.0]
    """
    tool.check(options)
    reach = tool.reach(depth, options)
    if tool.blocks is not None:
        found: GridBlocks = tool.blocks(depth, size=size, **options)
        return found
    compute = _on_windows(tool, options)
    return by_windows(depth, compute, reach=reach, size=size)


def _on_windows(tool: Tool, options: dict[str, Any]) -> Callable[[Grid, tuple[int, int]], Grid]:
    def compute(window: Grid, _: tuple[int, int]) -> Grid:
        grid: Grid = tool.function(window, **options)
        return grid

    return compute


def write_derived(
    tool: Tool, depth: GridWindows, options: dict[str, Any], path: Path, allowed: int
) -> Written:
    """Carry out a tool on a raster of any size and write the result.

    Parameters
    ----------
    tool, depth, options
        As for :func:`derived_blocks`.
    path : Path
        GeoTIFF to write.
    allowed : int
        Memory for the whole process, bytes.

    Returns
    -------
    Written
        What is worth telling.

    Raises
    ------
    ParameterError
        If an option is not allowed, or memory is too little, with the amount that would do.
    OutputError
        If the file cannot be written.
    """
    tool.check(options)
    cache = _cache(allowed)
    with tile_cache(cache):
        rows, cols = (min(side, 8) for side in depth.shape)
        tool.function(depth.read((0, rows), (0, cols)), **options)  # loads what is compiled
        memory_left(allowed, _finishing(depth.shape[1]) + cache)
        size = window_size(tool, depth, options, allowed, _SPARE + cache)
        return _write(derived_blocks(tool, depth, options, size), path, cache)


def write_blocks(
    tool: Tool, layer: Any, options: dict[str, Any], path: Path, allowed: int
) -> Written:
    """Make a raster of any size from a layer in memory, and write it.

    Parameters
    ----------
    tool : Tool
        One that gives its result by blocks.
    layer : Tin
        What it takes.
    options, path, allowed
        As for :func:`write_derived`.

    Returns
    -------
    Written
        What is worth telling.

    Raises
    ------
    ParameterError, OutputError
        As :func:`write_derived` does.
    """
    tool.check(options)
    assert tool.blocks is not None
    cache = _cache(allowed)
    cols = tool.blocks(layer, **options).shape[1]
    low, tile = (raster_memory((rows, cols), layers=_LAYERS) for rows in (_LOW, TILE))
    left = memory_left(allowed, cache + max(_finishing(cols), _SPARE + low)) - _SPARE - cache
    rows = min(left // tile, _MOST) * TILE or left // low * _LOW
    return _write(tool.blocks(layer, **options, rows=rows), path, cache)


def too_large(shape: tuple[int, int], path: Path, allowed: int) -> bool:
    """Tell whether a raster is too large to be made in one go.

    Parameters
    ----------
    shape : (int, int)
        Its rows and columns.
    path : Path
        The file it is to be written to.
    allowed : int
        Memory for the whole process, bytes.

    Raises
    ------
    TooLargeError
        If it is, and the file is not one that can be written piece by piece.
    """
    if fits(shape, allowed, layers=_WHOLE):
        return False
    if path.suffix.lower() != ".tif":
        raise TooLargeError(
            f"{shape[0]:,} x {shape[1]:,} cells need {in_gib(raster_memory(shape, layers=_WHOLE))} "
            f"of memory, {in_gib(allowed)} are allowed; a raster as large is written as .tif, got "
            f"{path.name!r}"
        )
    return True


def _finishing(cols: int) -> int:
    return _FINISHING + raster_memory((TILE, cols), layers=1)


def _cache(allowed: int) -> int:
    return min(max(allowed // 8, _LEAST_CACHE), _CACHE)


def _write(blocks: GridBlocks, path: Path, cache: int) -> Written:
    notes: dict[str, None] = dict.fromkeys(blocks.notes)

    def watched() -> Iterator[Grid]:
        for block in blocks:
            notes.update(dict.fromkeys(block.notes))
            yield block
            del block  # one is held at a time

    known = write_grid_blocks(GridBlocks(watched, shape=blocks.shape), path, cache=cache)
    return Written(known, tuple(notes))
