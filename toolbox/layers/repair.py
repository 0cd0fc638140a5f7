"""Repair: polygons as they come, made valid water with islands, and what was done to them."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.faults import said_by
from toolbox.notes import Assumption
from toolbox.words import counted

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["SLIVER_M2", "repaired"]

SLIVER_M2 = 1.0
"""Parts and holes smaller than this are digitising noise (common practice, no source)."""


def repaired(shapes: Iterable[Any]) -> tuple[list["Polygon"], tuple[str, ...]]:
    """Make valid polygons with islands as holes.

    Parameters
    ----------
    shapes : iterable of Polygon or MultiPolygon
        In metres; rings may cross themselves, repeat, overlap, or lie upon each other.

    Returns
    -------
    parts : list of Polygon
        Apart from each other, each at least a sliver in size.
    notes : tuple of str
        Every repair.

    Raises
    ------
    LayerError
        If there is something else than polygons, or nothing is left.
    """
    parts, notes = _valid_parts(shapes)
    parts, unstacked = _unstack(parts)
    parts, cleaned = _without_slivers(parts)
    if not parts:
        raise LayerError(
            f"shoreline must enclose at least {SLIVER_M2:g} m2, and no part of it does;"
            " is its CRS right?"
        )
    return parts, (*notes, *unstacked, *cleaned)


def _valid_parts(shapes: Iterable[Any]) -> tuple[list["Polygon"], list[str]]:
    """Split into valid polygons."""
    import shapely

    parts: list[Polygon] = []
    notes: list[str] = []
    for number, shape in enumerate(shapes, start=1):
        if shape is None or shape.is_empty:
            notes.append(f"shape {number} is empty: left out")
            continue
        if shape.geom_type not in ("Polygon", "MultiPolygon"):
            raise LayerError(
                f"shoreline must be polygons, got a {shape.geom_type} (shape {number})"
            )
        try:
            flat = shapely.remove_repeated_points(shapely.force_2d(shape), 0.0)
            if not flat.is_valid:
                notes.append(
                    Assumption(f"shape {number} repaired: {shapely.is_valid_reason(flat)}")
                )
                flat = shapely.make_valid(flat)
        except shapely.errors.GEOSException as error:  # of rings of two points
            raise LayerError(f"shape {number} cannot be repaired: {said_by(error)}") from error
        parts += [part for part in _leaves(flat) if part.geom_type == "Polygon"]
    return parts, notes


def _leaves(shape: Any) -> list[Any]:
    return [
        leaf for part in getattr(shape, "geoms", [shape]) for leaf in getattr(part, "geoms", [part])
    ]


def _unstack(parts: list["Polygon"]) -> tuple[list["Polygon"], list[str]]:
    """Turn rings that lie upon the water into islands, and rings upon islands into water again."""
    import shapely

    if not parts:
        return [], []
    parts, repeated, filled = _distinct(parts)
    parts, joined = _join_overlapping(parts)
    inner, outer = _neighbours(parts, shapely.within)
    level = np.bincount(inner, minlength=len(parts))
    water = []
    for number in np.flatnonzero(level % 2 == 0):
        upon = inner[outer == number]
        upon = upon[level[upon] == level[number] + 1]
        land = shapely.unary_union([parts[k] for k in upon])
        water += _leaves(parts[number].difference(land) if len(upon) else parts[number])
    # parts side by side share an edge, which valid polygons of one water may not
    apart, water = len(water), _leaves(shapely.unary_union(water))
    told = (
        (int((level % 2).sum()), "ring", "stacked upon the water made islands"),
        (joined, "overlapping part", "joined to others"),
        (apart - len(water), "adjoining part", "joined to others"),
        (repeated, "repeated polygon", "left out"),
        (filled, "polygon", "within an island, taken as land"),
    )
    return water, [f"{counted(count, what)} {how}" for count, what, how in told if count]


def _distinct(parts: list["Polygon"]) -> tuple[list["Polygon"], int, int]:
    """Leave out repeated polygons and those that only fill an island."""
    import shapely

    unlike = {shapely.normalize(part).wkb: part for part in parts}
    holes = [shapely.Polygon(hole) for part in parts for hole in part.interiors]
    land = {shapely.normalize(hole).wkb for hole in holes} & unlike.keys()
    kept = [part for key, part in unlike.items() if key not in land]
    return kept, len(parts) - len(unlike), len(land)


def _join_overlapping(parts: list["Polygon"]) -> tuple[list["Polygon"], int]:
    """Join parts that overlap without one lying in the other."""
    import shapely

    one, other = _neighbours(parts, shapely.overlaps)
    if not len(one):
        return parts, 0
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    links = coo_matrix((np.ones(len(one)), (one, other)), (len(parts),) * 2)
    count, group = connected_components(links, directed=False)
    joined = [
        shapely.unary_union([parts[k] for k in np.flatnonzero(group == number)])
        for number in range(count)
    ]
    return [leaf for shape in joined for leaf in _leaves(shape)], len(parts) - count


def _neighbours(parts: list["Polygon"], how: Callable[..., Any]) -> tuple[np.ndarray, np.ndarray]:
    """Return the pairs of parts that lie to each other so; none of a part with itself."""
    import shapely

    one, other = shapely.STRtree(parts).query(parts)
    one, other = one[one != other], other[one != other]
    shapes = np.array(parts, dtype=object)
    found = how(shapes[one], shapes[other])
    return one[found], other[found]


def _without_slivers(parts: list["Polygon"]) -> tuple[list["Polygon"], list[str]]:
    import shapely

    whole = [part for part in parts if part.area >= SLIVER_M2]
    holes = 0
    for number, part in enumerate(whole):
        islands = [ring for ring in part.interiors if shapely.Polygon(ring).area >= SLIVER_M2]
        holes += len(part.interiors) - len(islands)
        whole[number] = shapely.Polygon(part.exterior, islands)
    told = ((len(parts) - len(whole), "parts"), (holes, "holes"))
    return whole, [f"{n} {what} below {SLIVER_M2:g} m2 left out" for n, what in told if n]
