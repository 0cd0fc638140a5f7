"""Arithmetic over millions of triangles."""

from typing import Any

import numba

__all__ = ["fill_areas"]


@numba.njit(parallel=True, cache=True, nogil=True)
def fill_areas(points: Any, triangles: Any, out: Any) -> None:
    """Write the areas of triangles (m, 3) between points (n, 2) into `out` (m,)."""
    for t in numba.prange(len(triangles)):
        a, b, c = triangles[t]
        east, north = points[a, 0], points[a, 1]
        across = (points[b, 0] - east) * (points[c, 1] - north)
        out[t] = (across - (points[b, 1] - north) * (points[c, 0] - east)) / 2
