"""Runs: lines cut where they leap, and what their ends say of them."""

from dataclasses import dataclass

import numpy as np

from toolbox.reduction.continuity import SIDE, jumps, roughness
from toolbox.reduction.echoes import is_multiple
from toolbox.reduction.explanation import ONSET, SIGN, TIMES, WRONG
from toolbox.reduction.stretches import Stretches

__all__ = ["Runs", "cut_to_runs", "links", "returning", "signs"]

BREAK = 2.0
"""Points of an end of a run where its depths do not run on."""

LEAP = 1.5
"""Points of a great leap in the middle of a run that is a multiple, or wrong: the signs at both of
its ends outweigh one cliff on the way, but not two."""

GREAT = 1.5
"""A great leap is to more than so many times the depth: a double echo is to twice of it."""


@dataclass(frozen=True, eq=False)
class Runs:
    """Unbroken parts of lines.

    Parameters
    ----------
    number : (m,) array of int
        Run of each sounding, ascending.
    first, last : (r,) array of int
        Soundings with which each run begins and ends.
    line : (r,) array of int
        Its line.
    leap : (m,) array of bool
        After which soundings the bed leaps.
    """

    number: np.ndarray
    first: np.ndarray
    last: np.ndarray
    line: np.ndarray
    leap: np.ndarray

    def __len__(self) -> int:
        """Count the runs."""
        return len(self.first)

    @property
    def count(self) -> np.ndarray:
        """Soundings in each run."""
        return self.last - self.first + 1

    @property
    def set_off(self) -> np.ndarray:
        """Whether each run begins or ends with a leap."""
        leaps = self.leap[self.last]
        return leaps | np.append(False, leaps[:-1])


def cut_to_runs(lines: Stretches, tolerance: np.ndarray, sigmas: float) -> Runs:
    """Cut lines where they pause, and where they leap by half of what may be or more.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    tolerance : (m,) array
        By how much another line may differ from each sounding, m.
    sigmas : float
        See `jumps`.

    Returns
    -------
    Runs
        In the order of the soundings.
    """
    rise = np.abs(np.diff(lines.depth, append=0.0))
    onward = np.append(tolerance[1:], tolerance[-1:])
    leap = jumps(lines, sigmas=sigmas) & (rise >= np.minimum(tolerance, onward) / 2)
    last = np.flatnonzero(leap | (np.diff(lines.stretch, append=-1) != 0))
    first = np.append(0, last[:-1] + 1)
    number = np.repeat(np.arange(len(first)), last - first + 1)
    return Runs(number, first, last, lines.line[first], leap)


def returning(lines: Stretches, runs: Runs, tolerance: np.ndarray) -> np.ndarray:
    """Tell which runs, shape (r,), end with the leap back of the one with which they begin."""
    rise = np.where(runs.leap, np.diff(lines.depth, append=0.0), np.nan)
    begin, end = np.append(np.nan, rise[runs.last[:-1]]), rise[runs.last]
    return np.abs(begin + end) <= np.minimum(tolerance[runs.first], np.abs(begin) / 2)


def signs(lines: Stretches, runs: Runs) -> np.ndarray:
    """Tell where one run is the multiple of the next, or the next of it, for all that both may be.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    runs : Runs
        Of these lines.

    Returns
    -------
    (r - 1, 4, 4) array of bool
        For what of `TIMES` the one and the next are. The shallower of the two must be long enough
        to be a bed: as long as one side of what is expected.
    """
    start, end = lines.depth[runs.last[:-1]], lines.depth[runs.first[1:]]
    falls = (start < end)[:, None, None]
    low, high = (both[:, None, None] for both in np.sort([start, end], axis=0))
    of_low = np.where(falls, TIMES[:, None], TIMES)
    of_high = np.where(falls, TIMES, TIMES[:, None])
    count = np.where(start < end, runs.count[:-1], runs.count[1:])
    goes_on = (count >= SIDE)[:, None, None]
    rough = roughness(lines)
    noise = 3 * np.where(start < end, rough[runs.last[:-1]], rough[runs.first[1:]])[:, None, None]
    return goes_on & (of_high > of_low) & is_multiple(high, low / of_low, of_high, noise=noise)


def links(lines: Stretches, runs: Runs, tolerance: np.ndarray, signed: np.ndarray) -> np.ndarray:
    """Return the points of each run and the next, for all that both may be.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    runs : Runs
        Of these lines.
    tolerance : (m,) array
        By how much another line may differ from each sounding, m.
    signed : (r - 1, 4, 4) array of bool
        Of `signs`.

    Returns
    -------
    (r - 1, 4, 4) array
        Points, as `explain` wants them.
    """
    here, there = runs.last[:-1], runs.first[1:]
    low, high = np.sort([lines.depth[here], lines.depth[there]], axis=0)
    leaps, great = runs.leap[here], high > GREAT * low
    wrong = np.isnan(TIMES[:, None] + TIMES)
    small = (high - low < tolerance[here])[:, None, None]
    end = np.where(signed & great[:, None, None], -SIGN, BREAK)
    end = np.where(wrong, np.where(small, BREAK, 0.0), end)
    onset = ONSET[:, None] + ONSET
    change = onset + np.where(leaps[:, None, None], end, 0.0)
    within = np.zeros((len(here), len(TIMES)))
    within[:, 1:] += LEAP * (leaps & great)[:, None]
    within[:, WRONG] += SIGN * leaps
    change[:, np.arange(len(TIMES)), np.arange(len(TIMES))] = within
    same_line = lines.line[here] == lines.line[there]
    return np.where(same_line[:, None, None], change, onset)
