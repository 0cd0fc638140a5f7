"""Shading: depths as a picture behind the lines of a map, and where the bed is a guess."""

import math
from typing import Any

import numpy as np

from toolbox.layers import Grid, Shoreline
from toolbox.report.drawing import depth_ramp, window
from toolbox.report.sheet.paper import MM
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.signs import GUESS
from toolbox.report.sheet.view import View

__all__ = [
    "STRENGTH",
    "depth_colours",
    "draw_depths",
    "draw_guesses",
    "guessed_rings",
    "rings_of",
    "sampled",
]

STRENGTH = 0.62
"""Of the depths' own colours: lines and figures stand upon them, and ink is dear."""

_DOTS = 200  # to an inch
_MOST_SIDE = 1500  # cells of a mask that is turned into outlines
_BEYOND = 3  # cells that shading goes on behind the last depth
_BLANK = 255  # of each colour, where there is no depth
_HATCH = 1.4 * MM


def rings_of(shape: Any, view: View) -> list[np.ndarray]:
    """Return the rings of what a view shows of polygons, smoothed by less than a line is wide."""
    import shapely

    west, south, east, north = view.bounds
    more = view.on_ground(3 * MM)  # so that what is cut off lies outside of the frame
    shape = shapely.clip_by_rect(shape, west - more, south - more, east + more, north + more)
    # a hair on paper, and no ring vanishes by it
    fine = shapely.simplify(shape, view.on_ground(0.03 * MM))
    parts = [part for part in shapely.get_parts(fine) if part.geom_type == "Polygon"]
    rings = shapely.get_rings(parts)
    return [view(shapely.get_coordinates(ring)) for ring in rings if not ring.is_empty]


def depth_colours(values: np.ndarray, least: float, most: float) -> np.ndarray:
    """Return red, green and blue of depths, 0 to 255; white where there is none."""
    ramp = depth_ramp(STRENGTH)
    palette = (ramp(np.arange(ramp.N))[:, :3] * 255).round().astype(np.uint8)
    share = np.clip((values - least) * ((ramp.N - 1) / (most - least)) + 0.5, 0, ramp.N - 1)
    empty = np.isnan(share)
    colours = palette[np.where(empty, 0, share).astype(np.uint8)]
    colours[empty] = _BLANK
    return np.asarray(colours)


def draw_depths(
    pen: Pen, view: View, depth: Grid, shoreline: Shoreline, depths: tuple[float, float]
) -> None:
    """Shade the water by its depth, from shore to shore."""
    colours = depth_colours(sampled(depth, view), *depths)
    with pen.clipped(rings_of(shoreline.polygons, view)):
        pen.picture(view.box, colours)


def sampled(depth: Grid, view: View) -> np.ndarray:
    """Return depths at the dots of a picture of the frame."""
    values, left, top, cell = _thinned(window(depth, view.bounds), view)
    west, south, east, north = view.bounds
    across, down = (max(2, round(side / 72 * _DOTS)) for side in (view.box.width, view.box.height))
    easting = west + (np.arange(across) + 0.5) * (east - west) / across
    northing = north - (np.arange(down) + 0.5) * (north - south) / down
    cols, rows = (easting - left) / cell - 0.5, (top - northing) / cell - 0.5
    return _between(_between(_filled(values), rows).T, cols).T


def _between(values: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Interpolate rows at numbers that are not whole; outside of all rows take the nearest."""
    at = np.clip(rows, 0, len(values) - 1)
    low = np.minimum(np.floor(at).astype(int), max(len(values) - 2, 0))
    share = (at - low).astype(np.float32)[:, None]
    high = np.minimum(low + 1, len(values) - 1)
    return np.asarray(values[low] * (1 - share) + values[high] * share)


def _thinned(depth: Grid, view: View) -> tuple[np.ndarray, float, float, float]:
    """Take one cell in several where cells are finer than dots: values, left, top, width."""
    dot = view.on_ground(72 / _DOTS)
    step = max(1, math.ceil(dot / depth.cell - 0.5))
    left, _, _, top = depth.bounds
    shift = (step - 1) / 2 * depth.cell  # the cell taken is the first of its block
    return depth.values[::step, ::step], left - shift, top + shift, depth.cell * step


def _filled(values: np.ndarray) -> np.ndarray:
    """Give cells beside the water the mean of their neighbours, that shading reaches the shore."""
    filled = values
    for _ in range(_BEYOND):
        around = np.pad(filled, 1, constant_values=np.nan)
        total, count = np.zeros_like(filled), np.zeros(filled.shape, np.uint8)
        for part in (around[:-2, 1:-1], around[2:, 1:-1], around[1:-1, :-2], around[1:-1, 2:]):
            known = ~np.isnan(part)
            np.add(total, part, out=total, where=known)
            count += known
        mean = total / np.where(count, count, np.nan).astype(np.float32)
        filled = np.where(np.isnan(filled), mean, filled)
    return filled


def draw_guesses(pen: Pen, view: View, unsurveyed: Grid, shoreline: Shoreline) -> None:
    """Hatch where the bed is a guess."""
    rings = [view(ring) for ring in guessed_rings(unsurveyed)]
    if not rings:
        return
    with pen.clipped(rings_of(shoreline.polygons, view)), pen.clipped(rings):
        hatch(pen, view)


def guessed_rings(unsurveyed: Grid) -> list[np.ndarray]:
    """Return outlines of the cells that are unsurveyed, m."""
    from affine import Affine
    from rasterio.features import shapes

    step = max(1, math.ceil(max(unsurveyed.shape) / _MOST_SIDE))
    guessed = np.nan_to_num(unsurveyed.values[::step, ::step]) > 0.5
    if not guessed.any():
        return []
    transform = unsurveyed.transform @ Affine.scale(step)
    found = shapes(guessed.astype(np.uint8), mask=guessed, transform=transform)
    return [np.asarray(ring) for shape, _ in found for ring in shape["coordinates"]]


def hatch(pen: Pen, view: View) -> None:
    """Draw slanting lines all over a view."""
    box = view.box
    starts = np.arange(box.left - box.height, box.right, _HATCH)
    lines = [[(start, box.bottom), (start + box.height, box.top)] for start in starts]
    pen.shapes(lines, stroke=GUESS, width=0.35)
