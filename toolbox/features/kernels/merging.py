"""Loops that flood a net from its deepest vertices upwards and note where hollows meet."""

import numpy as np

from toolbox.compiled import njit

__all__ = ["flood", "merge"]


@njit(cache=True, nogil=True, inline="always")
def _root(parent: np.ndarray, vertex: int) -> int:
    while parent[vertex] != vertex:
        parent[vertex] = parent[parent[vertex]]
        vertex = parent[vertex]
    return vertex


@njit(cache=True, nogil=True)
def merge(
    starts: np.ndarray,
    neighbours: np.ndarray,
    depth: np.ndarray,
    order: np.ndarray,
    outer: np.ndarray,
    least: float,
    pits: np.ndarray,
    levels: np.ndarray,
    above: np.ndarray,
) -> int:
    """Fill the tree of hollows with a relief of `least` or more; return how many.

    Of hollow k: its deepest vertex, the depth at which it meets another (NaN: never), and
    the hollow it becomes part of (-1: none). Hollows that meet `outer` vertices (all of them one)
    end there.
    """
    count = len(depth)
    parent = np.full(count, -1, np.int64)
    deepest = np.zeros(count, np.int64)
    open_ = np.full(count, -1, np.int64)  # of a root: its hollow, -1 while it is too slight
    lost = np.zeros(count, np.bool_)  # of a root: one with the outside
    made = 0
    for vertex in order:
        parent[vertex] = vertex
        deepest[vertex] = vertex
        level = depth[vertex]
        lost[vertex] = outer[vertex]
        for at in range(starts[vertex], starts[vertex + 1]):
            other = neighbours[at]
            if parent[other] < 0:
                continue
            one, two = _root(parent, vertex), _root(parent, other)
            if one == two:
                continue
            if depth[deepest[one]] < depth[deepest[two]]:
                one, two = two, one
            open_one = depth[deepest[one]] - level >= least and not lost[one]
            open_two = depth[deepest[two]] - level >= least and not lost[two]
            if open_one and open_[one] < 0:
                open_[one] = made
                pits[made], above[made] = deepest[one], -1
                made += 1
            if open_two and open_[two] < 0:
                open_[two] = made
                pits[made], above[made] = deepest[two], -1
                made += 1
            whole = made
            if open_one and open_two:
                pits[whole], above[whole] = deepest[one], -1
                made += 1
            for root, is_open in ((one, open_one), (two, open_two)):
                both = (open_one and open_two) or (lost[one] != lost[two])
                if is_open and both:
                    levels[open_[root]] = level
                    above[open_[root]] = whole if open_one and open_two else -1
            gone = lost[one] or lost[two]
            if open_one and open_two:
                open_[one] = whole
            elif gone:
                open_[one] = -1
            elif open_two:
                open_[one] = open_[two]
            parent[two] = one
            lost[one] = gone
    for vertex in order:
        if parent[vertex] == vertex and not lost[vertex]:
            if open_[vertex] < 0:
                open_[vertex] = made
                pits[made], above[made] = deepest[vertex], -1
                made += 1
            levels[open_[vertex]] = np.nan
    return made


@njit(cache=True, nogil=True)
def flood(
    starts: np.ndarray, neighbours: np.ndarray, depth: np.ndarray, pit: int, level: float
) -> np.ndarray:
    """Return the vertices deeper than a level that are joined to a pit."""
    seen = np.zeros(len(depth), np.bool_)
    found = np.empty(len(depth), np.int64)
    found[0] = pit
    seen[pit] = True
    done, count = 0, 1
    while done < count:
        vertex = found[done]
        done += 1
        for at in range(starts[vertex], starts[vertex + 1]):
            other = neighbours[at]
            if not seen[other] and depth[other] > level:
                seen[other] = True
                found[count] = other
                count += 1
    return found[:count].copy()
