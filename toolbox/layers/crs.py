"""Coordinate reference systems: read, judged, and what they do to areas on the ground."""

import copy
import functools
import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.polynomial.chebyshev import chebpts1

from toolbox.errors import LayerError, ParameterError

if TYPE_CHECKING:
    from pyproj import CRS, Geod, Transformer

__all__ = [
    "areal_scale",
    "bearings",
    "check_projected",
    "check_same_crs",
    "distances",
    "earth",
    "is_metric",
    "is_plane",
    "parse_crs",
    "project",
    "project_shapes",
    "scale_polynomial",
    "travel",
    "working_crs",
]

_NODES = 8  # of the net on which the scale of a map is worked out, each way
_HOW = "give an authority code such as 'EPSG:32633', a PROJ string or WKT"


def parse_crs(text: Any) -> "CRS":
    """Read a coordinate reference system, without its vertical part.

    Parameters
    ----------
    text : str, int or CRS
        Whatever pyproj understands: ``"EPSG:32633"``, WKT, a PROJ string.

    Returns
    -------
    CRS
        Two-dimensional.

    Raises
    ------
    ParameterError
        If it is unknown.
    """
    import pyproj

    try:
        return pyproj.CRS.from_user_input(text).to_2d()
    except Exception as error:  # whatever the library makes of a broken description
        told = getattr(text, "name", text)
        raise ParameterError(f"crs is unknown: {told!r:.200}; {_HOW}") from error


def is_plane(crs: "CRS | None") -> bool:
    """Tell whether coordinates lie on a plane of their own, not tied to the earth."""
    return crs is None or crs.is_engineering


def is_metric(crs: "CRS | None") -> bool:
    """Tell whether coordinates are easting and northing in metres (None is a plane in metres)."""
    return crs is None or (
        (crs.is_projected or crs.is_engineering)
        and all(abs(axis.unit_conversion_factor - 1) < 1e-12 for axis in crs.axis_info[:2])
    )


def check_projected(crs: "CRS | None", what: str) -> None:
    """Raise LayerError unless `what` lies in a projected CRS in metres."""
    if not is_metric(crs):
        assert crs is not None
        raise LayerError(f"{what} must be in a projected CRS in metres, got {crs.name!r}")


def check_same_crs(**layers: Any) -> None:
    """Raise LayerError unless all `layers`, given by name, lie in one CRS (None is no layer)."""
    present = {name: layer for name, layer in layers.items() if layer is not None}
    first, *others = present
    for name in others:
        if present[name].crs != present[first].crs:
            raise LayerError(f"{name} must be in the CRS of the {first}, project one of them")


def working_crs(
    crs: "CRS", bounds: tuple[float, float, float, float], into: str | None = None
) -> "CRS":
    """Choose a CRS in metres for a layer.

    Parameters
    ----------
    crs : CRS
        Of the layer.
    bounds : tuple of float
        Its left, bottom, right and top, in `crs`.
    into : str, optional
        The one wanted.

    Returns
    -------
    CRS
        The one wanted; else `crs` itself where it is projected in metres; else the zone of the
        Universal Transverse Mercator on its datum (Universal Polar Stereographic beyond 84 N and
        80 S).

    Raises
    ------
    LayerError
        If the layer spans more than half the globe, as one cut by the antimeridian does.
    """
    import pyproj

    if into is not None:
        wanted = parse_crs(into)
        check_projected(wanted, "the layers")
        return wanted
    if is_metric(crs):
        return crs
    if not (crs.is_geographic or crs.is_projected):
        raise LayerError(f"a geographic or a projected CRS in metres is needed, got {crs.name!r}")
    try:
        to_degrees = _transformer(crs, earth(crs)[0])
        west, south, east, north = to_degrees.transform_bounds(*bounds)
    except pyproj.exceptions.ProjError as error:
        raise LayerError(f"coordinates {bounds} do not fit their CRS {crs.name!r}") from error
    if not all(map(math.isfinite, (west, south, east, north))) or abs(south + north) > 180:
        raise LayerError(f"coordinates {bounds} do not fit their CRS {crs.name!r}")
    if east < west or east - west > 180:
        raise LayerError(
            f"the layer spans longitudes {west:.4f} to {east:.4f}, as one cut by the "
            "antimeridian does; name a projected CRS in metres to work in"
        )
    return _zone(crs, (west + east) / 2, (south + north) / 2)


def _zone(crs: "CRS", longitude: float, latitude: float) -> "CRS":
    from pyproj import CRS
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_utm_crs_info

    if latitude > 84 or latitude < -80:
        return CRS.from_epsg(32661 if latitude > 0 else 32761)
    longitude = (longitude + 180) % 360 - 180
    area = AreaOfInterest(longitude, latitude, longitude, latitude)
    own = crs.geodetic_crs.name if crs.geodetic_crs else "WGS 84"
    for datum in (own, "WGS 84"):
        for zone in query_utm_crs_info(datum_name=datum, area_of_interest=area):
            # a datum may have each zone several times: those with other axes say so in brackets
            if zone.name.startswith(f"{datum} / ") and not zone.name.endswith(")"):
                return CRS.from_authority(zone.auth_name, zone.code)
    raise LayerError(f"no UTM zone holds longitude {longitude:g}, latitude {latitude:g}")


def project(coordinates: np.ndarray, crs: "CRS", to: "CRS") -> np.ndarray:
    """Project coordinates, shape (n, 2); what cannot be projected becomes NaN."""
    move = _transformer(crs, to)
    moved = np.column_stack(move.transform(coordinates[:, 0], coordinates[:, 1]))
    moved[~np.isfinite(moved).all(axis=1)] = np.nan
    return moved


@functools.lru_cache(maxsize=32)
def _transformer(crs: "CRS", to: "CRS") -> "Transformer":
    """Return what moves coordinates; to look one up takes longer than to move a point."""
    import pyproj

    try:  # each thread gets its own inside
        return pyproj.Transformer.from_crs(crs, to, always_xy=True)
    except pyproj.exceptions.ProjError as error:
        raise LayerError(f"no way is known from {crs.name!r} to {to.name!r}") from error


def project_shapes(shapes: Any, crs: "CRS", to: "CRS", what: str) -> Any:
    """Project geometries, flat; raise LayerError if `what` lies outside what `to` can map."""
    import shapely

    flat = shapely.force_2d(shapes)
    moved = project(shapely.get_coordinates(flat), crs, to)
    if np.isnan(moved).any():
        raise LayerError(f"{what} lies outside what {to.name!r} can map")
    return shapely.set_coordinates(copy.copy(flat), moved)


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


def earth(crs: "CRS") -> tuple["CRS", "Geod"]:
    """Return degrees east of Greenwich and north on the CRS's own ellipsoid, and that ellipsoid."""
    geod = crs.get_geod()
    if geod is None:
        raise LayerError(f"{crs.name!r} is not tied to the earth")
    return _degrees(geod.a, geod.b), geod


@functools.cache
def _degrees(a: float, b: float) -> "CRS":
    from pyproj import CRS

    return CRS.from_user_input({"proj": "longlat", "a": a, "b": b, "no_defs": True})


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
