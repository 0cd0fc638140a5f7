"""Lines of sight over a grid: which of eight directions rise, and which fall.

One row is looked at along one direction and one distance at a time, all its cells at once.
"""

from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["line_of_sight_forms"]

F = np.float32


@njit(cache=True, nogil=True)
def _look(here: Any, there: Any, near: Any, gone: Any, highest: Any, lowest: Any) -> None:
    """Widen the range of steepness by one cell further out; `gone` turns NaN where sight ends."""
    for j in range(here.size):
        gone[j] += there[j] * F(0)
        rise = (here[j] - there[j]) * near + gone[j]  # depths: a smaller one stands higher
        highest[j] = rise if rise > highest[j] else highest[j]
        lowest[j] = rise if rise < lowest[j] else lowest[j]


@njit(cache=True, nogil=True)
def _cut_off(here: Any, there: Any, gone: Any) -> None:
    """End sight at missing cells without looking at what is short of `skip`."""
    for j in range(here.size):
        gone[j] += there[j] * F(0)


@njit(cache=True, nogil=True)
def _sight(
    a: Any, i: int, down: int, right: int, skip: Any, reach: Any, near: Any, gone: Any, span: Any
) -> None:
    """Write the steepest rise and fall from each cell of row `i` along one direction."""
    rows, cols = a.shape
    gone[:] = F(0)
    span[0, :] = F(-np.inf)
    span[1, :] = F(np.inf)
    for k in range(1, reach + 1):
        row = i + k * down
        if row < 0 or row >= rows or k * abs(right) >= cols:
            return
        first, last = max(-k * right, 0), cols - max(k * right, 0)
        if right < 0:
            gone[:first] = np.nan
        here, there = a[i, first:last], a[row, first + k * right : last + k * right]
        if k <= skip:
            _cut_off(here, there, gone[first:last])
        else:
            high, low = span[0, first:last], span[1, first:last]
            _look(here, there, near / F(k), gone[first:last], high, low)


@njit(cache=True, nogil=True, error_model="numpy")
def _signs(span: Any, flat: Any, out: Any) -> None:
    """Write +1 where zenith and nadir say that the surroundings rise, -1 where they fall.

    The sum of two angles exceeds a third if the tangent of the sum does; where the product of
    their tangents is 1 or more, both are steep and of one sign. 2 is: nothing in sight.
    """
    for j in range(out.size):
        high, low = span[0, j], span[1, j]
        both, limit = high + low, flat * (F(1) - high * low)
        steep = high * low >= F(1)
        up = (both > F(0)) if steep else (both > limit)
        less = (both < F(0)) if steep else (both < -limit)
        sign = np.int8(up) - np.int8(less)
        out[j] = np.int8(2) if high < low else sign


@njit(cache=True, nogil=True)
def _count(one: Any, other: Any, minus: Any, plus: Any) -> None:
    """Count two opposite directions; one with nothing in sight is the reverse of the other."""
    for j in range(one.size):
        p, q = one[j], other[j]
        fore = p if p != 2 else (-q if q != 2 else 0)
        back = q if q != 2 else (-p if p != 2 else 0)
        plus[j] += np.int8(fore > 0) + np.int8(back > 0)
        minus[j] += np.int8(fore < 0) + np.int8(back < 0)


@njit(parallel=True, cache=True, nogil=True)
def line_of_sight_forms(
    a: Any, cell: float, flat: Any, skip: Any, reach: Any, table: Any, out: Any
) -> None:
    """Write ``table[minus, plus]`` for depths `a`; skip and reach in cells, straight and slanting.

    `flat` is the tangent of the flatness, `out` NaN where the depth is missing.
    """
    rows, cols = a.shape
    for i in numba.prange(rows):
        gone, span = np.empty(cols, np.float32), np.empty((2, cols), np.float32)
        signs = np.empty((2, cols), np.int8)
        minus, plus = np.zeros(cols, np.int8), np.zeros(cols, np.int8)
        for axis in range(4):
            slanting = axis % 2
            down, right = (0, 1, 1, 1)[axis], (1, 1, 0, -1)[axis]
            near = F(1 / (cell * 2 ** (slanting / 2)))
            for end in range(2):
                turn = 1 - 2 * end
                _sight(
                    a,
                    i,
                    turn * down,
                    turn * right,
                    skip[slanting],
                    reach[slanting],
                    near,
                    gone,
                    span,
                )
                _signs(span, flat, signs[end])
            _count(signs[0], signs[1], minus, plus)
        for j in range(cols):
            v = a[i, j]
            out[i, j] = F(table[minus[j], plus[j]]) if v == v else F(np.nan)
