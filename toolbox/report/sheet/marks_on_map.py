"""Marks on a map: where one stands, where the bait goes, and the way between."""

from typing import Any

import numpy as np

from toolbox.report.drawing import FAULT, INK, PAPER
from toolbox.report.placing import place_labels
from toolbox.report.sheet.lettering import width_of
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.view import View
from toolbox.report.text import short

__all__ = ["draw_mark", "draw_marks", "draw_peg", "draw_slip", "has_slip"]

_LONGEST_NAME = 14
_SIGN = 1.1 * MM


def draw_marks(pen: Pen, view: View, subject: Subject, size: float) -> list[Any]:
    """Draw ways, pegs and marks with their names; return what is taken by them, points."""
    import shapely

    marks, pegs = subject.marks, subject.pegs
    if marks is None or not len(marks):
        return []
    ways = _ways(view, subject)
    for way in ways:
        pen.line(way, width=0.7)
        if subject.course is not None:
            _draw_arrow(pen, way)
    _draw_slip(pen, view, subject)
    at = view(shapely.get_coordinates(marks.frame.geometry.to_numpy()))
    stands = np.empty((0, 2))
    if pegs is not None and len(pegs):
        stands = view(shapely.get_coordinates(pegs.frame.geometry.to_numpy()))
    for place in stands:
        draw_peg(pen, tuple(place))
    for place in at:
        draw_mark(pen, tuple(place))
    names = [] if pegs is None else [short(str(n), _LONGEST_NAME) for n in pegs.frame["peg"]]
    names += [str(mark) for mark in marks.frame["mark"]]
    anchors = np.vstack([stands, at])
    boxes = _draw_names(pen, view, names, anchors, ways, size, len(stands))
    return [*boxes, *(shapely.Point(place).buffer(1.5 * _SIGN) for place in anchors)]


def _ways(view: View, subject: Subject) -> list[np.ndarray]:
    """Return lines of cast, or legs of a boat, points."""
    import shapely

    assert subject.marks is not None
    frame = subject.marks.frame
    if subject.course is not None:
        return [view(shapely.get_coordinates(shape)) for shape in subject.course.frame.geometry]
    if "peg_easting_m" not in frame:
        return []
    starts = view(frame[["peg_easting_m", "peg_northing_m"]].to_numpy(float))
    ends = view(shapely.get_coordinates(frame.geometry.to_numpy()))
    return list(np.stack([starts, ends], axis=1))


def _draw_arrow(pen: Pen, way: np.ndarray) -> None:
    """Say in the middle of a leg which way it goes."""
    import shapely

    line = shapely.LineString(way)
    if line.length > 8 * _SIGN:
        before, tip = shapely.get_coordinates(
            shapely.line_interpolate_point(line, [line.length / 2 - 4, line.length / 2])
        )
        ahead = (tip - before) / max(float(np.hypot(*(tip - before))), 1e-9)
        aside = np.array([ahead[1], -ahead[0]])
        barbs = [tip - 5 * ahead + side * 1.9 * aside for side in (-1, 1)]
        pen.shapes([np.array([tip, *barbs])], close=True, fill=INK)


def has_slip(subject: Subject) -> bool:
    """Tell whether a boat starts at a slip: its course then has a leg more than marks."""
    return (
        subject.marks is not None
        and subject.course is not None
        and len(subject.course) > len(subject.marks)
    )


def _draw_slip(pen: Pen, view: View, subject: Subject) -> None:
    import shapely

    if has_slip(subject):
        assert subject.course is not None
        first = shapely.get_coordinates(subject.course.frame.geometry.iloc[0])[:1]
        draw_slip(pen, tuple(view(first)[0]))


def draw_slip(pen: Pen, place: tuple[float, float]) -> None:
    """Draw where a boat is put in."""
    across, up = place
    box = Box(across - _SIGN, up - _SIGN, across + _SIGN, up + _SIGN)
    pen.rectangle(box, fill=INK, stroke=PAPER, width=0.5)


def draw_peg(pen: Pen, place: tuple[float, float]) -> None:
    """Draw where one stands."""
    corners = np.array([(-1, -0.8), (1, -0.8), (0, 1.1)]) * _SIGN + place
    pen.shapes([corners], close=True, fill=INK, stroke=PAPER, width=0.5)


def draw_mark(pen: Pen, place: tuple[float, float]) -> None:
    """Draw where the bait goes."""
    pen.circle(place, 0.8 * _SIGN, fill=FAULT, stroke=PAPER, width=0.6)


def _draw_names(
    pen: Pen,
    view: View,
    names: list[str],
    anchors: np.ndarray,
    ways: list[np.ndarray],
    size: float,
    pegs: int,
) -> list[Any]:
    """Write names of pegs and numbers of marks where they hide nothing; return their boxes."""
    import shapely

    box, pad = view.box, 0.22 * size
    sizes = np.array([(width_of(n, size, bold=True) + 3 * pad, size + 2 * pad) for n in names])
    lines = [shapely.LineString(way) for way in ways if len(np.unique(way, axis=0)) > 1]
    crowd = [shapely.get_coordinates(shapely.segmentize(line, 3.0)) for line in lines]
    centres = place_labels(
        anchors,
        sizes,
        within=(box.left + 2, box.bottom + 2, box.right - 2, box.top - 2),
        crowd=np.vstack([np.empty((0, 2)), *crowd]),
        gap=1.7 * MM,
    )
    boxes = []
    for number, (name, anchor, centre, extent) in enumerate(
        zip(names, anchors, centres, sizes, strict=True)
    ):
        low, high = centre - extent / 2, centre + extent / 2
        corners = np.array([low, (high[0], low[1]), high, (low[0], high[1])])
        back, front = (INK, PAPER) if number < pegs else (PAPER, INK)
        pen.line([anchor, centre], width=0.4)
        pen.shapes([corners], close=True, fill=back, stroke=INK, width=0.5)
        pen.text(tuple(centre), name, size, bold=True, colour=front, align="middle")
        boxes.append(shapely.box(*low, *high))
    return boxes
