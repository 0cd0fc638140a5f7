"""Bearings, distances and areas on the ground, whatever the map makes of them."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.polynomial.chebyshev import chebpts1

from toolbox.layers.crs import earth, is_plane, project

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["areal_scale", "bearings", "distances", "scale_polynomial", "travel"]

_NODES = 8  # of the net on which the scale of a map is worked out, each way


def travel(
    start: np.ndarray, bearing: np.ndarray, distance: np.ndarray, crs: "CRS | None"
) -> np.ndarray:
    """Go from places along the geodesic.

    Parameters
    ----------
    start : (n, 2) array
        Easting and northing, m.
    bearing : (n,) array
        Degrees clockwise from true north.
    distance : (n,) array
        On the ground, m.
    crs : CRS or None
        Of the places; None is a plane whose north is true.

    Returns
    -------
    (n, 2) array
        Where one arrives, easting and northing, m.
    """
    if is_plane(crs):
        turn = np.radians(bearing)
        return start + distance[:, None] * np.column_stack([np.sin(turn), np.cos(turn)])
    assert crs is not None
    degrees, geod = earth(crs)
    longitude, latitude = project(start, crs, degrees).T
    end = geod.fwd(longitude, latitude, bearing, distance)[:2]
    return project(np.column_stack(end), degrees, crs)


def bearings(start: np.ndarray, end: np.ndarray, crs: "CRS | None") -> np.ndarray:
    """Return the true bearing from places to others, both (n, 2), degrees in [0, 360)."""
    if is_plane(crs):
        return np.degrees(np.arctan2(*(end - start).T)) % 360
    assert crs is not None
    degrees, geod = earth(crs)
    start, end = project(start, crs, degrees), project(end, crs, degrees)
    return np.asarray(geod.inv(*start.T, *end.T)[0]) % 360


def distances(start: np.ndarray, end: np.ndarray, crs: "CRS | None") -> np.ndarray:
    """Return the distance on the ground between places, both (n, 2), m."""
    if is_plane(crs):
        return np.asarray(np.hypot(*(end - start).T))
    assert crs is not None
    degrees, geod = earth(crs)
    start, end = project(start, crs, degrees), project(end, crs, degrees)
    return np.asarray(geod.inv(*start.T, *end.T)[2])


def areal_scale(crs: "CRS | None", coordinates: np.ndarray) -> np.ndarray:
    """Return how many square metres on the map stand for one on the ground.

    Parameters
    ----------
    crs : CRS or None
        Projected, in metres; None is a plane, where the scale is one.
    coordinates : (n, 2) array
        Easting and northing, m.

    Returns
    -------
    (n,) array
        Areal scale.

    Notes
    -----
    Of many places it is interpolated, see :func:`scale_polynomial`.
    """
    if is_plane(crs) or len(coordinates) == 0:
        return np.ones(len(coordinates))
    assert crs is not None
    if len(coordinates) <= _NODES**2:
        return _exact_areal_scale(crs, coordinates)
    from toolbox.layers.kernels import evaluate_polynomial

    return np.asarray(evaluate_polynomial(coordinates, *scale_polynomial(crs, coordinates)))


def scale_polynomial(
    crs: "CRS", coordinates: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the polynomial that the areal scale of a map is about some places.

    Parameters
    ----------
    crs : CRS
        Projected, in metres.
    coordinates : (n, 2) array
        Easting and northing, m; it holds in the box about them.

    Returns
    -------
    terms : (8, 8) array
        ``terms[i, j]`` belongs to x to the power i and y to the power j.
    middle, half : (2,) array
        x and y are (place - middle) / half.

    Notes
    -----
    The scale varies smoothly. It is worked out at 8 x 8 Chebyshev points (Trefethen, 2013,
    Approximation theory and approximation practice, chapters 2 to 4); the polynomial through them
    is exact to about 1e-10 over a lake 100 km long.
    """
    low, high = (np.array([edge(axis) for axis in coordinates.T]) for edge in (np.min, np.max))
    middle, half = (low + high) / 2, (high - low) / 2 + 1
    nodes = chebpts1(_NODES)
    net = np.stack(np.meshgrid(nodes, nodes, indexing="ij"), axis=-1).reshape(-1, 2)
    scale = _exact_areal_scale(crs, middle + net * half).reshape(_NODES, _NODES)
    powers = np.linalg.inv(np.vander(nodes, increasing=True))
    return powers @ scale @ powers.T, middle, half


def _exact_areal_scale(crs: "CRS", places: np.ndarray) -> np.ndarray:
    """Compare a square on the map with what it covers on the ellipsoid.

    The projection library's own factors take some maps, such as the web's Mercator, for maps of a
    sphere; central differences take them as they are.
    """
    degrees, geod = earth(crs)
    reach = 100.0  # m: small against the earth, large against rounding
    steps = np.array([[reach, 0], [-reach, 0], [0, reach], [0, -reach]])
    corners = project((places + steps[:, None]).reshape(-1, 2), crs, degrees)
    corners = np.radians(corners).reshape(4, len(places), 2)
    (ux, uy), (vx, vy) = ((corners[k] - corners[k + 1]).T / (2 * reach) for k in (0, 2))
    latitude = corners[:, :, 1].mean(axis=0)
    bend = 1 - geod.es * np.sin(latitude) ** 2
    meridian, parallel = geod.a * (1 - geod.es) / bend**1.5, geod.a / np.sqrt(bend)
    return np.asarray(1 / (np.abs(ux * vy - uy * vx) * meridian * parallel * np.cos(latitude)))
