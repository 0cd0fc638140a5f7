"""Window arithmetic on grids: one pass over the rows, near the speed of memory.

Each row is first computed as if all nine cells of every window were known; a missing one makes
the result NaN. A second look at the same row, still in cache, mends the cells at the shore.
"""

import math
from typing import Any

import numba
import numpy as np

__all__ = ["horn_slope", "jenness_ratio"]

F = np.float32


@numba.njit(inline="always")
def _arctangent(x: Any) -> Any:
    """Angle of a steepness >= 0, to 2e-8 rad (Abramowitz & Stegun 1964, eq. 4.4.49)."""
    steep = x > F(1)
    t = F(1) / x if steep else x
    s = t * t
    p = F(0.0028662257)
    p = p * s - F(0.0161657367)
    p = p * s + F(0.0429096138)
    p = p * s - F(0.0752896400)
    p = p * s + F(0.1065626393)
    p = p * s - F(0.1420889944)
    p = p * s + F(0.1999355085)
    p = p * s - F(0.3333314528)
    angle = t + t * s * p
    return F(math.pi / 2) - angle if steep else angle


@numba.njit(inline="always")
def _in_unit(steepness: Any, unit: int) -> Any:
    if unit == 0:
        return steepness
    if unit == 1:
        return steepness * F(100)
    return _arctangent(steepness) * F(180 / math.pi)


@numba.njit(inline="always")
def _at(a: Any, i: int, j: int) -> Any:
    rows, cols = a.shape
    return a[i, j] if 0 <= i < rows and 0 <= j < cols else F(np.nan)


@numba.njit(inline="always")
def _rise(before: Any, here: Any, after: Any) -> Any:
    """Rise per cell along three cells: central, else one-sided, else NaN."""
    if before == before and after == after:
        return (after - before) * F(0.5)
    if after == after:
        return after - here
    return here - before


@numba.njit(cache=True, nogil=True)
def _horn_at_edge(a: Any, i: int, j: int) -> Any:
    """Rise per cell where some of the window is missing: Horn's mean over what is known."""
    east = north = weight_east = weight_north = F(0)
    for k in range(-1, 2):
        weight = F(2 - abs(k))
        rise = _rise(_at(a, i + k, j - 1), _at(a, i + k, j), _at(a, i + k, j + 1))
        if rise == rise:
            east += weight * rise
            weight_east += weight
        rise = _rise(_at(a, i - 1, j + k), _at(a, i, j + k), _at(a, i + 1, j + k))
        if rise == rise:
            north += weight * rise
            weight_north += weight
    if weight_east == 0 or weight_north == 0:
        return F(np.nan)
    return F(math.hypot(east / weight_east, north / weight_north))


@numba.njit(parallel=True, cache=True, nogil=True)
def horn_slope(a: Any, cell: float, unit: int, out: Any) -> None:
    """Write Horn's slope of `a` into `out`: unit 0 rise over run, 1 per cent, 2 degrees."""
    rows, cols = a.shape
    k, step = F(1 / (8 * cell)), F(1 / cell)
    for i in numba.prange(rows):
        out[i, 0] = out[i, cols - 1] = np.nan
        if 0 < i < rows - 1:
            for j in range(1, cols - 1):
                ne, e, se = a[i - 1, j + 1], a[i, j + 1], a[i + 1, j + 1]
                nw, w, sw = a[i - 1, j - 1], a[i, j - 1], a[i + 1, j - 1]
                east = (ne + F(2) * e + se) - (nw + F(2) * w + sw)
                north = (sw + F(2) * a[i + 1, j] + se) - (nw + F(2) * a[i - 1, j] + ne)
                steepness = math.sqrt(east * east + north * north) * k + F(0) * a[i, j]
                out[i, j] = _in_unit(steepness, unit)
        else:
            out[i, :] = np.nan
        for j in range(cols):
            if out[i, j] != out[i, j] and a[i, j] == a[i, j]:
                out[i, j] = _in_unit(_horn_at_edge(a, i, j) * step, unit)


@numba.njit(inline="always")
def _facet(along: Any, across: Any) -> Any:
    """Surface over plan of a right triangle: rise over one leg, then over the other."""
    return math.sqrt(F(1) + along * along + across * across)


@numba.njit(cache=True, nogil=True)
def _jenness_at_edge(a: Any, step: Any, i: int, j: int) -> Any:
    """Mean ratio of those of the eight facets whose three cells are known."""
    total, count = F(0), 0
    here = a[i, j]
    for axis in range(4):
        di, dj = (1 - axis) % 2 * (1 - axis), axis % 2 * (2 - axis)
        side = _at(a, i + di, j + dj)
        for turn in (-1, 1):
            corner = _at(a, i + di + turn * dj, j + dj + turn * di)
            ratio = _facet((side - here) * step, (corner - side) * step)
            if ratio == ratio:
                total += ratio
                count += 1
    return total / F(count) if count else F(np.nan)


@numba.njit(parallel=True, cache=True, nogil=True)
def jenness_ratio(a: Any, cell: float, out: Any) -> None:
    """Write Jenness's surface area over plan area of `a` into `out`."""
    rows, cols = a.shape
    s = F(1 / cell)
    for i in numba.prange(rows):
        out[i, 0] = out[i, cols - 1] = np.nan
        if 0 < i < rows - 1:
            for j in range(1, cols - 1):
                here = a[i, j]
                nw, n, ne = a[i - 1, j - 1], a[i - 1, j], a[i - 1, j + 1]
                w, e = a[i, j - 1], a[i, j + 1]
                sw, south, se = a[i + 1, j - 1], a[i + 1, j], a[i + 1, j + 1]
                up, right = (n - here) * s, (e - here) * s
                down, left = (south - here) * s, (w - here) * s
                total = _facet(up, (nw - n) * s) + _facet(up, (ne - n) * s)
                total += _facet(right, (ne - e) * s) + _facet(right, (se - e) * s)
                total += _facet(down, (se - south) * s) + _facet(down, (sw - south) * s)
                total += _facet(left, (sw - w) * s) + _facet(left, (nw - w) * s)
                out[i, j] = total * F(0.125)
        else:
            out[i, :] = np.nan
        for j in range(cols):
            if out[i, j] != out[i, j] and a[i, j] == a[i, j]:
                out[i, j] = _jenness_at_edge(a, s, i, j)
