"""Scan conversion of triangles: the arithmetic behind gridding.

Rows are cut into bands so that threads never share a cell; within a band triangles come in their
own order, so the result is the same to the bit whatever the number of threads. A cell centre on
an edge belongs to exactly one of the two triangles (half-open spans), and both compute the
crossing of a row with their common edge from the same end, so there is neither gap nor overlap.
"""

import math
from typing import Any

import numba
import numpy as np

__all__ = ["BAND", "fill", "sort_into_bands"]

BAND = 32
"""Rows in a band."""

HAIR = 1e-6


@numba.njit(cache=True, nogil=True)
def _row_span(a: float, b: float, c: float, top: float, cell: float, rows: int) -> Any:
    low, high = min(a, b, c), max(a, b, c)
    # wider by a hair: a row that only just touches is decided where its crossings are computed
    first = max(math.ceil((top - high) / cell - 0.5 - HAIR), 0)
    last = min(math.floor((top - low) / cell - 0.5 + HAIR), rows - 1)
    return first, last


@numba.njit(cache=True, nogil=True)
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


@numba.njit(inline="always")
def _crossing(vertices: Any, depth: Any, i: int, j: int, row: float) -> Any:
    """Easting and depth where edge i-j crosses a row, always reckoned from its lower end."""
    if (vertices[i, 1] > vertices[j, 1]) or (vertices[i, 1] == vertices[j, 1] and i > j):
        i, j = j, i
    share = (row - vertices[i, 1]) / (vertices[j, 1] - vertices[i, 1])
    easting = vertices[i, 0] + share * (vertices[j, 0] - vertices[i, 0])
    return easting, depth[i] + share * (depth[j] - depth[i])


@numba.njit(parallel=True, cache=True, nogil=True)
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
) -> None:
    """Write the depth at each cell centre inside a triangle into `out`, shape (rows, cols)."""
    rows, cols = out.shape
    for band in numba.prange(len(start) - 1):
        first_row, end_row = band * BAND, min(band * BAND + BAND, rows)
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
                    out[r, k] = z0 + steepness * (left + (k + 0.5) * cell - x0)
