"""Drawing: what all pictures of a water have in common."""

import math
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

import numpy as np

from toolbox.formats.captions import CAUTION
from toolbox.formats.depth_colours import INK, PAPER, readable
from toolbox.formats.depth_colours import depth_ramp as ramp_of_depth
from toolbox.isobaths.labels import isobath_labels
from toolbox.layers import Grid, Shoreline, Vectors
from toolbox.report.text import title_lines
from toolbox.units import convert, round_number

__all__ = [
    "CAUTION",
    "FAULT",
    "INK",
    "LAND",
    "PAPER",
    "SCALE_BAR",
    "Bounds",
    "coarse",
    "depth_ramp",
    "draw_depth",
    "draw_isobaths",
    "draw_shoreline",
    "draw_unsurveyed",
    "frame",
    "in_unit",
    "legend",
    "paint",
    "settle",
    "window",
]

LAND, FAULT = "#efece4", "#b3402a"
SCALE_BAR = "scale bar"
_WIDTH_INCHES = 9.0
_ACROSS = 0.88  # of the sheet, that the picture takes beside the bar
_MOST_PIXELS = 1600
_MARGIN = 0.04  # of the longer side
_DIGITS_MM = 2.2  # with what surrounds them, of the numbers on isobaths
_METRES_PER_INCH = 0.0254
_POINTS_PER_INCH = 72.0
_TITLE_POINTS = 13.0
_SETTLES = 5  # times: the layout gives the map its shape, that moves the title, and that the layout
_SPACING_MM = 60.0  # between numbers on one isobath
_CLEAR_MM = 2.5

Bounds = tuple[float, float, float, float]


def paint(
    path: Path,
    bounds: Bounds,
    draw: Callable[[Any, Any], None],
    *,
    around: float = 1.1,
    dots: int = 160,
) -> None:
    """Draw on a sheet as high as the water asks for, and write it as PNG.

    Parameters
    ----------
    path : Path
        File to write.
    bounds : tuple of float
        West, south, east and north of what is shown, m.
    draw : callable
        Given the figure and its axes.
    around : float
        Height of what is written above and below the picture, inches.
    dots : int
        To an inch; the sheet is nine inches wide.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(
        figsize=(_WIDTH_INCHES, _height(bounds, around)), dpi=dots, layout="constrained"
    )
    FigureCanvasAgg(figure)
    figure.get_layout_engine().set(w_pad=0.12, h_pad=0.08)  # type: ignore[union-attr,call-arg]
    axes = figure.add_subplot()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from font")  # drawn as empty boxes
        draw(figure, axes)
        figure.savefig(path, facecolor=PAPER)


def window(depth: Grid, bounds: Bounds) -> Grid:
    """Return the part of a grid that a picture of these bounds shows."""
    from affine import Affine

    left, _, _, top = depth.bounds
    west, south, east, north = bounds
    rows = np.clip([(top - north) // depth.cell - 1, (top - south) // depth.cell + 2], 0, None)
    cols = np.clip([(west - left) // depth.cell - 1, (east - left) // depth.cell + 2], 0, None)
    part = depth.values[slice(*rows.astype(int)), slice(*cols.astype(int))]
    moved = depth.transform @ Affine.translation(cols[0], rows[0])
    return Grid(part, moved, depth.crs, depth.name, depth.unit)


def _height(bounds: Bounds, around: float) -> float:
    west, south, east, north = bounds
    shown = 2 * _MARGIN * max(east - west, north - south)
    ratio = (north - south + shown) / (east - west + shown)
    return float(np.clip(_WIDTH_INCHES * _ACROSS * ratio + around, 4.3, 12.0))


def coarse(depth: Grid) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Thin a grid to what a picture can show: values, eastings and northings of cell centres."""
    step = max(1, math.ceil(max(depth.shape) / _MOST_PIXELS))
    left, _, _, top = depth.bounds
    rows, cols = (np.arange(0, count, step) + 0.5 for count in depth.shape)
    return depth.values[::step, ::step], left + cols * depth.cell, top - rows * depth.cell


def depth_ramp(strength: float = 1.0) -> Any:
    """Return a ramp even to the eye, also in grey and to the colour-blind.

    Parameters
    ----------
    strength : float
        1 as it is; less is nearer to paper, for what is drawn over it.
    """
    from matplotlib.colors import ListedColormap

    deepest = 0.4 + 0.6 * strength  # near black would turn to mud
    colours = ramp_of_depth(deepest) / 255
    return ListedColormap(1 - strength * (1 - colours), name="depth")


def draw_depth(
    figure: Any,
    axes: Any,
    depth: Grid,
    *,
    strength: float = 1.0,
    ramp: Any = None,
    unit: str = "m",
) -> Any:
    """Draw the depths and a bar that tells them; return what turns a depth into a colour."""
    values, easting, northing = coarse(depth)
    shallowest, deepest = min(0.0, float(np.nanmin(values))), float(np.nanmax(values))
    shading = axes.pcolormesh(
        easting,
        northing,
        values,
        cmap=depth_ramp(strength) if ramp is None else ramp,
        vmin=shallowest,
        vmax=max(deepest, shallowest + 0.01),  # a level bed has a depth too
        shading="nearest",
        rasterized=True,
    )
    bar = figure.colorbar(shading, ax=axes, shrink=0.7, pad=0.015, aspect=28)
    bar.ax.invert_yaxis()
    bar.set_label(f"depth below datum, {unit}", fontsize=7, color=INK)
    bar.ax.tick_params(labelsize=6, colors=INK)
    return shading


def in_unit(isobaths: Vectors, unit: Literal["m", "ft"]) -> Vectors:
    """Return isobaths with their ``depth_m`` in a unit, in which they are to be numbered."""
    frame = isobaths.frame
    if unit == "ft" and "depth_ft" in frame:
        depths = np.round(frame["depth_ft"].to_numpy(float), 2)
    else:
        depths = frame["depth_m"].to_numpy(float)
        depths = np.round(convert(depths, "m", unit), 1) if unit == "ft" else depths
    plain = frame.assign(depth_m=depths).drop(columns="depth_ft", errors="ignore")
    return Vectors(plain, isobaths.name, isobaths.notes)


def draw_isobaths(
    figure: Any, axes: Any, isobaths: Vectors, shading: Any, keep_off: np.ndarray | None = None
) -> None:
    """Draw isobaths and their numbers, once the layout is settled.

    Parameters
    ----------
    figure, axes
        As given by :func:`paint`.
    isobaths : Vectors
        Lines with ``depth_m`` and ``index_line``.
    shading
        From :func:`draw_depth`.
    keep_off : (n, 2) array, optional
        Places beside which no number stands, m.
    """
    import shapely
    from matplotlib.collections import LineCollection

    if not len(isobaths):
        return
    depths = isobaths.frame["depth_m"].to_numpy(float)
    heavy = np.where(isobaths.frame["index_line"].to_numpy(bool), 0.9, 0.45)
    lines = [shapely.get_coordinates(shape) for shape in isobaths.frame.geometry]
    colours = [readable(255 * beneath) for beneath in shading.to_rgba(depths)]
    axes.add_collection(LineCollection(lines, colors=colours, linewidths=heavy, alpha=0.85))
    scale = _scale(figure, axes)
    spacing = _SPACING_MM * scale / 1000
    labels = isobath_labels(isobaths, scale=max(scale, 1.0), height=_DIGITS_MM, spacing=spacing)
    _draw_numbers(axes, _clear_of(keep_off, labels, _CLEAR_MM * scale / 1000), shading)


def _scale(figure: Any, axes: Any) -> float:
    """Return by how much larger the water is than its picture on paper."""
    dots = np.diff(axes.transData.transform([(0, 0), (1, 0)])[:, 0])[0]
    return float(figure.dpi / dots / _METRES_PER_INCH)


def _clear_of(places: np.ndarray | None, labels: Vectors, least: float) -> Vectors:
    import shapely

    if places is None:
        return labels
    away = shapely.distance(labels.frame.geometry.to_numpy(), shapely.multipoints(places))
    return Vectors(labels.frame[away > least], labels.name)


def _draw_numbers(axes: Any, labels: Vectors, shading: Any) -> None:
    from matplotlib.patheffects import withStroke

    colours = shading.to_rgba(labels.frame["depth_m"].to_numpy(float))
    for row, beneath in zip(labels.frame.itertuples(), colours, strict=True):
        axes.text(
            row.geometry.x,
            row.geometry.y,
            row.label,
            rotation=-row.upright_deg,
            rotation_mode="anchor",
            fontsize=6,
            color=readable(255 * beneath),
            ha="center",
            va="center_baseline",
            clip_on=True,
            zorder=2.5,
            path_effects=[withStroke(linewidth=2.2, foreground=beneath)],  # parts its line
        )


def draw_unsurveyed(axes: Any, unsurveyed: Grid) -> None:
    """Veil and hatch where the bed is a guess."""
    values, easting, northing = coarse(unsurveyed)
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
    axes.fill([], [], facecolor=PAPER, edgecolor=INK, hatch="////", lw=0.4, label="not surveyed")


def draw_shoreline(axes: Any, shoreline: Shoreline, *, land: str = LAND) -> None:
    """Draw the edge of the water, islands as land, and break the edge where it is open."""
    import shapely

    for part in shoreline.polygons.geoms:
        for ring in (part.exterior, *part.interiors):
            axes.plot(*shapely.get_coordinates(ring).T, color=INK, lw=0.9)
        for hole in part.interiors:
            axes.fill(*shapely.get_coordinates(hole).T, color=land)
    if shoreline.open_edges is not None:
        for edge in shoreline.open_edges.geoms:
            axes.plot(*shapely.get_coordinates(edge).T, color=PAPER, lw=1.4, ls=(0, (3, 3)))


def frame(
    axes: Any,
    depth: Grid,
    bounds: Bounds,
    title: str,
    caution: str = CAUTION,
    *,
    unit: str = "m",
) -> None:
    """Set the bounds, and write title, caution, CRS, scale and north around the picture."""
    west, south, east, north = bounds
    margin = _MARGIN * max(east - west, north - south)
    axes.set(
        xlim=(west - margin, east + margin), ylim=(south - margin, north + margin), aspect="equal"
    )
    axes.set_facecolor(LAND)
    _entitle(axes, title)
    name = "a plane" if depth.crs is None else depth.crs.name
    axes.set_xlabel(
        f"{caution}\nCoordinates: easting and northing in m, {name}",
        fontsize=6.5,
        color=INK,
        parse_math=False,
    )
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(labelsize=6, colors=INK)
    axes.tick_params(axis="y", labelrotation=90)
    _scale_bar(axes, west, south, east, margin, unit)
    _north_arrow(axes)


def _entitle(axes: Any, title: str) -> None:
    """Write the title, on a sheet that is the higher the more lines it has."""
    lines, figure = title_lines(title), axes.get_figure()
    axes.set_title(lines, loc="left", fontsize=_TITLE_POINTS, color=INK)
    more = 1.2 * _TITLE_POINTS / _POINTS_PER_INCH * lines.count("\n")
    figure.set_figheight(figure.get_figheight() + more)


def legend(figure: Any, axes: Any) -> None:
    """Explain the signs below the picture, where that hides nothing, and settle the layout."""
    handles, names = axes.get_legend_handles_labels()
    if names:
        figure.legend(
            handles,
            names,
            loc="outside lower center",
            ncols=min(len(names), 6),
            fontsize=7,
            frameon=False,
            handlelength=2.6,
            labelcolor=INK,
        )
    settle(figure, times=_SETTLES)


def settle(figure: Any, *, times: int = 1) -> None:
    """Settle the layout: what is placed by it must not move any more.

    Parameters
    ----------
    figure
        With an engine that lays it out.
    times : int
        That it may take until nothing moves.
    """
    before: list[Any] = []
    with _without_contents(figure):
        for _ in range(times):
            figure.draw_without_rendering()
            after = [
                (*part.get_position().bounds, *part.title.get_position()) for part in figure.axes
            ]
            if after == before:
                break
            before = after
    figure.set_layout_engine("none")


@contextmanager
def _without_contents(figure: Any) -> Iterator[None]:
    """Leave out what lies within axes: it takes long to draw, and no layout hangs on it."""
    inner = [part for axes in figure.axes for part in (*axes.collections, *axes.lines)]
    hidden = [part for part in inner if part.get_clip_on() and part.get_visible()]
    for part in hidden:
        part.set_visible(False)
    try:
        yield
    finally:
        for part in hidden:
            part.set_visible(True)


def _scale_bar(axes: Any, west: float, south: float, east: float, margin: float, unit: str) -> None:
    length = round_number(convert((east - west) / 5, "m", unit))
    base, start = south - margin * 0.45, west
    ends = [start, start + convert(length, unit, "m")]
    axes.plot(ends, [base, base], color=INK, lw=2.5, solid_capstyle="butt", gid=SCALE_BAR)
    axes.annotate(
        f"{length:g} {unit}",
        (ends[1], base),
        (4, 0),
        textcoords="offset points",
        fontsize=7,
        va="center",
        color=INK,
        gid=SCALE_BAR,
    )


def _north_arrow(axes: Any) -> None:
    """Draw it above the map, where it hides nothing."""
    arrow = {"arrowstyle": "-|>", "color": INK, "shrinkA": 0, "shrinkB": 0}
    place = {"xycoords": "axes fraction", "textcoords": "axes fraction", "annotation_clip": False}
    axes.annotate("", (0.99, 1.04), (0.99, 1.006), arrowprops=arrow, **place)
    axes.annotate(
        "grid north", (0.98, 1.01), (0.98, 1.01), fontsize=6, ha="right", color=INK, **place
    )
