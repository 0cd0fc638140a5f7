"""Joining directed edges into lines and rings that touch themselves nowhere."""

import math
from typing import Any

import numpy as np

from toolbox.compiled import njit

__all__ = ["join"]


@njit(cache=True, nogil=True)
def _next(edge: int, edges: Any, used: Any) -> int:
    """Edge by which to go on, -1 if none: of several the first clockwise from where one comes from.

    So one keeps to what lies to the left of the edge one comes by, and crosses nothing.
    """
    tail, head, where, leaving, after = edges
    node, best, least = head[edge], -1, 10.0
    e = leaving[node]
    while e >= 0:
        if not used[e]:
            if best < 0 and after[e] < 0:
                return e
            back, on = where[tail[edge]] - where[node], where[head[e]] - where[node]
            turn = math.atan2(back[1], back[0]) - math.atan2(on[1], on[0])
            turn = turn if turn > 0 else turn + 2 * math.pi
            if turn < least:
                best, least = e, turn
        e = after[e]
    return best


@njit(cache=True, nogil=True)
def _cancel(first: int, last: int, edges: Any, used: Any) -> None:
    """Strike out edges without length and pairs that run there and back."""
    tail, head, _, leaving, after = edges
    for e in range(first, last):
        used[e] = tail[e] == head[e]
    for e in range(first, last):
        f = leaving[head[e]]
        while f >= 0 and not used[e]:
            if head[f] == tail[e] and not used[f]:
                used[e] = used[f] = True
            f = after[f]


@njit(cache=True, nogil=True)
def _keep(path: Any, group: int, ring: bool, lines: int, out: Any) -> int:
    """Write a line to `out` and count it."""
    nodes, starts, groups, closed = out
    first = starts[lines]
    nodes[first : first + len(path)] = path
    starts[lines + 1] = first + len(path)
    groups[lines], closed[lines] = group, ring
    return lines + 1


@njit(cache=True, nogil=True)
def _walk(
    edge: int,
    ring: bool,
    edges: Any,
    used: Any,
    stack: Any,
    on: Any,
    group: int,
    lines: int,
    out: Any,
) -> int:
    """Walk from an edge to the end of its line, or once round, cutting off every loop.

    `on` (n,) is where each node lies on the way walked, -1 if nowhere.
    """
    tail, head = edges[:2]
    size, stack[0], on[tail[edge]] = 1, tail[edge], 0
    while edge >= 0:
        used[edge] = True
        node = head[edge]
        loop = on[node]
        if loop >= 0:
            lines = _keep(stack[loop:size], group, True, lines, out)
            on[stack[loop + 1 : size]] = -1
            size = loop + 1
            if size == 1 and ring:
                break
        else:
            stack[size], on[node] = node, size
            size += 1
        edge = _next(edge, edges, used)
    on[stack[:size]] = -1
    return _keep(stack[:size], group, False, lines, out) if size > 1 else lines


@njit(cache=True, nogil=True)
def join(bounds: Any, tail: Any, head: Any, where: Any) -> Any:
    """Join the directed edges of each group to lines.

    Parameters are where the edges of each group begin (g + 1,), the nodes from which and to which
    the edges run (m,) and the place of each node (n, 2). Edges that run there and back cancel; at a
    node where several lines meet none crosses another; a line that comes back to a node closes
    there. Returns the nodes of the lines, one line after the other, where each line begins, its
    group, and whether it is closed; a closed one does not repeat its first node.
    """
    count, most = len(where), len(tail)
    leaving, on = np.full(count, -1, np.int32), np.full(count, -1, np.int32)
    surplus, after = np.zeros(count, np.int32), np.empty(most, np.int32)
    used, stack = np.zeros(most, np.bool_), np.empty(most + 1, np.int32)
    nodes, starts = np.empty(2 * most, np.int32), np.zeros(most + 1, np.int64)
    groups, closed = np.empty(most, np.int32), np.empty(most, np.bool_)
    edges, out, lines = (tail, head, where, leaving, after), (nodes, starts, groups, closed), 0
    for g in range(len(bounds) - 1):
        first, last = bounds[g], bounds[g + 1]
        for e in range(first, last):
            after[e], leaving[tail[e]] = leaving[tail[e]], e
        _cancel(first, last, edges, used)
        for e in range(first, last):
            surplus[tail[e]] += not used[e]
            surplus[head[e]] -= not used[e]
        for ring in (False, True):  # else a line with ends would begin in its middle
            for e in range(first, last):
                if not used[e] and (ring or surplus[tail[e]] > 0):
                    surplus[tail[e]] -= 1
                    lines = _walk(e, ring, edges, used, stack, on, g, lines, out)
        for e in range(first, last):
            leaving[tail[e]], leaving[head[e]] = -1, -1
            surplus[tail[e]], surplus[head[e]] = 0, 0
    return nodes[: starts[lines]], starts[: lines + 1], groups[:lines], closed[:lines]
