"""Exact areas and volumes of a net of triangles at many levels."""

import math
from typing import Any

import numba
import numpy as np

__all__ = ["PARTS", "accumulate", "accumulate_each", "sum_steepness"]

PARTS = 16
"""Triangles are summed in this many parts: the same bits whatever the number of threads."""


@numba.njit(cache=True, nogil=True)
def _part(
    ground: Any, triangles: Any, depth: Any, levels: Any, first: int, last: int, out: Any
) -> None:
    area, volume, whole_area, whole_volume = out
    for t in range(first, last):
        i, j, h = triangles[t]
        a, b, c = depth[i], depth[j], depth[h]
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
def accumulate(ground: Any, triangles: Any, depth: Any, levels: Any) -> Any:
    """Sum over triangles.

    Parameters are the ground area of each triangle (m,), its corners (m, 3), the depth of each
    vertex (n,) and the levels (k,), ascending. Returns, per part, what triangles crossed by a
    level give at that level (area, volume), and what triangles wholly at or below a level give
    from there on (area, area times mean depth): shape (PARTS, 4, k + 1).
    """
    out = np.zeros((PARTS, 4, len(levels) + 1))
    count = len(ground)
    for part in numba.prange(PARTS):
        first, last = count * part // PARTS, count * (part + 1) // PARTS
        _part(ground, triangles, depth, levels, first, last, out[part])
    return out


@numba.njit(parallel=True, cache=True, nogil=True)
def accumulate_each(ground: Any, triangles: Any, depths: Any, levels: Any) -> Any:
    """Sum over triangles as `accumulate` does and over its parts, for many depths (draws, n).

    Returns shape (draws, 4, k + 1). Each draw is one thread's.
    """
    out = np.zeros((len(depths), 4, len(levels) + 1))
    count = len(ground)
    for draw in numba.prange(len(depths)):
        for part in range(PARTS):
            own = np.zeros((4, len(levels) + 1))
            first, last = count * part // PARTS, count * (part + 1) // PARTS
            _part(ground, triangles, depths[draw], levels, first, last, own)
            out[draw] += own
    return out


@numba.njit(parallel=True, cache=True, nogil=True)
def sum_steepness(vertices: Any, triangles: Any, depths: Any) -> Any:
    """Sum over triangles their plan area times their rise over run, for depths (draws, n)."""
    out = np.zeros(len(depths))
    for draw in numba.prange(len(depths)):
        depth, total = depths[draw], 0.0
        for t in range(len(triangles)):
            a, b, c = triangles[t]
            east, north = vertices[a, 0], vertices[a, 1]
            p, q = depth[b] - depth[a], depth[c] - depth[a]
            across = p * (vertices[c, 1] - north) - q * (vertices[b, 1] - north)
            along = q * (vertices[b, 0] - east) - p * (vertices[c, 0] - east)
            total += math.hypot(across, along) / 2
        out[draw] = total
    return out
