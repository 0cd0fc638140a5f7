"""Remaining: lines from which soundings are flagged by and by, and where that changes a verdict."""

from dataclasses import replace

import numpy as np

from toolbox.reduction.continuity import SIDE, WINDOWS, resolution_of, usual_step
from toolbox.reduction.stretches import Stretches

__all__ = ["LONGEST", "Remaining"]

LONGEST = 3
"""Soundings in the longest run that can be a spike; a longer one may be a real hump or pit."""

CHANGED = SIDE + WINDOWS[0] // 2 + LONGEST
"""So many soundings away what is expected, the roughness or a rival may be another."""

ASKED = CHANGED + LONGEST + WINDOWS[0] + SIDE
"""So many soundings away one must look for that: a window that is cut short is no window."""

KNOWN = 2 * 2
"""Soundings in a stretch in which something is expected at each of them: two on one side."""


_Part = tuple[Stretches, np.ndarray, np.ndarray]


class Remaining:
    """The soundings of lines that are not yet flagged.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.

    Notes
    -----
    A flag changes what is expected of four soundings on either side, and the roughness of 25 more,
    whatever the length of the survey. All else that judging takes from the lines as a whole is
    kept up here: the step in which depths are noted, exactly; the usual step along the lines as
    it was at first, of which a tenth stands in for the distance of repeated positions.
    """

    def __init__(self, lines: Stretches) -> None:
        self._first, self._stop = lines.ends()
        self._count = self._stop - self._first
        self._known = np.repeat(self._count >= KNOWN, self._count)
        self._kept = np.ones(len(lines), bool)
        self._noted, self._number = np.unique(lines.depth.round(4), return_inverse=True)
        self._times = np.bincount(self._number)
        self._since = 0
        self._asked: tuple[tuple[int, int], _Part] | None = None
        self.lines = replace(
            lines, usual_step=usual_step(lines), resolution=resolution_of(self._noted)
        )
        self.flagged = np.empty(0, int)

    def flag(self, which: np.ndarray) -> None:
        """Take away soundings, by their places in the lines, shape (k,)."""
        self.flagged = np.append(self.flagged, which)
        self._kept[which] = False
        stretch = np.searchsorted(self._first, which, side="right") - 1
        np.subtract.at(self._count, stretch, 1)
        for short in np.unique(stretch[self._count[stretch] < KNOWN]):
            self._known[self._first[short] : self._stop[short]] = False
        np.subtract.at(self._times, self._number[which], 1)
        resolution = resolution_of(self._noted[self._times > 0])
        if resolution != self.lines.resolution:
            self.lines = replace(self.lines, resolution=resolution)
            self._since = len(self.flagged)  # whatever was judged before has to be judged again

    def changed(self, since: int) -> _Part:
        """Return what must be looked at to judge anew wherever a verdict may be another.

        Parameters
        ----------
        since : int
            How many soundings had been flagged when they were judged last; negative for never.

        Returns
        -------
        part : Stretches
            Remaining soundings.
        place : (m,) array of int
            Where each stands in the lines.
        anew : (m,) array of bool
            Which of them are to be judged; the others are what lies beside.
        """
        question = since, len(self.flagged)
        if self._asked is None or self._asked[0] != question:
            self._asked = question, self._changed(since)
        return self._asked[1]

    def _changed(self, since: int) -> _Part:
        rest = np.flatnonzero(self._kept)
        fresh = self.flagged[max(since, 0) :]
        if since < self._since or 2 * ASKED * len(fresh) >= len(rest):
            part = self.lines.only(rest) if len(self.flagged) else self.lines
            return part, rest, np.ones(len(rest), bool)
        known = np.cumsum(self._known[rest])
        asked = np.flatnonzero(self._around(fresh, rest, known, ASKED))
        anew = self._around(fresh, rest, known, CHANGED)[asked]
        place = rest[asked]
        return _apart(self.lines.only(place), asked), place, anew

    def _around(
        self, fresh: np.ndarray, rest: np.ndarray, known: np.ndarray, reach: int
    ) -> np.ndarray:
        """Tell which of the rest lie within so many soundings of a fresh flag."""
        here = np.append(0, known)[np.searchsorted(rest, fresh)]
        edges = np.zeros(len(rest) + 1, int)
        np.add.at(edges, np.searchsorted(known, here - reach), 1)
        np.add.at(edges, np.searchsorted(known, here + reach, side="right"), -1)
        return edges[:-1].cumsum() > 0


def _apart(part: Stretches, place: np.ndarray) -> Stretches:
    """Make lines of their own of soundings that do not follow one another in the lines."""
    gap = np.diff(place, prepend=-1) > 1
    line = np.cumsum(gap | (np.diff(part.line, prepend=-1) != 0)) - 1
    stretch = np.cumsum(gap | (np.diff(part.stretch, prepend=-1) != 0)) - 1
    return replace(part, line=line, stretch=stretch)
