"""Frame of a map: coordinates along its edges, crosses upon it, and degrees at its corners."""

import math

import numpy as np

from toolbox.layers.crs import is_plane, project
from toolbox.report.drawing import INK
from toolbox.report.sheet.lettering import width_of
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.view import View
from toolbox.units import round_number

__all__ = ["BORDER", "crosses", "degrees_text", "draw_crosses", "draw_frame", "grid_step"]

BORDER = (4.2 * MM, 7.6 * MM, 1.0 * MM, 4.2 * MM)
"""Left, bottom, right and top of what is written around a map, points."""

_APART = 24 * MM  # grid lines, at least
_CROSS, _TICK, _LATITUDE = 1.6 * MM, 1.4 * MM, 85.0


def grid_step(view: View) -> float:
    """Return the distance between grid lines, m: 1, 2 or 5 times a power of ten."""
    return max(1.0, round_number(view.on_ground(_APART), up=True))


def _ticks(low: float, high: float, step: float) -> np.ndarray:
    return np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step


def _grid(view: View) -> tuple[np.ndarray, np.ndarray]:
    west, south, east, north = view.bounds
    step = grid_step(view)
    return _ticks(west, east, step), _ticks(south, north, step)


def crosses(view: View) -> list[list[tuple[float, float]]]:
    """Return the arms of crosses where grid lines meet, points."""
    eastings, northings = _grid(view)
    net = np.stack(np.meshgrid(eastings, northings), axis=-1).reshape(-1, 2)
    arms = []
    for across, up in view(net):
        arms += [[(across - _CROSS, up), (across + _CROSS, up)]]
        arms += [[(across, up - _CROSS), (across, up + _CROSS)]]
    return arms


def draw_crosses(pen: Pen, view: View) -> None:
    """Mark where grid lines meet."""
    if arms := crosses(view):
        with pen.clipped([view.box.corners]):
            pen.shapes(arms, stroke=INK, width=0.3)


def draw_frame(pen: Pen, view: View, crs: object, size: float) -> None:
    """Draw the frame with its ticks and what is written along it."""
    box, (eastings, northings) = view.box, _grid(view)
    across = view(np.column_stack([eastings, np.full(len(eastings), view.centre[1])]))[:, 0]
    up = view(np.column_stack([np.full(len(northings), view.centre[0]), northings]))[:, 1]
    ticks = [[(x, box.bottom), (x, box.bottom - _TICK)] for x in across]
    ticks += [[(x, box.top), (x, box.top + _TICK)] for x in across]
    ticks += [[(box.left, y), (box.left - _TICK, y)] for y in up]
    ticks += [[(box.right, y), (box.right + _TICK, y)] for y in up]
    if ticks:
        pen.shapes(ticks, stroke=INK, width=0.4)
    pen.rectangle(box, stroke=INK, width=0.9)
    _draw_numbers(pen, box, list(zip(across, eastings, strict=True)), size, upright=False)
    _draw_numbers(pen, box, list(zip(up, northings, strict=True)), size, upright=True)
    _draw_corners(pen, view, crs, size)


def _draw_numbers(
    pen: Pen, box: Box, ticks: list[tuple[float, float]], size: float, *, upright: bool
) -> None:
    """Write coordinates where they have room, eastings below and northings to the left."""
    low, high = (box.bottom, box.top) if upright else (box.left, box.right)
    for number, (place, value) in enumerate(ticks):
        words = f"{value:,.0f}".replace(",", "\u2009") + (
            ("\u2009m\u2009N" if upright else "\u2009m\u2009E") if number == 0 else ""
        )
        half = width_of(words, size) / 2
        if not low + half <= place <= high - half:
            place = min(max(place, low + half), high - half)
        if upright:
            pen.text((box.left - _TICK - 0.4 * size, place), words, size, align="centre", angle=90)
        else:
            pen.text((place, box.bottom - _TICK - 0.95 * size), words, size, align="centre")


def _draw_corners(pen: Pen, view: View, crs: object, size: float) -> None:
    """Write latitude and longitude of the four corners."""
    texts = corner_texts(view, crs)
    if not texts:
        return
    box = view.box
    above, below = box.top + _TICK + 0.3 * size, box.bottom - _TICK - 2.15 * size
    for words, up, left in zip(
        texts, (below, below, above, above), (True, False, True, False), strict=True
    ):
        side = box.left if left else box.right
        pen.text((side, up), words, size, align="left" if left else "right")


def corner_texts(view: View, crs: object) -> list[str]:
    """Return latitude and longitude of south-west, south-east, north-west and north-east."""
    if is_plane(crs):  # type: ignore[arg-type]
        return []
    west, south, east, north = view.bounds
    corners = np.array([(west, south), (east, south), (west, north), (east, north)])
    degrees = project(corners, crs, crs.geodetic_crs)  # type: ignore[arg-type,attr-defined]
    if not np.isfinite(degrees).all():
        return []
    return [f"{degrees_text(lat, 'N', 'S')}  {degrees_text(lon, 'E', 'W')}" for lon, lat in degrees]


def degrees_text(angle: float, positive: str, negative: str) -> str:
    """Write an angle in degrees and minutes to a thousandth of a minute.

    Examples
    --------
    >>> degrees_text(46.1968108, "N", "S"), degrees_text(-34.9999999, "E", "W")
    ("46\u00b011.809' N", "35\u00b000.000' W")
    """
    thousandths = round(abs(angle) * 60_000)
    whole, rest = divmod(thousandths, 60_000)
    side = positive if angle >= 0 else negative
    return f"{whole}\u00b0{rest / 1000:06.3f}' {side}"
