"""Continuity: what the soundings before and after along a line lead one to expect in between."""

import functools
from dataclasses import dataclass

import numpy as np

from toolbox.reduction.stretches import Stretches

__all__ = [
    "SIDE",
    "WINDOWS",
    "Expected",
    "expected",
    "jumps",
    "resolution",
    "resolution_of",
    "roughness",
    "usual_step",
]

SIDE = 4
"""Soundings on each side on which an expectation rests."""

WINDOWS = (51, 15)
"""Soundings over which a line's own roughness is taken: at large, and here."""

NORMAL = 1.4826
"""Standard deviation of a normal error over its median absolute deviation."""

UNRESOLVED = 0.003
"""A sounder does not resolve less than this share of the depth (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Expected:
    """Depths that both sides of a run of soundings lead one to expect in it.

    Parameters
    ----------
    before, after : (m,) array
        From the soundings before the run, at its first sounding, and from those after it, at its
        last, m; NaN where there are fewer than two, or the run leaves its stretch.
    """

    before: np.ndarray
    after: np.ndarray

    @property
    def shallow(self) -> np.ndarray:
        """The lesser of the two, m."""
        return np.minimum(self.before, self.after)

    @property
    def deep(self) -> np.ndarray:
        """The greater of the two, m."""
        return np.maximum(self.before, self.after)

    def miss(self, least: np.ndarray, greatest: np.ndarray) -> np.ndarray:
        """Return how far a run lies outside what either side expects, m, deeper positive.

        Parameters
        ----------
        least, greatest : (m,) array
            Least and greatest depth of the run, m.

        Returns
        -------
        (m,) array
            Zero where a side expects it, where it lies between them, or where one is not known.
        """
        beyond = np.where(greatest < self.shallow, greatest - self.shallow, 0.0)
        return np.where(least > self.deep, least - self.deep, beyond)


def expected(lines: Stretches, length: int = 1) -> Expected:
    """Carry the bed on from both sides into the runs of `length` soundings that begin at each.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    length : int
        Soundings in a run.

    Returns
    -------
    Expected
        For the run that begins at each sounding.

    Notes
    -----
    The four soundings beside the run are carried on by their repeated median slope, so that one of
    them may be wrong, and no farther than they reach themselves.

    References
    ----------
    Siegel 1982, Robust regression using repeated medians, Biometrika 69:242 (from memory).
    """
    before, after = _both_sides(lines)
    if length == 1:
        return Expected(before, after)
    here = np.arange(len(lines))
    inside = here + length <= lines.bounds[1]
    last = np.where(inside, here + length - 1, here)
    return Expected(np.where(inside, before, np.nan), np.where(inside, after[last], np.nan))


@functools.lru_cache(maxsize=1)
def _both_sides(lines: Stretches) -> tuple[np.ndarray, np.ndarray]:
    """Depths that the soundings before, and after, each one lead one to expect there, m."""
    from toolbox.reduction.kernels import MANY, carried_on, carried_on_few

    before, after = np.empty((2, len(lines)))
    carry = carried_on if len(lines) >= MANY else carried_on_few
    carry(lines.depth, _distance(lines), *lines.bounds, SIDE, before, after)
    return before, after


def _distance(lines: Stretches) -> np.ndarray:
    """Return the distance along the lines, m, which grows even where a position is repeated."""
    usual = usual_step(lines) if lines.usual_step is None else lines.usual_step
    return np.cumsum(np.maximum(lines.steps, max(0.1 * usual, 1e-6)))


def usual_step(lines: Stretches) -> float:
    """Return the median distance from a sounding to the next of its stretch, m; 0 for none."""
    here = lines.pieces()
    return float(np.median(lines.steps[here + 1])) if len(here) else 0.0


@functools.lru_cache(maxsize=1)
def roughness(lines: Stretches) -> np.ndarray:
    """Return the spread of soundings about what their line leads one to expect, m.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.

    Returns
    -------
    (m,) array
        One standard deviation of the line around each sounding: 1.4826 times the running median
        of the departure from the nearer of the two expectations, over 51 soundings of the line or
        over 15, whichever is rougher. At least half the step in which depths are
        noted, and 0.3 % of the depth.
    """
    expect = expected(lines)
    departure = np.fmin(np.abs(lines.depth - expect.before), np.abs(lines.depth - expect.after))
    spread = NORMAL * np.fmax(*(_running_median(departure, lines.line, many) for many in WINDOWS))
    noted = resolution(lines.depth) if lines.resolution is None else lines.resolution
    floor = np.maximum(UNRESOLVED * np.abs(lines.depth), noted / 2)
    rough: np.ndarray = np.fmax(spread, floor)
    rough.flags.writeable = False  # the next tool that asks of the same lines gets this very array
    return rough


def resolution(depth: np.ndarray) -> float:
    """Return the step in which depths are noted, m; next to nothing where they are not rounded."""
    return resolution_of(np.unique(depth.round(4)))


def resolution_of(noted: np.ndarray) -> float:
    """Return the least step between depths that are noted, ascending, m; 0 for one alone."""
    return float(np.diff(noted).min(initial=np.inf)) if len(noted) > 1 else 0.0


def _running_median(values: np.ndarray, line: np.ndarray, window: int) -> np.ndarray:
    from scipy.ndimage import median_filter

    result = np.full(len(values), np.nan)
    known = np.flatnonzero(np.isfinite(values))
    starts = np.flatnonzero(np.diff(line[known], prepend=-1))
    for part in np.split(known, starts[1:]):
        if len(part):
            size = min(window, (len(part) - 1) // 2 * 2 + 1)  # odd: an even one leans to one side
            result[part] = median_filter(values[part], size=size, mode="reflect")
    return result


def jumps(lines: Stretches, *, sigmas: float = 5.0) -> np.ndarray:
    """Tell where the bed leaps from one sounding to the next, as cliffs and blunders do.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    sigmas : float
        How many times the line's own roughness a step must exceed.

    Returns
    -------
    (m,) array of bool
        Whether neither the soundings up to here, carried on, meet the next one, nor those from
        the next one on, carried back, meet this one. False at the end of a stretch.

    Notes
    -----
    Across a gap the bed may run on at its usual slope: three times the line's median slope over
    what the gap is longer than four usual steps is allowed besides.
    """
    expect, rough = expected(lines), roughness(lines)
    here = lines.pieces()
    depth, along = lines.depth, _distance(lines)
    step = np.abs(depth[here + 1] - depth[here])
    ahead = np.abs(depth[here + 1] - expect.before[here + 1])
    back = np.abs(depth[here] - expect.after[here])
    leap = np.fmin(np.fmin(ahead, back), np.where(np.isfinite(ahead + back), np.inf, step))
    gap = along[here + 1] - along[here]
    slope = _running_median(step / gap, lines.line[here], WINDOWS[0])
    allowed = sigmas * np.maximum(rough[here], rough[here + 1])
    allowed += 3 * slope * np.maximum(gap - 4 * np.median(gap), 0.0) if len(gap) else 0.0
    result = np.zeros(len(lines), bool)
    result[here] = leap > allowed
    return result
