"""Surface: a bed on square cells, smoothed to what its vertices can tell, to be read anywhere."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from toolbox.bed.gridding import default_cell, grid_bed
from toolbox.features.forms import spacing_of
from toolbox.layers import Tin

__all__ = ["Surface"]

_MARGIN = 2  # cells of land around the water, so that no line of sight leaves the array


@dataclass(frozen=True, eq=False)
class Surface:
    """Depth on cells, and its fall.

    Parameters
    ----------
    depth : (rows, cols) array
        Smoothed depth, m, positive down; NaN on land.
    cell : float
        Width of a cell, m.
    left, top : float
        Outer corner of the first cell, m.
    east, north : (rows, cols) arrays
        How fast the depth grows eastwards and northwards.
    """

    depth: np.ndarray
    cell: float
    left: float
    top: float
    east: np.ndarray
    north: np.ndarray

    @classmethod
    def of(cls, bed: Tin, *, cell: float | None = None, blur: float | None = None) -> "Surface":
        """Grid a bed and smooth it by a bell of spread `blur`, m (one vertex spacing)."""
        grid = grid_bed(bed, cell=default_cell(bed) if cell is None else cell)
        blur = spacing_of(bed) if blur is None else blur
        depth = smoothed(
            np.pad(grid.values.astype(float), _MARGIN, constant_values=np.nan), blur / grid.cell
        )
        left, _, _, top = grid.bounds
        north, east = _gradient(depth, grid.cell)
        margin = _MARGIN * grid.cell
        return cls(depth, grid.cell, left - margin, top + margin, east, north)

    @cached_property
    def slope(self) -> np.ndarray:
        """Rise over run, (rows, cols); NaN on land."""
        return np.hypot(self.east, self.north)

    def places(self, cells: np.ndarray) -> np.ndarray:
        """Return easting and northing of rows and columns, (n, 2), which may be fractions."""
        rows, cols = np.asarray(cells, float).T
        east = self.left + (cols + 0.5) * self.cell
        return np.column_stack([east, self.top - (rows + 0.5) * self.cell])

    def cells(self, places: np.ndarray) -> np.ndarray:
        """Return rows and columns, as fractions, of eastings and northings (n, 2)."""
        easting, northing = places.T
        col = (easting - self.left) / self.cell - 0.5
        return np.column_stack([(self.top - northing) / self.cell - 0.5, col])

    def at(self, values: np.ndarray, places: np.ndarray) -> np.ndarray:
        """Read values (rows, cols) at places (..., 2), linear between cells; NaN beside land."""
        from scipy.ndimage import map_coordinates

        where = self.cells(places.reshape(-1, 2)).T
        read = map_coordinates(values, where, order=1, mode="constant", cval=np.nan)
        return np.asarray(read.reshape(places.shape[:-1]))


def smoothed(values: np.ndarray, spread: float) -> np.ndarray:
    """Return values smoothed by a bell of some cells' spread; missing ones neither count nor fill.

    What is missed beside them is made up for by the neighbours' mean slope: a plane stays one.
    """
    from scipy.ndimage import gaussian_filter

    known = np.isfinite(values)
    if spread <= 0:
        return values
    weight = np.maximum(gaussian_filter(known.astype(float), spread), 1e-12)
    first = gaussian_filter(np.where(known, values, 0.0), spread) / weight
    # the mean of a one-sided window is that of its middle: smoothing what is left mends that
    rest = gaussian_filter(np.where(known, values - first, 0.0), spread) / weight
    return np.where(known, first + rest, np.nan)


def _gradient(depth: np.ndarray, cell: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the fall northwards and eastwards; one-sided beside land."""
    parts = []
    for axis in (0, 1):
        step = np.diff(depth, axis=axis)
        known = np.isfinite(step)
        step[~known] = 0.0
        total, count = np.zeros(depth.shape), np.zeros(depth.shape, np.int8)
        for side in (slice(None, -1), slice(1, None)):  # ahead of a cell, then behind it
            own = (side, slice(None))[:: 1 - 2 * axis]
            total[own] += step
            count[own] += known
        mean = total / np.maximum(count, 1)
        parts.append(np.where(np.isfinite(depth), mean / cell, np.nan))
    return -parts[0], parts[1]
