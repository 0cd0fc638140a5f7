"""Lines of equal depth through a net of triangles: which edges they cross, in which order."""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["list_crossed", "place", "share_deeper", "slide", "trace"]

_NEAR = 1e-7  # m: closer to a vertex a point is the vertex; a hundred roundings of a northing
_ROUNDS, _STILL = 400, 1e-4


@njit(cache=True, nogil=True)
def list_crossed(triangles: Any, rank: Any, count: int) -> Any:
    """List for each of `count` levels the triangles it crosses.

    `rank` (n,) is how many levels are as shallow as a vertex or shallower. Returns where the
    triangles of each level begin (count + 1,) and the triangles.
    """
    first = np.zeros(count + 1, np.int64)
    for t in range(len(triangles)):
        a, b, c = rank[triangles[t, 0]], rank[triangles[t, 1]], rank[triangles[t, 2]]
        for s in range(min(a, b, c), max(a, b, c)):
            first[s + 1] += 1
    for s in range(count):
        first[s + 1] += first[s]
    place, crossed = first.copy(), np.empty(first[count], np.int32)
    for t in range(len(triangles)):
        a, b, c = rank[triangles[t, 0]], rank[triangles[t, 1]], rank[triangles[t, 2]]
        for s in range(min(a, b, c), max(a, b, c)):
            crossed[place[s]] = t
            place[s] += 1
    return first, crossed


@njit(inline="always")
def _entry(triangles: Any, rank: Any, t: int, s: int) -> int:
    """Corner of a crossed triangle from which, counter-clockwise, it gets shallower than s."""
    for k in range(3):
        if rank[triangles[t, k]] > s and rank[triangles[t, (k + 1) % 3]] <= s:
            return k
    return -1


@njit(cache=True, nogil=True)
def _follow(triangles: Any, twins: Any, rank: Any, s: int, half: int, seen: Any, out: Any) -> Any:
    """Walk a line of level s from the half-edge it enters by, deeper water to the left.

    Writes the half-edges crossed to `out`; returns how many, and whether the line is closed.
    """
    count = 0
    while True:
        out[count] = half
        count += 1
        t, k = half // 3, half % 3
        seen[t] = 1
        away = (k + 1) % 3 if rank[triangles[t, (k + 2) % 3]] > s else (k + 2) % 3
        half = twins[3 * t + away]
        if half < 0:
            out[count] = 3 * t + away
            return count + 1, False
        if seen[half // 3]:
            return count, True


@njit(parallel=True, cache=True, nogil=True)
def trace(triangles: Any, twins: Any, rank: Any, first: Any, crossed: Any) -> Any:
    """Chain the lines of all levels through neighbouring triangles.

    Returns, for level s from place 2 `first[s]` on, the half-edges its lines cross, one line after
    the other; from place `first[s]` on, how many each line crosses, less than 0 where it is closed;
    and how many lines and how many half-edges each level has.
    """
    levels = len(first) - 1
    halves = np.empty(2 * len(crossed), np.int32)
    sizes = np.empty(len(crossed), np.int32)
    counts = np.zeros((levels, 2), np.int64)
    for s in numba.prange(levels):
        seen = np.zeros(len(triangles), np.uint8)
        lines, points = first[s], 2 * first[s]
        for at_rim in (True, False):  # else a line that ends at the rim would begin in its middle
            for p in range(first[s], first[s + 1]):
                t = crossed[p]
                if seen[t]:
                    continue
                half = 3 * t + _entry(triangles, rank, t, s)
                if at_rim and twins[half] >= 0:
                    continue
                size, closed = _follow(triangles, twins, rank, s, half, seen, halves[points:])
                sizes[lines] = -size if closed else size
                lines += 1
                points += size
        counts[s, 0], counts[s, 1] = lines - first[s], points - 2 * first[s]
    return halves, sizes, counts


@njit(inline="always")
def _ends(triangles: Any, depth: Any, half: int) -> Any:
    """Shallower and deeper end of a half-edge."""
    t, k = half // 3, half % 3
    u, v = triangles[t, k], triangles[t, (k + 1) % 3]
    return (u, v) if depth[u] < depth[v] else (v, u)


@njit(parallel=True, cache=True, nogil=True)
def place(
    vertices: Any, triangles: Any, depth: Any, halves: Any, levels: Any, away: Any, out: Any
) -> Any:
    """Write to `out` (p, 2) where levels (p,) cross half-edges (p,).

    `away` (p,) is added to the share of the edge from its shallower end. Returns for each point
    the vertex it falls on, else -1.
    """
    on = np.empty(len(halves), np.int32)
    for p in numba.prange(len(halves)):
        i, j = _ends(triangles, depth, halves[p])
        share = (levels[p] - depth[i]) / (depth[j] - depth[i])
        if len(away):
            share = min(max(share + away[p], 0.0), 1.0)
        east, north = vertices[j, 0] - vertices[i, 0], vertices[j, 1] - vertices[i, 1]
        length = math.hypot(east, north)
        on[p] = i if share * length < _NEAR else j if (1 - share) * length < _NEAR else -1
        if on[p] >= 0:
            out[p, 0], out[p, 1] = vertices[on[p], 0], vertices[on[p], 1]
        else:
            out[p, 0] = vertices[i, 0] + share * east
            out[p, 1] = vertices[i, 1] + share * north
    return on


@njit(inline="always")
def _room(levels: Any, s: int, shallow: float, deep: float) -> Any:
    """How far a line of level s may go along an edge: half-way to the next line or to its end."""
    above = max(levels[s - 1], shallow) if s > 0 else shallow
    below = min(levels[s + 1], deep) if s + 1 < len(levels) else deep
    span = deep - shallow
    return (above - levels[s]) / 2 / span, (below - levels[s]) / 2 / span


@njit(cache=True, nogil=True)
def _evened(base: Any, edge: Any, low: Any, high: Any, closed: bool, reach: float) -> Any:
    """Shift points (p, 2) along their edges: the line is a thread, each point is held by a spring.

    With the thread's pull 1 and the springs' 1 / `reach`^2 a metre, a corner is rounded over about
    `reach`. Shares of the edges stay from `low` to `high`.
    """
    size = len(base)
    shift, stiff = np.zeros(size), np.empty(size)
    for p in range(size):
        q = (p + 1) % size
        apart = math.hypot(base[q, 0] - base[p, 0], base[q, 1] - base[p, 1])
        stiff[p] = 1 / max(apart, reach / 100)
    for _ in range(_ROUNDS):
        moved = 0.0
        for parity in range(2):  # every other point at a time: the line has no first point
            for p in range(parity, size, 2):
                if not closed and (p == 0 or p == size - 1):
                    continue
                q, r = (p - 1) % size, (p + 1) % size
                spring = (1 / stiff[q] + 1 / stiff[p]) / 2 / reach**2
                pull, length = 0.0, 0.0
                for d in range(2):
                    before = base[q, d] + shift[q] * edge[q, d] - base[p, d]
                    after = base[r, d] + shift[r] * edge[r, d] - base[p, d]
                    pull += edge[p, d] * (before * stiff[q] + after * stiff[p])
                    length += edge[p, d] * edge[p, d]
                to = pull / length / (stiff[q] + stiff[p] + spring)
                to = min(max(to, low[p]), high[p])
                moved = max(moved, abs(to - shift[p]) * math.sqrt(length))
                shift[p] = to
        if moved < _STILL * reach:
            break
    return shift


@njit(parallel=True, cache=True, nogil=True)
def slide(
    vertices: Any,
    triangles: Any,
    depth: Any,
    halves: Any,
    starts: Any,
    group: Any,
    closed: Any,
    levels: Any,
    reach: float,
) -> Any:
    """Even out lines by sliding their points along the edges they cross.

    Lines begin at `starts` (l + 1,) and have the level number `group` (l,). No point moves more
    than `reach` m, nor beyond half-way in depth to the next level or to the end of its edge; the
    ends of open lines stay. Returns the shift of each point as a share of its edge.
    """
    shift = np.zeros(len(halves))
    for line in numba.prange(len(closed)):
        first, size = starts[line], starts[line + 1] - starts[line]
        s = group[line]
        base, edge = np.empty((size, 2)), np.empty((size, 2))
        low, high = np.empty(size), np.empty(size)
        for p in range(size):
            i, j = _ends(triangles, depth, halves[first + p])
            share = (levels[s] - depth[i]) / (depth[j] - depth[i])
            for d in range(2):
                edge[p, d] = vertices[j, d] - vertices[i, d]
                base[p, d] = vertices[i, d] - vertices[0, d] + share * edge[p, d]
            most = reach / math.hypot(edge[p, 0], edge[p, 1])
            above, below = _room(levels, s, depth[i], depth[j])
            low[p], high[p] = max(above, -most), min(below, most)
        shift[first : first + size] = _evened(base, edge, low, high, closed[line], reach)
    return shift


@njit(inline="always")
def _share(a: float, b: float, c: float, level: float) -> float:
    """Share of a triangle with corner depths a <= b <= c as deep as a level or deeper."""
    if level <= a:
        return 1.0
    if level <= b and level < c:
        return 1 - (level - a) / (b - a) * ((level - a) / (c - a))
    return (c - level) / (c - a) * ((c - level) / (c - b)) if level < c else 0.0


@njit(cache=True, nogil=True)
def share_deeper(ground: Any, triangles: Any, depth: Any, levels: Any) -> Any:
    """Sum over triangles of areas (m,) what lies between ascending levels (k,): shape (k + 1,)."""
    out = np.zeros(len(levels) + 1)
    for t in range(len(triangles)):
        i, j, h = triangles[t]
        a, b, c = depth[i], depth[j], depth[h]
        a, c = min(a, b, c), max(a, b, c)
        b = max(min(depth[i], depth[j]), min(max(depth[i], depth[j]), depth[h]))
        k = np.searchsorted(levels, a, "right")
        left = 1.0
        while k < len(levels) and levels[k] <= c:
            deeper = _share(a, b, c, levels[k])
            out[k] += ground[t] * (left - deeper)
            left = deeper
            k += 1
        out[k] += ground[t] * left
    return out
