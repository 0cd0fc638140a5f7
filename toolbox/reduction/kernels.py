"""Robust lines through few soundings."""

from typing import Any

import numba
import numpy as np

__all__ = ["carried_on"]

PARTS = 64
"""Soundings are dealt with in this many parts, side by side."""


@numba.njit(inline="always")
def _median(values: Any, count: int) -> Any:
    """Sort a few values in place and take their median."""
    for i in range(1, count):
        value, j = values[i], i
        while j > 0 and values[j - 1] > value:
            values[j] = values[j - 1]
            j -= 1
        values[j] = value
    return (values[(count - 1) // 2] + values[count // 2]) / 2


@numba.njit(cache=True, nogil=True)
def _one(depth: Any, along: Any, i: int, way: int, many: int, three: Any, four: Any) -> Any:
    """Carry `many` soundings on one side of `i` on to it by their repeated median slope."""
    if many < 2:
        return np.nan
    for j in range(many):
        a, count = i + way * (j + 1), 0
        for k in range(many):
            if k != j:
                b = i + way * (k + 1)
                three[count] = (depth[a] - depth[b]) / (along[a] - along[b])
                count += 1
        four[j] = _median(three, count)
    slope = _median(four, many)
    nearest = along[i + way]
    for j in range(many):
        a = i + way * (j + 1)
        four[j] = depth[a] - slope * (along[a] - nearest)
    level = _median(four, many)
    reach = abs(along[i + way * many] - nearest)
    return level + slope * min(max(along[i] - nearest, -reach), reach)


@numba.njit(parallel=True, cache=True, nogil=True)
def carried_on(
    depth: Any, along: Any, start: Any, end: Any, side: int, before: Any, after: Any
) -> None:
    """Write what up to `side` soundings before and after each one let expect there.

    All arrays have shape (n,): depth and distance along the line (m), and the first sounding of
    each one's stretch and the first beyond it.
    """
    count = len(depth)
    for part in numba.prange(PARTS):
        three, four = np.empty(side), np.empty(side)
        for i in range(count * part // PARTS, count * (part + 1) // PARTS):
            before[i] = _one(depth, along, i, -1, min(side, i - start[i]), three, four)
            after[i] = _one(depth, along, i, 1, min(side, end[i] - 1 - i), three, four)
