"""Blocks of a raster: whole rows from north to south, of which one is held at a time."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.grid import Grid

if TYPE_CHECKING:
    from affine import Affine

__all__ = ["GridBlocks", "continued", "corner", "moved", "overlapping", "row_blocks"]

_ROWS = 512


@dataclass(frozen=True, eq=False)
class GridBlocks:
    """A raster that is gone through block by block, because it may be larger than memory.

    Parameters
    ----------
    begin : callable
        Begins at the north edge and gives blocks of whole rows, one at a time; called anew each
        time that the raster is gone through.
    notes : tuple of str
        What a reader must know to use it.
    shape : (int, int), optional
        Rows and columns of the whole, where they are known beforehand.

    Examples
    --------
    >>> from affine import Affine
    >>> grid = Grid(np.ones((3, 2)), Affine(1, 0, 0, 0, -1, 3), None, "depth", "m")
    >>> [block.shape for block in GridBlocks.of(grid, rows=2)]
    [(2, 2), (1, 2)]
    """

    begin: Callable[[], Iterator[Grid]]
    notes: tuple[str, ...] = ()
    shape: tuple[int, int] | None = None

    @classmethod
    def of(cls, grid: Grid, *, rows: int = _ROWS) -> "GridBlocks":
        """Give a grid in memory in blocks."""
        return cls(lambda: row_blocks(grid, rows=rows), grid.notes, grid.shape)

    def __iter__(self) -> Iterator[Grid]:
        """Go through the blocks from north to south."""
        return self.begin()


def row_blocks(grid: Grid, *, rows: int = _ROWS) -> Iterator[Grid]:
    """Give a grid in blocks of whole rows, from north to south."""
    for start in range(0, grid.shape[0], rows):
        yield moved(grid, grid.values[start : start + rows], down=start)


def continued(blocks: Iterable[Grid]) -> Iterator[Grid]:
    """Give blocks as long as each continues the one before.

    Raises
    ------
    LayerError
        If one does not.
    """
    expected: Any = None
    for block in blocks:
        place = (block.transform.c, block.transform.f, block.cell, block.shape[1])
        if expected and not np.allclose(place, expected, rtol=1e-9, atol=1e-3 * block.cell):
            raise LayerError(
                "blocks must be whole rows of one raster from north to south, got left, top, "
                f"cell and columns {place} after a block that is followed by {expected}"
            )
        expected = (place[0], block.bounds[1], *place[2:])
        yield block
        del block  # one is held at a time


def overlapping(blocks: Iterable[Grid]) -> Iterator[Grid]:
    """Give each block with the last row of the one before on top, and rows of no data about all."""
    above: np.ndarray | None = None
    last: Grid | None = None
    for block in blocks:
        row = np.full((1, block.shape[1]), np.nan, np.float32) if above is None else above
        yield moved(block, np.vstack([row, block.values]), down=-1)
        above, last = block.values[-1:].copy(), block
    if last is not None and above is not None:
        ended = np.vstack([above, np.full_like(above, np.nan)])
        yield moved(last, ended, down=last.shape[0] - 1)


def moved(grid: Grid, values: np.ndarray, *, down: int = 0, right: int = 0) -> Grid:
    """Return values of cells that begin so many rows farther down and columns to the right."""
    return replace(grid, values=values, transform=corner(grid.transform, down, right))


def corner(transform: "Affine", down: int, right: int = 0) -> "Affine":
    """Return the transform of cells that begin so many rows and columns farther."""
    a, b, c, d, e, f, *_ = transform
    return type(transform)(a, b, c + right * a, d, e, f + down * e)
