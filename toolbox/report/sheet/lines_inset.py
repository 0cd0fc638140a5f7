"""Inset: where soundings were taken, by what, and what they leave unsurveyed."""

import numpy as np

from toolbox.report.drawing import LAND
from toolbox.report.sheet.blocks import Block, heading, heading_height
from toolbox.report.sheet.lettering import LEADING, width_of
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.shading import draw_guesses, rings_of
from toolbox.report.sheet.signs import WATER_EDGE
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.view import View, needed_scale

__all__ = ["inset_block"]

_COLOURS = {"track": "#22303a", "cast": "#b35900", "plummet": "#8a2f6b", "point": "#0a5c8f"}
_NAMES = {"track": "boat", "cast": "casts", "plummet": "plummet", "point": "points"}
_DOT = 0.22 * MM
_MANY = 10_000  # dots in a row, more than any sheet has


def inset_block(subject: Subject, width: float, size: float) -> Block:
    """Draw the soundings on a small map of the water."""
    west, south, east, north = subject.bounds
    ratio = (north - south) / max(east - west, 1e-9)
    keys = _keys(subject)
    rows = _key_rows(keys, width, size)
    around = heading_height(size) + len(rows) * LEADING * size
    least = around + min(20 * MM, max(ratio * width, 12 * MM))

    def draw(pen: Pen, box: Box) -> None:
        below = heading(pen, box, "Where it was sounded", size)
        frame = below.inside(bottom=len(rows) * LEADING * size + 0.4 * size)
        _draw_water(pen, frame, subject)
        up = below.bottom + (len(rows) - 1) * LEADING * size + 0.3 * size
        for row in rows:
            _draw_keys(pen, (below.left, up), row, size)
            up -= LEADING * size

    return Block("inset", least, max(least, around + min(ratio * width, 1.5 * width)), draw)


def _view(frame: Box, subject: Subject) -> View:
    bounds = subject.bounds
    middle = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    room = frame.inside(*4 * [-3 * MM])  # the frame has no margin of its own here
    return View(frame, middle, needed_scale(bounds, room, 1.0))


def _draw_water(pen: Pen, frame: Box, subject: Subject) -> None:
    view = _view(frame, subject)
    rings = rings_of(subject.shoreline.polygons, view)
    pen.shapes(rings, close=True, fill="#ffffff", stroke=WATER_EDGE, width=0.6)
    islands = [view(np.asarray(ring.coords)[:, :2]) for ring in subject.shoreline.islands]
    if islands:
        pen.shapes(islands, close=True, fill=LAND)
    if subject.unsurveyed is not None:
        draw_guesses(pen, view, subject.unsurveyed, subject.shoreline)
    kept = ~subject.soundings.flag
    places = view(subject.soundings.coordinates[kept])
    source = subject.soundings.frame["source"].to_numpy()[kept]
    for name, colour in _COLOURS.items():
        pen.dots(_distinct(places[source == name]), _DOT if name == "track" else 1.8 * _DOT, colour)


def _distinct(places: np.ndarray) -> np.ndarray:
    """Return places that can be told apart on paper."""
    column, row = np.round(places / _DOT).T
    number = np.unique(column + row * _MANY)
    return np.column_stack([number % _MANY, number // _MANY]) * _DOT


def _keys(subject: Subject) -> list[tuple[str, str]]:
    """Return colour and words for each way of sounding, and for what was rejected."""
    counts = subject.sources
    keys = [
        (colour, f"{counts[name]:,} {_NAMES[name]}")
        for name, colour in _COLOURS.items()
        if name in counts
    ]
    rejected = int(subject.soundings.flag.sum())
    return [*keys, *([("", f"{rejected:,} rejected, not shown")] if rejected else [])]


def _key_rows(
    keys: list[tuple[str, str]], width: float, size: float
) -> list[list[tuple[str, str]]]:
    rows: list[list[tuple[str, str]]] = [[]]
    used = 0.0
    for key in keys:
        need = width_of(key[1], size) + 2.6 * size
        if rows[-1] and used + need > width:
            rows.append([])
            used = 0.0
        rows[-1].append(key)
        used += need
    return rows


def _draw_keys(
    pen: Pen, place: tuple[float, float], keys: list[tuple[str, str]], size: float
) -> None:
    left, base = place
    for colour, words in keys:
        if colour:
            pen.dots(np.array([(left + 0.4 * size, base + 0.36 * size)]), 0.3 * size, colour)
            left += 1.1 * size
        pen.text((left, base), words, size)
        left += width_of(words, size) + 1.5 * size
