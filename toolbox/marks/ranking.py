"""Ranking: the best marks first, apart from one another and not all of one kind."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from toolbox.layers.geodesy import distances
from toolbox.marks.spots import Spots

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["choose", "worth"]

_ONE_RELIEF = 1.0  # m: a feature of so much relief counts half of one without end
_VARIETY = 0.6  # what a further mark of one kind from one peg counts


def worth(spots: Spots, weights: Mapping[str, float]) -> np.ndarray:
    """Return what each spot counts before anyone casts to it.

    The weight of its kind, times the confidence that its feature is there (1 where nobody told),
    times relief / (relief + 1 m) of the feature, which is a half where it has no relief.
    """
    weight = np.array([weights[kind] for kind in spots.kind], float)
    sure = np.where(np.isnan(spots.confidence), 1.0, spots.confidence)
    relief = np.where(np.isnan(spots.relief), _ONE_RELIEF, np.maximum(spots.relief, 0))
    return weight * sure * relief / (relief + _ONE_RELIEF)


def choose(
    score: np.ndarray,
    spots: Spots,
    spot: np.ndarray,
    peg: np.ndarray,
    crs: "CRS | None",
    *,
    count: int,
    per_peg: int,
    apart: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Choose marks one after the other, each time the one that counts most.

    Parameters
    ----------
    score : (n,) array
        What each candidate counts, more than 0 if it counts at all.
    spots : Spots
        Their places and kinds.
    spot, peg : (n,) array of int
        Which spot each candidate is at, and from which peg.
    crs : CRS or None
        Of the spots.
    count, per_peg : int
        Most marks in all, and from one peg.
    apart : float
        Least distance between two marks, on the ground, m.

    Returns
    -------
    which : (k,) array of int
        The candidates chosen, in order.
    score : (k,) array
        What each counted when it was chosen; never rising.

    Notes
    -----
    Each mark chosen lowers what further ones of its kind from its peg count, to 0.6. Of candidates
    that count the same the first is taken. What is ahead of the first mark of a kind does not
    depend on that kind's weight, so raising the weight never lowers its rank.
    """
    left = score.astype(float)
    chosen: list[int] = []
    counted: list[float] = []
    used = np.zeros(int(peg.max(initial=-1)) + 1, int)
    kind = spots.kind[spot]
    while len(chosen) < count and len(left) and left.max() > 0:
        best = int(np.argmax(left))
        chosen.append(best)
        counted.append(left[best])
        used[peg[best]] += 1
        here = np.broadcast_to(spots.places[spot[best]], (len(spots), 2))
        near = distances(here, spots.places, crs) < apart
        left[near[spot] | (spot == spot[best])] = 0.0
        own = peg == peg[best]
        left[own & (kind == kind[best])] *= _VARIETY
        if used[peg[best]] >= per_peg:
            left[own] = 0.0
    return np.array(chosen, int), np.array(counted)
