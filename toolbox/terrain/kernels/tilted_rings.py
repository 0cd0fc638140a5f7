"""Planes through rings of cells of which some are missing.

Rings are those of ``rings``: what lies between two octagons. A plane needs nine sums over the known
cells, which are taken row by row from sums along the rows, and of wide rings not from every row.
"""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["TILE", "position_over_planes"]

F = np.float32
TILE = 128
"""Cells across and down that one thread does in one go."""

_ALL, _ROWS = 41, 21  # rows of a ring that are all looked at; about so many of a taller one
_HAIR = 1e-9  # share of the spread of a ring's cells that counts as none


@njit(cache=True, nogil=True)
def _running(row: Any, at: int, middle: float, out: Any) -> None:
    """Write sums along a row of 1, place, its square, value, and place times value, if known."""
    n = x = xx = z = xz = 0.0
    out[: at + 1] = 0
    for j in range(row.size):
        v = row[j]
        if v == v:
            place, value = np.float64(at + j), np.float64(v) - middle
            n, x, xx = n + 1, x + place, xx + place * place
            z, xz = z + value, xz + place * value
        k = at + j + 1
        out[k, 0], out[k, 1], out[k, 2], out[k, 3], out[k, 4] = n, x, xx, z, xz
    for k in range(at + row.size + 1, len(out)):
        out[k, 0], out[k, 1], out[k, 2], out[k, 3], out[k, 4] = n, x, xx, z, xz


@njit(inline="always")
def _between(along: Any, k: int, low: int, high: int) -> Any:
    return (
        along[k, high, 0] - along[k, low, 0],
        along[k, high, 1] - along[k, low, 1],
        along[k, high, 2] - along[k, low, 2],
        along[k, high, 3] - along[k, low, 3],
        along[k, high, 4] - along[k, low, 4],
    )


@njit(inline="always")
def _sums(along: Any, begin: int, step: int, i: int, j: int, outer: Any, inner: Any) -> Any:
    """Sum over the known cells of the ring about a cell: the nine sums a plane needs.

    `along` holds sums along rows `step` apart, from row `begin` steps on; rows are counted as in
    the whole raster.
    """
    (wide, side), (hole, edge) = outer, inner
    n = x = y = xx = xy = yy = z = xz = yz = 0.0
    first = max((i - wide + step - 1) // step - begin, 0)
    last = min((i + wide) // step - begin, len(along) - 1)
    for k in range(first, last + 1):
        down = (begin + k) * step - i
        reach = wide - max(abs(down) - side, 0)
        count, place, square, value, product = _between(along, k, j - reach, j + reach + 1)
        if abs(down) <= hole:
            reach = hole - max(abs(down) - edge, 0)
            own = _between(along, k, j - reach, j + reach + 1)
            count, place, square = count - own[0], place - own[1], square - own[2]
            value, product = value - own[3], product - own[4]
        n, x, y, z = n + count, x + place, y + down * count, z + value
        xx, xy, yy = xx + square, xy + down * place, yy + down * (down * count)
        xz, yz = xz + product, yz + down * value
    return n, x, y, xx, xy, yy, z, xz, yz


@njit(inline="always")
def _at(sums: Any, place: float) -> float:
    """Height at `place` of the least-squares plane; level along what has no spread."""
    n, x, y, xx, xy, yy, z, xz, yz = sums
    share = 1 / n
    x, y, z = x * share, y * share, z * share
    xx, xy, yy = xx * share - x * x, xy * share - x * y, yy * share - y * y
    xz, yz = xz * share - x * z, yz * share - y * z
    least = _HAIR * (xx + yy) + 1e-30
    xx, yy, x = xx + least, yy + least, x - place
    return z - ((xz * yy - yz * xy) * x + (yz * xx - xz * xy) * y) / (xx * yy - xy * xy)


@njit(inline="always")
def _holds(part: Any, top: int, end: int, first: int, last: int) -> bool:
    """Tell whether `part` is true anywhere in a tile, each row read in one go."""
    for i in range(top, end):
        found = False
        for j in range(first, last):
            found |= part[i, j]
        if found:
            return True
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def _tile(
    a: Any,
    above: int,
    part: Any,
    spot: Any,
    outer: Any,
    inner: Any,
    step: int,
    middle: float,
    out: Any,
) -> None:
    (top, end, first, last), wide = spot, outer[0]
    near, far, left = max(first - wide, 0), min(last + wide, a.shape[1]), first - wide
    begin = math.ceil((above + max(top - wide, 0)) / step)
    beyond = math.ceil((above + min(end + wide, len(a))) / step)
    along = np.empty((beyond - begin, last - left + wide + 1, 5))
    for k in range(len(along)):
        _running(a[(begin + k) * step - above, near:far], near - left, middle, along[k])
    for i in range(top, end):
        for j in range(first, last):
            if part[i, j]:
                sums = _sums(along, begin, step, above + i, j - left, outer, inner)
                if sums[0] > 0:
                    plane = _at(sums, float(j - left))
                    out[i, j] = F(plane - (np.float64(a[i, j]) - middle))


@njit(parallel=True, cache=True, nogil=True)
def position_over_planes(
    a: Any, place: Any, part: Any, outer: Any, inner: Any, middle: float, out: Any
) -> None:
    """Write, where `part` is true, the plane through the ring less the cell's own value.

    The plane is that of least squares through the known cells of the ring; `middle` is about their
    value. `place` is the row and column of a raster at which `a` begins: tiles, and the rows that
    are looked at, are those of the raster.
    """
    (rows, cols), (above, before) = a.shape, place
    tall = 2 * outer[0] + 1
    step = 1 if tall <= _ALL else math.ceil(tall / _ROWS)
    before %= TILE
    down, across = math.ceil(rows / TILE), math.ceil((before + cols) / TILE)
    for tile in numba.prange(down * across):
        top, start = tile // across * TILE, tile % across * TILE - before
        end, first, last = min(top + TILE, rows), max(start, 0), min(start + TILE, cols)
        if _holds(part, top, end, first, last):
            _tile(a, above, part, (top, end, first, last), outer, inner, step, middle, out)
