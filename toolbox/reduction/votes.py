"""Votes: what lines that meet say about each other's readings."""

from dataclasses import dataclass

import numpy as np

from toolbox.reduction.continuity import SIDE
from toolbox.reduction.echoes import MULTIPLE_SHARE
from toolbox.reduction.explanation import CONTRADICTION, TIMES, WRONG
from toolbox.reduction.meetings import Meetings, meetings, near_meetings
from toolbox.reduction.stretches import Stretches

__all__ = ["all_meetings", "votes"]

_ENDS = ("from_a", "to_a", "from_b", "to_b")

UNTOLD = 2.0
"""Points of a wrong run for a contradiction that a multiple would have explained."""


def all_meetings(lines: Stretches, step: float, error: float) -> tuple[Meetings, np.ndarray]:
    """Find where lines meet.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    step : float
        How far, m, a line must have been away before it can cross itself.
    error : float
        Half the distance at which two lines are taken to meet without crossing, m.

    Returns
    -------
    Meetings
        Crossings, then places where lines come near.
    (k,) array of bool
        Which of them are crossings.
    """
    cross, near = meetings(lines, step), near_meetings(lines, 2 * error)
    parts = zip(vars(cross).values(), vars(near).values(), strict=True)
    crossing = np.arange(len(cross) + len(near)) < len(cross)
    return Meetings(*(np.concatenate(part) for part in parts)), crossing


def votes(
    lines: Stretches,
    meeting: Meetings,
    crossing: np.ndarray,
    run: np.ndarray,
    tolerance: np.ndarray,
    error: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Return the runs that meet, and the points of all that both may be.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    meeting, crossing
        Of `all_meetings`.
    run : (m,) array of int
        Run of each sounding.
    tolerance : (m,) array
        By how much another line may differ there, m.
    error : float
        Distance within which a line may have read its depth, m.

    Returns
    -------
    pair : (v, 2) array of int
        Runs that meet, each two once.
    points : (v, 4, 4) array
        Mean over the places where they cross or, if they do not, where they come near.
    """
    here = np.unique(np.concatenate([getattr(meeting, name) for name in _ENDS]))
    anyhow, same_run = _within(lines, here, error), _within(lines, here, error, run)
    sides = []
    for one, other, share in (
        (meeting.from_a, meeting.to_a, meeting.along_a),
        (meeting.from_b, meeting.to_b, meeting.along_b),
    ):
        nearer = np.where(share <= 0.5, one, other)
        farther = np.where(run[one] == run[other], one + other - nearer, nearer)
        read = _Read(*_either(anyhow, one, other), *_either(same_run, nearer, farther))
        sides.append((run[nearer], read, tolerance[nearer]))
    (run_a, a, may_a), (run_b, b, may_b) = sides
    cost = _cost(a, b, np.maximum(may_a, may_b))
    turned = run_a > run_b
    cost[turned] = cost[turned].transpose(0, 2, 1)
    pair, which = np.unique(
        np.sort(np.column_stack([run_a, run_b]), axis=1), axis=0, return_inverse=True
    )
    which = which.ravel()
    crosses = np.bincount(which, weights=crossing, minlength=len(pair)) > 0
    counts = np.where(crosses[which], crossing, True).astype(float)
    points = np.zeros((len(pair), len(TIMES), len(TIMES)))
    np.add.at(points, which, cost * counts[:, None, None])
    points /= np.bincount(which, weights=counts, minlength=len(pair))[:, None, None]
    apart = pair[:, 0] != pair[:, 1]
    return pair[apart], points[apart]


@dataclass(frozen=True, eq=False)
class _Read:
    """Depths that a line may have read where it meets another, and those of the run itself."""

    least: np.ndarray
    greatest: np.ndarray
    run_least: np.ndarray
    run_greatest: np.ndarray


def _either(
    extremes: tuple[np.ndarray, np.ndarray], one: np.ndarray, other: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    least, greatest = extremes
    return np.minimum(least[one], least[other]), np.maximum(greatest[one], greatest[other])


def _cost(a: _Read, b: _Read, may: np.ndarray) -> np.ndarray:
    """Return the points of every meeting, shape (k, 4, 4).

    Beside a leap a line may have read what lies beyond it, which excuses a run; but only what the
    run itself reads can confirm it.
    """
    of_a, of_b = TIMES[:, None], TIMES[None, :]
    low_a, high_a, low_b, high_b, allowed = (
        part[:, None, None] for part in (a.least, a.greatest, b.least, b.greatest, may)
    )
    gap = np.maximum(low_a / of_a - high_b / of_b, low_b / of_b - high_a / of_a)
    bed = np.minimum(high_a / of_a, high_b / of_b)
    multiple = (of_a > 1) | (of_b > 1)
    allowed = np.where(multiple, np.maximum(allowed, MULTIPLE_SHARE * bed), allowed)
    points = np.where(gap > allowed, CONTRADICTION, 0.0)
    apart = np.maximum(a.run_least - b.run_greatest, b.run_least - a.run_greatest)
    agreed = np.where(apart <= may, CONTRADICTION, 0.0)
    points[:, WRONG, :] = points[:, :, WRONG] = 0.0
    points[:, WRONG, 0] = agreed + _untold(points[:, :WRONG, 0])
    points[:, 0, WRONG] = agreed + _untold(points[:, 0, :WRONG])
    return points


def _untold(points: np.ndarray) -> np.ndarray:
    """Charge a wrong run for what a multiple would have explained."""
    return np.where((points[:, 0] > 0) & (points[:, 1:] == 0).any(axis=1), UNTOLD, 0.0)


def _within(
    lines: Stretches, here: np.ndarray, distance: float, run: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Return the least and greatest depth that the line, or the run, reads within a distance, m.

    They are right at the soundings `here`; at the others they are their own depths.
    """
    place, depth = lines.coordinates, lines.depth
    least, greatest = depth.copy(), depth.copy()
    for away in (*range(1, 3 * SIDE), *range(-1, -3 * SIDE, -1)):
        there = lines.neighbour(away, here)
        near = np.hypot(*(place[there] - place[here]).T) <= distance
        if run is not None:
            near &= run[there] == run[here]
        least[here] = np.where(near, np.minimum(least[here], depth[there]), least[here])
        greatest[here] = np.where(near, np.maximum(greatest[here], depth[there]), greatest[here])
    return least, greatest
