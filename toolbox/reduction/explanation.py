"""Explanation: what the runs of a survey must be for the least to remain unexplained."""

from dataclasses import dataclass, replace

import numpy as np

__all__ = [
    "CONTRADICTION",
    "ONSET",
    "SIGN",
    "TIMES",
    "WRONG",
    "Evidence",
    "explain",
]

TIMES = np.array([1.0, 2.0, 3.0, np.nan])
"""What a run may be: the bed, its double or triple echo, or something else that is wrong."""

WRONG = 3
"""Which of these is wrong."""

CONTRADICTION = 5.0
"""Points of two runs taken for the bed that contradict each other."""

SIGN = 4.0
"""Points of a sign that a run is not the bed."""

ONSET = np.array([0.0, 3.0, 3.5, 4.0])
"""Points of each end of a run that is not the bed."""

EVEN = 0.2
"""Two explanations as near as this are even."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What speaks for and against all that each run may be, in points.

    Parameters
    ----------
    line : (r,) array of int
        Line of each run, ascending; runs are in the order of their line.
    alone : (r, 4) array
        By itself.
    pair : (v, 2) array of int
        Runs that meet.
    points : (v, 4, 4) array
        Of the two that meet.
    link : (r - 1, 4, 4) array
        Of each run and the next one.
    """

    line: np.ndarray
    alone: np.ndarray
    pair: np.ndarray
    points: np.ndarray
    link: np.ndarray

    def against(self, called: np.ndarray, part: slice) -> np.ndarray:
        """Return what meetings cost each run of a part, for all that it may be, shape (k, 4)."""
        cost = self.alone[part].copy()
        for one, points in ((0, self.points), (1, self.points.transpose(0, 2, 1))):
            meet = np.flatnonzero(_holds(part, self.pair[:, one]))
            others = called[self.pair[meet, 1 - one]]
            np.add.at(cost, self.pair[meet, one] - part.start, points[meet, :, others])
        return cost

    def cost(self, called: np.ndarray, part: slice) -> float:
        """Return all points in which a part of a line has a share."""
        meet = _holds(part, self.pair).any(axis=1)
        a, b = self.pair[meet].T
        here = np.arange(max(part.start - 1, 0), min(part.stop, len(self.link)))
        onward = self.link[here, called[here], called[here + 1]].sum()
        ends = ONSET[called[0]] * (part.start == 0) + ONSET[called[-1]] * (part.stop == len(called))
        ends += self.alone[np.arange(part.start, part.stop), called[part]].sum()
        return float(self.points[meet, called[a], called[b]].sum() + onward + ends)


def _holds(part: slice, runs: np.ndarray) -> np.ndarray:
    return (runs >= part.start) & (runs < part.stop)


def explain(evidence: Evidence) -> np.ndarray:
    """Call each run what makes the whole survey cost least.

    Parameters
    ----------
    evidence : Evidence
        Of all runs.

    Returns
    -------
    (r,) array of int
        Which of `TIMES` each run is.

    Notes
    -----
    All runs are taken for the bed at first. Each line is then explained anew while the others are
    held (Viterbi), and the changes that this asks for are made, those that save most first, until
    none saves anything. Of two changes that save the same, but not both, neither is made.
    """
    called = np.zeros(len(evidence.line), int)
    for _ in range(len(called) + 1):
        changes = [
            change for line in _lines(evidence) for change in _proposed(evidence, called, line)
        ]
        changes.sort(key=lambda change: -change.gain)
        before, settled = called, np.zeros(len(called), bool)
        for change in changes:
            if change.gain < EVEN or settled[change.part].any():
                continue
            touched = _touched(evidence, change.part)
            after = change.made(called)
            if not any(_rivals(evidence, change, other, after, touched) for other in changes):
                called = after
            settled |= touched
        if called is before:
            break
    return called


@dataclass(frozen=True, eq=False)
class _Change:
    """Another call for neighbouring runs, and the points it saves."""

    gain: float
    part: slice
    calls: np.ndarray

    def made(self, called: np.ndarray) -> np.ndarray:
        """Return what all runs are called after it."""
        after = called.copy()
        after[self.part] = self.calls
        return after


def _rivals(
    evidence: Evidence, change: _Change, other: _Change, after: np.ndarray, touched: np.ndarray
) -> bool:
    """Tell whether another change saves as much, but nothing any more after this one."""
    if other is change or abs(other.gain - change.gain) > EVEN or not touched[other.part].any():
        return False
    left = evidence.cost(after, other.part) - evidence.cost(other.made(after), other.part)
    return left < EVEN


def _lines(evidence: Evidence) -> list[slice]:
    starts = np.flatnonzero(np.diff(evidence.line, prepend=-1))
    ends = np.append(starts[1:], len(evidence.line))
    return [slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _touched(evidence: Evidence, part: slice) -> np.ndarray:
    """Tell which runs have a part in what a change of some runs gains."""
    touched = np.zeros(len(evidence.line), bool)
    touched[max(part.start - 1, 0) : part.stop + 1] = True
    meets = touched[evidence.pair].any(axis=1)
    touched[evidence.pair[meets]] = True
    return touched


def _proposed(evidence: Evidence, called: np.ndarray, line: slice) -> list[_Change]:
    """Return the changes along a line that its cheapest explanation asks for."""
    cost, link = evidence.against(called, line), evidence.link[line.start : line.stop - 1]
    if not cost[:, 0].any() and not (link < 0).any() and not called[line].any():
        return []
    best = _cheapest(cost, link)
    edges = np.flatnonzero(np.diff(np.r_[0, best != called[line], 0]))
    changes = []
    for start, stop in edges.reshape(-1, 2):
        part = slice(line.start + int(start), line.start + int(stop))
        change = _Change(0.0, part, best[start:stop])
        gain = evidence.cost(called, part) - evidence.cost(change.made(called), part)
        changes.append(replace(change, gain=gain))
    return changes


def _cheapest(cost: np.ndarray, link: np.ndarray) -> np.ndarray:
    """Return the calls of the runs of one line that cost least (Viterbi)."""
    total, came = cost[0] + ONSET, []
    for here, onward in zip(cost[1:], link, strict=True):
        through = total[:, None] + onward
        came.append(through.argmin(axis=0))
        total = through.min(axis=0) + here
    called = [int((total + ONSET).argmin())]
    for before in reversed(came):
        called.append(int(before[called[-1]]))
    return np.array(called[::-1])
