"""The bed along a cast, from the peg to the mark and beyond."""

from typing import Any

import numpy as np

from toolbox.report.drawing import FAULT, INK, PAPER
from toolbox.report.sheet.mark_texts import number
from toolbox.report.sheet.paper import Box
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.signs import GREEN
from toolbox.units import round_number

__all__ = ["draw_cast"]

_WATER, _GROUND, _BAND, _RULE = "#dcebf0", "#b9ab8f", "#6f6248", "#c3ced3"


def draw_cast(pen: Pen, box: Box, profile: Any, row: dict[Any, Any], size: float) -> None:
    """Draw water, bed with its band, plants and the place of the bait.

    Parameters
    ----------
    pen : Pen
        Draws.
    box : Box
        In this.
    profile : DataFrame
        Rows of one mark with ``distance_m`` and ``depth_m``, perhaps with a band and a canopy.
    row : dict
        The mark.
    size : float
        Of the type, points.
    """
    plot = box.inside(2.6 * size, 2.4 * size, 1.2 * size, 1.8 * size)
    away, depth = (profile[name].to_numpy(float) for name in ("distance_m", "depth_m"))
    low, high = _ends(profile, depth)
    reach = max(float(away.max()), 1.0)
    deepest = max(float(np.nanmax(high)) * 1.08, 0.5)

    def at(distance: Any, down: Any) -> np.ndarray:
        across = plot.left + np.asarray(distance, float) / reach * plot.width
        return np.column_stack([across, plot.top - np.asarray(down, float) / deepest * plot.height])

    pen.rectangle(plot, fill=_WATER)
    with pen.clipped([plot.corners]):
        _draw_plants(pen, at, profile, away, depth)
        below = np.vstack([at(away, depth), at([away[-1], 0, 0], [2 * deepest, 2 * deepest, 0])])
        pen.shapes([below], close=True, fill=_GROUND)
        ring = np.vstack([at(away, low), at(away, high)[::-1]])
        pen.shapes([ring], close=True, fill=_BAND, opacity=0.35)
        pen.line(at(away, depth), width=1.0)
    stretch = (plot.height / deepest) / (plot.width / reach)
    words = f"Bed along the cast with 90 % band, m; heights \u00d7 {stretch:.2g}"
    pen.text((box.left, box.top - size), words, size)
    _draw_scales(pen, plot, at, reach, deepest, size)
    place = at([number(row, "distance_m")], [number(row, "depth_m")])[0]
    pen.line([(place[0], plot.top), place], colour=FAULT, width=0.7, dashes=(2, 1.5))
    pen.circle(tuple(place), 2.4, fill=FAULT, stroke=PAPER, width=0.6)
    pen.line(at([0, reach], [0, 0]), width=0.8)


def _ends(profile: Any, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    names = ("depth_low_m", "depth_high_m")
    found = [profile[n].to_numpy(float) if n in profile else depth for n in names]
    low, high = (np.where(np.isnan(values), depth, values) for values in found)
    return low, high


def _draw_plants(pen: Pen, at: Any, profile: Any, away: np.ndarray, depth: np.ndarray) -> None:
    """Draw plants up to the depth of their tops, where there are any."""
    if "canopy_m" not in profile:
        return
    canopy = profile["canopy_m"].to_numpy(float)
    there = np.isfinite(canopy)
    tops, feet = at(away, np.where(there, canopy, depth)), at(away, depth)
    for k in np.flatnonzero(there[:-1] & there[1:]):
        pen.shapes(
            [np.array([feet[k], tops[k], tops[k + 1], feet[k + 1]])],
            close=True,
            fill=GREEN,
            opacity=0.55,
        )


def _draw_scales(pen: Pen, plot: Box, at: Any, reach: float, deepest: float, size: float) -> None:
    step = round_number(reach * 4 * size / plot.width, up=True)
    for distance in np.arange(0, np.floor(reach / step) + 1) * step:
        across = float(at([distance], [0])[0, 0])
        pen.line([(across, plot.bottom), (across, plot.bottom - 1.5)], width=0.4)
        words = f"{distance:g}" + (" m" if distance == 0 else "")
        pen.text((across, plot.bottom - 1.35 * size), words, size, align="centre")
    step = round_number(deepest * 2 * size / plot.height, up=True)
    for depth in np.arange(0, np.floor(deepest / step) + 1) * step:
        up = float(at([0], [depth])[0, 1])
        pen.line([(plot.left, up), (plot.left - 1.5, up)], width=0.4)
        pen.text((plot.left - 0.5 * size, up - 0.36 * size), f"{depth:g}", size, align="right")
    pen.rectangle(plot, stroke=INK, width=0.4)
