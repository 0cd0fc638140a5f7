"""Windows of a raster: any part of it, read when it is needed."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from toolbox.layers.grid import Grid
from toolbox.layers.grid_blocks import GridBlocks, corner, moved

if TYPE_CHECKING:
    from affine import Affine

__all__ = ["GridWindows", "Span", "by_windows"]

Span = tuple[int, int]
"""First row or column, and the one after the last."""


@dataclass(frozen=True, eq=False)
class GridWindows:
    """A raster of which any window can be read, because the whole may be larger than memory.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of the whole.
    transform : Affine
        As of a grid.
    read : callable
        Gives the window of some rows and columns, each a first one and the one after the last.
    notes : tuple of str
        What a reader must know to use it.

    Examples
    --------
    >>> from affine import Affine
    >>> grid = Grid(np.ones((3, 2)), Affine(1, 0, 0, 0, -1, 3), None, "depth", "m")
    >>> GridWindows.of(grid).read((1, 3), (0, 2)).bounds
    (0.0, 0.0, 2.0, 2.0)
    """

    shape: tuple[int, int]
    transform: "Affine"
    read: Callable[[Span, Span], Grid]
    notes: tuple[str, ...] = ()

    @classmethod
    def of(cls, grid: Grid) -> "GridWindows":
        """Give a grid in memory by windows."""

        def read(rows: Span, cols: Span) -> Grid:
            values = grid.values[slice(*rows), slice(*cols)]
            return moved(grid, values, down=rows[0], right=cols[0])

        return cls(grid.shape, grid.transform, read, grid.notes)

    @property
    def cell(self) -> float:
        """Width of a cell, m."""
        return float(self.transform.a)


def by_windows(
    depth: GridWindows,
    compute: Callable[[Grid, tuple[int, int]], Grid],
    *,
    reach: int,
    size: tuple[int, int],
) -> GridBlocks:
    """Compute a raster from another, window by window.

    Parameters
    ----------
    depth : GridWindows
        What to compute from.
    compute : callable
        Takes a window and the row and column of the raster at which it begins; gives a grid on the
        window's cells.
    reach : int
        How many cells away something can lie that a cell's result depends on: by so much each
        window is read wider than it is kept.
    size : (int, int)
        Rows and columns that are kept of a window.

    Returns
    -------
    GridBlocks
        Whole rows, `size` of them at a time. Nothing is computed before one goes through it.
    """

    def begin() -> Iterator[Grid]:
        for top in range(0, depth.shape[0], size[0]):
            yield _band(depth, compute, reach, (top, min(top + size[0], depth.shape[0])), size[1])

    return GridBlocks(begin, depth.notes, depth.shape)


def _band(
    depth: GridWindows,
    compute: Callable[[Grid, tuple[int, int]], Grid],
    reach: int,
    rows: Span,
    width: int,
) -> Grid:
    """Compute some rows of the whole width."""
    cols = depth.shape[1]
    spans = [(first, min(first + width, cols)) for first in range(0, cols, width)]
    if len(spans) == 1:
        return _part(depth, compute, reach, rows, spans[0])
    values = np.empty((rows[1] - rows[0], cols), np.float32)
    for span in spans:
        found = _part(depth, compute, reach, rows, span)
        values[:, slice(*span)] = found.values
    return replace(found, values=values, transform=corner(depth.transform, rows[0]))


def _part(
    depth: GridWindows,
    compute: Callable[[Grid, tuple[int, int]], Grid],
    reach: int,
    rows: Span,
    cols: Span,
) -> Grid:
    """Compute one window and keep what nothing beyond it can change."""
    (top, end), (first, last) = (
        (max(start - reach, 0), min(stop + reach, whole))
        for (start, stop), whole in zip((rows, cols), depth.shape, strict=True)
    )
    found = compute(depth.read((top, end), (first, last)), (top, first))
    down, right = rows[0] - top, cols[0] - first
    kept = found.values[down : rows[1] - top, right : cols[1] - first]
    return moved(found, kept, down=down, right=right)
