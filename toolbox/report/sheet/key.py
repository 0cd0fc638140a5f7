"""Legend: what colours, lines and signs of a map stand for."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.report.drawing import FAULT, INK
from toolbox.report.sheet.blocks import Block, heading, heading_height
from toolbox.report.sheet.figures_on_map import readable_isobaths
from toolbox.report.sheet.lettering import fitted, width_of
from toolbox.report.sheet.marks_on_map import draw_mark, draw_peg, draw_slip, has_slip
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.shading import depth_colours
from toolbox.report.sheet.signs import GREEN, GUESS, SIGNS, WATER_EDGE, LineSign, sign_of
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.view import View
from toolbox.report.sheet.water_map import stipple
from toolbox.units import convert, round_number

__all__ = ["legend_block"]

_RAMP = 3.2 * MM
_KEY = 5.5 * MM


@dataclass(frozen=True)
class _Entry:
    """One sign: what it stands for, and how it is drawn into a small box."""

    name: str
    draw: Callable[[Pen, Box], None]


def legend_block(
    subject: Subject, view: View, width: float, size: float, *, casting: bool = False
) -> Block:
    """Explain depths and signs, as many as there are on the map."""
    entries = _entries(subject, view, size, casting)
    columns = 2 if width > 58 * MM else 1
    rows = -(-len(entries) // columns)
    step = 1.75 * size
    height = heading_height(size) + 2.6 * size + _RAMP + 1.6 * size + rows * step

    def draw(pen: Pen, box: Box) -> None:
        below = heading(pen, box, "Legend: depth below datum", size)
        _draw_ramp(pen, below, subject.depths, size)
        top = below.top - 3.2 * size - _RAMP
        wide = box.width / columns
        for number, entry in enumerate(entries):
            left = box.left + wide * (number // rows)
            up = top - (number % rows + 1) * step
            entry.draw(pen, Box(left, up, left + _KEY, up + 1.3 * size))
            words = fitted(entry.name, wide - _KEY - size, size)
            pen.text((left + _KEY + 0.6 * size, up + 0.3 * size), words, size)

    return Block("legend", height, height, draw)


def _draw_ramp(pen: Pen, box: Box, depths: tuple[float, float], size: float) -> None:
    """Draw the depths' colours, metres above and feet below."""
    least, most = depths
    bar = Box(box.left + 0.5 * size, box.top - 1.3 * size - _RAMP, box.right - 2.5 * size, 0)
    bar = Box(bar.left, bar.bottom, bar.right, bar.bottom + _RAMP)
    pen.picture(bar, depth_colours(np.linspace(least, most, 240)[None], least, most))
    pen.rectangle(bar, stroke=INK, width=0.4)
    for unit, over in (("m", True), ("ft", False)):
        low, high = (float(convert(depth, "m", unit)) for depth in depths)
        step = round_number((high - low) * 5 * size / bar.width, up=True)
        base = bar.top + 0.4 * size if over else bar.bottom - 1.05 * size
        edge, to = (bar.top, bar.top + 1.2) if over else (bar.bottom, bar.bottom - 1.2)
        for depth in np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step:
            across = bar.left + (depth - low) / (high - low) * bar.width
            pen.line([(across, edge), (across, to)], width=0.4)
            words = f"{depth + 0.0:g}"
            if across + width_of(words, size) / 2 < bar.right + 0.6 * size:
                pen.text((across, base), words, size, align="centre")
        pen.text((bar.right + 0.9 * size, base), unit, size)


def _entries(subject: Subject, view: View, size: float, casting: bool) -> list[_Entry]:
    entries = [_line_entry(LineSign("water's edge", WATER_EDGE, 0.9))]
    heavy = subject.isobaths.frame.get("index_line")
    if len(subject.isobaths):
        drawn = readable_isobaths(view, subject.isobaths, subject.shoreline.polygons)
        name = "isobath" if len(drawn) == len(subject.isobaths) else "some isobaths"
        name = f"{name}, {subject.unit}"
        entries.append(_line_entry(LineSign(name, INK, 0.38)))
    if heavy is not None and bool(heavy.any()):
        entries.append(_line_entry(LineSign("isobath, each fifth", INK, 0.75)))
    sounding = f"sounding, {subject.unit}"
    entries.append(_Entry(sounding, lambda pen, box: _draw_depth(pen, box, size)))
    if subject.has_guesses:
        entries.append(_Entry("not surveyed", _draw_guess))
    if subject.plants is not None and len(subject.plants):
        entries.append(_Entry("plants", _draw_plants))
    kinds = [] if subject.features is None else set(subject.features.frame["kind"])
    signs = dict.fromkeys(sign_of(kind) for kind in SIGNS if kind in kinds)
    entries += [_line_entry(sign) for sign in signs]
    if subject.exclusions is not None and len(subject.exclusions):
        entries.append(_line_entry(LineSign("closed, or keep clear", FAULT, 1.6, (2, 1.2))))
    if casting and has_slip(subject):
        entries.append(_Entry("slip", lambda pen, box: draw_slip(pen, box.centre)))
    if casting and subject.pegs is not None:
        entries.append(_Entry("peg", lambda pen, box: draw_peg(pen, box.centre)))
    if casting:
        entries.append(_Entry("mark", lambda pen, box: draw_mark(pen, box.centre)))
    if casting and subject.course is not None:
        entries.append(_line_entry(LineSign("course of the boat", INK, 0.7)))
    elif casting and subject.pegs is not None:
        entries.append(_line_entry(LineSign("line of a cast", INK, 0.7)))
    return entries


def _line_entry(sign: LineSign) -> _Entry:
    def draw(pen: Pen, box: Box) -> None:
        up = box.centre[1]
        ends: Any = [(box.left, up), (box.right, up)]
        pen.line(ends, colour=sign.colour, width=sign.width, dashes=sign.dashes)

    return _Entry(sign.name, draw)


def _draw_depth(pen: Pen, box: Box, size: float) -> None:
    pen.text(box.centre, "2.5", size, align="middle")


def _draw_guess(pen: Pen, box: Box) -> None:
    with pen.clipped([box.corners]):
        starts = np.arange(box.left - box.height, box.right, 1.4 * MM)
        lines = [[(start, box.bottom), (start + box.height, box.top)] for start in starts]
        pen.shapes(lines, stroke=GUESS, width=0.35)
    pen.rectangle(box, stroke=GUESS, width=0.35)


def _draw_plants(pen: Pen, box: Box) -> None:
    with pen.clipped([box.corners]):
        stipple(pen, [np.array(box.corners)])
    pen.rectangle(box, stroke=GREEN, width=0.5)
