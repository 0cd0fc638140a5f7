"""Patches: where a bed changed by more than chance would show anywhere on it."""

import math
from dataclasses import dataclass

import numpy as np

from toolbox.change.comparison import Comparison, quantile

__all__ = ["Patches"]

SKIRT = 1.0
SURPRISE = 2.0
"""Unchanged beds of invented lakes showed patches up to 1.7 times as heavy as errors explain."""

_TOGETHER = 1_000_000  # cells of several fields of error: quick, and little memory

_IN_PLANE = np.zeros((3, 3, 3, 3), bool)
"""What joins a cell of one field: its four neighbours in the same field and to the same side."""
_IN_PLANE[1, 1, 1, :] = _IN_PLANE[1, 1, :, 1] = True


@dataclass(frozen=True, eq=False)
class Patches:
    """How patches of change are told from chance.

    Parameters
    ----------
    comparison : Comparison
        The two beds.
    limit : float
        Change over its sd from which on a cell may belong to a patch.
    least : float
        Mass that a patch must exceed.
    skirt : float
        By how much of its own radius a patch is widened.

    Notes
    -----
    A patch is a set of cells, joined by their sides, whose change is to one side and beyond the
    limit of detection. Its mass is the sum of change over sd, times area. It counts if its mass is
    greater than that of the heaviest patch in all but `1 - confidence` of the fields of error
    (cluster mass; Bullmore et al. 1999, IEEE Transactions on Medical Imaging 18:32; Nichols &
    Holmes 2002, Human Brain Mapping 15:1, both from memory). A patch reaches `skirt` times the
    radius of a circle of its area further than its cells: the thin edge of what was laid down is
    below the limit. Where two reach, the nearer counts.
    """

    comparison: Comparison
    limit: float
    least: float
    skirt: float

    @classmethod
    def of(cls, comparison: Comparison, *, confidence: float, skirt: float) -> "Patches":
        """Find out how heavy patches are that chance makes, and set the least so.

        Parameters
        ----------
        comparison : Comparison
            The two beds.
        confidence : float
            With which nothing at all is marked where nothing changed.
        skirt : float
            By how much of its own radius a patch is widened.
        """
        limit = quantile(confidence)
        several = max(1, _TOGETHER // comparison.cells.values.size)
        heaviest = np.concatenate(
            [
                _heaviest(comparison, comparison.errors[first : first + several], limit)
                for first in range(0, len(comparison.errors), several)
            ]
        )
        # on the safe side by what so many fields leave open
        doubt = math.sqrt(confidence * (1 - confidence) / len(heaviest))
        least = np.quantile(heaviest, min(confidence + doubt, 1.0), method="higher")
        return cls(comparison, limit, float(least), skirt)

    def sides(self, rise: np.ndarray, *, surprise: float = 1.0) -> np.ndarray:
        """Mark cells of a change (c,): 1 in patches that rose, -1 that sank, 0 elsewhere.

        Parameters
        ----------
        rise : (c,) array
            m.
        surprise : float
            How many times the least mass a patch must exceed.

        Returns
        -------
        (c,) array of int8
        """
        from scipy.ndimage import distance_transform_edt

        labels, masses = self._numbered(rise)
        kept = masses > surprise * self.least
        if not kept.any():
            return np.zeros(len(rise), np.int8)
        radius = np.sqrt(np.bincount(labels.ravel(), minlength=len(masses)) / np.pi)
        reach = np.where(kept, self.skirt * radius, 0.0)
        near = _window(kept[labels], math.ceil(reach.max()))
        own = labels[near]
        away, nearest = distance_transform_edt(~kept[own], return_indices=True)
        # the sign of a patch is that of any of its cells
        sign = np.sign(self.comparison.spread(rise, 0.0)[near])[tuple(nearest)]
        side = np.zeros(labels.shape, np.int8)
        side[near] = np.where(away <= reach[own[tuple(nearest)]], sign, 0)
        return np.asarray(side[self.comparison.row, self.comparison.col])

    def _numbered(self, rise: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the numbered patches of a change (c,) on the grid, and the mass of each number.

        Number 0 is no patch and has no mass; numbers of what sank come after those of what rose.
        """
        from scipy.ndimage import label

        two = self.comparison
        score = two.score_of(rise)
        high, risen = label(two.spread(score > self.limit, 0))
        low, sunk = label(two.spread(score < -self.limit, 0))
        labels = np.where(low > 0, low + risen, high)
        weight = np.abs(score) * two.ground
        masses = np.bincount(labels[two.row, two.col], weight, risen + sunk + 1)
        masses[0] = 0.0
        return labels, masses


def _window(marked: np.ndarray, margin: int) -> tuple[slice, slice]:
    """Return the rows and columns that marked cells take up, and a margin around them."""
    ends = [np.flatnonzero(marked.any(axis=axis))[[0, -1]] for axis in (1, 0)]
    rows, cols = (slice(max(first - margin, 0), last + margin + 1) for first, last in ends)
    return rows, cols


def _heaviest(two: Comparison, errors: np.ndarray, limit: float) -> np.ndarray:
    """Return the mass of the heaviest patch of each field of error (k, c), (k,)."""
    from scipy.ndimage import label

    score = two.score_of(errors)
    beyond = np.zeros((2, len(errors), *two.cells.shape), bool)
    beyond[0][:, two.row, two.col] = score > limit
    beyond[1][:, two.row, two.col] = score < -limit
    labels, count = label(beyond, _IN_PLANE)
    masses, owner = np.zeros(count + 1), np.zeros(count + 1, np.intp)
    for side in labels:
        own = side[:, two.row, two.col]
        masses += np.bincount(own.ravel(), (np.abs(score) * two.ground).ravel(), count + 1)
        field, cell = np.nonzero(own)
        owner[own[field, cell]] = field
    masses[0] = 0.0
    heaviest = np.zeros(len(errors))
    np.maximum.at(heaviest, owner, masses)
    return heaviest
