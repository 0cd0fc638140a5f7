"""Scan conversion of triangles and the search for points in them.

For gridding, rows are cut into bands so that threads never share a cell; within a band triangles
come in their own order, so the result is the same to the bit whatever the number of threads. A
cell centre on an edge belongs to exactly one of the two triangles (half-open spans), and both
compute the crossing of a row with their common edge from the same end, so there is neither gap nor
overlap.

For the search, triangles are sorted into square buckets by the rectangles around them. Which side
of an edge a point lies on is reckoned from the end with the lower number, so that both neighbours
see one number, and exactly nothing at either end.
"""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = [
    "BAND",
    "count_deeper",
    "fill",
    "fill_inverse",
    "find_triangles",
    "sort_into_bands",
    "sort_into_buckets",
]

BAND = 32
"""Rows in a band."""

HAIR = 1e-6

SLACK = 1e-9
"""Share of a triangle's height by which rounding may put a point outside."""


@njit(cache=True, nogil=True)
def _row_span(a: float, b: float, c: float, top: float, cell: float, rows: int) -> Any:
    low, high = min(a, b, c), max(a, b, c)
    # wider by a hair: a row that only just touches is decided where its crossings are computed
    first = max(math.ceil((top - high) / cell - 0.5 - HAIR), 0)
    last = min(math.floor((top - low) / cell - 0.5 + HAIR), rows - 1)
    return first, last


@njit(cache=True, nogil=True)
def sort_into_bands(northing: Any, triangles: Any, top: float, cell: float, rows: int) -> Any:
    """List the triangles that touch each band of rows.

    Returns the start of each band's part and the triangle numbers, part after part.
    """
    bands = -(-rows // BAND)
    start = np.zeros(bands + 1, np.int64)
    for t in range(len(triangles)):
        a, b, c = triangles[t]
        first, last = _row_span(northing[a], northing[b], northing[c], top, cell, rows)
        if last >= first:
            start[first // BAND + 1 : last // BAND + 2] += 1
    start = np.cumsum(start)
    member = np.empty(start[bands], np.int32)
    free = start[:-1].copy()
    for t in range(len(triangles)):
        a, b, c = triangles[t]
        first, last = _row_span(northing[a], northing[b], northing[c], top, cell, rows)
        if last >= first:
            for band in range(first // BAND, last // BAND + 1):
                member[free[band]] = t
                free[band] += 1
    return start, member


@njit(inline="always")
def _crossing(vertices: Any, depth: Any, i: int, j: int, row: float) -> Any:
    """Easting and depth where edge i-j crosses a row, always reckoned from its lower end."""
    if (vertices[i, 1] > vertices[j, 1]) or (vertices[i, 1] == vertices[j, 1] and i > j):
        i, j = j, i
    share = (row - vertices[i, 1]) / (vertices[j, 1] - vertices[i, 1])
    easting = vertices[i, 0] + share * (vertices[j, 0] - vertices[i, 0])
    return easting, depth[i] + share * (depth[j] - depth[i])


@njit(parallel=True, cache=True, nogil=True)
def fill(
    vertices: Any,
    depth: Any,
    triangles: Any,
    start: Any,
    member: Any,
    left: float,
    top: float,
    cell: float,
    out: Any,
    above: int = 0,
) -> None:
    """Write the depth at each cell centre inside a triangle into `out`, shape (rows, cols).

    `above` rows, of whole bands, lie between `top` and the first row of `out`.
    """
    rows, cols = above + len(out), out.shape[1]
    for band in numba.prange(len(start) - 1):
        first_row, end_row = above + band * BAND, min(above + band * BAND + BAND, rows)
        for place in range(start[band], start[band + 1]):
            corner = triangles[member[place]]
            a, b, c = corner
            first, last = _row_span(vertices[a, 1], vertices[b, 1], vertices[c, 1], top, cell, rows)
            for r in range(max(first, first_row), min(last + 1, end_row)):
                row = top - (r + 0.5) * cell
                x0, x1, z0, z1 = np.inf, -np.inf, 0.0, 0.0
                for k in range(3):
                    i, j = corner[k], corner[(k + 1) % 3]
                    if (vertices[i, 1] < row) != (vertices[j, 1] < row):
                        x, z = _crossing(vertices, depth, i, j, row)
                        if x < x0:
                            x0, z0 = x, z
                        if x > x1:
                            x1, z1 = x, z
                if x1 <= x0:
                    continue
                steepness = (z1 - z0) / (x1 - x0)
                begin = max(math.ceil((x0 - left) / cell - 0.5), 0)
                end = min(math.ceil((x1 - left) / cell - 0.5), cols)
                for k in range(begin, end):
                    out[r - above, k] = z0 + steepness * (left + (k + 0.5) * cell - x0)


@njit(parallel=True, cache=True, nogil=True)
def count_deeper(
    vertices: Any,
    depths: Any,
    triangles: Any,
    start: Any,
    member: Any,
    left: float,
    top: float,
    cell: float,
    level: float,
    out: Any,
) -> None:
    """Add to `out` (rows, cols) how many of several depths (n, draws) are deeper than a level."""
    rows, cols = out.shape
    for band in numba.prange(len(start) - 1):
        first_row, end_row = band * BAND, min(band * BAND + BAND, rows)
        for place in range(start[band], start[band + 1]):
            corner = triangles[member[place]]
            a, b, c = corner
            first, last = _row_span(vertices[a, 1], vertices[b, 1], vertices[c, 1], top, cell, rows)
            for r in range(max(first, first_row), min(last + 1, end_row)):
                row = top - (r + 0.5) * cell
                x0, x1, west, east = np.inf, -np.inf, 0, 0
                for k in range(3):
                    i, j = corner[k], corner[(k + 1) % 3]
                    if (vertices[i, 1] < row) != (vertices[j, 1] < row):
                        x, _ = _crossing(vertices, depths[:, 0], i, j, row)
                        if x < x0:
                            x0, west = x, k
                        if x > x1:
                            x1, east = x, k
                if x1 <= x0:
                    continue
                begin = max(math.ceil((x0 - left) / cell - 0.5), 0)
                end = min(math.ceil((x1 - left) / cell - 0.5), cols)
                if begin >= end:
                    continue
                for draw in range(depths.shape[1]):
                    depth = depths[:, draw]
                    i, j = corner[west], corner[(west + 1) % 3]
                    _, z0 = _crossing(vertices, depth, i, j, row)
                    i, j = corner[east], corner[(east + 1) % 3]
                    _, z1 = _crossing(vertices, depth, i, j, row)
                    steepness = (z1 - z0) / (x1 - x0)
                    for k in range(begin, end):
                        out[r, k] += z0 + steepness * (left + (k + 0.5) * cell - x0) > level


@njit(cache=True, nogil=True)
def _bucket_span(a: float, b: float, c: float, low: float, width: float, count: int) -> Any:
    first = math.floor((min(a, b, c) - low) / width - HAIR)
    last = math.floor((max(a, b, c) - low) / width + HAIR)
    return max(first, 0), min(last, count - 1)


@njit(cache=True, nogil=True)
def sort_into_buckets(
    vertices: Any, triangles: Any, left: float, bottom: float, width: float, rows: int, cols: int
) -> Any:
    """List the triangles whose surrounding rectangle touches each square bucket.

    Returns the start of each bucket's part, buckets by row from the south, and the triangle
    numbers, ascending within a part.
    """
    start = np.zeros(rows * cols + 1, np.int64)
    member = np.empty(0, np.int32)
    for filling in range(2):
        for t in range(len(triangles)):
            a, b, c = triangles[t]
            x, y, z = vertices[a], vertices[b], vertices[c]
            first_col, last_col = _bucket_span(x[0], y[0], z[0], left, width, cols)
            first_row, last_row = _bucket_span(x[1], y[1], z[1], bottom, width, rows)
            for row in range(first_row, last_row + 1):
                for bucket in range(row * cols + first_col, row * cols + last_col + 1):
                    if filling:
                        member[start[bucket]] = t
                    start[bucket + (filling == 0)] += 1
        if not filling:
            start = np.cumsum(start)
            member = np.empty(start[-1], np.int32)
    # filling has moved each start to the next one's place
    start[1:] = start[:-1].copy()
    start[0] = 0
    return start, member


@njit(inline="always")
def _left_of(vertices: Any, i: int, j: int, east: float, north: float) -> float:
    """Twice the area between edge i-j and a point, positive to the left."""
    k, n = min(i, j), max(i, j)
    across = (vertices[n, 0] - vertices[k, 0]) * (north - vertices[k, 1])
    across -= (vertices[n, 1] - vertices[k, 1]) * (east - vertices[k, 0])
    return across if i < j else -across


@njit(parallel=True, cache=True, nogil=True)
def find_triangles(
    vertices: Any,
    triangles: Any,
    points: Any,
    start: Any,
    member: Any,
    left: float,
    bottom: float,
    width: float,
    rows: int,
    cols: int,
    out: Any,
    weights: Any,
) -> None:
    """Write the triangle of each point (p,) and the weights of its corners (p, 3).

    Of several that hold a point, the first. What no triangle holds goes to the one it misses by
    less than `SLACK` of its height, and is left as it is where there is none.
    """
    for p in numba.prange(len(points)):
        east, north = points[p]
        col, row = (east - left) / width, (north - bottom) / width
        if not (-1 < col < cols + 1 and -1 < row < rows + 1):
            continue
        bucket = min(max(int(row), 0), rows - 1) * cols + min(max(int(col), 0), cols - 1)
        best = -SLACK
        for place in range(start[bucket], start[bucket + 1]):
            a, b, c = triangles[member[place]]
            u = _left_of(vertices, b, c, east, north)
            v = _left_of(vertices, c, a, east, north)
            w = _left_of(vertices, a, b, east, north)
            inside = u >= 0 and v >= 0 and w >= 0
            whole = u + v + w
            if whole <= 0:
                continue
            least = min(u, v, w) / whole
            if inside or least > best:
                best, out[p] = least, member[place]
                weights[p, 0], weights[p, 1], weights[p, 2] = u / whole, v / whole, w / whole
            if inside:
                break


@njit(cache=True, nogil=True)
def fill_inverse(starts: Any, rows: Any, lower: Any, pivots: Any, inverse: Any) -> None:
    """Write the inverse of L D L^T where L is not empty; L by columns, its unit diagonal first."""
    count = len(pivots)
    place = np.full(count, -1, np.int64)
    found = np.empty(count)
    for column in range(count - 1, -1, -1):
        first, last = starts[column] + 1, starts[column + 1]
        for at in range(first, last):
            place[rows[at]] = at
            found[rows[at]] = 0.0
        for at in range(first, last):
            row = rows[at]
            weight, total = lower[at], 0.0
            found[row] += weight * inverse[starts[row]]
            for there in range(starts[row] + 1, starts[row + 1]):
                other = place[rows[there]]
                if other >= 0:
                    total += lower[other] * inverse[there]
                    found[rows[there]] += weight * inverse[there]
            found[row] += total
        diagonal = 1.0 / pivots[column]
        for at in range(first, last):
            value = -found[rows[at]]
            inverse[at] = value
            diagonal -= lower[at] * value
        inverse[starts[column]] = diagonal
        for at in range(first, last):
            place[rows[at]] = -1
