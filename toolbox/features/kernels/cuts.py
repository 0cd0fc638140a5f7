"""Cuts: where the segments of a path run through which triangles."""

import math
from typing import Any

import numpy as np

from toolbox.compiled import njit

__all__ = ["cut_path"]

HAIR = 1e-9
"""Of a bucket's width, by which a segment is taken to touch its neighbour."""


@njit(inline="always")
def _left_of(vertices: Any, i: int, j: int, east: float, north: float) -> float:
    """Twice the area between edge i-j and a point, positive to the left.

    The two triangles at an edge get the same number but for its sign.
    """
    k, n = min(i, j), max(i, j)
    across = (vertices[n, 0] - vertices[k, 0]) * (north - vertices[k, 1])
    across -= (vertices[n, 1] - vertices[k, 1]) * (east - vertices[k, 0])
    return across if i < j else -across


@njit(inline="always")
def _clip(vertices: Any, corners: Any, a: Any, b: Any) -> Any:
    """Shares of a segment at which it enters and leaves a triangle; none if not in order."""
    first, last = 0.0, 1.0
    for k in range(3):
        i, j = corners[k], corners[(k + 1) % 3]
        at_start = _left_of(vertices, i, j, a[0], a[1])
        at_end = _left_of(vertices, i, j, b[0], b[1])
        if at_start < 0 and at_end < 0:
            return 1.0, 0.0
        if at_start < 0:
            first = max(first, at_start / (at_start - at_end))
        elif at_end < 0:
            last = min(last, at_start / (at_start - at_end))
    return first, last


@njit(inline="always")
def _span(one: float, other: float, low: float, width: float, count: int) -> Any:
    first = math.floor((min(one, other) - low) / width - HAIR)
    last = math.floor((max(one, other) - low) / width + HAIR)
    return max(first, 0), min(last, count - 1)


@njit(cache=True, nogil=True)
def cut_path(
    vertices: Any,
    triangles: Any,
    path: Any,
    start: Any,
    member: Any,
    left: float,
    bottom: float,
    width: float,
    rows: int,
    cols: int,
) -> Any:
    """List the pieces of a path (p, 2) inside triangles sorted into buckets.

    Returns the segment and the triangle of each piece, and the shares of the segment at which it
    begins and ends. A piece along an edge is listed for both triangles.
    """
    seen = np.empty(len(triangles), np.int64)
    segment, triangle = np.empty(0, np.int64), np.empty(0, np.int64)
    begin, end = np.empty(0), np.empty(0)
    for filling in range(2):
        seen[:] = -1
        count = 0
        for s in range(len(path) - 1):
            a, b = path[s], path[s + 1]
            rise = b[1] - a[1]
            first_row, last_row = _span(a[1], b[1], bottom, width, rows)
            for row in range(first_row, last_row + 1):
                t0, t1 = 0.0, 1.0
                if rise != 0:
                    low = (bottom + (row - HAIR) * width - a[1]) / rise
                    high = (bottom + (row + 1 + HAIR) * width - a[1]) / rise
                    t0, t1 = max(0.0, min(low, high)), min(1.0, max(low, high))
                x0, x1 = a[0] + t0 * (b[0] - a[0]), a[0] + t1 * (b[0] - a[0])
                first_col, last_col = _span(x0, x1, left, width, cols)
                for bucket in range(row * cols + first_col, row * cols + last_col + 1):
                    for place in range(start[bucket], start[bucket + 1]):
                        t = member[place]
                        if seen[t] == s:
                            continue
                        seen[t] = s
                        enters, leaves = _clip(vertices, triangles[t], a, b)
                        if leaves <= enters:
                            continue
                        if filling:
                            segment[count], triangle[count] = s, t
                            begin[count], end[count] = enters, leaves
                        count += 1
        if not filling:
            segment, triangle = np.empty(count, np.int64), np.empty(count, np.int64)
            begin, end = np.empty(count), np.empty(count)
    return segment, triangle, begin, end
