"""Draw a result as a small picture: the water on pale land, one scale for all."""

from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.path import Path as Outline
from PIL import Image

from toolbox.formats.shoreline_file import read_shoreline
from toolbox.layers import Grid, Soundings, Tin, Vectors
from toolbox.report.drawing import FAULT, INK, LAND, PAPER, depth_ramp
from toolbox.units import round_number

__all__ = ["draw", "shrink"]

HERE = Path(__file__).resolve().parent
SAMPLE, INPUTS = HERE.parents[1] / "sample_layers", HERE / "inputs"
SIZE, DPI = (4.8, 3.9), 110
COLOURS, MOST_BYTES = (64, 48, 32, 24, 16, 8), 25_000
WATER = "#dcebf5"
KINDS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#7a5c3e", "#444444")
"""Those of Okabe and Ito (2008), told apart by the colour-blind, and two more."""

ROUND = {"aspect"}
GREY = {"shaded_relief", "relief"}


def draw(result: Any, read: list[str], path: Path) -> None:
    """Draw a layer over the water that was read, and write it as a PNG of few colours."""
    water = _water("pond.geojson" if any("pond" in name for name in read) else "shoreline.gpkg")
    figure = Figure(SIZE, DPI, facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    _fill_water(axes, water)
    _DRAW[type(result)](figure, axes, result)
    _outline(axes, water)
    with BytesIO() as held:
        figure.savefig(held, format="png")
        shrink(Image.open(held), path)


def shrink(picture: Image.Image, path: Path) -> None:
    """Write a picture in few colours, no wider than the gallery shows."""
    width = round(SIZE[0] * DPI)
    if picture.width > width:
        high = round(picture.height * width / picture.width)
        picture = picture.convert("RGB").resize((width, high), Image.Resampling.LANCZOS)
    for colours in COLOURS:
        few = picture.convert("RGB").quantize(colours, Image.Quantize.MAXCOVERAGE, kmeans=2)
        few.save(path, optimize=True)
        if path.stat().st_size <= MOST_BYTES:
            break


@cache
def _water(name: str) -> Any:
    return read_shoreline((SAMPLE if name == "shoreline.gpkg" else INPUTS) / name).polygons


def _outline(axes: Any, water: Any) -> None:
    for part in water.geoms:
        for ring in (part.exterior, *part.interiors):
            axes.plot(*np.array(ring.coords).T, color=INK, lw=0.8)
    west, south, east, north = water.bounds
    wide = east - west
    edge, foot = 0.03 * wide, south - 0.03 * wide
    limits = {"xlim": (west - edge, east + edge), "ylim": (foot - 0.03 * wide, north + edge)}
    axes.set(**limits, aspect="equal")
    axes.set(xticks=[], yticks=[], facecolor=LAND)
    bar = round_number(wide / 4)
    axes.plot([west, west + bar], [foot, foot], color=INK, lw=2)
    axes.text(west + bar + edge / 2, foot, f"{bar:.0f} m", fontsize=8, va="center", color=INK)
    for spine in axes.spines.values():
        spine.set_visible(False)


def _fill_water(axes: Any, water: Any) -> None:
    rings = [ring for part in water.geoms for ring in (part.exterior, *part.interiors)]
    outline = Outline.make_compound_path(*[Outline(np.array(ring.coords)) for ring in rings])
    axes.add_patch(mpl.patches.PathPatch(outline, fc=WATER, ec="none", zorder=0.5))


def _bar(figure: Figure, axes: Any, shading: Any, name: str, unit: str) -> Any:
    bar = figure.colorbar(shading, ax=axes, orientation="horizontal", aspect=36, pad=0.01)
    label = name.replace("_", " ") + ("" if unit in ("1", "") else f", {unit}")
    bar.set_label(label, fontsize=9, color=INK)
    bar.ax.tick_params(labelsize=8, colors=INK)
    bar.outline.set_visible(False)
    return bar


def _draw_grid(figure: Figure, axes: Any, grid: Grid) -> None:
    known = grid.values[np.isfinite(grid.values)]
    low, high = np.quantile(known, [0.01, 0.99])
    ramp: Any = "viridis"
    classed = len(np.unique(known)) <= 11 and np.array_equal(known, np.round(known))
    if grid.name == "depth":
        ramp, low, high = depth_ramp(), 0, float(known.max())
    elif grid.name in ROUND:
        ramp, low, high = "twilight", 0, 360
    elif grid.name in GREY:
        ramp = "gray"
    elif classed:
        ramp, low, high = _classes(int(known.min()), int(known.max()))
    elif low < 0 < high:
        high = max(-low, high)
        ramp, low = "PuOr_r", -high
    left, bottom, right, top = grid.bounds
    image = axes.imshow(
        np.ma.masked_invalid(grid.values), extent=(left, right, bottom, top), cmap=ramp,
        vmin=low, vmax=max(high, low + 1e-9), interpolation="nearest", zorder=0.8,
    )  # fmt: skip
    bar = _bar(figure, axes, image, grid.name, grid.unit)
    if classed:
        bar.set_ticks(np.arange(known.min(), known.max() + 1))


def _classes(low: int, high: int) -> tuple[Any, float, float]:
    """Return a colour for each whole number: of two, 1 stands out."""
    both = [WATER, KINDS[2]]
    shades = both[low : high + 1] if {low, high} <= {0, 1} else mpl.colormaps["tab10"].colors
    return ListedColormap(list(shades)[: high - low + 1]), low - 0.5, high + 0.5


def _draw_soundings(figure: Figure, axes: Any, soundings: Soundings) -> None:
    place, flag = soundings.coordinates, soundings.flag
    dots = axes.scatter(*place[~flag].T, c=soundings.depth[~flag], s=4, lw=0, cmap=depth_ramp())
    for reason, part in soundings.frame[flag].groupby("reason"):
        colour = "#8a8a8a" if reason == "no depth" else FAULT
        look = {"ms": 5, "mew": 1.4, "color": colour, "ls": "none"}
        axes.plot(part.geometry.x, part.geometry.y, "x", label=f"{len(part):,} {reason}", **look)
    if flag.any():
        axes.legend(loc="upper left", fontsize=8, frameon=False)
    _bar(figure, axes, dots, "depth", "m")


def _draw_bed(figure: Figure, axes: Any, bed: Tin) -> None:
    shading = axes.tripcolor(
        *bed.vertices.T, bed.triangles, bed.depth, shading="gouraud", cmap=depth_ramp()
    )
    if len(bed.triangles) < 12_000:
        axes.triplot(*bed.vertices.T, bed.triangles, color=INK, lw=0.15, alpha=0.6)
    _bar(figure, axes, shading, "depth", "m")


def _draw_vectors(figure: Figure, axes: Any, vectors: Vectors) -> None:
    frame = vectors.frame
    column = next((name for name in _COLUMNS if name in frame and frame[name].notna().any()), None)
    if column in ("depth_m", "height_m") and frame[column].nunique() > len(KINDS):
        place = np.column_stack([frame.geometry.x, frame.geometry.y])
        height = frame["height_m"] if "height_m" in frame else frame[column]
        dots = axes.scatter(*place.T, c=height, s=7, lw=0, cmap="viridis", zorder=2)
        _bar(figure, axes, dots, str(height.name).removesuffix("_m"), "m")
        return
    groups = [("", frame)] if column is None else list(frame.groupby(column, sort=True))
    if "label" in frame:
        for shape, text in zip(frame.geometry, frame["label"], strict=True):
            axes.text(shape.x, shape.y, text, fontsize=9, ha="center", va="center", color=INK)
        return
    ramp, alpha = _ramp(len(groups), column), 0.4 if column == "species" else 0.8
    for number, (value, part) in enumerate(groups):
        label = _label(value, column)
        for at, shape in enumerate(part.geometry):
            _draw_shape(axes, shape, ramp[number], label if at == 0 else None, alpha)
    if 1 < len(groups) <= 9:
        place = {"loc": "outside lower center", "ncols": 3, "fontsize": 8, "frameon": False}
        figure.legend(**place)


_COLUMNS = ("kind", "species", "from_m", "depth_m", "height_m")


def _ramp(count: int, column: str | None) -> list[Any]:
    if column in ("from_m", "depth_m", "height_m", "fall_m") and count > 1:
        ramp = depth_ramp()
        return [ramp(0.2 + 0.75 * number / (count - 1)) for number in range(count)]
    return [KINDS[number % len(KINDS)] for number in range(count)]


def _label(value: Any, column: str | None) -> str:
    if isinstance(value, str):
        return value
    return f"{column} {value:g}".replace("_m ", " ") + " m" if column else ""


def _draw_shape(axes: Any, shape: Any, colour: Any, label: str | None, alpha: float) -> None:
    for part in shapely.get_parts(shape):
        if part.geom_type == "Point":
            axes.plot(part.x, part.y, "o", ms=4.5, mec=PAPER, mew=0.4, color=colour, label=label)
        elif part.geom_type == "LineString":
            axes.plot(*np.array(part.coords)[:, :2].T, color=colour, lw=1.6, label=label)
        else:
            rings = [np.array(ring.coords)[:, :2] for ring in (part.exterior, *part.interiors)]
            outline = Outline.make_compound_path(*[Outline(ring) for ring in rings])
            look = {"fc": colour, "ec": colour, "lw": 1, "alpha": alpha, "label": label}
            axes.add_patch(mpl.patches.PathPatch(outline, **look))
        label = None


_DRAW: dict[type, Any] = {
    Grid: _draw_grid, Soundings: _draw_soundings, Tin: _draw_bed, Vectors: _draw_vectors,
}  # fmt: skip
