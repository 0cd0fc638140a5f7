"""Reading a window of three by three cells: what is there, and the rise across it.

The kernels on such windows take a row twice. First every cell is computed as if all nine cells of
its window were known, at the speed of memory; a missing one makes the result NaN. A second look at
the same row, still in cache, mends the cells at the shore.
"""

from typing import Any

import numpy as np

from toolbox.compiled import njit

__all__ = ["HORN", "METHODS", "ZEVENBERGEN_THORNE", "at", "central", "gradient_at_edge", "horn"]

F = np.float32
HORN, ZEVENBERGEN_THORNE = 0, 1
METHODS = {"horn": HORN, "zevenbergen-thorne": ZEVENBERGEN_THORNE}


@njit(inline="always")
def at(a: Any, i: int, j: int) -> Any:
    """Value of a cell, NaN outside the grid."""
    rows, cols = a.shape
    return a[i, j] if 0 <= i < rows and 0 <= j < cols else F(np.nan)


@njit(inline="always")
def horn(a: Any, i: int, j: int) -> Any:
    """Rise per cell to the east and to the south from all nine cells, weighted 1, 2, 1."""
    nw, ne, sw, se = a[i - 1, j - 1], a[i - 1, j + 1], a[i + 1, j - 1], a[i + 1, j + 1]
    east = (ne + F(2) * a[i, j + 1] + se) - (nw + F(2) * a[i, j - 1] + sw)
    south = (sw + F(2) * a[i + 1, j] + se) - (nw + F(2) * a[i - 1, j] + ne)
    return east * F(0.125) + F(0) * a[i, j], south * F(0.125)


@njit(inline="always")
def central(a: Any, i: int, j: int) -> Any:
    """Rise per cell to the east and to the south from the four nearest cells."""
    east = (a[i, j + 1] - a[i, j - 1]) * F(0.5) + F(0) * a[i, j]
    return east, (a[i + 1, j] - a[i - 1, j]) * F(0.5)


@njit(inline="always")
def _rise(before: Any, here: Any, after: Any) -> Any:
    """Rise per cell along three cells: central, else one-sided, else NaN."""
    if before == before and after == after:
        return (after - before) * F(0.5)
    if after == after:
        return after - here
    return here - before


@njit(inline="always")
def _rise_along(a: Any, i: int, j: int, di: int, dj: int) -> Any:
    return _rise(at(a, i - di, j - dj), at(a, i, j), at(a, i + di, j + dj))


@njit(inline="always")
def _mean(first: Any, middle: Any, last: Any, method: int) -> Any:
    """Mean of the known rises of three lines: the middle one alone, or weighted 1, 2, 1."""
    if method == ZEVENBERGEN_THORNE and middle == middle:
        return middle
    total = weight = F(0)
    for share, rise in ((F(1), first), (F(2), middle), (F(1), last)):
        if rise == rise:
            total += share * rise
            weight += share
    return total / weight if weight > 0 else F(np.nan)


@njit(cache=True, nogil=True, error_model="numpy")
def gradient_at_edge(a: Any, i: int, j: int, method: int) -> Any:
    """Rise per cell to the east and to the south where some of the window is missing."""
    east = _mean(
        _rise_along(a, i - 1, j, 0, 1),
        _rise_along(a, i, j, 0, 1),
        _rise_along(a, i + 1, j, 0, 1),
        method,
    )
    south = _mean(
        _rise_along(a, i, j - 1, 1, 0),
        _rise_along(a, i, j, 1, 0),
        _rise_along(a, i, j + 1, 1, 0),
        method,
    )
    return east, south
