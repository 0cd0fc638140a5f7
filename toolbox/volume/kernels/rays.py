"""Rays over water until they meet land, compiled."""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["cast_around", "cast_between", "sort_edges"]

HAIR = 1e-9
"""Of an edge's length, by which an edge is taken to reach beyond its ends: no ray slips through."""


@njit(inline="always")
def _bucket(value: float, low: float, width: float, count: int) -> int:
    return min(max(math.floor((value - low) / width), 0), count - 1)


@njit(inline="always")
def _box(edge: Any, net: Any) -> Any:
    """First and last column, first and last row of the buckets that an edge may touch."""
    left, bottom, width, rows, cols = net
    return (
        _bucket(min(edge[0], edge[2]), left, width, cols),
        _bucket(max(edge[0], edge[2]), left, width, cols),
        _bucket(min(edge[1], edge[3]), bottom, width, rows),
        _bucket(max(edge[1], edge[3]), bottom, width, rows),
    )


@njit(cache=True, nogil=True)
def sort_edges(edges: Any, left: float, bottom: float, width: float, rows: int, cols: int) -> Any:
    """Sort edges (e, 4) into square buckets: where each begins, and the members one by one."""
    net = (left, bottom, width, rows, cols)
    start = np.zeros(rows * cols + 1, np.int64)
    for e in range(len(edges)):
        first, last, low, high = _box(edges[e], net)
        for row in range(low, high + 1):
            for col in range(first, last + 1):
                start[row * cols + col + 1] += 1
    start = np.cumsum(start)
    fill, member = start[:-1].copy(), np.empty(start[-1], np.int64)
    for e in range(len(edges)):
        first, last, low, high = _box(edges[e], net)
        for row in range(low, high + 1):
            for col in range(first, last + 1):
                member[fill[row * cols + col]] = e
                fill[row * cols + col] += 1
    return start, member


@njit(inline="always")
def _met(edge: Any, x: float, y: float, u: float, v: float) -> float:
    """How many times (u, v) a ray from (x, y) goes until it meets an edge; inf if it does not."""
    p, q = edge[2] - edge[0], edge[3] - edge[1]
    turn = u * q - v * p
    if turn == 0.0:  # along the edge: the edges beside it stop the ray
        return np.inf
    a, b = edge[0] - x, edge[1] - y
    along, share = (a * q - b * p) / turn, (a * v - b * u) / turn
    return along if along >= 0.0 and -HAIR <= share <= 1.0 + HAIR else np.inf


@njit(inline="always")
def _steps(at: float, speed: float, low: float, width: float, cell: int) -> Any:
    """When a ray leaves its bucket along one axis, how long it needs for one, and which way."""
    if speed > 0.0:
        return (low + (cell + 1) * width - at) / speed, width / speed, 1
    if speed < 0.0:
        return (low + cell * width - at) / speed, -width / speed, -1
    return np.inf, np.inf, 0


@njit(inline="always")
def _reach(
    edges: Any, start: Any, member: Any, net: Any, x: float, y: float, u: float, v: float
) -> float:
    """How many times (u, v) a ray goes from a place within the net until it meets an edge."""
    left, bottom, width, rows, cols = net
    col, row = _bucket(x, left, width, cols), _bucket(y, bottom, width, rows)
    out_x, step_x, way_x = _steps(x, u, left, width, col)
    out_y, step_y, way_y = _steps(y, v, bottom, width, row)
    nearest = np.inf
    while 0 <= col < cols and 0 <= row < rows:
        bucket = row * cols + col
        for m in range(start[bucket], start[bucket + 1]):
            nearest = min(nearest, _met(edges[member[m]], x, y, u, v))
        if nearest <= min(out_x, out_y):
            return nearest
        if out_x < out_y:
            col, out_x = col + way_x, out_x + step_x
        else:
            row, out_y = row + way_y, out_y + step_y
    return nearest


@njit(parallel=True, cache=True, nogil=True)
def cast_around(edges: Any, start: Any, member: Any, net: Any, places: Any, ways: Any) -> Any:
    """Cast rays from each place (n, 2) along each of several vectors (k, 2).

    Returns how many times its vector each ray goes before it meets an edge, (n, k); infinite where
    it meets none.
    """
    out = np.empty((len(places), len(ways)))
    for i in numba.prange(len(places)):
        for k in range(len(ways)):
            x, y = places[i]
            out[i, k] = _reach(edges, start, member, net, x, y, ways[k, 0], ways[k, 1])
    return out


@njit(parallel=True, cache=True, nogil=True)
def cast_between(edges: Any, start: Any, member: Any, net: Any, places: Any) -> Any:
    """Cast a ray from each place (n, 2) towards each other and beyond it.

    Returns how far each goes before it meets an edge, (n, n), in the unit of the places; 0 from a
    place to itself.
    """
    out = np.zeros((len(places), len(places)))
    for i in numba.prange(len(places)):
        x, y = places[i]
        for k in range(len(places)):
            u, v = places[k, 0] - x, places[k, 1] - y
            size = math.hypot(u, v)
            if size > 0.0:
                out[i, k] = _reach(edges, start, member, net, x, y, u / size, v / size)
    return out
