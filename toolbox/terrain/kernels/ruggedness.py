"""How far the cells of a window depart from its middle one, and the surface they span."""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit
from toolbox.terrain.kernels.windows import HORN, at, gradient_at_edge

__all__ = ["KINDS", "RANGE", "departure", "jenness_ratio"]

F = np.float32
RANGE, RILEY, WILSON, ROOT_MEAN_SQUARE = 0, 1, 2, 3
KINDS = {"riley": RILEY, "wilson": WILSON, "root-mean-square": ROOT_MEAN_SQUARE}


@njit(inline="always")
def _range(n: Any, ne: Any, e: Any, se: Any, s: Any, sw: Any, w: Any, nw: Any) -> Any:
    low = high = F(0)
    for d in (n, ne, e, se, s, sw, w, nw):
        low = d if d < low else low
        high = d if d > high else high
    return high - low + F(0) * (n + ne + e + se + s + sw + w + nw)


@njit(inline="always")
def _summed(n: Any, ne: Any, e: Any, se: Any, s: Any, sw: Any, w: Any, nw: Any, kind: int) -> Any:
    """One figure from the eight differences between the neighbours and the middle."""
    if kind == RANGE:
        return _range(n, ne, e, se, s, sw, w, nw)
    if kind == WILSON:
        return F(0.125) * (
            abs(n) + abs(ne) + abs(e) + abs(se) + abs(s) + abs(sw) + abs(w) + abs(nw)
        )
    squares = n * n + ne * ne + e * e + se * se + s * s + sw * sw + w * w + nw * nw
    return math.sqrt(squares if kind == RILEY else squares * F(0.125))


@njit(inline="always")
def _difference(a: Any, i: int, j: int, di: int, dj: int, slope: Any, kind: int) -> Any:
    """Neighbour less middle; a missing one is minus the opposite one, or lies on the slope."""
    known = at(a, i + di, j + dj) - a[i, j]
    if known == known:
        return known
    opposite = at(a, i - di, j - dj) - a[i, j]
    if kind != RANGE and opposite == opposite:
        return -opposite
    return F(dj) * slope[0] + F(di) * slope[1]


@njit(cache=True, nogil=True, error_model="numpy")
def _departure_at_edge(a: Any, i: int, j: int, kind: int) -> Any:
    slope = gradient_at_edge(a, i, j, HORN)
    return _summed(
        _difference(a, i, j, -1, 0, slope, kind),
        _difference(a, i, j, -1, 1, slope, kind),
        _difference(a, i, j, 0, 1, slope, kind),
        _difference(a, i, j, 1, 1, slope, kind),
        _difference(a, i, j, 1, 0, slope, kind),
        _difference(a, i, j, 1, -1, slope, kind),
        _difference(a, i, j, 0, -1, slope, kind),
        _difference(a, i, j, -1, -1, slope, kind),
        kind,
    )


@njit(parallel=True, cache=True, nogil=True, error_model="numpy")
def departure(a: Any, kind: int, out: Any) -> None:
    """Write how far the window departs from its middle into `out`, by the measure `kind`."""
    rows, cols = a.shape
    for i in numba.prange(rows):
        out[i, 0] = out[i, cols - 1] = np.nan
        if 0 < i < rows - 1:
            for j in range(1, cols - 1):
                here = a[i, j]
                out[i, j] = _summed(
                    a[i - 1, j] - here,
                    a[i - 1, j + 1] - here,
                    a[i, j + 1] - here,
                    a[i + 1, j + 1] - here,
                    a[i + 1, j] - here,
                    a[i + 1, j - 1] - here,
                    a[i, j - 1] - here,
                    a[i - 1, j - 1] - here,
                    kind,
                )
        else:
            out[i, :] = np.nan
        for j in range(cols):
            if out[i, j] != out[i, j] and a[i, j] == a[i, j]:
                out[i, j] = _departure_at_edge(a, i, j, kind)


@njit(inline="always")
def _facet(along: Any, across: Any) -> Any:
    """Surface over plan of a right triangle: rise over one leg, then over the other."""
    return math.sqrt(F(1) + along * along + across * across)


@njit(cache=True, nogil=True, error_model="numpy")
def _jenness_at_edge(a: Any, step: Any, i: int, j: int) -> Any:
    """Mean ratio of those of the eight facets whose three cells are known."""
    total, count = F(0), 0
    here = a[i, j]
    for axis in range(4):
        di, dj = (1 - axis) % 2 * (1 - axis), axis % 2 * (2 - axis)
        side = at(a, i + di, j + dj)
        for turn in (-1, 1):
            corner = at(a, i + di + turn * dj, j + dj + turn * di)
            ratio = _facet((side - here) * step, (corner - side) * step)
            if ratio == ratio:
                total += ratio
                count += 1
    return total / F(count) if count else F(np.nan)


@njit(parallel=True, cache=True, nogil=True, error_model="numpy")
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
