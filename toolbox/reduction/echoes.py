"""Echoes: short runs of soundings that leave the bed and return to it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from toolbox.layers import Soundings
from toolbox.reduction.continuity import SIDE, Expected, expected, roughness
from toolbox.reduction.remaining import LONGEST, Remaining
from toolbox.reduction.stretches import Stretches, own_lines
from toolbox.tool import Range, tool

__all__ = [
    "DOUBLE",
    "PLANTS",
    "SPIKE",
    "TRIPLE",
    "is_multiple",
    "reject_double_echoes",
    "reject_plant_tops",
    "reject_spikes",
]

SPIKE = "spike along the line"
DOUBLE = "double echo"
TRIPLE = "triple echo"
PLANTS = "plant top"

ROUNDS = 8
"""Rounds in which what stands out is flagged and the rest judged again without it."""

MULTIPLE_SHARE = 0.05
"""How near a reading must be to a multiple of the bed, as a share (common practice, no source)."""

MULTIPLE_OFFSET = 0.3
"""How much less than the bed it may be, m: draft and a change of level are not doubled."""

_Sigmas = Annotated[float, Range("", above=0)]


@tool("Reject spikes along the line")
def reject_spikes(soundings: Soundings, *, sigmas: _Sigmas = 4.0) -> Soundings:
    """Flag soundings that leave the bed and come back to it within three soundings.

    Parameters
    ----------
    soundings : Soundings
        Points to judge, along their lines.
    sigmas : float
        How many times the line's own roughness they must lie outside what both sides expect. Four
        flag about two in a thousand readings with normal errors.

    Returns
    -------
    Soundings
        As many as before; those of a spike carry the reason "spike along the line".

    Notes
    -----
    The bed is carried into each run of one to three soundings from the four before it and the four
    after it, see `expected`. A run is a spike if it lies wholly above, or wholly below, what both
    sides expect, and the soundings just before and after it are back at the bed. A cliff is met by
    one side, and a slope by both; only what returns is flagged. The greatest departures are
    flagged first, and the rest is judged again without them, eight times at most.
    """
    return _reject_runs(soundings, ((SPIKE, lambda run: np.ones(len(run), bool)),), sigmas)


@tool("Reject double echoes")
def reject_double_echoes(soundings: Soundings, *, sigmas: _Sigmas = 4.0) -> Soundings:
    """Flag soundings that read twice or three times the bed beside them.

    Parameters
    ----------
    soundings : Soundings
        Points to judge, along their lines.
    sigmas : float
        How many times the line's own roughness they must lie below what both sides expect.

    Returns
    -------
    Soundings
        As many as before, with the reasons "double echo" and "triple echo".

    Notes
    -----
    The run must be a spike, see `reject_spikes`, and a multiple of what its sides expect, see
    `is_multiple`, within three times the line's roughness; and the two sides must agree within
    twice as much. Longer runs are judged together with the lines that cross them, see
    `reject_wrong_stretches`.
    """
    return _reject_runs(soundings, ((DOUBLE, _multiple(2)), (TRIPLE, _multiple(3))), sigmas)


def is_multiple(
    depth: np.ndarray,
    bed: np.ndarray,
    times: int | np.ndarray,
    *,
    noise: float | np.ndarray = 0.0,
) -> np.ndarray:
    """Tell whether readings may be echoes that have been to the bed several times.

    Parameters
    ----------
    depth, bed : array
        Readings and the bed beneath them, m.
    times : int or array of float
        2 for a double echo.
    noise : float or array
        What the two may differ by besides, m.

    Returns
    -------
    array of bool
        Whether ``depth / times`` is the bed within a twentieth or the noise, or up to 0.3 m less.

    Notes
    -----
    With a draft ``c`` that was added once, an echo that has been to the bed ``k`` times reads
    ``k (z - c) + c``: divided by ``k`` this is ``c (k - 1) / k`` less than ``z``, never more.
    """
    off = depth / times - bed
    share = np.maximum(MULTIPLE_SHARE * bed, noise)
    return (off <= share) & (off >= -np.maximum(share, MULTIPLE_OFFSET))


@tool("Reject plant tops taken for the bed")
def reject_plant_tops(soundings: Soundings, *, sigmas: _Sigmas = 4.0) -> Soundings:
    """Flag soundings that stand at the height of the plants beside them.

    Parameters
    ----------
    soundings : Soundings
        Points to judge, along their lines; without a column ``canopy`` nothing is flagged.
    sigmas : float
        How many times the line's own roughness they must lie above what both sides expect.

    Returns
    -------
    Soundings
        As many as before, with the reason "plant top".

    Notes
    -----
    A run of one to three soundings that is shallower than both sides expect, see `reject_spikes`,
    is taken for plants only if soundings within four places on each side saw tops of plants, and
    the run is nearer to these than to the bed.
    """
    if "canopy" not in soundings.frame:
        return soundings
    return _reject_runs(soundings, ((PLANTS, _near_canopy(soundings)),), sigmas)


@dataclass(frozen=True, eq=False)
class _Runs:
    """Runs that leave the bed; all arrays of shape (k,)."""

    lines: Stretches
    first: np.ndarray
    length: int
    depth: np.ndarray
    shallow: np.ndarray
    deep: np.ndarray
    miss: np.ndarray
    rough: np.ndarray

    def __len__(self) -> int:
        return len(self.first)


_Choice = Callable[[_Runs], np.ndarray]


def _multiple(times: int) -> _Choice:
    def choose(run: _Runs) -> np.ndarray:
        bed = np.clip(run.depth / times, run.shallow, run.deep)
        multiple = is_multiple(run.depth, bed, times, noise=3 * run.rough)
        agreed = run.deep - run.shallow <= np.maximum(2 * MULTIPLE_SHARE * bed, 6 * run.rough)
        return (run.miss > 0) & multiple & agreed

    return choose


def _near_canopy(soundings: Soundings) -> _Choice:
    canopy = soundings.frame["canopy"].to_numpy(float)

    def choose(run: _Runs) -> np.ndarray:
        beside = [
            run.lines.neighbour(away, run.first)
            for away in (*range(-SIDE, 0), *range(run.length, run.length + SIDE))
        ]
        tops = canopy[run.lines.index[np.column_stack(beside)]]
        seen = np.isfinite(tops[:, :SIDE]).any(axis=1) & np.isfinite(tops[:, SIDE:]).any(axis=1)
        top = np.where(seen, np.nansum(tops, axis=1) / np.maximum(np.isfinite(tops).sum(1), 1), 0)
        return seen & (run.miss < 0) & (np.abs(run.depth - top) < np.abs(run.depth - run.shallow))

    return choose


def _reject_runs(
    soundings: Soundings, choices: tuple[tuple[str, _Choice], ...], sigmas: float
) -> Soundings:
    """Flag the runs chosen for each reason, greatest departures first, for a few rounds."""
    lines, _ = own_lines(soundings)
    told = np.full(len(soundings), "", dtype=object)
    remaining, judged = Remaining(lines), [-1] * LONGEST
    for _ in range(ROUNDS):
        place, number = _spikes(remaining, judged, [choose for _, choose in choices], sigmas)
        if not len(place):
            break
        for which, (reason, _) in enumerate(choices, start=1):
            told[lines.index[place[number == which]]] = reason
        remaining.flag(place)
    for reason, _ in choices:
        soundings = soundings.reject(told == reason, reason)
    return soundings


def _spikes(
    remaining: Remaining, judged: list[int], choices: list[_Choice], sigmas: float
) -> tuple[np.ndarray, np.ndarray]:
    """Find the soundings of the shortest runs that leave the bed, and which choice they meet.

    `judged` tells for each length how many soundings had been flagged when such runs were judged
    last; only what may have changed since is judged again.
    """
    for length in range(1, LONGEST + 1):
        lines, place, anew = remaining.changed(judged[length - 1])
        judged[length - 1] = len(remaining.flagged)
        found = np.zeros(len(lines), int)
        run = _leaving(lines, length, anew, sigmas)
        for number, choose in reversed(list(enumerate(choices, start=1))):
            first = run.first[choose(run)]
            found[first[:, None] + np.arange(length)] = number
        if found.any():
            break
    return place[found > 0], found[found > 0]


def _leaving(lines: Stretches, length: int, anew: np.ndarray, sigmas: float) -> _Runs:
    """Return the runs to judge that leave the bed, each the farthest out of its neighbours."""
    rough, expect = roughness(lines), expected(lines, length)
    rough = np.maximum(rough, np.roll(rough, 1 - length))  # of both ends, whichever comes first
    onward = [np.roll(lines.depth, -on) for on in range(length)]
    miss = expect.miss(np.minimum.reduce(onward), np.maximum.reduce(onward))
    out = np.abs(miss) / (sigmas * rough)
    first = np.flatnonzero(anew & (out > 1))
    beside = first[:, None] + np.arange(2 * length + 1)
    first = first[out[first] >= np.pad(out, length)[beside].max(axis=1, initial=0.0)]
    at = Expected(expect.before[first], expect.after[first])
    back = _back(lines, at, miss[first], first, length)
    first, shallow, deep = first[back], at.shallow[back], at.deep[back]
    depth = lines.depth[first[:, None] + np.arange(length)].mean(axis=1)
    return _Runs(lines, first, length, depth, shallow, deep, miss[first], rough[first])


def _back(
    lines: Stretches, expect: Expected, miss: np.ndarray, first: np.ndarray, length: int
) -> np.ndarray:
    """Tell of which runs the soundings just before and after are back at the bed."""
    back = np.ones(len(first), bool)
    for beside in (-1, length):
        depth = lines.depth[lines.neighbour(beside, first)]
        off = expect.miss(depth, depth) * np.sign(miss)
        back &= off <= np.abs(miss) / 2
    return back
