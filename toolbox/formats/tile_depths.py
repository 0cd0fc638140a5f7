"""Tile depths: which colour a grid has at the pixels of a picture in another projection."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from toolbox.formats.captions import check_on_earth
from toolbox.formats.depth_colours import DepthColours, shares

if TYPE_CHECKING:
    from affine import Affine

__all__ = ["TileDepths"]

_SQUARE = 32  # pixels along a side of squares whose corners alone are projected


@dataclass(frozen=True, eq=False)
class TileDepths:
    """Values of a grid as steps of its colours, to be read off in another projection.

    Parameters
    ----------
    values : (rows, cols) array of float32
        From 0, the first colour, to the last; with a border of NaN.
    transform : Affine
        From column, row of a cell's centre to coordinates of the grid.
    move : pyproj.Transformer
        From the pictures' CRS to that of the grid.
    bare : int
        Number of the step that stands for no value.
    """

    values: np.ndarray
    transform: "Affine"
    move: Any
    bare: int

    @classmethod
    def of(cls, colours: DepthColours, crs: str) -> Self:
        """Make them of a grid and its colours, for pictures in `crs`."""
        import pyproj
        from affine import Affine

        grid, last = colours.grid, len(colours.colours) - 1
        steps = last * shares(grid.values.astype(np.float32), *colours.limits)
        move = pyproj.Transformer.from_crs(crs, check_on_earth(grid.crs, grid.name), always_xy=True)
        centres = grid.transform @ Affine.translation(-0.5, -0.5)
        return cls(_bordered(steps), centres, move, last + 1)

    def coarse(self, pixel: float) -> Self:
        """Return them on cells wider than half of `pixel` metres, each the mean of four or more.

        Of four cells two at least must have a value.
        """
        from affine import Affine

        if 2 * self.transform.a > pixel:
            return self
        cells = self.values[1:-1, 1:-1]
        even = [(0, size % 2) for size in cells.shape]
        four = np.pad(cells, even, constant_values=np.nan)
        four = four.reshape(len(four) // 2, 2, -1, 2)
        known = np.isfinite(four)
        count = known.sum(axis=(1, 3))
        total = np.where(known, four, 0).sum(axis=(1, 3))
        mean = np.where(count > 1, total / np.maximum(count, 1), np.nan)
        wider = self.transform @ Affine(2, 0, -0.5, 0, 2, -0.5)
        return type(self)(_bordered(mean), wider, self.move, self.bare).coarse(pixel)

    def steps(self, transform: "Affine", shape: tuple[int, int]) -> np.ndarray:
        """Return the step of each pixel of a picture, shape `shape`, uint16.

        Parameters
        ----------
        transform : Affine
            From column, row of the picture to its CRS.
        shape : (int, int)
            Its rows and columns, multiples of 32.
        """
        from toolbox.formats.kernels import read_off

        rows, cols = (_SQUARE * np.arange(size // _SQUARE + 1) for size in shape)
        easting, northing = self.move.transform(*(transform @ np.meshgrid(cols, rows)))
        col, row = ~self.transform @ (easting, northing)
        steps = np.full(shape, self.bare, np.uint16)
        if self._some_between(row, col):
            read_off(self.values, row, col, _SQUARE, steps)
        return steps

    def _some_between(self, row: np.ndarray, col: np.ndarray) -> bool:
        """Tell whether there are values in a box about rows and columns."""
        spans = []
        for place, size in zip((row, col), self.values.shape, strict=True):
            if not np.isfinite(place).all():
                return True
            first, last = int(place.min()), int(place.max()) + 2
            spans.append(slice(max(first, 0), min(max(last, 0), size)))
        return bool(np.isfinite(self.values[tuple(spans)]).any())


def _bordered(values: np.ndarray) -> np.ndarray:
    return np.pad(values.astype(np.float32), 1, constant_values=np.nan)
