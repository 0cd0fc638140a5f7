"""Grid: one value per square cell, north up."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected

if TYPE_CHECKING:
    from affine import Affine
    from pyproj import CRS

__all__ = ["Grid"]


@dataclass(frozen=True, eq=False)
class Grid:
    """A north-up raster of square cells.

    Parameters
    ----------
    values : (rows, cols) array of float32
        Value at each cell centre; NaN where there is none.
    transform : Affine
        From column, row to easting, northing (m) of cell corners.
    crs : CRS or None
        Projected, in metres; None is a plane.
    name, unit : str
        What the values are (``"depth"``) and their unit (``"m"``, ``"degree"``, ``"1"``).
    notes : tuple of str
        What a reader must know to use it.

    Raises
    ------
    LayerError
        If the array is not two-dimensional, or the cells are not square and north up.
    """

    values: np.ndarray
    transform: "Affine"
    crs: "CRS | None"
    name: str
    unit: str
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_projected(self.crs, "grid")
        if self.values.ndim != 2 or 0 in self.values.shape:
            raise LayerError(f"grid must have shape (rows, cols), got {self.values.shape}")
        object.__setattr__(self, "values", np.ascontiguousarray(self.values, np.float32))
        a, b, _, d, e, *_ = self.transform
        if b != 0 or d != 0 or not a > 0 or not np.isclose(a, -e, rtol=1e-9):
            raise LayerError(
                f"grid cells must be square and north up, got {tuple(self.transform)[:6]}"
            )

    @property
    def cell(self) -> float:
        """Width of a cell, m."""
        return float(self.transform.a)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, cols = self.values.shape
        return rows, cols

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the outermost cells, m."""
        left, top = self.transform.c, self.transform.f
        rows, cols = self.shape
        return left, top - rows * self.cell, left + cols * self.cell, top

    def of(self, values: np.ndarray, name: str, unit: str) -> "Grid":
        """Return other values on the same cells."""
        return replace(self, values=values, name=name, unit=unit)
