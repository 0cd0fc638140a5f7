"""The map of a sheet: the water, what lies on its bed, and what leads to marks."""

from typing import Any

import numpy as np

from toolbox.layers import Shoreline, Vectors
from toolbox.report.drawing import FAULT, INK, LAND, PAPER, in_unit
from toolbox.report.sheet.figures_on_map import (
    draw_isobaths,
    draw_spot_depths,
    readable_isobaths,
    simplified,
)
from toolbox.report.sheet.map_frame import crosses, draw_crosses, draw_frame
from toolbox.report.sheet.marks_on_map import draw_mark, draw_marks
from toolbox.report.sheet.paper import MM
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.shading import draw_depths, draw_guesses, rings_of
from toolbox.report.sheet.signs import GREEN, SIGNS, WATER_EDGE, sign_of
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.view import View

__all__ = ["draw_map", "draw_spot", "lines_of", "stipple"]

_SIGN = 1.1 * MM


def draw_map(pen: Pen, view: View, subject: Subject, size: float, *, casting: bool = False) -> None:
    """Draw the water in its frame; with `casting` also marks and what leads to them."""
    import shapely

    box = view.box
    pen.rectangle(box, fill=LAND)
    with pen.clipped([box.corners]):
        draw_depths(pen, view, subject.depth, subject.shoreline, subject.depths)
        if subject.unsurveyed is not None:
            draw_guesses(pen, view, subject.unsurveyed, subject.shoreline)
        _draw_plants(pen, view, subject.plants)
        _draw_edge(pen, view, subject.shoreline)
        _draw_features(pen, view, subject.features)
        _draw_exclusions(pen, view, subject.exclusions)
        taken = _feature_lines(view, subject) + [shapely.LineString(arm) for arm in crosses(view)]
        taken += draw_marks(pen, view, subject, size) if casting else []
        isobaths = _isobaths(view, subject)
        taken += draw_isobaths(pen, view, isobaths, size, taken)
        draw_spot_depths(pen, view, subject, isobaths, size, taken)
    draw_crosses(pen, view)
    draw_frame(pen, view, subject.shoreline.crs, size)


def _isobaths(view: View, subject: Subject) -> Vectors:
    chosen = readable_isobaths(view, subject.isobaths, subject.shoreline.polygons)
    return simplified(view, in_unit(chosen, subject.unit))


def draw_spot(pen: Pen, view: View, subject: Subject, place: np.ndarray, size: float) -> None:
    """Draw what surrounds one mark."""
    box = view.box
    pen.rectangle(box, fill=LAND)
    with pen.clipped([box.corners]):
        draw_depths(pen, view, subject.depth, subject.shoreline, subject.depths)
        _draw_plants(pen, view, subject.plants)
        _draw_edge(pen, view, subject.shoreline)
        _draw_features(pen, view, subject.features)
        isobaths = _isobaths(view, subject)
        draw_isobaths(pen, view, isobaths, size, _feature_lines(view, subject))
        draw_mark(pen, tuple(view(place[None])[0]))
    pen.rectangle(box, stroke=INK, width=0.4)


def lines_of(shape: Any) -> list[np.ndarray]:
    """Return the lines of a shape, rings of polygons included, m."""
    import shapely

    parts = shapely.get_parts(shape.boundary if "Polygon" in shape.geom_type else shape)
    parts = [part for part in shapely.get_parts(parts) if part.geom_type != "Point"]
    return [shapely.get_coordinates(part) for part in parts if not part.is_empty]


def _draw_edge(pen: Pen, view: View, shoreline: Shoreline) -> None:
    import shapely

    pen.shapes(rings_of(shoreline.polygons, view), close=True, stroke=WATER_EDGE, width=0.9)
    if shoreline.open_edges is not None:
        for edge in shoreline.open_edges.geoms:
            place = view(shapely.get_coordinates(edge))
            pen.line(place, colour=PAPER, width=1.4, dashes=(3, 3))


def _draw_plants(pen: Pen, view: View, plants: Vectors | None) -> None:
    if plants is None or not len(plants):
        return
    for shape in plants.frame.geometry.dropna():
        rings = rings_of(shape, view) if "Polygon" in shape.geom_type else []
        if rings:
            with pen.clipped(rings):
                stipple(pen, rings)
            pen.shapes(rings, close=True, stroke=GREEN, width=0.5)


def stipple(pen: Pen, rings: list[np.ndarray]) -> None:
    """Dot all that surrounds rings."""
    low, high = np.vstack(rings).min(axis=0), np.vstack(rings).max(axis=0)
    step = 1.5 * MM
    ends = zip(np.floor(low / step), np.ceil(high / step), strict=True)
    across, up = (np.arange(first, last + 1) for first, last in ends)
    net = np.stack(np.meshgrid(across, up), axis=-1)
    net[1::2, :, 0] += 0.5
    pen.dots(net.reshape(-1, 2) * step, 0.32, GREEN)


def _draw_features(pen: Pen, view: View, features: Vectors | None) -> None:
    if features is None:
        return
    for kind in SIGNS:
        sign = sign_of(kind)
        for shape in features.frame.geometry[features.frame["kind"] == kind]:
            for line in lines_of(shape):
                pen.line(view(line), colour=sign.colour, width=sign.width, dashes=sign.dashes)


def _feature_lines(view: View, subject: Subject) -> list[Any]:
    """Return lines that numbers should not cover, points."""
    import shapely

    shapes: list[Any] = []
    if subject.features is not None:
        frame = subject.features.frame
        shapes += list(frame.geometry[frame["kind"].isin(list(SIGNS))])
    if subject.exclusions is not None:
        shapes += list(subject.exclusions.frame.geometry.dropna())
    return [shapely.LineString(view(line)) for shape in shapes for line in lines_of(shape)]


def _draw_exclusions(pen: Pen, view: View, exclusions: Vectors | None) -> None:
    import shapely

    if exclusions is None:
        return
    for shape in exclusions.frame.geometry.dropna():
        for line in lines_of(shape):
            pen.line(view(line), colour=FAULT, width=1.6, dashes=(2, 1.2))
        for point in shapely.get_parts(shape):
            if point.geom_type == "Point":
                _draw_cross(pen, view(shapely.get_coordinates(point))[0])


def _draw_cross(pen: Pen, place: np.ndarray) -> None:
    arms = np.array([[(-1, -1), (1, 1)], [(-1, 1), (1, -1)]]) * _SIGN
    pen.shapes(arms + place, stroke=FAULT, width=1.4)
