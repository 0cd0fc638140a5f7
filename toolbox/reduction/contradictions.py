"""Contradictions: stretches of a line that cannot be the bed if the lines they meet are."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from toolbox.layers import Soundings
from toolbox.reduction.continuity import NORMAL, SIDE, jumps, roughness
from toolbox.reduction.crossings import Meetings
from toolbox.reduction.echoes import DOUBLE, TRIPLE, is_multiple
from toolbox.reduction.explanation import (
    CONTRADICTION,
    ONSET,
    SIGN,
    TIMES,
    WRONG,
    Evidence,
    explain,
)
from toolbox.reduction.planes import DISAGREES, disagreement
from toolbox.reduction.stretches import Stretches, along_lines, own_step
from toolbox.reduction.votes import all_meetings, votes
from toolbox.tool import Range, tool

__all__ = ["CONTRADICTS", "reject_wrong_stretches"]

CONTRADICTS = "contradicts crossing lines"

POSITION_SD = 2.0
"""Spread of a position on each axis where it is not known, m: the 4.9 m of a phone under open sky
(gps.gov) hold 95 % of normal errors, which is 2.45 standard deviations."""

SPREADS = 4.0
"""Robust standard deviations that two lines may differ by."""

BREAK = 2.0
"""Points of an end of a run where its depths do not run on."""

LEAP = 3.0
"""Points of a great leap in the middle of a run that is a multiple, or wrong."""

HAIR = 0.1
"""Points of any run that is not the bed, so that of two even calls the bed is chosen."""


@tool("Reject stretches that contradict other lines")
def reject_wrong_stretches(
    soundings: Soundings, *, sigmas: Annotated[float, Range("", above=0)] = 5.0
) -> Soundings:
    """Flag stretches of a line that are double echoes, or that several other lines contradict.

    Parameters
    ----------
    soundings : Soundings
        Points to judge, along their lines; reject what is wrong by itself first.
    sigmas : float
        How many times the line's own roughness a step between neighbours must exceed for a wrong
        stretch to begin or end there.

    Returns
    -------
    Soundings
        As many as before, with the reasons "double echo", "triple echo", "contradicts crossing
        lines" and, where no line crosses, "disagrees with soundings nearby".

    Notes
    -----
    Lines are cut into runs where they leap, see `jumps`, by more than half of what two lines may
    differ by. That tolerance is the survey's own: four times the robust spread (1.4826 times the
    median) of the differences where lines cross, and no less than four times the line's own
    roughness. Two lines meet where they cross or, if they do not, where they come within the error
    of their places: twice the spread of the difference, from the median ``sd_xy``, or 2 m where
    that is not known. Each may have read there any depth that it reads within half that error.

    Each run is one of: the bed, its double or triple echo, or wrong. The survey is explained with
    the fewest points:

    - 5 for each pair of runs that meet and contradict each other, multiples divided back to the
      bed; and 5 for each run it agreed with that a wrong run gives up;
    - 5 for a run most of which lies above, or below, the planes through other lines around it, see
      `disagreement`;
    - 2 for each contradiction that a multiple would explain, and a wrong run leaves unexplained;
    - 6 for a run called a double echo, 7 for a triple one, 8 for one called wrong;
    - 4 less for each end of a run where it is a multiple of the run beside it (of four soundings
      or more), and for a wrong run that ends with the leap back of the one with which it begins;
    - 2 more for an end that is no such thing, and 3 more for a great leap within it.

    So it takes two signs to call a double echo: both ends, or one end and a line that it crosses.
    It takes two more lines against a run than for it to call it wrong; of two that contradict each
    other with nothing else to go by, both are kept. One exception: a run too short to show that it
    goes on (8 soundings, twice what an expectation rests on), set off by a leap, gives way to a
    longer one. The points are weights of evidence chosen for these rules (no source).
    """
    step = own_step(soundings)
    lines = along_lines(soundings, max_step=step)
    if len(lines.pieces()) == 0:
        return soundings
    error = _position_error(soundings)
    meeting, crossing = all_meetings(lines, step, error)
    tolerance = _tolerance(lines, meeting)
    runs = _cut_to_runs(lines, tolerance, sigmas)
    pair, points = votes(lines, meeting, crossing, runs.number, tolerance, error)
    evidence = Evidence(
        runs.line, _alone(lines, runs, tolerance), pair, points, _links(lines, runs, tolerance)
    )
    called = _short_gives_way(runs, evidence, explain(evidence))
    met = np.isin(np.arange(len(called)), pair[points[:, 0, 0] > 0])
    for reason, which in (
        (DOUBLE, called == 1),
        (TRIPLE, called == 2),
        (CONTRADICTS, (called == WRONG) & met),
        (DISAGREES, (called == WRONG) & ~met),
    ):
        spoiled = np.zeros(len(soundings), bool)
        spoiled[lines.index[which[runs.number]]] = True
        soundings = soundings.reject(spoiled, reason)
    return soundings


@dataclass(frozen=True, eq=False)
class _Runs:
    """Unbroken parts of lines.

    `number`, shape (m,), is the run of each sounding, `leap`, (m,), after which soundings the bed
    leaps; `first` and `last` sounding and `line` of each run have shape (r,).
    """

    number: np.ndarray
    first: np.ndarray
    last: np.ndarray
    line: np.ndarray
    leap: np.ndarray

    @property
    def length(self) -> np.ndarray:
        """Soundings in each run."""
        return self.last - self.first + 1


def _position_error(soundings: Soundings) -> float:
    """Return half of what the places of two lines may differ by, twice their spread, m."""
    spread = soundings.frame["sd_xy"].to_numpy(float)[~soundings.flag]
    known = spread[np.isfinite(spread)]
    return math.sqrt(2) * (float(np.median(known)) if len(known) else POSITION_SD)


def _tolerance(lines: Stretches, meeting: Meetings) -> np.ndarray:
    """Return by how much another line may differ from each sounding, m."""
    apart = np.abs(meeting.at_a(lines.depth) - meeting.at_b(lines.depth))
    usual = NORMAL * float(np.median(apart)) if len(apart) else 0.0
    return SPREADS * np.maximum(usual, roughness(lines))


def _cut_to_runs(lines: Stretches, tolerance: np.ndarray, sigmas: float) -> _Runs:
    """Cut lines where they pause, and where they leap by half of what may be or more."""
    rise = np.abs(np.diff(lines.depth, append=0.0))
    onward = np.append(tolerance[1:], tolerance[-1:])
    leap = jumps(lines, sigmas=sigmas) & (rise >= np.minimum(tolerance, onward) / 2)
    last = np.flatnonzero(leap | (np.diff(lines.stretch, append=-1) != 0))
    first = np.append(0, last[:-1] + 1)
    number = np.repeat(np.arange(len(first)), last - first + 1)
    return _Runs(number, first, last, lines.line[first], leap)


def _alone(lines: Stretches, runs: _Runs, tolerance: np.ndarray) -> np.ndarray:
    """Return the points of each run by itself, shape (r, 4)."""
    points = np.tile([0.0, HAIR, HAIR, HAIR], (len(runs.first), 1))
    points[:, WRONG] -= SIGN * _returning(lines, runs, tolerance)
    points[:, :WRONG] += CONTRADICTION * _unlike_around(lines, runs.number)
    return points


def _returning(lines: Stretches, runs: _Runs, tolerance: np.ndarray) -> np.ndarray:
    """Tell which runs end with the leap back of the one with which they begin."""
    rise = np.where(runs.leap, np.diff(lines.depth, append=0.0), np.nan)
    begin, end = np.append(np.nan, rise[runs.last[:-1]]), rise[runs.last]
    return np.abs(begin + end) <= np.minimum(tolerance[runs.first], np.abs(begin) / 2)


def _unlike_around(lines: Stretches, run: np.ndarray) -> np.ndarray:
    """Tell whether most of a run, divided by 1, 2, 3, is off the planes around, shape (r, 3)."""
    node, first = _nodes(lines, run)
    count = np.bincount(node)
    easting, northing, depth = (
        np.bincount(node, weights=values) / count for values in (*lines.coordinates.T, lines.depth)
    )
    place = np.column_stack([easting, northing])
    apart = disagreement(place, depth, lines.line[first], TIMES[:WRONG])
    below, above = np.zeros((2, run[-1] + 1, WRONG))
    np.add.at(below, run[first], apart > SPREADS)
    np.add.at(above, run[first], apart < -SPREADS)
    return np.maximum(below, above) > np.bincount(run[first])[:, None] / 2


def _nodes(lines: Stretches, run: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gather soundings to nodes, four to the usual distance between lines, and give their first."""
    step = np.hypot(*np.diff(lines.coordinates, axis=0, prepend=lines.coordinates[:1]).T)
    along = np.cumsum(np.where(np.isfinite(step), step, 0.0))
    key = np.column_stack([run, np.floor(along / (_line_distance(lines) / 4))])
    begins = np.append(True, (np.diff(key, axis=0) != 0).any(axis=1))
    return np.cumsum(begins) - 1, np.flatnonzero(begins)


def _line_distance(lines: Stretches) -> float:
    """Return the median distance from a sounding to the next line, m; infinite for one line."""
    some = np.linspace(0, len(lines) - 1, min(len(lines), 200)).astype(int)
    many = np.linspace(0, len(lines) - 1, min(len(lines), 10_000)).astype(int)
    apart = np.hypot(*(lines.coordinates[some, None] - lines.coordinates[many]).transpose(2, 0, 1))
    apart[lines.line[some, None] == lines.line[many]] = np.inf
    return max(float(np.median(apart.min(axis=1))), 1e-3)


def _links(lines: Stretches, runs: _Runs, tolerance: np.ndarray) -> np.ndarray:
    """Return the points of each run and the next, shape (r - 1, 4, 4)."""
    here, there = runs.last[:-1], runs.first[1:]
    low, high = np.sort([lines.depth[here], lines.depth[there]], axis=0)
    leaps, great = runs.leap[here], high > 1.5 * low
    wrong = np.isnan(TIMES[:, None] + TIMES)
    small = (high - low < tolerance[here])[:, None, None]
    end = np.where(_signs(lines, runs) & great[:, None, None], -SIGN, BREAK)
    end = np.where(wrong, np.where(small, BREAK, 0.0), end)
    onset = ONSET[:, None] + ONSET
    change = onset + np.where(leaps[:, None, None], end, 0.0)
    within = np.zeros((len(here), len(TIMES)))
    within[:, 1:] += LEAP * (leaps & great)[:, None]
    within[:, WRONG] += SIGN * leaps
    change[:, np.arange(len(TIMES)), np.arange(len(TIMES))] = within
    same_line = lines.line[here] == lines.line[there]
    return np.where(same_line[:, None, None], change, onset)


def _signs(lines: Stretches, runs: _Runs) -> np.ndarray:
    """Tell where one run is the multiple of the other beside it, for all that both may be.

    The shallower of the two must be long enough to be a bed: as long as one side of what is
    expected.
    """
    start, end = lines.depth[runs.last[:-1]], lines.depth[runs.first[1:]]
    falls = (start < end)[:, None, None]
    low, high = (both[:, None, None] for both in np.sort([start, end], axis=0))
    of_low = np.where(falls, TIMES[:, None], TIMES)
    of_high = np.where(falls, TIMES, TIMES[:, None])
    length = np.where(start < end, runs.length[:-1], runs.length[1:])
    goes_on = (length >= SIDE)[:, None, None]
    rough = roughness(lines)
    noise = 3 * np.where(start < end, rough[runs.last[:-1]], rough[runs.first[1:]])[:, None, None]
    return goes_on & (of_high > of_low) & is_multiple(high, low / of_low, of_high, noise=noise)


def _short_gives_way(runs: _Runs, evidence: Evidence, called: np.ndarray) -> np.ndarray:
    """Call wrong what is too short to show that it goes on, and contradicts what does."""
    a, b = evidence.pair.T
    both = (called[a] == 0) & (called[b] == 0)
    a, b = evidence.pair[both & (evidence.points[:, 0, 0] > CONTRADICTION / 2)].T
    leaps = runs.leap[runs.last]
    short = (runs.length <= 2 * SIDE) & (leaps | np.append(False, leaps[:-1]))
    result = called.copy()
    for one, other in ((a, b), (b, a)):
        result[one[short[one] & (runs.length[other] > 2 * SIDE)]] = WRONG
    return result
