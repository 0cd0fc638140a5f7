"""The page of marks: a map of what can be cast at or visited, and all marks in a list."""

from typing import Any

import numpy as np

from toolbox.report.sheet.blocks import Block, draw_columns, even_columns, heading, heading_height
from toolbox.report.sheet.key import legend_block
from toolbox.report.sheet.layout import column_width, lay_out
from toolbox.report.sheet.lettering import fitted, width_of
from toolbox.report.sheet.mark_texts import (
    bearing_text,
    depth_text,
    distance_text,
    mark_rows,
    name_of,
)
from toolbox.report.sheet.measures import north_block, scale_block
from toolbox.report.sheet.paper import Box, Paper, pocket_paper
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.told import caution_block, title_block
from toolbox.report.sheet.view import View, ground_factor, scale_text
from toolbox.report.sheet.water_map import draw_map

__all__ = ["MARK_CAUTIONS", "draw_marks_page"]

MARK_CAUTIONS = (
    "Keep clear of overhead lines, also of those that are not drawn here: a rod or a wet line near "
    "them kills.",
    "Mind steep edges, soft mud, cold water and local rules. Not for navigation.",
    "Depths hold for the datum water level. A blank is unsurveyed, not safe.",
)
_WHOLE = 0.5  # share of the water's length from which all of it is shown
_AROUND = 0.12  # of what is shown, around marks and pegs
_MOST_ROWS = 34
_ROW = 1.5


def draw_marks_page(pen: Pen, subject: Subject, paper: Paper) -> float:
    """Draw a page with marks, on a paper that everybody can print; return its scale."""
    smaller = pocket_paper(paper)
    bounds = _bounds(subject)
    factor = ground_factor(subject.shoreline.crs, bounds)
    rough = View(Box(0, 0, 400, 400), (bounds[0], bounds[1]), 10_000.0, factor)
    layout, view = lay_out(
        bounds,
        factor,
        lambda width, size: _blocks(subject, rough, smaller, width, size),
        paper=smaller,
        landscape=None,
        scale=None,
    )
    pen.page(layout.size)
    pen.block("map of marks", view.box)
    draw_map(pen, view, subject, layout.letter, casting=True)
    blocks = _blocks(subject, view, smaller, column_width(layout), layout.letter)
    draw_columns(pen, layout.panel, even_columns(blocks, layout.columns))
    pen.turn_over()
    return view.scale


def _bounds(subject: Subject) -> tuple[float, float, float, float]:
    """Show all of the water, or what surrounds the marks where that is a small part of it."""
    layers = [layer for layer in (subject.marks, subject.pegs, subject.course) if layer is not None]
    ends = np.array([layer.frame.total_bounds for layer in layers if len(layer)])
    low, high = ends[:, :2].min(axis=0), ends[:, 2:].max(axis=0)
    side = float((high - low).max())
    west, south, east, north = subject.bounds
    if side >= _WHOLE * max(east - west, north - south):
        low, high = np.minimum(low, (west, south)), np.maximum(high, (east, north))
    else:
        low, high = low - _AROUND * side - 5, high + _AROUND * side + 5
    return (*map(float, low), *map(float, high))  # type: ignore[return-value]


def _blocks(subject: Subject, view: View, paper: Paper, width: float, size: float) -> list[Block]:
    crs = subject.shoreline.crs
    return [
        title_block(subject, f"Marks, {scale_text(view.scale)} on {paper}", width, size),
        scale_block(view, width, size),
        north_block(view, crs, subject.declination, width, size),
        legend_block(subject, view, width, size, casting=True),
        _list_block(subject, size),
        caution_block(width, size, MARK_CAUTIONS),
    ]


def _list_block(subject: Subject, size: float) -> Block:
    """List all marks, one a line."""
    rows = mark_rows(subject)
    shown = rows[:_MOST_ROWS]
    texts = [_cells(row) for row in shown]
    more = [f"{len(rows) - len(shown)} more on the cards"] if len(rows) > len(shown) else []
    height = heading_height(size) + (_ROW * (len(texts) + len(more)) + 0.3) * size

    def draw(pen: Pen, box: Box) -> None:
        below = heading(pen, box, "Marks: bearing, distance, depth", size)
        _draw_rows(pen, below, texts, size)
        for words in more:
            pen.text((below.left, box.bottom + 0.4 * size), words, size)

    return Block("list of marks", height, height, draw)


def _cells(row: dict[Any, Any]) -> list[str]:
    return [
        str(row["mark"]),
        name_of(row, brief=True),
        bearing_text(row, short=True),
        distance_text(row, short=True),
        depth_text(row, short=True),
    ]


def _draw_rows(pen: Pen, box: Box, texts: list[list[str]], size: float) -> None:
    """Draw cells in columns; the name takes what the others leave, and so do long ones."""
    wide = [max(width_of(cells[k], size) for cells in texts) for k in range(len(texts[0]))]
    gap = 0.9 * size
    wide[1] = min(wide[1], box.width - sum(wide) + wide[1] - 4 * gap)
    starts = box.left + np.cumsum([0.0, *(w + gap for w in wide[:-1])])
    for number, cells in enumerate(texts):
        base = box.top - (_ROW * number + 1.05) * size
        for k, (left, words) in enumerate(zip(starts, cells, strict=True)):
            pen.text((left, base), fitted(words, wide[k] + 0.1, size), size, bold=k == 0)
