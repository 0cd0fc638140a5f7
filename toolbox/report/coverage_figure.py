"""Coverage figure: where soundings lie, how far the bed is from them, and where it is a guess."""

import warnings
from typing import Any

import numpy as np

from toolbox.bed.support import distance_to_soundings
from toolbox.errors import LayerError
from toolbox.layers import Grid, Picture, Shoreline, Soundings
from toolbox.layers.crs import check_same_crs
from toolbox.report.drawing import INK, coarse, draw_shoreline, draw_unsurveyed
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
from toolbox.report.map_figure import draw_points, map_height, write_around
from toolbox.tool import tool

__all__ = ["coverage_picture", "draw_coverage"]

_CAUTION = "Between soundings the bed is interpolated."
_PLAIN = Look()


@tool("Figure of the coverage by soundings")
def draw_coverage(
    depth: Grid,
    soundings: Soundings,
    shoreline: Shoreline | None = None,
    unsurveyed: Grid | None = None,
    *,
    title: str = "",
    unit: Unit = "m",
    width: Width = FULL_WIDTH,
    height: Height | None = None,
    dpi: Dots = 300,
    grey: bool = False,
) -> Picture:
    """Draw how far each place of the water is from a sounding, and what is not surveyed.

    Parameters
    ----------
    depth : Grid
        Depth, m; it tells where the water is.
    soundings : Soundings
        Kept ones count and are drawn as dots, rejected ones as crosses.
    shoreline : Shoreline, optional
        The water, whose edge is drawn.
    unsurveyed : Grid, optional
        1 where the bed is a guess: veiled and hatched, and its share of the water told.
    title : str
        Above the map, taken literally.
    unit : str
        Of distances and of the scale bar: m, or ft of 0.3048 m.
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
        A map, pale near soundings and dark far from them, with the distance within which half and
        95 % of the water lie.

    Raises
    ------
    LayerError
        If layers lie in different CRS, or no sounding that was kept lies on the grid.

    Notes
    -----
    Shares count cells of the grid that have a depth.
    """
    check_same_crs(depth=depth, soundings=soundings, shoreline=shoreline, unsurveyed=unsurveyed)
    if not np.isfinite(depth.values).any():
        raise LayerError("depth must have a cell with a value, got none")
    return coverage_picture(
        distance_to_soundings(depth, soundings),
        soundings,
        shoreline,
        unsurveyed,
        title=title,
        look=Look(unit, grey),
        width=width,
        height=height,
        dpi=dpi,
    )


def coverage_picture(
    away: Grid,
    soundings: Soundings,
    shoreline: Shoreline | None = None,
    unsurveyed: Grid | None = None,
    *,
    title: str = "",
    look: Look = _PLAIN,
    width: float = FULL_WIDTH,
    height: float | None = None,
    dpi: int = 300,
) -> Picture:
    """Draw what :func:`draw_coverage` does of distances that are known.

    Parameters
    ----------
    away : Grid
        Distance to the nearest sounding that was kept, m.
    soundings, shoreline, unsurveyed, title, width, height, dpi
        As there.
    look : Look
        Unit and colours.
    """
    bounds = _extent(away) if shoreline is None else shoreline.polygons.bounds
    shown = away.of(look.length(away.values), away.name, look.unit)

    def draw(figure: Any) -> None:
        axes = figure.add_subplot()
        _draw_distance(figure, axes, shown, look)
        if unsurveyed is not None:
            draw_unsurveyed(axes, unsurveyed)
        if shoreline is not None:
            draw_shoreline(axes, shoreline, land=look.colour("land"))
        draw_points(axes, soundings, look.line(0)["color"])
        told = write_around(figure, axes, away, bounds, look)
        head(figure, title)
        handles, names = axes.get_legend_handles_labels()
        names = [_with_share(name, unsurveyed) for name in names]
        words = f"{_told(shown, look.unit)} {_CAUTION} {told}"
        legend_below(figure, handles, names, words=words)
        settle(figure)

    tall = height or map_height(bounds, width, lines=1)
    return picture(
        draw, what="Coverage by soundings", title=title, width=width, height=tall, dpi=dpi
    )


def _extent(grid: Grid) -> tuple[float, float, float, float]:
    """West, south, east and north of the cells that have a value, m."""
    rows, cols = np.nonzero(np.isfinite(grid.values))
    left, _, _, top = grid.bounds
    west, east = left + grid.cell * cols.min(), left + grid.cell * (cols.max() + 1)
    return west, top - grid.cell * (rows.max() + 1), east, top - grid.cell * rows.min()


def _draw_distance(figure: Any, axes: Any, away: Grid, look: Look) -> None:
    values, easting, northing = coarse(away)
    most = float(np.nanmax(values))
    shading = axes.pcolormesh(
        *(easting, northing, values),
        cmap=look.ramp(_far),
        vmin=0.0,
        vmax=max(most, away.cell),
        shading="nearest",
        rasterized=True,
        gid="distance",
    )
    bar = figure.colorbar(shading, ax=axes, shrink=0.7, pad=0.015, aspect=28)
    bar.set_label(f"distance to the nearest sounding, {look.unit}", fontsize=7, color=INK)
    bar.ax.tick_params(labelsize=6, colors=INK)


def _far() -> Any:
    """Return a ramp from paper to dark red, even to the eye."""
    from matplotlib.colors import ListedColormap

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
        import cmocean
    return ListedColormap(cmocean.cm.amp(np.linspace(0, 0.85, 256)), name="distance")


def _told(away: Grid, unit: str) -> str:
    known = away.values[np.isfinite(away.values)]
    half, most = np.percentile(known, [50, 95])
    return (
        f"Half of the water lies within {half:.3g} {unit} of a sounding, 95 % within "
        f"{most:.3g} {unit}."
    )


def _with_share(name: str, unsurveyed: Grid | None) -> str:
    """Add to the name of unsurveyed bed how much of the water it is."""
    if unsurveyed is None or name != "not surveyed":
        return name
    known = unsurveyed.values[np.isfinite(unsurveyed.values)]
    return f"{name}: {100 * float((known > 0.5).mean()):.2g} % of the water"
