"""Lengths of lines under a scale that varies from place to place."""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["measure"]


@njit(inline="always")
def _between(net: Any, i: int, j: int, u: float, v: float) -> float:
    """Value between four nodes, linear along both axes."""
    low = net[i, j] + v * (net[i, j + 1] - net[i, j])
    high = net[i + 1, j] + v * (net[i + 1, j + 1] - net[i + 1, j])
    return low + u * (high - low)


@njit(parallel=True, cache=True, nogil=True)
def measure(places: Any, starts: Any, low: Any, step: Any, net: Any) -> Any:
    """Measure lines that begin at `starts` (l + 1,) of `places` (p, 2).

    `net` (3, k, k) holds, at nodes `step` (2,) apart from `low` (2,) on, the squares of the length
    of a metre east and of a metre north, and their product. Returns the length of each line.
    """
    out = np.zeros(len(starts) - 1)
    last = net.shape[1] - 2
    for line in numba.prange(len(out)):
        total = 0.0
        for p in range(starts[line], starts[line + 1] - 1):
            east, north = places[p + 1, 0] - places[p, 0], places[p + 1, 1] - places[p, 1]
            u = (places[p, 0] + east / 2 - low[0]) / step[0]
            v = (places[p, 1] + north / 2 - low[1]) / step[1]
            i, j = min(max(int(u), 0), last), min(max(int(v), 0), last)
            ee = _between(net[0], i, j, u - i, v - j)
            nn = _between(net[1], i, j, u - i, v - j)
            en = _between(net[2], i, j, u - i, v - j)
            total += math.sqrt(ee * east * east + nn * north * north + 2 * en * east * north)
        out[line] = total
    return out
