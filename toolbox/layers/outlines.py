"""Outlines: a line walked or drawn round a water, closed to a polygon."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from toolbox.errors import LayerError

__all__ = ["closed_outlines"]

_MOST_OPEN = 0.1
"""Largest gap between the ends of an outline, as a share of the line (common practice, no source):
a wider one is more likely a bank that was never walked."""


def closed_outlines(shapes: Iterable[Any]) -> tuple[list[Any], tuple[str, ...]]:
    """Close lines to polygons, and leave all other shapes as they are.

    Parameters
    ----------
    shapes : iterable of shapely geometry
        In a plane, m. Lines that meet at their ends are one.

    Returns
    -------
    shapes : list of shapely geometry
        The polygons of lines behind the others.
    notes : tuple of str
        How far each outline was open.

    Raises
    ------
    LayerError
        If the ends of a line lie farther apart than a tenth of its length, or it has fewer than
        three places.
    """
    shapes = list(shapes)
    lines = [shape for shape in shapes if _is_line(shape)]
    if not lines:
        return shapes, ()
    others = [shape for shape in shapes if not _is_line(shape)]
    closed = [_closed(line, number) for number, line in enumerate(_joined(lines), start=1)]
    return others + [polygon for polygon, _ in closed], tuple(note for _, note in closed)


def _is_line(shape: Any) -> bool:
    lines = ("LineString", "LinearRing", "MultiLineString")
    return shape is not None and not shape.is_empty and shape.geom_type in lines


def _joined(lines: list[Any]) -> list[Any]:
    """Join lines at ends that only two of them share."""
    import shapely

    if len(lines) == 1 and lines[0].geom_type != "MultiLineString":
        return lines
    flat = [shapely.LineString(part.coords) for line in lines for part in shapely.get_parts(line)]
    return list(shapely.get_parts(shapely.line_merge(shapely.MultiLineString(flat))))


def _closed(line: Any, number: int) -> tuple[Any, str]:
    import shapely

    places = shapely.get_coordinates(shapely.remove_repeated_points(line))
    distinct = len(np.unique(places, axis=0))
    if distinct < 3:
        raise LayerError(f"outline {number} must have 3 places or more, got {distinct}")
    gap = float(shapely.Point(places[0]).distance(shapely.Point(places[-1])))
    if gap > _MOST_OPEN * line.length:
        raise LayerError(
            f"outline {number} is {line.length:,.0f} m long and its ends lie {gap:,.0f} m apart: "
            "it must come back to where it began, to within a tenth of its length"
        )
    note = f"outline {number}, a line of {line.length:,.0f} m, is taken for the water's edge"
    if gap:
        note += f"; its ends, {gap:,.1f} m apart, are joined"
    return shapely.Polygon(places), note
