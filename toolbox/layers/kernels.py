"""Loops over millions of triangles."""

from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["evaluate_polynomial", "fill_areas", "fill_ground_areas", "find_twins"]


@njit(parallel=True, cache=True, nogil=True)
def fill_areas(points: Any, triangles: Any, out: Any) -> None:
    """Write the areas of triangles (m, 3) between points (n, 2) into `out` (m,)."""
    for t in numba.prange(len(triangles)):
        a, b, c = triangles[t]
        east, north = points[a, 0], points[a, 1]
        across = (points[b, 0] - east) * (points[c, 1] - north)
        out[t] = (across - (points[b, 1] - north) * (points[c, 0] - east)) / 2


@njit(nogil=True)
def _at(x: Any, y: Any, terms: Any) -> Any:
    """Evaluate a polynomial; ``terms[i, j]`` belongs to x to the power i and y to the power j."""
    total = 0.0
    for i in range(len(terms) - 1, -1, -1):
        row = 0.0
        for j in range(len(terms) - 1, -1, -1):
            row = row * y + terms[i, j]
        total = total * x + row
    return total


@njit(parallel=True, cache=True, nogil=True)
def evaluate_polynomial(places: Any, terms: Any, middle: Any, half: Any) -> Any:
    """Evaluate a polynomial of (place - middle) / half at places (n, 2)."""
    found = np.empty(len(places))
    for k in numba.prange(len(places)):
        x = (places[k, 0] - middle[0]) / half[0]
        y = (places[k, 1] - middle[1]) / half[1]
        found[k] = _at(x, y, terms)
    return found


@njit(parallel=True, cache=True, nogil=True)
def fill_ground_areas(
    points: Any, triangles: Any, terms: Any, middle: Any, half: Any, out: Any
) -> None:
    """Write areas (m,) on the ground of triangles on a map whose scale is a polynomial."""
    corner = 1 / evaluate_polynomial(points, terms, middle, half)
    fill_areas(points, triangles, out)
    for t in numba.prange(len(triangles)):
        a, b, c = triangles[t]
        x = ((points[a, 0] + points[b, 0] + points[c, 0]) / 3 - middle[0]) / half[0]
        y = ((points[a, 1] + points[b, 1] + points[c, 1]) / 3 - middle[1]) / half[1]
        out[t] *= 0.75 / _at(x, y, terms) + (corner[a] + corner[b] + corner[c]) / 12


@njit(cache=True, nogil=True)
def _bucketed(triangles: Any, rank: Any) -> Any:
    """Sort the half-edges between vertices of unlike rank by the lower number of the two."""
    first = np.zeros(len(rank) + 1, np.int32)
    for t in range(len(triangles)):
        for k in range(3):
            u, v = triangles[t, k], triangles[t, (k + 1) % 3]
            first[min(u, v) + 1] += rank[u] != rank[v]
    for v in range(len(rank)):
        first[v + 1] += first[v]
    place, halves = first.copy(), np.empty(first[-1], np.int32)
    ends = np.empty(first[-1], np.int32)
    for t in range(len(triangles)):
        for k in range(3):
            u, v = triangles[t, k], triangles[t, (k + 1) % 3]
            if rank[u] != rank[v]:
                low = min(u, v)
                halves[place[low]], ends[place[low]] = 3 * t + k, max(u, v)
                place[low] += 1
    return first, halves, ends


@njit(parallel=True, cache=True, nogil=True)
def find_twins(triangles: Any, rank: Any) -> Any:
    """Find for each half-edge between unlike ranks the one of the triangle across.

    Half-edge 3 t + k goes from corner k of triangle t to the next, counter-clockwise. -1 is at the
    rim, or between vertices of one rank.
    """
    first, halves, ends = _bucketed(triangles, rank)
    twins = np.full(3 * len(triangles), -1, np.int32)
    for v in numba.prange(len(rank)):
        for p in range(first[v], first[v + 1]):
            for q in range(p + 1, first[v + 1]):
                if ends[p] == ends[q]:
                    twins[halves[p]], twins[halves[q]] = halves[q], halves[p]
    return twins
