"""Location: which triangle of a net holds a point, and where in it the point lies."""

import math

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.tin import plan_areas

__all__ = ["interpolated", "locate"]

_MOST = 16  # buckets a triangle: a long reach across its rectangle fills few of them


def locate(
    vertices: np.ndarray, triangles: np.ndarray, points: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Find the triangle that holds each point.

    Parameters
    ----------
    vertices : (n, 2) array
        Easting and northing, m.
    triangles : (m, 3) array of int
        Vertex numbers, counter-clockwise, none of them flat.
    points : (p, 2) array
        Easting and northing, m.

    Returns
    -------
    triangle : (p,) array of int
        -1 outside of all triangles, and for a point that is not finite.
    weights : (p, 3) array
        Of the triangle's corners, summing to 1; NaN outside. Exactly 1 and 0 at a vertex.

    Raises
    ------
    LayerError
        If points are not pairs.

    Notes
    -----
    A point on an edge or a vertex belongs to the triangle with the lowest number there. One that
    lies outside by no more than rounding (a thousand-millionth of a triangle's height) still
    belongs to it. The result does not depend on the number of threads.
    """
    from toolbox.bed import kernels

    points = np.ascontiguousarray(points, float)
    if points.ndim != 2 or points.shape[1] != 2:
        raise LayerError(f"points must have shape (p, 2), got {points.shape}")
    vertices = np.ascontiguousarray(vertices, float)
    triangles = np.ascontiguousarray(triangles, np.int32)
    net = _buckets(vertices, triangles)
    found, weights = np.full(len(points), -1), np.full((len(points), 3), np.nan)
    sorted_in = kernels.sort_into_buckets(vertices, triangles, *net)
    kernels.find_triangles(vertices, triangles, points, *sorted_in, *net, found, weights)
    return found, weights


def interpolated(
    values: np.ndarray, triangles: np.ndarray, located: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Return values (n,) or (n, k) of vertices at points found by :func:`locate`; NaN outside."""
    triangle, weights = located
    corners = values[triangles[triangle]]
    return np.asarray(np.einsum("pc,pc...->p...", weights, corners))


def _buckets(vertices: np.ndarray, triangles: np.ndarray) -> tuple[float, float, float, int, int]:
    """Left and bottom of the rectangle, width of a bucket, rows and columns."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    one = float(plan_areas(vertices, triangles).mean())
    whole = float(np.prod(high - low))
    width = math.sqrt(max(one, whole / (_MOST * len(triangles))))
    cols, rows = (int(count) for count in np.floor((high - low) / width) + 1)
    return float(low[0]), float(low[1]), width, rows, cols
