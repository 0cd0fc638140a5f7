"""Sums over rings of cells, at one price whatever the radius.

A disc of cells is an octagon given by two whole numbers, `wide` and `side`: rows at most `side`
from the middle reach `wide` cells to each hand, each row further off one cell less. Taken from sums
along the rows, an octagon is an upright band and two slanting ones, and each band moves down a row
(the slanting ones also a cell aside) by gaining a stretch of cells at one end and losing one at the
other. So every sum follows from one already known. To stay exact they are whole numbers: depths in
small steps, with the count of cells in the upper bits of the same number.
"""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["STRIP", "ring_position", "value_range"]

F = np.float32
STRIP = 2048
"""Cells across that one thread does in one go."""

_BLOCK = 1700  # cells down


@njit(cache=True, nogil=True)
def _widen(row: Any, low: Any, high: Any) -> None:
    for j in range(row.size):
        v = row[j]
        low[j] = v if v < low[j] else low[j]
        high[j] = v if v > high[j] else high[j]


@njit(parallel=True, cache=True, nogil=True)
def value_range(a: Any) -> Any:
    """Return the least and greatest known value, infinities where there is none."""
    rows, cols = a.shape
    blocks = math.ceil(rows / 64)
    low = np.full((blocks, cols), np.inf, np.float32)
    high = np.full((blocks, cols), -np.inf, np.float32)
    for block in numba.prange(blocks):
        for i in range(block * 64, min(block * 64 + 64, rows)):
            _widen(a[i], low[block], high[block])
    return low.min(), high.max()


@njit(cache=True, nogil=True)
def _running(row: Any, at: int, middle: float, scale: float, one: int, out: Any) -> None:
    """Write the sums along a row: its values as whole numbers, and `one` for each known."""
    for j in range(row.size):
        v = row[j]
        number = np.int64(np.rint((np.float64(v) - middle) * scale))
        out[at + j] = number + one if v == v else np.int64(0)
    total = np.int64(0)
    for j in range(at, at + row.size):
        total += out[j]
        out[j] = total
    out[:at] = 0
    out[at + row.size :] = total


@njit(cache=True, nogil=True)
def _gain(band: Any, p: Any, m: Any, n: Any, q: Any, o: Any, r: Any, s: Any, t: Any) -> None:
    """Add to a band what the outer octagon gains, less what the inner one gains."""
    for j in range(band.size):
        band[j] += ((p[j] - m[j]) - (n[j] - q[j])) - ((o[j] - r[j]) - (s[j] - t[j]))


@njit(inline="always")
def _ends(sums: Any, i: int, wide: int, side: int) -> Any:
    """Return the rows at which the bands of an octagon about row `i` begin and end."""
    n = sums.shape[0]
    high, head = sums[(i - side - 1) % n], sums[(i - wide - 1) % n]
    return sums[(i + wide) % n], sums[(i + side) % n], high, head


@njit(cache=True, nogil=True)
def _move(sums: Any, i: int, at: int, outer: Any, inner: Any, v: Any, d: Any, u: Any) -> None:
    """Move the bands down to row `i`: upright `v`, down to the right `d`, down to the left `u`."""
    (w, s), (x, t) = outer, inner
    foot, low, high, head = _ends(sums, i, w, s)
    sole, calf, neck, hair = _ends(sums, i, x, t)
    _gain(
        v,
        low[at + w :],
        high[at + w :],
        low[at - 1 - w :],
        high[at - 1 - w :],
        calf[at + x :],
        neck[at + x :],
        calf[at - 1 - x :],
        neck[at - 1 - x :],
    )
    _gain(
        d,
        high[at + w - 1 :],
        head[at + s - 1 :],
        foot[at - 1 - s :],
        low[at - 1 - w :],
        neck[at + x - 1 :],
        hair[at + t - 1 :],
        sole[at - 1 - t :],
        calf[at - 1 - x :],
    )
    _gain(
        u,
        foot[at + s :],
        low[at + w :],
        high[at - w :],
        head[at - s :],
        sole[at + t :],
        calf[at + x :],
        neck[at - x :],
        hair[at - t :],
    )


@njit(cache=True, nogil=True, error_model="numpy")
def _position(
    a: Any,
    v: Any,
    d: Any,
    u: Any,
    bits: int,
    middle: float,
    scale: float,
    counts: Any,
    part: Any,
    out: Any,
) -> None:
    (least, whole), half, step = counts, np.int64(1) << (bits - 1), 1 / scale
    for j in range(a.size):
        packed = v[j] + d[j] + u[j]
        count = (packed + half) >> bits
        total = np.float64(packed - (count << bits))
        own = (np.float64(a[j]) - middle) * scale
        mean = F((total - np.float64(count) * own) * step) / F(count)
        out[j] = mean if count >= least else F(np.nan)
        part[j] = count < whole and mean == mean and count >= least


@njit(cache=True, nogil=True)
def _tile(
    a: Any,
    spot: Any,
    outer: Any,
    inner: Any,
    bits: int,
    middle: float,
    scale: float,
    counts: Any,
    part: Any,
    out: Any,
) -> None:
    """Go down a tile, `spot` its first and last rows and columns, from where all sums are nothing.

    The bands that slant lie in an array each along their own diagonals, so that a move down is a
    shift of where the row begins. What comes in at the right end of `u` is its last value: beyond
    the tile sums along rows no longer change.
    """
    top, end, first, last = spot
    wide, reach, margin = outer[0], 2 * outer[0] + 2, outer[0] + 2
    steps, across = end - top + reach - 1, last - first + 2 * reach
    near, far = max(first - wide, 0), min(last + wide, a.shape[1])
    at = near - (first - reach) + margin
    sums = np.zeros((2 * wide + 3, across + 2 * margin), np.int64)
    upright = np.zeros(across, np.int64)
    right, left = np.zeros(across + steps, np.int64), np.zeros(across + steps, np.int64)
    beyond = np.int64(0)
    for step in range(steps):
        i = top - reach + 1 + step
        fresh = sums[(i + wide) % sums.shape[0]]
        if max(top - wide, 0) <= i + wide < a.shape[0]:
            _running(a[i + wide, near:far], at, middle, scale, np.int64(1) << bits, fresh)
        else:
            fresh[:] = 0
        d, u = right[steps - step :][:across], left[step:][:across]
        u[-1] = beyond
        _move(sums, i, margin, outer, inner, upright, d, u)
        beyond = u[-1]
        if i >= top:
            v, d, u = upright[reach:], d[reach:], u[reach:]
            here, there, cut = a[i, first:last], out[i, first:last], part[i, first:last]
            _position(here, v, d, u, bits, middle, scale, counts, cut, there)


@njit(parallel=True, cache=True, nogil=True)
def ring_position(
    a: Any,
    outer: Any,
    inner: Any,
    bits: int,
    middle: float,
    scale: float,
    counts: Any,
    part: Any,
    out: Any,
) -> None:
    """Write the mean of `a` over the ring about each cell, less the cell's own value.

    Values become whole numbers by ``(a - middle) * scale``; all those of the outer octagon together
    must fit into `bits`. `counts` are the least number of known cells, fewer than which make NaN,
    as does a missing middle, and the number of a whole ring; `part` tells where it has not all.
    """
    rows, cols = a.shape
    down, across = math.ceil(rows / _BLOCK), math.ceil(cols / STRIP)
    for tile in numba.prange(down * across):
        block, strip = tile // across, tile % across
        top, end = rows * block // down, rows * (block + 1) // down
        first, last = cols * strip // across, cols * (strip + 1) // across
        spot = (top, end, first, last)
        _tile(a, spot, outer, inner, bits, middle, scale, counts, part, out)
