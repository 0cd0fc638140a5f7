"""Robust lines through few soundings; pieces of line that meet."""

from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = [
    "MANY",
    "add_up",
    "carried_on",
    "carried_on_few",
    "fill_cells",
    "pair_in_cells",
    "pair_within",
]

MANY = 20_000
"""From so many soundings on it pays to deal with them side by side."""

PARTS = 64
"""Soundings are dealt with in this many parts, side by side."""


@njit(inline="always")
def _median(values: Any, count: int) -> Any:
    """Sort a few values in place and take their median."""
    for i in range(1, count):
        value, j = values[i], i
        while j > 0 and values[j - 1] > value:
            values[j] = values[j - 1]
            j -= 1
        values[j] = value
    return (values[(count - 1) // 2] + values[count // 2]) / 2


@njit(cache=True, nogil=True)
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


@njit(inline="always")
def _slope(depth: Any, along: Any, a: int, b: int) -> Any:
    return (depth[a] - depth[b]) / (along[a] - along[b])


@njit(inline="always")
def _of_three(a: Any, b: Any, c: Any) -> Any:
    return max(min(a, b), min(max(a, b), c))


@njit(inline="always")
def _of_four(a: Any, b: Any, c: Any, d: Any) -> Any:
    return (max(min(a, b), min(c, d)) + min(max(a, b), max(c, d))) / 2


@njit(nogil=True)
def _one_of_four(depth: Any, along: Any, i: int, way: int) -> Any:
    """Do what `_one` does with four soundings on one side, which nearly all have."""
    a, b, c, d = i + way, i + 2 * way, i + 3 * way, i + 4 * way
    ab, ac = _slope(depth, along, a, b), _slope(depth, along, a, c)
    ad, bc = _slope(depth, along, a, d), _slope(depth, along, b, c)
    bd, cd = _slope(depth, along, b, d), _slope(depth, along, c, d)
    slope = _of_four(
        _of_three(ab, ac, ad), _of_three(ab, bc, bd), _of_three(ac, bc, cd), _of_three(ad, bd, cd)
    )
    nearest = along[a]
    level = _of_four(
        depth[a],
        depth[b] - slope * (along[b] - nearest),
        depth[c] - slope * (along[c] - nearest),
        depth[d] - slope * (along[d] - nearest),
    )
    reach = abs(along[d] - nearest)
    return level + slope * min(max(along[i] - nearest, -reach), reach)


@njit(nogil=True)
def _carry(
    depth: Any,
    along: Any,
    start: Any,
    end: Any,
    side: int,
    before: Any,
    after: Any,
    low: int,
    high: int,
) -> None:
    """Deal with the soundings from `low` up to `high`."""
    three, four = np.empty(side), np.empty(side)
    for i in range(low, high):
        many = min(side, i - start[i])
        if many == 4:
            before[i] = _one_of_four(depth, along, i, -1)
        else:
            before[i] = _one(depth, along, i, -1, many, three, four)
        many = min(side, end[i] - 1 - i)
        if many == 4:
            after[i] = _one_of_four(depth, along, i, 1)
        else:
            after[i] = _one(depth, along, i, 1, many, three, four)


@njit(cache=True, nogil=True)
def carried_on_few(
    depth: Any, along: Any, start: Any, end: Any, side: int, before: Any, after: Any
) -> None:
    """Do what `carried_on` does, one after the other."""
    _carry(depth, along, start, end, side, before, after, 0, len(depth))


@njit(parallel=True, cache=True, nogil=True)
def carried_on(
    depth: Any, along: Any, start: Any, end: Any, side: int, before: Any, after: Any
) -> None:
    """Write what up to `side` soundings before and after each one let expect there.

    All arrays have shape (n,): depth and distance along the line (m), and the first sounding of
    each one's stretch and the first beyond it.
    """
    count = len(depth)
    for part in numba.prange(PARTS):
        low, high = count * part // PARTS, count * (part + 1) // PARTS
        _carry(depth, along, start, end, side, before, after, low, high)


@njit(cache=True, nogil=True)
def fill_cells(box: Any, key: Any, which: Any) -> None:
    """List the cells that each box covers, shape (n, 4): first column and row, last ones."""
    k = 0
    for i in range(len(box)):
        for column in range(box[i, 0], box[i, 2] + 1):
            for row in range(box[i, 1], box[i, 3] + 1):
                key[k], which[k] = (column << 32) + row, i
                k += 1


@njit(nogil=True)
def _one_side(place: Any, a: int, b: int) -> bool:
    """Tell whether the piece from b surely lies on one side of the line through that from a."""
    x, y = place[a + 1, 0] - place[a, 0], place[a + 1, 1] - place[a, 1]
    u, v = place[b, 0] - place[a, 0], place[b, 1] - place[a, 1]
    s, t = place[b + 1, 0] - place[a, 0], place[b + 1, 1] - place[a, 1]
    here, there = x * v - y * u, x * t - y * s
    least = 1e-12 * (abs(x) + abs(y)) * max(abs(u) + abs(v), abs(s) + abs(t))
    return (here > least and there > least) or (here < -least and there < -least)


@njit(nogil=True)
def _beside(place: Any, a: int, b: int) -> bool:
    """Tell whether one piece ends before the other begins, to the east or to the north."""
    for k in range(2):
        low_a, high_a = min(place[a, k], place[a + 1, k]), max(place[a, k], place[a + 1, k])
        low_b, high_b = min(place[b, k], place[b + 1, k]), max(place[b, k], place[b + 1, k])
        if high_a < low_b or high_b < low_a:
            return True
    return False


@njit(cache=True, nogil=True)
def pair_in_cells(
    key: Any, which: Any, box: Any, place: Any, piece: Any, first: Any, second: Any
) -> int:
    """List pieces that may touch, not neighbours, each two in one of their cells; count them.

    `key`, ascending, and `which` come of `fill_cells`. Each piece leads from the place `piece[i]`
    to the next. Of more than fit into `first` and `second` the number is told all the same.
    """
    found, begin = 0, 0
    while begin < len(key):
        end = begin + 1
        while end < len(key) and key[end] == key[begin]:
            end += 1
        for u in range(begin, end - 1):
            for v in range(u + 1, end):
                i, j = min(which[u], which[v]), max(which[u], which[v])
                a, b = piece[i], piece[j]
                if a + 1 >= b or _beside(place, a, b):
                    continue
                home = (max(box[i, 0], box[j, 0]) << 32) + max(box[i, 1], box[j, 1])
                if home != key[begin] or _one_side(place, a, b) or _one_side(place, b, a):
                    continue
                if found < len(first):
                    first[found], second[found] = i, j
                found += 1
        begin = end
    return found


@njit(cache=True, nogil=True)
def pair_within(
    key: Any, which: Any, place: Any, line: Any, within: float, first: Any, second: Any
) -> int:
    """List soundings of two lines that lie near each other, each two once; count them.

    `key`, ascending, is the cell of each of `which`: column times 2^32 and row, of cells no
    narrower than `within`. Of more than fit into `first` and `second` the number is told all the
    same.
    """
    found, count, low = 0, len(key), 0
    for u in range(count):
        beyond = key[u] + (1 << 32)
        while low < count and key[low] < beyond - 1:
            low += 1
        # here and in the next row; then in the next column, from the row before to the one after
        for begin, last in ((u + 1, key[u] + 1), (low, beyond + 1)):
            v = begin
            while v < count and key[v] <= last:
                i, j = which[u], which[v]
                x, y = place[i, 0] - place[j, 0], place[i, 1] - place[j, 1]
                if line[i] != line[j] and x * x + y * y <= within * within:
                    if found < len(first):
                        first[found], second[found] = min(i, j), max(i, j)
                    found += 1
                v += 1
    return found


@njit(cache=True, nogil=True)
def add_up(weight: Any, start: Any) -> Any:
    """Add up weights (n,), beginning anew at each of `start` (cells,)."""
    total = np.empty(len(weight))
    for cell in range(len(start)):
        end = start[cell + 1] if cell + 1 < len(start) else len(weight)
        so_far = 0.0
        for row in range(start[cell], end):
            so_far += weight[row]
            total[row] = so_far
    return total
