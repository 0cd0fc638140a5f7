"""Hypsography of maps: areas within isobaths, or of zones between depths, and volumes by a rule."""

from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table, Vectors
from toolbox.layers.crs import earth, is_plane, project_shapes
from toolbox.tool import Range, tool
from toolbox.volume.hypsography import figures
from toolbox.volume.rules import layer_volumes
from toolbox.words import counted

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["even_odd", "ground_area", "hypsography_of_isobaths", "hypsography_of_zones"]

Rule = Literal["frustum", "trapezoid"]

_ALLOWED = (1, 2, 3)  # line, ring, polygon
_HAIR = 1e-9


def even_odd(shapes: Any) -> Any:
    """Return what lies inside an odd number of rings.

    Parameters
    ----------
    shapes : array of geometries
        Polygons, whose holes stay holes, and lines that close, alone or one with another.

    Returns
    -------
    geometry
        Polygonal: rings within rings are islands, rings within those water again.

    Raises
    ------
    LayerError
        If lines do not close.
    """
    import shapely

    parts = shapely.get_parts(np.asarray(shapes, object))
    kind = shapely.get_type_id(parts)
    if not (known := np.isin(kind, _ALLOWED)).all():
        raise LayerError(f"isobaths must be lines or polygons, got a {parts[~known][0].geom_type}")
    lines = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(parts[kind != 3])))
    if not (closed := shapely.is_closed(lines)).all():
        end = shapely.get_coordinates(lines[~closed][0])[0]
        raise LayerError(
            f"isobaths must close, {counted(int((~closed).sum()), 'line')} do not, the first ends "
            f"at {end[0]:.1f}, {end[1]:.1f}"
        )
    lines = lines[shapely.get_num_coordinates(lines) > 3]  # fewer enclose nothing
    rings = shapely.make_valid(np.array([shapely.Polygon(line) for line in lines], object))
    water: Any = shapely.Polygon()
    for part in [*shapely.make_valid(parts[kind == 3]), *rings]:
        water = _polygonal(water.symmetric_difference(part))
    return water


def _polygonal(shape: Any) -> Any:
    import shapely

    parts = shapely.get_parts(shapely.get_parts(shape))
    return shapely.multipolygons(parts[shapely.get_type_id(parts) == 3])


def ground_area(shape: Any, crs: "CRS | None") -> float:
    """Measure a polygon on the ground, m2 (geodesic; on a plane plane)."""
    import shapely

    if is_plane(crs):
        return float(shape.area)
    assert crs is not None
    degrees, geod = earth(crs)
    parts = shapely.get_parts(project_shapes(shape, crs, degrees, "the map"))
    # a geodesic ring is signed by its direction: holes must run against the outside
    oriented = shapely.orient_polygons(parts[shapely.get_type_id(parts) == 3])
    rings, part = shapely.get_rings(oriented, return_index=True)
    if not len(rings):
        return 0.0
    places, ring = shapely.get_coordinates(rings, return_index=True)
    ends = np.searchsorted(ring, np.arange(1, len(rings)))
    own = [geod.polygon_area_perimeter(*each.T)[0] for each in np.split(places, ends)]
    return float(sum(np.abs(np.bincount(part, own)).tolist()))


@tool("Hypsographic table of isobaths")
def hypsography_of_isobaths(
    isobaths: Vectors,
    *,
    depth: str = "depth_m",
    rule: Rule = "frustum",
    greatest_depth: Annotated[float, Range("m")] | None = None,
    datum: Annotated[float, Range("m")] | None = None,
) -> Table:
    """Tabulate area and volume by depth of a map with isobaths.

    Parameters
    ----------
    isobaths : Vectors
        Closed lines, whole or in pieces that meet, or polygons of all that is as deep or deeper;
        the shoreline among them, as water above the shallowest is not counted.
    depth : str
        Name of the column of depths, m, positive down.
    rule : str
        Volume of the layers between isobaths: ``"frustum"`` (cones) or ``"trapezoid"``.
    greatest_depth : float, optional
        Where the bed ends below the last isobath, m; if left out, water below it is not counted.
    datum : float, optional
        Elevation of the datum water level, for the column of elevations.

    Returns
    -------
    Table
        One row per isobath with columns ``depth_m, elevation_m, area_m2, volume_below_m3,
        volume_above_m3, area_share, volume_share``, as of the hypsographic table of a bed; shares
        and volumes above refer to the shallowest row.

    Raises
    ------
    LayerError
        If lines do not close, a depth is missing or no number, there are fewer than two depths, or
        no isobath encloses anything.

    Notes
    -----
    Rings are even-odd: one within another of its depth is an island or a hump, one within that a
    hollow again. Areas are on the ground. A note names depths whose area is larger than that of the
    depth above.
    """
    if depth not in isobaths.frame:
        raise LayerError(
            f"the isobaths have no column {depth!r}, only {list(isobaths.frame.columns)}"
        )
    depths = Table(isobaths.frame).column(depth)
    if not np.isfinite(depths).all():
        row = int(np.argmin(np.isfinite(depths)))
        raise LayerError(f"isobaths must have depths, feature {row + 1} has {depths[row]}")
    levels = np.unique(depths)
    shapes = isobaths.frame.geometry.to_numpy()
    area = [ground_area(even_odd(shapes[depths == z]), isobaths.crs) for z in levels]
    notes = isobaths.notes
    if levels[0] > 0:
        notes += (f"water above {levels[0]:g} m is not counted: no isobath is the shoreline's",)
    return _table(levels, np.array(area), rule, greatest_depth, datum, notes)


@tool("Hypsographic table of depth zones")
def hypsography_of_zones(
    zones: Vectors,
    *,
    top: str = "from_m",
    bottom: str = "to_m",
    rule: Rule = "frustum",
    datum: Annotated[float, Range("m")] | None = None,
) -> Table:
    """Tabulate area and volume by depth of polygons of depth zones.

    Parameters
    ----------
    zones : Vectors
        Polygons between two depths that do not overlap; several may be of one zone.
    top : str
        Name of the column of their least depths, m, positive down.
    bottom : str
        Name of the column of their greatest depths, m, positive down.
    rule : str
        Volume of the layers between depths: ``"frustum"`` (cones) or ``"trapezoid"``.
    datum : float, optional
        Elevation of the datum water level, for the column of elevations.

    Returns
    -------
    Table
        One row per border between zones and one for the greatest depth, columns as of
        ``hypsography-of-isobaths``.

    Raises
    ------
    LayerError
        If the zones leave a gap in depth or overlap in it.
    """
    for name in (top, bottom):
        if name not in zones.frame:
            raise LayerError(f"the zones have no column {name!r}, only {list(zones.frame.columns)}")
    upper, lower = (Table(zones.frame).column(name) for name in (top, bottom))
    levels = np.unique(np.r_[upper, lower.max()])
    _check_zones(levels, upper, lower)
    own = np.array([ground_area(shape, zones.crs) for shape in zones.frame.geometry])
    area = np.array([own[upper >= level - _HAIR].sum() for level in levels])
    return _table(levels, area, rule, None, datum, zones.notes)


def _check_zones(levels: np.ndarray, upper: np.ndarray, lower: np.ndarray) -> None:
    following = levels[np.minimum(np.searchsorted(levels, upper) + 1, len(levels) - 1)]
    good = np.abs(following - lower) <= _HAIR
    if not good.all():
        row = int(np.argmin(good))
        raise LayerError(
            f"zones must follow each other in depth, feature {row + 1} reaches from {upper[row]:g} "
            f"to {lower[row]:g} m, and the next depth is {following[row]:g} m"
        )


def _table(
    levels: np.ndarray,
    area: np.ndarray,
    rule: Rule,
    greatest: float | None,
    datum: float | None,
    notes: tuple[str, ...],
) -> Table:
    if not area.max(initial=0) > 0:
        raise LayerError("the map encloses no water")
    if greatest is not None:
        if greatest <= levels[-1]:
            raise LayerError(
                f"greatest_depth must lie below the last isobath, {levels[-1]:g} m, got "
                f"{greatest:g}"
            )
        levels, area = np.r_[levels, greatest], np.r_[area, 0.0]
    layers = layer_volumes(levels, area, rule=rule)
    below = np.r_[layers[::-1].cumsum()[::-1], 0.0]
    frame = figures(levels, area, below, levels, float(levels[0]), datum)
    told = [f"volumes by the {rule} rule", f"shares and volume above refer to {levels[0]:g} m"]
    if area[-1] > 0:
        told.append(f"water below {levels[-1]:g} m is not counted")
    for row in np.flatnonzero(np.diff(area) > 0) + 1:
        told.append(f"the area at {levels[row]:g} m is larger than that above it: look at the map")
    return Table(frame, "Area and volume by depth", (*notes, *told))
