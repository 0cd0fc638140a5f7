"""Contradictions: stretches of a line that cannot be the bed if the lines they meet are."""

import math
from typing import Annotated

import numpy as np

from toolbox.layers import Soundings
from toolbox.reduction.continuity import NORMAL, SIDE, roughness
from toolbox.reduction.crossings import PLACE_SD
from toolbox.reduction.echoes import DOUBLE, TRIPLE
from toolbox.reduction.explanation import CONTRADICTION, SIGN, WRONG, Evidence, explain
from toolbox.reduction.lines_around import unlike_around
from toolbox.reduction.meetings import Meetings
from toolbox.reduction.planes import UNLIKE
from toolbox.reduction.runs import Runs, cut_to_runs, links, returning, signs
from toolbox.reduction.stretches import Stretches, own_lines
from toolbox.reduction.votes import all_meetings, votes
from toolbox.tool import Range, tool

__all__ = ["CONTRADICTS", "reject_wrong_stretches"]

CONTRADICTS = "contradicts other lines"

SPREADS = 4.0
"""Robust standard deviations that two lines may differ by."""

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
        As many as before, with the reasons "double echo", "triple echo", "contradicts other lines"
        and, where it meets none, "unlike soundings nearby".

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
      `disagreement`; but not for one that leaps there and back, is no multiple, and is shorter than
      the next line is away: there is room for a pit or a rock;
    - 2 for each contradiction that a multiple would explain, and a wrong run leaves unexplained;
    - 6 for a run called a double echo, 7 for a triple one, 8 for one called wrong;
    - 4 less for each end of a run where it is a multiple of the run beside it (of four soundings
      or more), and for a wrong run that ends with the leap back of the one with which it begins;
    - 2 more for an end that is no such thing, and 1.5 more for a great leap within it.

    So it takes two signs to call a double echo: both ends, or one end and a line that it crosses.
    Where two lines read the same and none reads otherwise, it is the bed even so: a shaft.
    It takes two more lines against a run than for it to call it wrong; of two that contradict each
    other with nothing else to go by, both are kept. One exception: a run too short to show that it
    goes on (8 soundings, twice what an expectation rests on), set off by a leap, gives way to a
    longer one. The points are weights of evidence chosen for these rules (no source).
    """
    lines, step = own_lines(soundings)
    if len(lines.pieces()) == 0:
        return soundings
    error = _position_error(soundings)
    meeting, crossing = all_meetings(lines, step, error)
    tolerance = _tolerance(lines, meeting)
    runs = cut_to_runs(lines, tolerance, sigmas)
    signed = signs(lines, runs)
    pair, points = votes(lines, meeting, crossing, runs.number, tolerance, error)
    met = np.isin(np.arange(len(runs)), pair[points[:, 0, 0] > 0])
    evidence = Evidence(
        runs.line,
        _alone(lines, runs, tolerance, signed, met),
        pair,
        points,
        links(lines, runs, tolerance, signed),
    )
    called = _short_gives_way(runs, evidence, _seen_twice(evidence, explain(evidence)))
    for reason, which in (
        (DOUBLE, called == 1),
        (TRIPLE, called == 2),
        (CONTRADICTS, (called == WRONG) & met),
        (UNLIKE, (called == WRONG) & ~met),
    ):
        spoiled = np.zeros(len(soundings), bool)
        spoiled[lines.index[which[runs.number]]] = True
        soundings = soundings.reject(spoiled, reason)
    return soundings


def _position_error(soundings: Soundings) -> float:
    """Return half of what the places of two lines may differ by, twice their spread, m."""
    spread = soundings.frame["sd_xy"].to_numpy(float)[~soundings.flag]
    known = spread[np.isfinite(spread)]
    return math.sqrt(2) * (float(np.median(known)) if len(known) else PLACE_SD)


def _tolerance(lines: Stretches, meeting: Meetings) -> np.ndarray:
    """Return by how much another line may differ from each sounding, m."""
    apart = np.abs(meeting.at_a(lines.depth) - meeting.at_b(lines.depth))
    usual = NORMAL * float(np.median(apart)) if len(apart) else 0.0
    return SPREADS * np.maximum(usual, roughness(lines))


def _alone(
    lines: Stretches, runs: Runs, tolerance: np.ndarray, signed: np.ndarray, denied: np.ndarray
) -> np.ndarray:
    """Return the points of each run by itself, shape (r, 4).

    The planes around are asked only about lines on which a leap or another line makes a run
    doubtful: without that, nothing they say makes it anything else than the bed.
    """
    points = np.tile([0.0, HAIR, HAIR, HAIR], (len(runs), 1))
    back = returning(lines, runs, tolerance)
    points[:, WRONG] -= SIGN * back
    excused = back & ~_is_signed(signed)
    asked = np.isin(runs.line, runs.line[runs.set_off | denied])
    unlike = unlike_around(lines, runs, asked, excused, spreads=SPREADS)
    points[:, :WRONG] += CONTRADICTION * unlike
    return points


def _is_signed(signed: np.ndarray) -> np.ndarray:
    """Tell which runs are the multiple of a bed beside them, shape (r,)."""
    of_before, of_next = signed[:, 0, 1:WRONG].any(axis=1), signed[:, 1:WRONG, 0].any(axis=1)
    return np.append(False, of_before) | np.append(of_next, False)


def _seen_twice(evidence: Evidence, called: np.ndarray) -> np.ndarray:
    """Call multiples the bed where two lines read the same, and no line reads otherwise.

    A shaft may be twice as deep as its rim by chance. Its edges look like those of a double echo
    on every line: that is one sign, however many lines cross it.
    """
    a, b = evidence.pair.T
    apart = evidence.points[:, 0, 0] > CONTRADICTION / 2
    denied = np.zeros(len(called), bool)
    for one, other in ((a, b), (b, a)):
        denied[one[apart & (called[other] == 0)]] = True
    agree = evidence.points[:, WRONG, 0] > CONTRADICTION / 2
    twice = agree & (called[a] == called[b]) & (called[a] > 0) & (called[a] < WRONG)
    twice &= ~denied[a] & ~denied[b]
    result = called.copy()
    result[evidence.pair[twice]] = 0
    return result


def _short_gives_way(runs: Runs, evidence: Evidence, called: np.ndarray) -> np.ndarray:
    """Call wrong what is too short to show that it goes on, and contradicts what does."""
    a, b = evidence.pair.T
    both = (called[a] == 0) & (called[b] == 0)
    a, b = evidence.pair[both & (evidence.points[:, 0, 0] > CONTRADICTION / 2)].T
    short = (runs.count <= 2 * SIDE) & runs.set_off
    result = called.copy()
    for one, other in ((a, b), (b, a)):
        result[one[short[one] & (runs.count[other] > 2 * SIDE)]] = WRONG
    return result
