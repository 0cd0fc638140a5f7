"""Figures: the bed as a picture."""

import math
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.layers import Grid, Shoreline, Soundings, Vectors
from toolbox.report.text import title_lines
from toolbox.units import round_number

__all__ = ["write_map"]

INK, PAPER, LAND, FAULT = "#22303a", "#ffffff", "#efece4", "#b3402a"
CAUTION = "Not for navigation. Depths hold for the datum; between soundings they are interpolated."
_WIDTH_INCHES = 9.0
_MOST_PIXELS = 1600


def write_map(
    depth: Grid,
    shoreline: Shoreline,
    soundings: Soundings,
    title: str,
    path: Path,
    *,
    isobaths: Vectors | None = None,
    labels: Vectors | None = None,
    unsurveyed: Grid | None = None,
) -> None:
    """Draw the depths of a water, its soundings and its shoreline, and write a PNG.

    Parameters
    ----------
    depth : Grid
        Depth, m.
    shoreline : Shoreline
        The water.
    soundings : Soundings
        Kept ones as dots, rejected ones as crosses.
    title : str
        Name of the water, taken literally.
    path : Path
        File to write.
    isobaths : Vectors, optional
        Lines of equal depth.
    labels : Vectors, optional
        Where their numbers stand.
    unsurveyed : Grid, optional
        1 where the bed is a guess: veiled and hatched.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(_WIDTH_INCHES, _height(depth)), dpi=160, layout="constrained")
    FigureCanvasAgg(figure)
    figure.get_layout_engine().set(w_pad=0.12, h_pad=0.12)  # type: ignore[union-attr,call-arg]
    axes = figure.add_subplot()
    shading = _draw_depth(axes, depth)
    if unsurveyed is not None:
        _draw_unsurveyed(axes, unsurveyed)
    if isobaths is not None:
        _draw_isobaths(axes, isobaths)
    if labels is not None:
        _draw_labels(axes, labels)
    _draw_shoreline(axes, shoreline)
    _draw_soundings(axes, soundings)
    _frame(axes, depth, shoreline, title)
    _colour_bar(figure, axes, shading, depth)
    axes.legend(loc="upper left", fontsize=7, framealpha=0.9, edgecolor="none", facecolor=PAPER)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from font")  # drawn as empty boxes
        figure.savefig(path, facecolor=PAPER)


def _height(depth: Grid) -> float:
    left, bottom, right, top = depth.bounds
    return float(np.clip(_WIDTH_INCHES * 0.86 * (top - bottom) / (right - left) + 1.1, 4.0, 12.0))


def _coarse(depth: Grid) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Thin a grid to what a picture can show: values, eastings and northings of cell centres."""
    step = max(1, math.ceil(max(depth.shape) / _MOST_PIXELS))
    left, _, _, top = depth.bounds
    rows, cols = (np.arange(0, count, step) + 0.5 for count in depth.shape)
    return depth.values[::step, ::step], left + cols * depth.cell, top - rows * depth.cell


def _draw_depth(axes: Any, depth: Grid) -> Any:
    values, easting, northing = _coarse(depth)
    shallowest, deepest = min(0.0, float(np.nanmin(values))), float(np.nanmax(values))
    deepest = max(deepest, shallowest + 0.01)  # a level bed has a depth too
    shading = axes.pcolormesh(
        easting,
        northing,
        values,
        cmap=_depth_ramp(),
        vmin=shallowest,
        vmax=deepest,
        shading="nearest",
        rasterized=True,
    )
    return shading


def _draw_isobaths(axes: Any, isobaths: Vectors) -> None:
    import shapely
    from matplotlib.collections import LineCollection

    shapes = isobaths.frame.geometry.to_numpy()
    heavy = np.where(isobaths.frame["index_line"].to_numpy(bool), 0.9, 0.45)
    lines = [shapely.get_coordinates(shape) for shape in shapes]
    axes.add_collection(LineCollection(lines, colors=PAPER, linewidths=heavy, alpha=0.85))


def _draw_labels(axes: Any, labels: Vectors) -> None:
    for row in labels.frame.itertuples():
        axes.text(
            row.geometry.x,
            row.geometry.y,
            row.label,
            rotation=-row.upright_deg,
            rotation_mode="anchor",
            fontsize=6,
            color=PAPER,
            ha="center",
            va="center",
            clip_on=True,
        )


def _draw_unsurveyed(axes: Any, unsurveyed: Grid) -> None:
    values, easting, northing = _coarse(unsurveyed)
    guessed = np.nan_to_num(values) > 0.5
    if not guessed.any() or min(values.shape) < 2:
        return
    veil = axes.contourf(
        easting,
        northing,
        guessed.astype(float),
        levels=[0.5, 1.5],
        colors=[PAPER],
        alpha=0.45,
        hatches=["//"],
    )
    veil.set_edgecolor(INK)
    veil.set_linewidth(0.0)
    axes.fill([], [], facecolor=PAPER, edgecolor=INK, hatch="//", lw=0.0, label="not surveyed")


def _depth_ramp() -> Any:
    """Return a ramp even to the eye, also in grey and to the colour-blind."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
        import cmocean
    return cmocean.cm.deep


def _draw_shoreline(axes: Any, shoreline: Shoreline) -> None:
    import shapely

    for part in shoreline.polygons.geoms:
        for ring in (part.exterior, *part.interiors):
            axes.plot(*shapely.get_coordinates(ring).T, color=INK, lw=0.9)
        for hole in part.interiors:
            axes.fill(*shapely.get_coordinates(hole).T, color=LAND)
    if shoreline.open_edges is not None:
        for edge in shoreline.open_edges.geoms:
            axes.plot(*shapely.get_coordinates(edge).T, color=PAPER, lw=1.4, ls=(0, (3, 3)))


def _draw_soundings(axes: Any, soundings: Soundings) -> None:
    place, flag = soundings.coordinates, soundings.flag
    kept, rejected = place[~flag], place[flag & np.isfinite(place).all(axis=1)]
    size = float(np.clip(3000 / max(len(kept), 1), 0.05, 3))
    axes.scatter(
        *kept.T, s=size, c=INK, lw=0, alpha=0.55, label=f"{len(kept):,} soundings", rasterized=True
    )
    if len(rejected):
        axes.scatter(
            *rejected.T, s=22, c=FAULT, marker="x", lw=1, label=f"{len(rejected):,} rejected"
        )


def _frame(axes: Any, depth: Grid, shoreline: Shoreline, title: str) -> None:
    west, south, east, north = shoreline.polygons.bounds
    margin = 0.04 * max(east - west, north - south)
    axes.set(
        xlim=(west - margin, east + margin), ylim=(south - margin, north + margin), aspect="equal"
    )
    axes.set_facecolor(LAND)
    axes.set_title(title_lines(title), loc="left", fontsize=13, color=INK)
    axes.set_xlabel(
        f"{CAUTION}\nCoordinates: easting and northing in m, {_crs_name(depth)}",
        fontsize=6.5,
        color=INK,
        parse_math=False,
    )
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(labelsize=6, colors=INK)
    axes.tick_params(axis="y", labelrotation=90)
    _scale_bar(axes, west, south, east, margin)
    _north_arrow(axes)


def _crs_name(depth: Grid) -> str:
    return "a plane" if depth.crs is None else depth.crs.name


def _scale_bar(axes: Any, west: float, south: float, east: float, margin: float) -> None:
    length = round_number((east - west) / 5)
    base, start = south - margin * 0.45, west
    axes.plot([start, start + length], [base, base], color=INK, lw=2.5, solid_capstyle="butt")
    axes.annotate(
        f"{length:g} m",
        (start + length, base),
        (4, 0),
        textcoords="offset points",
        fontsize=7,
        va="center",
        color=INK,
    )


def _north_arrow(axes: Any) -> None:
    """Draw it above the map, where it hides nothing."""
    arrow = {"arrowstyle": "-|>", "color": INK, "shrinkA": 0, "shrinkB": 0}
    place = {"xycoords": "axes fraction", "textcoords": "axes fraction", "annotation_clip": False}
    axes.annotate("", (0.99, 1.04), (0.99, 1.006), arrowprops=arrow, **place)
    axes.annotate(
        "grid north", (0.98, 1.01), (0.98, 1.01), fontsize=6, ha="right", color=INK, **place
    )


def _colour_bar(figure: Any, axes: Any, shading: Any, depth: Grid) -> None:
    bar = figure.colorbar(shading, ax=axes, shrink=0.7, pad=0.015, aspect=28)
    bar.ax.invert_yaxis()
    bar.set_label("depth below datum, m", fontsize=7, color=INK)
    bar.ax.tick_params(labelsize=6, colors=INK)
