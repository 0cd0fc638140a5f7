"""How the surface within wide square windows departs from a plane.

Sums over a window are taken down the columns, then along the rows, a whole row at a time.
"""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit
from toolbox.terrain.kernels.windows import HORN, at, gradient_at_edge, horn

__all__ = ["rows_at_a_time", "surface_over_plane", "vector_ruggedness"]

F = np.float32
_BLOCK = 128  # rows that one thread does in one go


@njit(cache=True, nogil=True)
def _add(row: Any, weight: Any, total: Any) -> None:
    for j in range(total.size):
        total[j] += weight * row[j]


@njit(cache=True, nogil=True)
def _sum_along(column: Any, r: int, total: Any) -> None:
    """Write the sums of each cell and `r` on either hand; beyond the ends there is nothing."""
    cols = column.size
    total[:] = 0
    for k in range(-r, r + 1):
        if abs(k) < cols:
            first, last = max(-k, 0), cols - max(k, 0)
            _add(column[first + k : last + k], F(1), total[first:last])


@njit(cache=True, nogil=True)
def _sum_about(field: Any, i: int, r: int, column: Any, total: Any) -> None:
    """Write the sums of a field over windows about the cells of row `i`."""
    column[:] = 0
    for k in range(max(i - r, 0), min(i + r + 1, field.shape[0])):
        _add(field[k], F(1), column)
    _sum_along(column, r, total)


@njit(cache=True, nogil=True)
def _three(one: Any, two: Any, three: Any, total: Any) -> None:
    for j in range(total.size):
        total[j] = one[j] + two[j] + three[j]


@njit(cache=True, nogil=True)
def _two_more(one: Any, two: Any, total: Any) -> None:
    for j in range(total.size):
        total[j] += one[j] + two[j]


@njit(cache=True, nogil=True)
def _sum_all(field: Any, first: int, r: int, column: Any, total: Any) -> None:
    """Write the sums of 2 r + 1 rows over windows along them; `column` has `r` zeros each way.

    Rows are added from the `first` on, then those before it: always from north to south, so that a
    sum does not depend on where the grid begins.
    """
    middle, side = column[r : r + total.size], 2 * r + 1
    _three(field[first], field[(first + 1) % side], field[(first + 2) % side], middle)
    for k in range(first + 3, first + side, 2):
        _two_more(field[k % side], field[(k + 1) % side], middle)
    _three(column, column[1:], column[2:], total)
    for k in range(3, 2 * r + 1, 2):
        _two_more(column[k:], column[k + 1 :], total)


@njit(cache=True, nogil=True, error_model="numpy")
def _normals(a: Any, i: int, step: Any, out: Any) -> None:
    """Write the parts of unit normals across, and what they lack of 1 upwards; 1 where known."""
    rows, cols = a.shape
    for j in range(cols):
        out[0, j] = np.nan
    if 0 < i < rows - 1:
        for j in range(1, cols - 1):
            out[0, j], out[1, j] = horn(a, i, j)
    for j in range(cols):
        if np.isnan(out[0, j] + out[1, j]):
            out[0, j] = np.nan
            if a[i, j] == a[i, j]:
                out[0, j], out[1, j] = gradient_at_edge(a, i, j, HORN)
    for j in range(cols):
        known = out[0, j] + out[1, j] == out[0, j] + out[1, j]
        east, south = out[0, j] * step, out[1, j] * step
        steep = east * east + south * south
        long = math.sqrt(F(1) + steep)
        out[0, j] = east / long if known else F(0)
        out[1, j] = south / long if known else F(0)
        out[2, j] = steep / (long * (F(1) + long)) if known else F(0)
        out[3, j] = F(1) if known else F(0)


@njit(inline="always")
def _spread(east: Any, south: Any, lack: Any, n: Any) -> Any:
    """1 - |sum of normals| / n, arranged so that gentle slopes do not cancel."""
    up = n - lack
    length = math.sqrt(east * east + south * south + up * up)
    spread = (lack * (n + up) - east * east - south * south) / (n * (n + length))
    return spread if spread > 0 else F(0)


@njit(cache=True, nogil=True, error_model="numpy")
def _spreads(known: Any, sums: Any, out: Any) -> None:
    for j in range(out.size):
        spread = _spread(sums[0, j], sums[1, j], sums[2, j], sums[3, j])
        out[j] = spread if known[j] > 0 else F(np.nan)


@njit(cache=True, nogil=True)
def _ruggedness_of_rows(a: Any, step: Any, r: int, top: int, end: int, out: Any) -> None:
    """Go down some rows, keeping the normals of those in the window."""
    rows, cols = a.shape
    side = 2 * r + 1
    normals = np.zeros((side, 4, cols), np.float32)
    column, sums = np.zeros(cols + 2 * r, np.float32), np.empty((4, cols), np.float32)
    for i in range(top - r, end + r):
        if 0 <= i < rows:
            _normals(a, i, step, normals[i % side])
        else:
            normals[i % side] = 0
        middle = i - r
        if middle >= top:
            for part in range(4):
                _sum_all(normals[:, part], (middle - r) % side, r, column, sums[part])
            _spreads(normals[middle % side, 3], sums, out[middle])


@njit(parallel=True, cache=True, nogil=True)
def vector_ruggedness(a: Any, cell: float, r: int, out: Any) -> None:
    """Write the spread of normals within windows reaching `r` cells from their middle."""
    rows, _ = a.shape
    block = max(_BLOCK, 8 * r)
    for b in numba.prange(math.ceil(rows / block)):
        top, end = b * block, min(b * block + block, rows)
        _ruggedness_of_rows(a, F(1 / cell), r, top, end, out)


@njit(cache=True, nogil=True, error_model="numpy")
def _plane_at_edge(a: Any, i: int, j: int, r: int) -> Any:
    """Return 1 plus the squared rise per cell of the least-squares plane through known cells."""
    n = x = y = z = xx = xy = yy = xz = yz = 0.0
    for di in range(-r, r + 1):
        for dj in range(-r, r + 1):
            v = np.float64(at(a, i + di, j + dj)) - np.float64(a[i, j])
            if v == v:
                n, x, y, z = n + 1, x + dj, y + di, z + v
                xx, xy, yy = xx + dj * dj, xy + dj * di, yy + di * di
                xz, yz = xz + dj * v, yz + di * v
    xx, xy, yy = xx - x * x / n, xy - x * y / n, yy - y * y / n
    xz, yz = xz - x * z / n, yz - y * z / n
    whole = xx * yy - xy * xy
    if whole <= 1e-9 * n:
        return np.nan, np.nan
    return (xz * yy - yz * xy) / whole, (yz * xx - xz * xy) / whole


@njit(cache=True, nogil=True)
def _tilts(a: Any, i: int, r: int, column: Any, down: Any, tilt: Any) -> None:
    """Write the rise per cell, east and south, of planes through whole windows; else NaN."""
    cols = a.shape[1]
    tilt[:] = np.nan
    if r <= i < a.shape[0] - r and cols > 2 * r:
        column[:], down[:], tilt[:, r : cols - r] = 0, 0, 0
        for k in range(-r, r + 1):
            _add(a[i + k], F(1), column)
            _add(a[i + k], F(k), down)
        for k in range(-r, r + 1):
            _add(column[r + k : cols - r + k], F(k), tilt[0, r : cols - r])
            _add(down[r + k : cols - r + k], F(1), tilt[1, r : cols - r])
        whole = (2 * r + 1) * (2 * r + 1) * r * (r + 1) / 3
        tilt /= whole


def rows_at_a_time(r: int) -> int:
    """Return how many rows a thread of ``surface_over_plane`` works on at a time."""
    return max(_BLOCK, 4 * r) + 2 * r


@njit(parallel=True, cache=True, nogil=True, error_model="numpy")
def surface_over_plane(a: Any, ratio: Any, cell: float, r: int, out: Any) -> None:
    """Write the mean `ratio` of surface to plan within windows over that of their planes.

    The mean is over the cells less than `r` from the middle, the plane through those up to `r`.
    """
    rows, cols = a.shape
    block = max(_BLOCK, 4 * r)
    for b in numba.prange(math.ceil(rows / block)):
        top, end = b * block, min(b * block + block, rows)
        first, last = max(top - r, 0), min(end + r, rows)
        known = np.where(np.isnan(ratio[first:last]), F(0), F(1))
        filled = np.where(np.isnan(ratio[first:last]), F(0), ratio[first:last] - F(1))
        column, down = np.empty(cols), np.empty(cols)
        count, excess, tilt = np.empty(cols), np.empty(cols), np.empty((2, cols))
        for i in range(top, end):
            _sum_about(known, i - first, r - 1, column, count)
            _sum_about(filled, i - first, r - 1, column, excess)
            _tilts(a, i, r, column, down, tilt)
            for j in range(cols):
                if ratio[i, j] == ratio[i, j]:
                    east, south = tilt[0, j], tilt[1, j]
                    if np.isnan(east + south):
                        east, south = _plane_at_edge(a, i, j, r)
                    steep = (east * east + south * south) / (cell * cell)
                    out[i, j] = F((1 + excess[j] / count[j]) / math.sqrt(1 + steep))
                else:
                    out[i, j] = np.nan
