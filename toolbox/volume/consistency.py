"""Consistency of a table: which of its rows contradict the others."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

__all__ = ["Chain", "Rows", "chain"]

_WINDOW = 100
_BROKEN = 1.5  # rows that one would rather drop than take a layer between two for wrong
_HINT = 1e-4


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of a table from the top down.

    Parameters
    ----------
    number : (n,) array of int
        Their numbers in the table as it was given, from 1.
    depth : (n,) array
        Ascending, m; any zero.
    area : (n,) array
        m2.
    below : (n,) array
        Volume below each, m3; NaN where there is none.
    area_unit, volume_unit : float or (n,) array
        The last digit that is printed of each, m2 and m3.
    tolerance : float
        Share by which the volume of a layer may miss what its areas allow.
    depth_unit : float
        The last digit that is printed of depths that are seen to be rounded, m; 0 of others.
    """

    number: np.ndarray
    depth: np.ndarray
    area: np.ndarray
    below: np.ndarray
    area_unit: float | np.ndarray
    volume_unit: float | np.ndarray
    tolerance: float
    depth_unit: float = 0.0

    def __len__(self) -> int:
        return len(self.number)

    @property
    def _units(self) -> tuple[float | np.ndarray, float | np.ndarray]:
        return self.area_unit, self.volume_unit

    @staticmethod
    def _rounding(
        unit: float | np.ndarray, upper: np.ndarray, lower: np.ndarray
    ) -> float | np.ndarray:
        """By how much rounding of both may change the difference of two rows."""
        each = np.asarray(unit, float)
        return each if each.ndim == 0 else (each[upper] + each[lower]) / 2

    def units_of(self, row: int) -> tuple[float, float]:
        """Return the last digits of the area and the volume of a row, m2 and m3."""
        area, volume = (float(np.broadcast_to(unit, len(self))[row]) for unit in self._units)
        return area, volume

    @cached_property
    def has_volume(self) -> bool:
        """Whether there are volumes."""
        return bool(np.isfinite(self.below).any())

    def misfit(self, upper: np.ndarray, lower: np.ndarray) -> np.ndarray:
        """Tell how well rows follow others: <= 1 if they can, squared; inf if they cannot at all.

        Parameters
        ----------
        upper, lower : arrays of int
            Pairs of rows.

        Notes
        -----
        Areas must not be negative or grow downward, and the volume between the two must lie
        between the height times the lower and times the upper area, the roundings of all figures
        and the tolerance allowed for. 0 is half-way, the trapezoid rule.
        """
        height = self.depth[lower] - self.depth[upper]
        more, less = self.area[upper], self.area[lower]
        area, volume = (self._rounding(unit, upper, lower) for unit in self._units)
        good = (height > 0) & (less >= 0) & (more >= 0) & (less <= more + area)
        if not self.has_volume:
            return np.where(good, 0.0, np.inf)
        held = self.below[upper] - self.below[lower]
        slack = height * (self.tolerance * more + area / 2) + volume + self.depth_unit * more
        off = np.abs(held - height * (more + less) / 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = off / (height * np.maximum(more - less, 0) / 2 + slack)
        return np.where(good & (share <= 1), share**2, np.inf)


@dataclass(frozen=True, eq=False)
class Chain:
    """The most rows that do not contradict each other.

    Parameters
    ----------
    kept : (k,) array of int
        Ascending.
    broken : (b,) array of int
        Rows kept whose layer down to the next row holds a volume that its areas do not allow.
    """

    kept: np.ndarray
    broken: np.ndarray


def chain(rows: Rows) -> Chain:
    """Find the fewest rows without which the table does not contradict itself.

    Notes
    -----
    A shortest path: each row follows one above it, rows between are dropped at the price of one
    each, and to keep two neighbours with a wrong layer between costs one and a half, so that a
    volume wrong in one layer and carried on upward does not put the blame on all rows above.
    """
    count = len(rows)
    cost, before = np.arange(count, dtype=float), np.full(count, -1)
    for row in range(1, count):
        upper = np.arange(max(0, row - _WINDOW), row)
        misfit = rows.misfit(upper, np.full(len(upper), row))
        price = cost[upper] + (row - upper - 1) + np.where(np.isfinite(misfit), 0.0, np.inf)
        price += np.where(np.isfinite(misfit), _HINT * misfit, 0.0)
        if rows.has_volume and rows.depth[row] > rows.depth[row - 1]:
            price[-1] = min(price[-1], cost[row - 1] + _BROKEN)
        best = int(price.argmin())
        if price[best] < cost[row]:
            cost[row], before[row] = price[best], upper[best]
    return _walked(rows, before, int((cost + np.arange(count)[::-1]).argmin()))


def _walked(rows: Rows, before: np.ndarray, last: int) -> Chain:
    kept = [last]
    while before[kept[-1]] >= 0:
        kept.append(int(before[kept[-1]]))
    path = np.array(kept[::-1])
    wrong = ~np.isfinite(rows.misfit(path[:-1], path[1:]))
    return Chain(path, path[:-1][wrong])
