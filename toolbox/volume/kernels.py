"""Exact areas and volumes of a net of triangles at many levels."""

from typing import Any

import numba
import numpy as np

__all__ = ["PARTS", "accumulate"]

PARTS = 16
"""Triangles are summed in this many parts: the same bits whatever the number of threads."""


@numba.njit(cache=True, nogil=True)
def _part(ground: Any, depth: Any, levels: Any, first: int, last: int, out: Any) -> None:
    area, volume, whole_area, whole_volume = out
    for t in range(first, last):
        a, b, c = depth[t]
        if a > b:
            a, b = b, a
        if b > c:
            b, c = c, b
        if a > b:
            a, b = b, a
        size, mean = ground[t], (a + b + c) / 3
        k = np.searchsorted(levels, a, "right")
        whole_area[k] += size
        whole_volume[k] += size * mean
        while k < len(levels) and levels[k] <= b and levels[k] < c:
            u = levels[k] - a
            dry = u * u / ((b - a) * (c - a))
            area[k] += size * (1 - dry)
            volume[k] += size * (mean - levels[k] + dry * u / 3)
            k += 1
        while k < len(levels) and levels[k] < c:
            v = c - levels[k]
            wet = v * v / ((c - a) * (c - b))
            area[k] += size * wet
            volume[k] += size * wet * v / 3
            k += 1


@numba.njit(parallel=True, cache=True, nogil=True)
def accumulate(ground: Any, depth: Any, levels: Any) -> Any:
    """Sum over triangles.

    Parameters are the ground area of each triangle (m,), the depths of its corners (m, 3) and the
    levels (k,), ascending. Returns, per part, what triangles crossed by a level give at that
    level (area, volume), and what triangles wholly at or below a level give from there on
    (area, area times mean depth): shape (PARTS, 4, k + 1).
    """
    out = np.zeros((PARTS, 4, len(levels) + 1))
    count = len(ground)
    for part in numba.prange(PARTS):
        _part(ground, depth, levels, count * part // PARTS, count * (part + 1) // PARTS, out[part])
    return out
