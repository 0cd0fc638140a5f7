"""Observations: soundings as the fit sees them, with what each has alone and what lines share."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Soundings
from toolbox.reduction.stretches import line_numbers, order_along, seconds_of

__all__ = ["Observations", "Ties", "observe"]

LEG_M, LEG_S = 75.0, 60.0
"""Along a track, errors of satellite positions are nearly one over a minute, or 75 m where times
are not known (common practice, no source)."""

LOOSE = 0.25
"""Share of a track's variance of place that changes within such a leg (common practice, no
source: what is correlated over 100 s changes by a quarter of its variance within a minute)."""

_OWN_LEAST = 0.01  # m: no depth is read better than to a centimetre
_OWN_SHARE = 0.5  # of the variance, where nobody told what a line shares (docs/spread.md)


@dataclass(frozen=True, eq=False)
class Observations:
    """Means of soundings, one for each cell and line.

    Parameters
    ----------
    place : (n, 2) array
        Believed easting and northing, m.
    depth : (n,) array
        Metres below the datum, positive down.
    own_variance : (n,) array
        Of what each mean has for itself, m2.
    loose_variance : (n,) array
        Of easting and of northing, the part that is not shared with neighbours, m2.
    line : (n,) array of int
        Number of its line; soundings without a line count after all lines, a number a cell.
    names : tuple of str
        Names of the lines.
    leg : (n,) array of int
        Number of the stretch of line whose error of place is one; -1 without.
    level_sd : (n,) array
        Error of depth that the whole line shares, m.
    shifts : (n, 2, 2) array
        The two errors of place that a leg shares, each as east and north, m: along and across a
        cast, east and north for a track; one standard deviation.
    count : (n,) array of int
        Soundings in each mean.
    """

    place: np.ndarray
    depth: np.ndarray
    own_variance: np.ndarray
    loose_variance: np.ndarray
    line: np.ndarray
    names: tuple[str, ...]
    leg: np.ndarray
    level_sd: np.ndarray
    shifts: np.ndarray
    count: np.ndarray

    def __len__(self) -> int:
        """Count the means."""
        return len(self.depth)

    def select(self, which: np.ndarray) -> "Observations":
        """Return some of them."""
        parts = {
            name: value[which] if isinstance(value, np.ndarray) else value
            for name, value in vars(self).items()
            if name in self.__dataclass_fields__
        }
        return Observations(**parts)

    def noise_variance(self, gradient: np.ndarray, nugget: float) -> np.ndarray:
        """Return what each has for itself on a bed of some gradient (n, 2) and nugget, (n,), m2."""
        own = self.own_variance + nugget**2
        return np.asarray(own + self.loose_variance * (gradient**2).sum(axis=1))

    def shared_effects(self, gradient: np.ndarray) -> Any:
        """Return what one standard deviation of each shared error does, (n, effects) sparse, m.

        Parameters
        ----------
        gradient : (n, 2) array
            Of the bed at each place, east and north, m per m.

        Notes
        -----
        A reading believed at p was taken at p - shift, so it differs from the bed at p by
        -gradient . shift, to first order. Columns: a level for each line, then two for each leg.
        """
        from scipy import sparse

        lines, legs = len(self.names), int(self.leg.max(initial=-1)) + 1
        moved = -np.einsum("nks,ns->nk", self.shifts, gradient)
        on_leg = np.flatnonzero(self.leg >= 0)
        rows = np.r_[on_leg, on_leg, on_leg]
        first = lines + 2 * self.leg[on_leg]
        columns = np.r_[self.line[on_leg], first, first + 1]
        values = np.r_[self.level_sd[on_leg], moved[on_leg, 0], moved[on_leg, 1]]
        shape = (len(self), lines + 2 * legs)
        return sparse.csr_matrix((values, (rows, columns)), shape)

    @cached_property
    def _pull(self) -> np.ndarray:
        """How much the level of each line moves all means together, (lines,), m."""
        lined = self.leg >= 0
        return np.bincount(self.line[lined], self.level_sd[lined], len(self.names))

    @property
    def balance(self) -> np.ndarray:
        """Weights with which the levels of all lines sum to zero, one for each line.

        Notes
        -----
        What all lines share, soundings cannot tell: left free, it would give way to whatever
        makes the bed smoother.
        """
        return self._pull / max(float(np.linalg.norm(self._pull)), 1e-300)

    @property
    def common_sd(self) -> float:
        """Standard deviation of what the levels of all lines have in common, m.

        Notes
        -----
        No sounding can tell it. It is taken for all of what lines share: draft, water level and
        speed of sound are of the boat, the day and the water, and the next line has them again.
        """
        return float(self._pull.sum()) / max(len(self), 1)


def observe(soundings: Soundings, *, cell: float) -> Observations:
    """Gather the kept soundings into means, one for each line and square cell.

    Parameters
    ----------
    soundings : Soundings
        With ``sd`` and ``sd_xy`` throughout; flagged ones are left out.
    cell : float
        Width of the cells, m.

    Returns
    -------
    Observations
        In the order of their lines.

    Raises
    ------
    LayerError
        If a kept sounding lacks ``sd`` or ``sd_xy``.

    Notes
    -----
    The mean's own variance is that of its soundings over their number; what a line shares
    (``sd_shared``, else half the variance) and its error of place stay whole. Soundings without a
    line share as much within their cell, and nothing beyond it.
    """
    kept = soundings.kept
    frame = kept.frame
    if frame[["sd", "sd_xy"]].isna().any(axis=None):
        raise LayerError("soundings need sd and sd_xy, estimate their spread first")
    place, depth = kept.coordinates, frame["depth"].to_numpy(float)
    ties = Ties.of(kept, cell)
    line, leg, shared = ties.line, ties.leg, ties.shared_sd
    own = np.maximum(frame["sd"].to_numpy(float) ** 2 - shared**2, _OWN_LEAST**2)
    group, count = _groups(place, line, leg, cell)

    def mean(values: np.ndarray) -> np.ndarray:
        columns = values.reshape(len(group), -1).T
        sums = [np.bincount(group, column, len(count)) for column in columns]
        return (np.array(sums) / count).T.reshape(len(count), *values.shape[1:])

    first = np.zeros(len(count), np.int64)
    first[group[::-1]] = np.arange(len(group))[::-1]
    alone = leg[first] < 0
    cast = frame["source"].to_numpy() == "cast"
    loose = np.where(leg < 0, 1.0, np.where(cast, 0.0, LOOSE)) * frame["sd_xy"].to_numpy(float) ** 2
    return Observations(
        mean(place),
        mean(depth),
        mean(own) / count + np.where(alone, mean(shared**2), 0.0),
        mean(loose),
        line[first],
        ties.names,
        leg[first],
        np.where(alone, 0.0, mean(shared)),
        mean(ties.shifts),
        count,
    )


@dataclass(frozen=True, eq=False)
class Ties:
    """What ties soundings to one another.

    Parameters
    ----------
    line : (n,) array of int
        Number of each sounding's line; those without count after all lines, a number a cell.
    names : tuple of str
        Names of the lines.
    leg : (n,) array of int
        Number of the stretch of line whose error of place is one; -1 without.
    shared_sd : (n,) array
        Error of depth that the line shares, m.
    shifts : (n, 2, 2) array
        The two errors of place that the leg shares, each as east and north, m.
    """

    line: np.ndarray
    names: tuple[str, ...]
    leg: np.ndarray
    shared_sd: np.ndarray
    shifts: np.ndarray

    @classmethod
    def of(cls, soundings: Soundings, cell: float) -> "Ties":
        """Find them, for cells of some width, m."""
        line, names = _lines(soundings, cell)
        frame = soundings.frame
        leg = _legs(soundings, line, line >= len(names))
        return cls(line, names, leg, _shared_sd(frame), _shifts(frame))


def _lines(soundings: Soundings, cell: float) -> tuple[np.ndarray, tuple[str, ...]]:
    """Return the line of each sounding, and names; those without count after them, by cell."""
    line, names = line_numbers(soundings)
    bare = line < 0
    if bare.any():
        place = soundings.coordinates
        square = np.floor((place[bare] - place.min(axis=0)) / cell).astype(np.int64)
        line[bare] = len(names) + np.unique(square, axis=0, return_inverse=True)[1].ravel()
    return line, names


def _legs(soundings: Soundings, line: np.ndarray, alone: np.ndarray) -> np.ndarray:
    """Return the stretch of line within which the error of place is one; -1 for soundings alone."""
    seconds = seconds_of(soundings)
    order = order_along(line, seconds)
    lined = line[order]
    new = np.r_[True, np.diff(lined) != 0]
    step = np.r_[0.0, np.hypot(*np.diff(soundings.coordinates[order], axis=0).T)] / LEG_M
    lasted = np.r_[0.0, np.diff(seconds[order])] / LEG_S
    passed = np.cumsum(np.where(new, 0.0, np.where(np.isnan(lasted), step, np.abs(lasted))))
    start = np.maximum.accumulate(np.where(new, np.arange(len(new)), 0))
    whole = (soundings.frame["source"].to_numpy() == "cast")[order]
    within = np.where(whole, 0, np.floor(passed - passed[start])).astype(np.int64)
    fresh = new | (np.r_[0, np.diff(within)] != 0)
    leg = np.empty(len(line), np.int64)
    leg[order] = np.cumsum(fresh) - 1
    numbers, packed = np.unique(np.where(alone, -1, leg), return_inverse=True)
    return packed - int(bool(len(numbers)) and numbers[0] < 0)


def _shared_sd(frame: Any) -> np.ndarray:
    sd = frame["sd"].to_numpy(float)
    told = frame["sd_shared"].to_numpy(float) if "sd_shared" in frame else np.full(len(sd), np.nan)
    return np.where(np.isnan(told), sd * np.sqrt(_OWN_SHARE), np.minimum(told, sd))


def _shifts(frame: Any) -> np.ndarray:
    """Errors of place along and across where they are told apart, else east and north."""
    sd = frame["sd_xy"].to_numpy(float)
    shifts = sd[:, None, None] * np.eye(2)
    if {"sd_along", "sd_across", "bearing"} <= set(frame):
        along, across, bearing = (
            frame[name].to_numpy(float) for name in ("sd_along", "sd_across", "bearing")
        )
        known = np.isfinite(along) & np.isfinite(across) & np.isfinite(bearing)
        east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
        turned = np.stack(
            [
                np.stack([east, north], -1) * along[:, None],
                np.stack([north, -east], -1) * across[:, None],
            ],
            axis=1,
        )
        shifts[known] = turned[known]
    return shifts


def _groups(
    place: np.ndarray, line: np.ndarray, leg: np.ndarray, cell: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return the cell of each sounding within its leg, in the order of lines, and their counts."""
    low = place.min(axis=0) if len(place) else np.zeros(2)
    square = np.floor((place - low) / cell).astype(np.int64)
    key = np.column_stack([line, leg, square])
    _, group, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    return group.ravel(), count
