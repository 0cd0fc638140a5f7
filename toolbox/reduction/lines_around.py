"""Lines around: whether the lines on both sides of a run read what it reads."""

import numpy as np

from toolbox.reduction.explanation import TIMES, WRONG
from toolbox.reduction.planes import disagreement
from toolbox.reduction.runs import Runs
from toolbox.reduction.stretches import Stretches

__all__ = ["unlike_around"]

SAMPLED = 40
"""Soundings from which the distance between lines is taken."""


def unlike_around(
    lines: Stretches, runs: Runs, asked: np.ndarray, excused: np.ndarray, *, spreads: float
) -> np.ndarray:
    """Tell whether most of a run, divided by 1, 2, 3, lies off the planes around.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    runs : Runs
        Of these lines.
    asked : (r,) array of bool
        Runs to judge; the others lie off no plane.
    excused : (r,) array of bool
        Runs that may be a pit or a rock between two lines.
    spreads : float
        Robust standard deviations off a plane that are too many, see `disagreement`.

    Returns
    -------
    (r, 3) array of bool
        Whether more than half of the run is too shallow, or too deep. As bed, a run is excused
        that is shorter than the next line is away: there is room for it.
    """
    node, first = _nodes(lines, runs)
    count = np.bincount(node)
    easting, northing, depth = (
        np.bincount(node, weights=values) / count for values in (*lines.coordinates.T, lines.depth)
    )
    place = np.column_stack([easting, northing])
    run = runs.number[first]
    apart = disagreement(place, depth, lines.line[first], TIMES[:WRONG], asked[run])
    below, above = np.zeros((2, len(runs), WRONG))
    np.add.at(below, run, apart > spreads)
    np.add.at(above, run, apart < -spreads)
    unlike = np.maximum(below, above) > np.bincount(run)[:, None] / 2
    for number in np.flatnonzero(excused & unlike[:, 0]):
        unlike[number, 0] = not _has_room(lines, runs, int(number))
    return unlike


def _has_room(lines: Stretches, runs: Runs, number: int) -> bool:
    """Tell whether a run is shorter than its middle lies away from the next line."""
    place = lines.coordinates[runs.first[number] : runs.last[number] + 1]
    length = float(np.hypot(*np.diff(place, axis=0).T).sum())
    return length < _next_line(lines, int(runs.first[number] + runs.last[number]) // 2)


def _next_line(lines: Stretches, sounding: int) -> float:
    """Return the distance from a sounding to the next line, m; infinite for one line."""
    others = lines.coordinates[lines.line != lines.line[sounding]]
    return float(np.hypot(*(others - lines.coordinates[sounding]).T).min(initial=np.inf))


def _nodes(lines: Stretches, runs: Runs) -> tuple[np.ndarray, np.ndarray]:
    """Gather soundings to nodes, four to the usual distance between lines; give their first."""
    along = np.cumsum(lines.steps)
    key = np.column_stack([runs.number, np.floor(along / (_line_distance(lines) / 4))])
    begins = np.append(True, (np.diff(key, axis=0) != 0).any(axis=1))
    return np.cumsum(begins) - 1, np.flatnonzero(begins)


def _line_distance(lines: Stretches) -> float:
    """Return the median distance from a sounding to the next line, m."""
    some = np.linspace(0, len(lines) - 1, min(len(lines), SAMPLED)).astype(int)
    return max(float(np.median([_next_line(lines, one) for one in some])), 1e-3)
