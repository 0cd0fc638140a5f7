"""Cards for the pocket: one a mark, to be cut out and carried to the water."""

import math
from typing import Any

import numpy as np

from toolbox.report.drawing import FAULT, INK, PAPER
from toolbox.report.sheet.cast_drawing import draw_cast
from toolbox.report.sheet.lettering import LEADING, fitted, wrapped
from toolbox.report.sheet.mark_texts import (
    bearing_text,
    confidence_text,
    depth_text,
    distance_text,
    mark_rows,
    name_of,
    number,
    place_text,
)
from toolbox.report.sheet.paper import EDGE, MM, Box, Paper, page_size, pocket_paper
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.view import View, ground_factor, scale_text
from toolbox.report.sheet.water_map import draw_spot
from toolbox.report.text import one_line

__all__ = ["draw_cards"]

_ACROSS, _DOWN = 2, 3
_PAD = 3.2 * MM
_SMALL, _PLAIN, _LARGE = 6.2, 7.5, 12.0
_LEAST = 14 * MM  # height of a drawing
_CUT = "#9aa7ae"
_BEWARE = "Look up: keep clear of overhead lines. Not for navigation."


def draw_cards(pen: Pen, subject: Subject, paper: Paper, scale: float) -> None:
    """Draw a card for each mark, six to a page.

    Parameters
    ----------
    pen : Pen
        Draws.
    subject : Subject
        The water.
    paper : str
        Of the sheet.
    scale : float
        Of the map of marks; what surrounds a boat's mark is drawn twice as large.
    """
    rows = mark_rows(subject)
    size = page_size(pocket_paper(paper), landscape=False)
    places = _places(Box(0, 0, *size).inside(EDGE, EDGE, EDGE, EDGE))
    for first in range(0, len(rows), len(places)):
        pen.page(size)
        for row, box in zip(rows[first:], places, strict=False):
            pen.block(f"card {row['mark']}", box)
            _draw_card(pen, box, row, subject, scale / 2)
        pen.turn_over()


def _places(page: Box) -> list[Box]:
    wide, high = page.width / _ACROSS, page.height / _DOWN
    return [
        Box(
            page.left + k * wide,
            page.top - (n + 1) * high,
            page.left + (k + 1) * wide,
            page.top - n * high,
        )
        for n in range(_DOWN)
        for k in range(_ACROSS)
    ]


def _draw_card(pen: Pen, card: Box, row: dict[Any, Any], subject: Subject, scale: float) -> None:
    pen.rectangle(card, stroke=_CUT, width=0.4, dashes=(3, 3))
    box = card.inside(_PAD, _PAD, _PAD, _PAD)
    top = _draw_head(pen, box, row)
    top = _draw_way(pen, Box(box.left, box.bottom, box.right, top), row, subject)
    top = pen.lines((box.left, top), _told(row, box.width), _PLAIN) - 0.3 * _PLAIN
    foot = _draw_foot(pen, box, subject)
    _draw_middle(pen, Box(box.left, foot + 1 * MM, box.right, top - 1 * MM), row, subject, scale)


def _draw_head(pen: Pen, box: Box, row: dict[Any, Any]) -> float:
    """Draw number and name; return what is below them."""
    high = 8 * MM
    number_box = Box(box.left, box.top - high, box.left + 1.5 * high, box.top)
    pen.rectangle(number_box, fill=FAULT)
    words = fitted(str(row["mark"]), number_box.width - 4, 15, bold=True)
    pen.text(number_box.centre, words, 15, bold=True, colour=PAPER, align="middle")
    left = number_box.right + 2 * MM
    lines = wrapped(name_of(row), box.right - left, 9.5, bold=True, most=2)
    top = box.top - (high - len(lines) * 9.5 * 1.15) / 2 + 0.5
    for k, line in enumerate(lines):
        pen.text((left, top - (k * 1.15 + 0.9) * 9.5), line, 9.5, bold=True)
    return box.top - high - 2 * MM


def _draw_way(pen: Pen, box: Box, row: dict[Any, Any], subject: Subject) -> float:
    """Draw bearing and distance, with a compass beside them; return what is below."""
    bearing = number(row, "bearing_true_deg")
    if math.isnan(bearing):
        bearing = number(row, "leg_bearing_deg")
    radius = 6.5 * MM
    room = box.width - 2 * radius - 3 * MM
    first = bearing_text(row) or "start here"
    pen.text(
        (box.left, box.top - 0.9 * _LARGE),
        fitted(first, room, _LARGE, bold=True),
        _LARGE,
        bold=True,
    )
    second = distance_text(row)
    base = box.top - 2.25 * _LARGE
    pen.text(
        (box.left, base), fitted(second, room, 0.8 * _LARGE, bold=True), 0.8 * _LARGE, bold=True
    )
    if not math.isnan(bearing):
        centre = (box.right - radius - 2, box.top - radius - 1)
        _draw_compass(pen, centre, radius, bearing, subject.declination)
    return box.top - 2 * radius - 2 * MM


def _draw_compass(
    pen: Pen, centre: tuple[float, float], radius: float, bearing: float, declination: float | None
) -> None:
    """Draw the bearing on a ring, true north up; the needle where its lie is known."""
    pen.circle(centre, radius, stroke=INK, width=0.6)
    for angle in range(0, 360, 30):
        way = _way(angle)
        inner = radius - (2.6 if angle % 90 == 0 else 1.3)
        pen.line([way * inner + centre, way * radius + centre], width=0.5)
    pen.text(
        (centre[0], centre[1] + radius - 3.2 - _SMALL * 0.73),
        "N",
        _SMALL,
        bold=True,
        align="centre",
    )
    if declination is not None:
        tip = _way(declination) * radius
        pen.line([tip * 0.72 + centre, tip + centre], colour=FAULT, width=1.4)
    ahead, aside = _way(bearing), _way(bearing + 90)
    tip = ahead * (radius - 1)
    pen.line([centre, tip + centre], width=1.1)
    barb = np.array([tip, tip - 6 * ahead + 2.2 * aside, tip - 6 * ahead - 2.2 * aside])
    pen.shapes([barb + centre], close=True, fill=INK)


def _way(angle: float) -> np.ndarray:
    return np.array([math.sin(math.radians(angle)), math.cos(math.radians(angle))])


def _told(row: dict[Any, Any], width: float) -> list[str]:
    """Return depth, surety and place, each on lines of its own."""
    told = [f"Depth {depth_text(row)}"]
    plants = number(row, "over_plants_m")
    if plants > 0:
        told.append(f"{plants:.0f} m of the way back lies over plants")
    told += [confidence_text(row), place_text(row)]
    return [line for says in told if says for line in wrapped(says, width, _PLAIN, most=2)]


def _draw_foot(pen: Pen, box: Box, subject: Subject) -> float:
    """Draw the caution and of which water this is; return what is above them."""
    lines = wrapped(_BEWARE, box.width, _SMALL, most=2)
    top = box.bottom + (len(lines) + 1) * LEADING * _SMALL
    below = pen.lines((box.left, top), lines, _SMALL, colour=FAULT)
    water = one_line(f"{subject.title}, {subject.made.isoformat()}")
    pen.lines((box.left, below), [fitted(water, box.width, _SMALL)], _SMALL)
    return top


def _draw_middle(pen: Pen, box: Box, row: dict[Any, Any], subject: Subject, scale: float) -> None:
    """Draw the bed along the cast, where there is one, else what surrounds the mark."""
    profile = _profile(row, subject)
    place = np.array([number(row, "easting_m"), number(row, "northing_m")])
    if box.height < _LEAST:
        return
    if profile is not None:
        draw_cast(pen, box, profile, row, _SMALL)
    elif np.isfinite(place).all():
        factor = ground_factor(subject.shoreline.crs, (*place, *place))
        view = View(box.inside(top=1.6 * _SMALL), (place[0], place[1]), scale, factor)
        words = f"Around the mark, {scale_text(scale)}, grid north up"
        pen.text((box.left, box.top - _SMALL), words, _SMALL)
        draw_spot(pen, view, subject, place, _SMALL)


def _profile(row: dict[Any, Any], subject: Subject) -> Any:
    table = subject.cast_profiles
    if table is None or "mark" not in table.frame:
        return None
    frame = table.frame[table.frame["mark"] == row["mark"]]
    good = frame[["distance_m", "depth_m"]].notna().all(axis=1)
    return frame[good] if int(good.sum()) > 1 else None
