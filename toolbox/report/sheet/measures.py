"""Scale and north: a bar in metres and feet, and which way grid, true and magnetic north lie."""

import math

import numpy as np

from toolbox.layers.crs import is_plane
from toolbox.layers.geodesy import bearings
from toolbox.report.drawing import FAULT, INK, PAPER
from toolbox.report.sheet.blocks import Block, heading, heading_height
from toolbox.report.sheet.lettering import LEADING, width_of, wrapped
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.view import View, scale_text
from toolbox.units import convert, round_number

__all__ = ["bar_length", "convergence", "north_block", "scale_block"]

_BAR = 1.5 * MM
_CHECK = "Print at 100 %, not fitted to the page: 0 to {} m on the bar must be {} mm long."
_ARROW = 12 * MM


def convergence(view: View, crs: object) -> float:
    """Return the true bearing of grid north in the middle of a view, degrees; east is positive."""
    if is_plane(crs):  # type: ignore[arg-type]
        return 0.0
    start = np.array([view.centre])
    found = float(bearings(start, start + np.array([0.0, 100.0]), crs)[0])  # type: ignore[arg-type]
    return (found + 180) % 360 - 180


def bar_length(width: float, scale: float, unit: str) -> float:
    """Return the round length in a unit whose bar takes most of a width, points."""
    return round_number(float(convert(width / MM / 1000 * scale, "m", unit)))


def scale_block(view: View, width: float, size: float) -> Block:
    """Draw the scale bar; it tells by itself whether the printer kept to the scale."""
    room = width - 4.4 * size
    metres = bar_length(room, view.scale, "m")
    paper = metres * 1000 / view.scale
    lines = wrapped(_CHECK.format(f"{metres:,g}", f"{paper:.1f}"), width, size)
    most = len(wrapped(_CHECK.format("50,000", "100.0"), width, size))
    height = heading_height(size) + 4.6 * size + 2 * _BAR + most * LEADING * size

    def draw(pen: Pen, box: Box) -> None:
        title = f"Scale {scale_text(view.scale)}, 1 mm on paper is {view.scale / 1000:g} m"
        below = heading(pen, box, title, size)
        start = below.left + 0.8 * size
        top = below.top - 1.3 * size
        _draw_bar(pen, (start, top), metres, "m", view, size, over=True)
        feet = bar_length(room, view.scale, "ft")
        _draw_bar(pen, (start, top - _BAR - 0.8), feet, "ft", view, size, over=False)
        pen.lines((below.left, top - 2 * _BAR - 2.1 * size), lines, size)

    return Block("scale bar", height, height, draw)


def _draw_bar(
    pen: Pen,
    place: tuple[float, float],
    length: float,
    unit: str,
    view: View,
    size: float,
    *,
    over: bool,
) -> None:
    """Draw one bar below a place, its numbers over or under it."""
    left, top = place
    wide = float(convert(length, unit, "m")) * 1000 * MM / view.scale
    parts = 4 if f"{length:g}"[0] in "24" else 5
    for number in range(parts):
        start, end = (left + wide * k / parts for k in (number, number + 1))
        fill = INK if number % 2 == 0 else PAPER
        pen.rectangle(Box(start, top - _BAR, end, top), fill=fill, stroke=INK, width=0.4)
    base = top + 0.4 * size if over else top - _BAR - 1.05 * size
    for number in (0, *_shown(length, parts, wide, size), parts):
        words = f"{length * number / parts:,g}"
        pen.text((left + wide * number / parts, base), words, size, align="centre")
    after = left + wide + width_of(f"{length:,g}", size) / 2 + 0.5 * size
    pen.text((after, base), unit, size)


def _shown(length: float, parts: int, wide: float, size: float) -> list[int]:
    """Return which ends of parts between have room for a number."""
    least = width_of(f"{length:,g}", size) + 0.8 * size
    return list(range(1, parts)) if wide / parts > least else []


def north_block(
    view: View, crs: object, declination: float | None, width: float, size: float
) -> Block:
    """Draw the norths by their angles, and tell them."""
    turn = convergence(view, crs)
    rows = [("solid", INK, "grid north (up on this map)")]
    if is_plane(crs):  # type: ignore[arg-type]
        rows = [("solid", INK, "north of the plane; true north is not known")]
    else:
        rows.append(("dashed", INK, _aside("true north", -turn, "grid")))
    if declination is not None:
        rows.append(("half", FAULT, _aside("magnetic north", declination, "true")))
    room = width - 15 * MM - 3 * size
    told = [(kind, colour, wrapped(says, room, size, most=2)) for kind, colour, says in rows]
    words = sum(len(lines) for *_, lines in told) * LEADING * size
    height = max(_ARROW + 2.6 * size, words + 2 * size)

    def draw(pen: Pen, box: Box) -> None:
        foot = (box.left + 7 * MM, box.top - _ARROW - 1.6 * size)
        _draw_arrow(pen, foot, 0.0, _ARROW, INK, "solid")
        pen.text(
            (foot[0], foot[1] + _ARROW + 0.35 * size), "N", 1.1 * size, bold=True, align="centre"
        )
        if not is_plane(crs):  # type: ignore[arg-type]
            _draw_arrow(pen, foot, -turn, 0.8 * _ARROW, INK, "dashed")
        if declination is not None:
            _draw_arrow(pen, foot, declination - turn, 0.72 * _ARROW, FAULT, "half")
        top = box.top - 0.9 * size
        left = box.left + 15 * MM
        for kind, colour, lines in told:
            _draw_key(pen, (left, top - 0.65 * size), 2.2 * size, colour, kind)
            top = pen.lines((left + 2.8 * size, top), lines, size) - 0.25 * size

    return Block("north", height, height, draw)


def _aside(name: str, angle: float, other: str) -> str:
    """Say by how much one north lies aside from another, clockwise positive."""
    if abs(angle) < 0.05:
        return f"{name}: as {other} north"
    return f"{name}: {abs(angle):.1f}\u00b0 {'east' if angle > 0 else 'west'} of {other} north"


def _draw_arrow(
    pen: Pen, foot: tuple[float, float], angle: float, length: float, colour: str, kind: str
) -> None:
    """Draw an arrow turned clockwise from up."""
    ahead = np.array([math.sin(math.radians(angle)), math.cos(math.radians(angle))])
    aside = np.array([ahead[1], -ahead[0]])
    tip = ahead * length + foot
    dashes = (2.2, 1.4) if kind == "dashed" else ()
    pen.line([foot, tip], colour=colour, width=0.8, dashes=dashes)
    sides = (-1, 0) if kind == "half" else (-1, 1)
    barbs = [tip - 6.5 * ahead + 2.2 * side * aside for side in sides]
    pen.shapes([np.array([tip, *barbs])], close=True, fill=colour)


def _draw_key(pen: Pen, place: tuple[float, float], length: float, colour: str, kind: str) -> None:
    dashes = (2.2, 1.4) if kind == "dashed" else ()
    left, up = place
    pen.line([(left, up), (left + length, up)], colour=colour, width=0.9, dashes=dashes)
