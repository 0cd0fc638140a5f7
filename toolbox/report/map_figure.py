"""Map figure: the depths of a water for paper, of any width."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Grid, Picture, Shoreline, Soundings, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.report.drawing import (
    CAUTION,
    INK,
    PAPER,
    Bounds,
    draw_depth,
    draw_isobaths,
    draw_shoreline,
    draw_unsurveyed,
    frame,
    in_unit,
)
from toolbox.report.figure_style import (
    FULL_WIDTH,
    Dots,
    Height,
    Look,
    Unit,
    Width,
    head,
    legend_below,
    picture,
    settle,
)
from toolbox.tool import tool

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["draw_map", "draw_points", "map_height", "rejected_told", "write_around"]

_ACROSS = 0.84  # of the width, that the map takes beside the bar
_AROUND = 30.0  # height of what is written above and below it, mm
_LINE = 3.0
_LEAST, _MOST = 70.0, 260.0  # heights that are chosen without being asked for, mm
_MARGIN = 0.04  # of the longer side, as the frame leaves it
_TICK_POINTS, _POINTS_PER_INCH = 46, 72  # room for one coordinate beside an axis


@tool("Figure of the depth map")
def draw_map(
    depth: Grid,
    shoreline: Shoreline,
    soundings: Soundings | None = None,
    isobaths: Vectors | None = None,
    unsurveyed: Grid | None = None,
    *,
    title: str = "",
    unit: Unit = "m",
    width: Width = FULL_WIDTH,
    height: Height | None = None,
    dpi: Dots = 300,
    grey: bool = False,
) -> Picture:
    """Draw the depths of a water, its shoreline and its isobaths.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down.
    shoreline : Shoreline
        The water.
    soundings : Soundings, optional
        Kept ones as dots, rejected ones as crosses.
    isobaths : Vectors, optional
        Lines with ``depth_m`` and ``index_line``; their numbers stand where there is room.
    unsurveyed : Grid, optional
        1 where the bed is a guess: veiled and hatched.
    title : str
        Above the map, taken literally.
    unit : str
        Of depths and of the scale bar: m, or ft of 0.3048 m.
    width : float
        Of the figure on paper.
    height : float, optional
        Of the figure on paper; if left out, as the water asks for.
    dpi : int
        Dots to an inch of a PNG, and of the shading in SVG and PDF.
    grey : bool
        Greys instead of colours.

    Returns
    -------
    Picture
        The map with bar of depths, scale bar, grid north, coordinates in m and their CRS.

    Raises
    ------
    LayerError
        If layers lie in different CRS, no cell has a depth, or isobaths lack their columns.
    """
    check_same_crs(
        depth=depth,
        shoreline=shoreline,
        soundings=soundings,
        isobaths=isobaths,
        unsurveyed=unsurveyed,
    )
    if not np.isfinite(depth.values).any():
        raise LayerError("depth must have a cell with a value, got none")
    look, bounds = Look(unit, grey), shoreline.polygons.bounds
    shown = depth.of(look.length(depth.values), depth.name, unit)
    lines = None if isobaths is None else _in_unit(isobaths, look)
    crosses = None if soundings is None else _rejected(soundings)

    def draw(figure: Any) -> None:
        axes = figure.add_subplot()
        shading = draw_depth(figure, axes, shown, ramp=look.ramp(), unit=unit)
        if unsurveyed is not None:
            draw_unsurveyed(axes, unsurveyed)
        draw_shoreline(axes, shoreline, land=look.colour("land"))
        if soundings is not None:
            draw_points(axes, soundings, look.colour("fault"))
        told = write_around(figure, axes, depth, bounds, look)
        head(figure, title)
        legend_below(figure, axes.get_legend_handles_labels()[0], words=f"{CAUTION} {told}")
        settle(figure)
        if lines is not None:
            draw_isobaths(figure, axes, lines, shading, keep_off=crosses)

    tall = height or map_height(bounds, width)
    return picture(draw, what="Map of depths", title=title, width=width, height=tall, dpi=dpi)


def map_height(bounds: Bounds, width: float, *, lines: int = 0) -> float:
    """Return a height, mm, that the map of these bounds (m) fills at a width, mm.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east and north, m.
    width : float
        Of the figure, mm.
    lines : int
        Written below the map beside what is below every map.
    """
    west, south, east, north = bounds
    shown = 2 * _MARGIN * max(east - west, north - south)
    ratio = (north - south + shown) / (east - west + shown)
    return float(np.clip(width * _ACROSS * ratio + _AROUND + _LINE * lines, _LEAST, _MOST))


def write_around(figure: Any, axes: Any, depth: Grid, bounds: Bounds, look: Look) -> str:
    """Set the bounds, write scale and north around a map, and return what its coordinates are."""
    frame(axes, depth, bounds, "", unit=look.unit)
    axes.set_facecolor(look.colour("land"))
    across, up = (
        int(np.clip(size * _POINTS_PER_INCH // _TICK_POINTS, 2, 8))
        for size in (figure.get_figwidth() * _ACROSS, figure.get_figheight() * _ACROSS)
    )
    axes.locator_params(axis="x", nbins=across)
    axes.locator_params(axis="y", nbins=up)
    axes.set_xlabel("")
    return f"Coordinates: easting and northing in m, {_crs_name(depth.crs)}."


def _crs_name(crs: "CRS | None") -> str:
    return "on a plane" if crs is None else str(crs.name)


def _in_unit(isobaths: Vectors, look: Look) -> Vectors:
    """Return isobaths with their depths in the unit, as they are to be numbered."""
    for name in ("depth_m", "index_line"):
        if name not in isobaths.frame:
            raise LayerError(f"isobaths must have a column {name!r}")
    return in_unit(isobaths, look.unit)


def _rejected(soundings: Soundings) -> np.ndarray | None:
    """Return the places of rejected soundings (n, 2), None if there are none."""
    place = soundings.coordinates
    rejected = place[soundings.flag & np.isfinite(place).all(axis=1)]
    return rejected if len(rejected) else None


def draw_points(axes: Any, soundings: Soundings, colour: str) -> None:
    """Draw soundings: kept ones as dots, rejected ones as crosses."""
    kept, rejected = soundings.coordinates[~soundings.flag], _rejected(soundings)
    size = float(np.clip(2000 / max(len(kept), 1), 0.15, 3))
    from matplotlib.patheffects import withStroke

    plain: Callable[..., Any] = axes.scatter
    plain(*kept.T, s=size, c=INK, lw=0, alpha=0.6, rasterized=True, gid="soundings")
    plain([], [], s=5, c=INK, lw=0, label=f"{len(kept):,} sounding" + "s" * (len(kept) != 1))
    if name := rejected_told(soundings):
        rim = [withStroke(linewidth=2.2, foreground=PAPER)]  # seen on any depth, also in grey
        signs = {"s": 14, "c": colour, "marker": "x", "lw": 0.9, "path_effects": rim}
        plain(*([], []) if rejected is None else rejected.T, **signs, label=name, gid="rejected")


def rejected_told(soundings: Soundings) -> str:
    """Count the rejected soundings, and those of them that no map can show; empty for none."""
    flag = soundings.flag
    lost = int((flag & ~np.isfinite(soundings.coordinates).all(axis=1)).sum())
    told = f"{int(flag.sum()):,} rejected" if flag.any() else ""
    return told + (f", {lost:,} without a position" if lost else "")
