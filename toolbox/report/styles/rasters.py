"""Rasters: a map from values to colours for each kind of grid."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.report.styles.classes import classes_of
from toolbox.report.styles.colours import sampled
from toolbox.report.styles.look import stepped
from toolbox.report.styles.signs import Entry, Map, Style

__all__ = ["raster_style"]

_TAIL = 0.02  # share of cells at an end that get the colour of that end
_LOGARITHMIC = 1e-3  # least part of the greatest value that a ramp by factors shows
_Span = Literal["whole", "tail", "about zero", "by factors", "percent", "share", "circle"]
_MOST_COUNTED = 2**20  # cells that quantiles are taken of


@dataclass(frozen=True)
class _Ramp:
    title: str
    name: str
    span: _Span
    nothing: bool = False
    """Whether there is nothing to draw at 0."""


_RAMPS = {
    "depth": _Ramp("Depth", "depth", "whole"),
    "depth_sd": _Ramp("Standard deviation of the depth", "amp", "tail"),
    "support": _Ramp("How far soundings tell the depth", "ice", "share"),
    "distance_to_sounding": _Ramp("Distance to the nearest sounding", "matter", "whole"),
    "slope": _Ramp("Slope", "turbid", "tail"),
    "aspect": _Ramp("Direction the bed faces", "phase", "circle"),
    "shaded_relief": _Ramp("Shaded relief", "gray", "share"),
    "profile_curvature": _Ramp("Curvature down the slope", "balance", "about zero"),
    "plan_curvature": _Ramp("Curvature across the slope", "balance", "about zero"),
    "total_curvature": _Ramp("Curvature", "amp", "tail"),
    "relative_position": _Ramp("Height over the bed around", "curl", "about zero"),
    "standardised_position": _Ramp("Height over the bed around", "curl", "about zero"),
    "bed_change": _Ramp("Change of the bed", "balance", "about zero"),
    "surface_area_ratio": _Ramp("Surface over plan area", "matter", "tail"),
    "arc_chord_ratio": _Ramp("Surface over that of a plane", "matter", "tail"),
    "vector_ruggedness": _Ramp("Ruggedness", "matter", "tail"),
    "roughness": _Ramp("Roughness", "matter", "tail"),
    "ruggedness_index": _Ramp("Ruggedness index", "matter", "tail"),
    "plant_cover": _Ramp("Cover of plants", "algae", "percent", nothing=True),
    "plant_volume": _Ramp("Water filled by plants", "algae", "percent", nothing=True),
    "plant_height": _Ramp("Height of plants", "algae", "whole", nothing=True),
    "light_at_bed": _Ramp("Light at the bed", "solar", "by factors"),
}
_ELSE = _Ramp("", "haline", "tail")


def raster_style(grid: Grid) -> Style:
    """Return how a raster looks.

    Parameters
    ----------
    grid : Grid
        Its name says what it is; one that is not known gets a plain ramp.

    Returns
    -------
    Style
        With entries over the grid's own range.

    Notes
    -----
    Rasters with a long tail, as slope, give 2 % of their cells at an end the colour of that end.
    Curvature and position are pale at 0, with equal room on both sides. Light is drawn by factors,
    as it fades with depth. Where there is no value nothing is drawn.
    """
    coded = classes_of(grid.name)
    if coded is not None:
        known = tuple(Entry(one.code, one.colour, one.name, one.opacity) for one in coded)
        return Style(grid.name, _title(grid.name), Map(known, classes=True))
    kind = _RAMPS.get(grid.name, _ELSE)
    unit = "" if grid.unit == "1" else f" {grid.unit}"
    entries = tuple(
        Entry(value, colour, f"{value:.4g}{unit}", float(value > 0 or not kind.nothing))
        for value, colour in zip(*_entries(kind, _told(grid)), strict=True)
    )
    title = (kind.title or _title(grid.name)) + (f",{unit}" if unit else "")
    return Style(grid.name, title, Map(entries))


def _title(name: str) -> str:
    return name.replace("_", " ").capitalize()


def _told(grid: Grid) -> np.ndarray:
    """Return values that are known; 0 if there are none."""
    known = grid.values[np.isfinite(grid.values)]
    return known if len(known) else np.zeros(1, np.float32)


def _entries(kind: _Ramp, known: np.ndarray) -> tuple[list[float], list[str]]:
    """Return values by which the ramp steps, those at the ends of the data, and their colours."""
    ends = float(known.min()), float(known.max())
    if kind.span == "by factors":
        most = max(ends[1], 1e-9)
        least = max(ends[0], most * _LOGARITHMIC)
        steps = np.geomspace(least, most, 22) if least < most else np.array([most, 2 * most])
        shares = np.linspace(0.0, 1.0, len(steps))
    else:
        low, high = _range(kind.span, known, ends)
        steps = stepped(low, high)
        shares = (steps - steps[0]) / (steps[-1] - steps[0])
    colours = sampled(kind.name, shares)
    if ends[0] < steps[0]:
        steps, colours = np.r_[ends[0], steps], [colours[0], *colours]
    if ends[1] > steps[-1]:
        steps, colours = np.r_[steps, ends[1]], [*colours, colours[-1]]
    return steps.tolist(), colours


def _range(span: _Span, known: np.ndarray, ends: tuple[float, float]) -> tuple[float, float]:
    if span == "circle":
        return 0.0, 360.0
    if span in ("percent", "share"):
        return 0.0, 100.0 if span == "percent" else 1.0
    if span == "whole":
        return min(0.0, ends[0]), ends[1]
    few = known[:: max(1, len(known) // _MOST_COUNTED)].astype(float)
    low, high = np.quantile(few, [_TAIL, 1 - _TAIL]).tolist()
    if span == "tail":
        return (low if ends[0] < 0 or low > 0.5 * high else 0.0), high
    far = max(abs(low), abs(high)) or max(map(abs, ends)) or 0.01
    return -far, far
