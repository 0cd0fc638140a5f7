"""Exact areas and volumes at many levels, of a net of triangles and of rows of cells."""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = [
    "PARTS",
    "accumulate",
    "accumulate_boxes",
    "accumulate_each",
    "accumulate_patches",
    "sum_steepness",
]

PARTS = 16
"""Triangles are summed in this many parts: the same bits whatever the number of threads."""


@njit(cache=True, nogil=True)
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


@njit(parallel=True, cache=True, nogil=True)
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


@njit(parallel=True, cache=True, nogil=True)
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


@njit(parallel=True, cache=True, nogil=True)
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


# ---- cells ----

_NODES = np.array([0.1834346424956498, 0.525532409916329, 0.7966664774136267, 0.9602898564975363])
_WEIGHTS = np.array(
    [0.3626837833783620, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763]
)
_GENTLE = 1.5  # ratio up to which eight nodes of Gauss integrate 1 / w to the last digit


@njit(cache=True, nogil=True)
def _box(size: float, depth: float, levels: Any, out: Any) -> None:
    k = np.searchsorted(levels, depth, "right")
    out[2, k] += size
    out[3, k] += size * depth


@njit(cache=True, nogil=True)
def _over(x0: float, x1: float, w0: float, w1: float) -> tuple[float, float]:
    """Mean of x / w and of x^2 / w, both linear from end 0 to end 1, 0 <= x <= w."""
    if w0 > w1:
        x0, x1, w0, w1 = x1, x0, w1, w0
    if w1 <= 0:
        return 0.0, 0.0
    if w1 <= _GENTLE * w0:
        first, second = 0.0, 0.0
        for node in range(4):
            for side in (-1.0, 1.0):
                t = 0.5 + side * _NODES[node] / 2
                x = x0 + t * (x1 - x0)
                part = _WEIGHTS[node] / 2 * x / (w0 + t * (w1 - w0))
                first += part
                second += part * x
        return first, second
    slope = (x1 - x0) / (w1 - w0)
    rest = x0 - slope * w0
    bent = math.log(w1 / w0) / (w1 - w0) if w0 > 0 else 0.0
    mean = (w0 + w1) / 2
    return slope + rest * bent, rest * rest * bent + slope * (2 * rest + slope * mean)


@njit(cache=True, nogil=True)
def _deeper(a: float, b: float, c: float, d: float) -> tuple[float, float]:
    """Share of a bilinear patch above zero and its integral; a, b on one side, c, d across."""
    first = a / (a - b) if (a < 0) != (b < 0) and a != b else 0.0
    second = c / (c - d) if (c < 0) != (d < 0) and c != d else 0.0
    cuts = (0.0, min(first, second), max(first, second), 1.0)
    area, volume = 0.0, 0.0
    for piece in range(3):
        u, v = cuts[piece], cuts[piece + 1]
        if v <= u:
            continue
        middle = (u + v) / 2
        p, q = a + (b - a) * middle, c + (d - c) * middle
        if p <= 0 and q <= 0:
            continue
        p0, p1 = a + (b - a) * u, a + (b - a) * v
        q0, q1 = c + (d - c) * u, c + (d - c) * v
        if p >= 0 and q >= 0:
            area += v - u
            volume += (v - u) * (p + q) / 2
            continue
        if p < 0:
            p0, p1, q0, q1 = q0, q1, p0, p1
        p0, p1, q0, q1 = max(p0, 0.0), max(p1, 0.0), min(q0, 0.0), min(q1, 0.0)
        wet, held = _over(p0, p1, p0 - q0, p1 - q1)
        area += (v - u) * wet
        volume += (v - u) * held / 2
    return area, volume


@njit(cache=True, nogil=True)
def _patch(size: float, a: float, b: float, c: float, d: float, levels: Any, out: Any) -> None:
    k = np.searchsorted(levels, min(a, b, c, d), "right")
    deepest = max(a, b, c, d)
    out[2, k] += size
    out[3, k] += size * (a + b + c + d) / 4
    while k < len(levels) and levels[k] < deepest:
        level = levels[k]
        area, volume = _deeper(a - level, b - level, c - level, d - level)
        out[0, k] += size * area
        out[1, k] += size * volume
        k += 1


@njit(parallel=True, cache=True, nogil=True)
def accumulate_boxes(values: Any, ground: Any, levels: Any) -> Any:
    """Sum over cells (rows, cols), each a box with a level floor; NaN is no water.

    `ground` (2, cols) is the area of a cell of the first and of the last row. Returns what
    `accumulate` does.
    """
    rows, cols = values.shape
    out = np.zeros((PARTS, 4, len(levels) + 1))
    for part in numba.prange(PARTS):
        for i in range(rows * part // PARTS, rows * (part + 1) // PARTS):
            t = i / max(rows - 1, 1)
            for j in range(cols):
                if not np.isnan(values[i, j]):
                    size = ground[0, j] + t * (ground[1, j] - ground[0, j])
                    _box(size, values[i, j], levels, out[part])
    return out


@njit(parallel=True, cache=True, nogil=True)
def accumulate_patches(values: Any, ground: Any, levels: Any) -> Any:
    """Sum over the patches between cell centres of each two rows of (rows, cols), and the rim.

    Where a patch lacks a corner, the quarter of each cell that is there lies level. Parameters and
    result are those of `accumulate_boxes`.
    """
    rows, cols = values.shape
    out = np.zeros((PARTS, 4, len(levels) + 1))
    for part in numba.prange(PARTS):
        for i in range((rows - 1) * part // PARTS, (rows - 1) * (part + 1) // PARTS):
            t = (i + 0.5) / (rows - 1)
            for j in range(-1, cols):
                left, right = max(j, 0), min(j + 1, cols - 1)
                upper = (ground[0, left] + ground[0, right]) / 2
                size = upper + t * ((ground[1, left] + ground[1, right]) / 2 - upper)
                a = values[i, j] if j >= 0 else np.nan
                b = values[i, j + 1] if j + 1 < cols else np.nan
                c = values[i + 1, j] if j >= 0 else np.nan
                d = values[i + 1, j + 1] if j + 1 < cols else np.nan
                if not np.isnan(a + b + c + d):
                    _patch(size, a, b, c, d, levels, out[part])
                    continue
                for corner in (a, b, c, d):
                    if not np.isnan(corner):
                        _box(size / 4, corner, levels, out[part])
    return out
