"""Cells filled by and by: thinning for more soundings than fit into memory."""

from typing import TYPE_CHECKING, Literal

import numpy as np

from toolbox.layers import Soundings
from toolbox.reduction.thinning import cell_index

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["CellTable"]


class CellTable:
    """The occupied cells of a plane and what the soundings in them come to.

    It takes 40 bytes for each occupied cell, however many soundings it is given.

    Parameters
    ----------
    cell : float
        Width of the square cells, m; edges lie on whole multiples of it, and a sounding on an
        edge belongs to the cell east or north of it.
    by : str
        The mean of depths and places, or the shoalest or deepest sounding as it is. (A median
        needs all soundings at once.)

    Notes
    -----
    The result is that of :func:`~toolbox.reduction.thinning.thin` over soundings of one line
    without ``sd``: a shoalest or deepest sounding is the same to the bit in whatever order and
    portions the soundings come, a mean within rounding (1e-9 m).

    Examples
    --------
    >>> cells = CellTable(10.0)
    >>> cells.add(np.array([1.0, 3.0]), np.array([2.0, 2.0]), np.array([4.0, 5.0]))
    >>> cells.add(np.array([2.0]), np.array([2.0]), np.array([6.0]))
    >>> cells.count, cells.soundings(None).depth
    (array([3]), array([5.]))
    """

    def __init__(self, cell: float, *, by: Literal["mean", "shoalest", "deepest"] = "mean") -> None:
        self.cell, self.by = cell, by
        self.count: np.ndarray
        self._key: np.ndarray
        self._values: list[np.ndarray]  # depth, easting, northing; of a mean, their sums
        self._clear()

    def __len__(self) -> int:
        """Count the occupied cells."""
        return len(self._key)

    def add(self, easting: np.ndarray, northing: np.ndarray, depth: np.ndarray) -> None:
        """Take in more soundings.

        Parameters
        ----------
        easting, northing, depth : (n,) array
            m, all finite.

        Raises
        ------
        ParameterError
            If cells are so small that they cannot be numbered by 32 bits.
        """
        if len(depth):
            column, row = cell_index(easting, self.cell), cell_index(northing, self.cell)
            if self.by == "mean":
                easting, northing = easting - column * self.cell, northing - row * self.cell
            self._merge(*self._portion((column << 32) + row, depth, easting, northing))

    def _portion(
        self, key: np.ndarray, depth: np.ndarray, *place: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
        """Bring some soundings to one row per cell."""
        mean, sign = self.by == "mean", -1 if self.by == "deepest" else 1
        order = np.argsort(key) if mean else np.lexsort((*place[::-1], sign * depth, key))
        key = key[order]
        start = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
        values = [values[order] for values in (depth, *place)]
        values = [np.add.reduceat(v, start) if mean else v[start] for v in values]
        return key[start], np.diff(np.append(start, len(key))), values

    def _merge(self, key: np.ndarray, count: np.ndarray, values: list[np.ndarray]) -> None:
        at = np.searchsorted(self._key, key)
        old = np.zeros(len(key), bool)
        inside = at < len(self._key)
        old[inside] = self._key[at[inside]] == key[inside]
        self.count[at[old]] += count[old]
        self._combine(at[old], [v[old] for v in values])
        if not old.all():  # column by column, so that only one is there twice at a time
            at = at[~old]
            self._key = np.insert(self._key, at, key[~old])
            self.count = np.insert(self.count, at, count[~old])
            for i, v in enumerate(values):
                self._values[i] = np.insert(self._values[i], at, v[~old])

    def _combine(self, at: np.ndarray, values: list[np.ndarray]) -> None:
        if self.by == "mean":
            for mine, new in zip(self._values, values, strict=True):
                mine[at] += new
            return
        better, tied = np.zeros(len(at), bool), np.ones(len(at), bool)
        sign = -1 if self.by == "deepest" else 1
        for mine, new, way in zip(self._values, values, (sign, 1, 1), strict=True):
            better |= tied & (way * new < way * mine[at])
            tied &= new == mine[at]
        for mine, new in zip(self._values, values, strict=True):
            mine[at[better]] = new[better]

    def columns(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return easting, northing and depth of each cell, west to east, then south to north."""
        if self.by != "mean":
            depth, easting, northing = self._values
            return easting, northing, depth
        depth, east, north = (values / self.count for values in self._values)
        row = ((self._key + 2**31) & (2**32 - 1)) - 2**31
        column = (self._key - row) >> 32
        return column * self.cell + east, row * self.cell + north, depth

    def soundings(self, crs: "CRS | None", notes: tuple[str, ...] = ()) -> Soundings:
        """Make soundings of the cells, and empty the table, lest they are in memory twice.

        Parameters
        ----------
        crs : CRS or None
            Projected, in metres; None is a plane.
        notes : tuple of str
            What was assumed on the way.

        Returns
        -------
        Soundings
            One per cell, with columns ``count``, ``lines`` (1) and ``cell`` (m).
        """
        import geopandas

        *place, depth = self.columns()
        columns = {"depth": depth, "count": self.count, "lines": 1, "cell": self.cell}
        self._clear()
        points = geopandas.points_from_xy(*place, crs=crs)
        del place
        return Soundings(geopandas.GeoDataFrame(columns, geometry=points, crs=crs), notes)

    def _clear(self) -> None:
        self._key, self.count = np.empty(0, np.int64), np.empty(0, np.int64)
        self._values = [np.empty(0) for _ in range(3)]
