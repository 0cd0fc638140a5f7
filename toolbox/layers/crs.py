"""Coordinate reference systems: read, judged, and moved between."""

import copy
import functools
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError, ParameterError

if TYPE_CHECKING:
    from pyproj import CRS, Geod, Transformer

__all__ = [
    "check_projected",
    "check_same_crs",
    "earth",
    "is_metric",
    "is_plane",
    "parse_crs",
    "project",
    "project_shapes",
    "working_crs",
]

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
