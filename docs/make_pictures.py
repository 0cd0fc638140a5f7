"""Draw the pictures of fitted-bed.md, and tell the figures that the page quotes.

The sample survey is fitted, once with all its soundings and once with its casts alone, and compared
with the known bed of the invented lake.

    python docs/make_pictures.py [folder]
"""

import sys
import warnings
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from toolbox.bed.fitting import fit_bed
from toolbox.bed.gridding import grid_bed
from toolbox.bed.location import interpolated, locate
from toolbox.bed.triangulation import triangulate
from toolbox.bed.uncertainty import LEAST_SUPPORT, band, depth_sd_grid, support_grid
from toolbox.layers import Grid, Shoreline, Soundings, Tin
from toolbox.layers.geodesy import areal_scale
from toolbox.reduction.spread import estimate_spread
from toolbox.report.drawing import FAULT, INK, LAND, PAPER
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import read_inputs
from toolbox.survey.settings import load_settings
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume

sys.path.append(str(Path(__file__).resolve().parents[1]))

from sample_layers import lake

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
    import cmocean

HERE = Path(__file__).resolve().parent
SAMPLE = HERE.parent / "sample_layers"
FIT, BAND = "#1f6f9f", "#b9d6e6"
DASHES, IN_BAND = (0, (4, 2)), "its 90 % band"
Z90 = 1.645
WIDTH, DPI = 5.0, 200
"""Inches: at the width of a phone a point of text is about a pixel."""

CELL = 2.0
LEVELS = np.arange(0, 15.1, 0.25)
AHEAD = np.array([np.cos(np.radians(12)), -np.sin(np.radians(12))])
"""Across the boat's lines, which run 12 degrees east of grid north."""

SECTIONS = {
    "A": (np.array([-168, -85]), np.array([216, -167])),
    "B": (np.array([84, 165]) - 62 * AHEAD, np.array([84, 165]) + 85 * AHEAD),
}
"""Ends in metres from the lake's origin: A over the gully, B along the edge of the shelf."""


@dataclass(frozen=True, eq=False)
class Compared:
    """Both beds of the same soundings, and the true one."""

    shoreline: Shoreline
    soundings: Soundings
    fitted: Tin
    plain: Tin

    @classmethod
    def of(cls, soundings: Soundings, shoreline: Shoreline) -> "Compared":
        """Make them."""
        fitted = fit_bed(soundings, shoreline)
        return cls(shoreline, soundings, fitted, triangulate(soundings, shoreline))

    @cached_property
    def places(self) -> np.ndarray:
        """Centres of cells all over the water, (n, 2)."""
        west, south, east, north = self.shoreline.polygons.bounds
        axes = (np.arange(low, high, CELL) for low, high in ((west, east), (south, north)))
        places = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
        return places[self.shoreline.contains(places)]

    @cached_property
    def scale(self) -> float:
        """Area on the ground of a square metre of the map, m2."""
        middle = np.array(self.shoreline.polygons.centroid.coords)
        return 1 / float(areal_scale(self.shoreline.crs, middle)[0])

    def told(self, name: str) -> str:
        """Return the figures of the page."""
        truth = lake.bed_depth(*self.places.T)
        depth, sd, support = (
            along(self.fitted, values, self.places)
            for values in (self.fitted.depth, self.fitted.sd, self.fitted.support)
        )
        plain = along(self.plain, self.plain.depth, self.places)
        wet = np.isfinite(depth) & np.isfinite(plain)
        held, known = np.abs(depth - truth) < Z90 * sd, support >= LEAST_SUPPORT
        edge = np.array([0.0])
        volumes = [area_and_volume(bed, edge)[1][0] for bed in (self.fitted, self.plain)]
        low, high = band(drawn_area_and_volume(self.fitted, edge)[1][:, 0])
        true_volume = lake.truth().volume * self.scale
        parts = {"all": wet, "surveyed": wet & known, "unsurveyed": wet & ~known}
        lines = [name, *(f"  {note}" for note in self.fitted.notes)]
        lines += [
            f"  {what}: {part.sum() / wet.sum():.4f} of the bed, off by "
            f"{off((depth - truth)[part])} m, triangulated {off((plain - truth)[part])} m, "
            f"{held[part].mean():.3f} within the band"
            for what, part in parts.items()
        ]
        errors = ", ".join(f"{volume / true_volume - 1:+.2%}" for volume in volumes)
        lines.append(
            f"  volume {volumes[0]:,.0f} ({low:,.0f} to {high:,.0f}), triangulated "
            f"{volumes[1]:,.0f}, true {true_volume:,.0f} m3 on the ground; off by {errors}"
        )
        return "\n".join(lines)


def off(errors: np.ndarray) -> str:
    """Return the root mean square of errors, m."""
    return f"{np.sqrt(np.mean(errors**2)):.3f}"


def along(bed: Tin, values: Any, places: np.ndarray) -> np.ndarray:
    """Return values of a bed's vertices at places (n, 2)."""
    found = locate(bed.vertices, bed.triangles, places)
    return np.asarray(interpolated(values, bed.triangles, found))


# ---- maps ----


def draw_map(
    compared: Compared, grid: Grid, ramp: Any, bounds: np.ndarray, label: str
) -> tuple[Figure, Any]:
    """Draw a grid in bands of colour, with the shoreline and the soundings."""
    figure = new_figure(4.1)
    axes = figure.add_subplot()
    beyond = float(np.nanmax(grid.values)) > bounds[-1]
    norm = BoundaryNorm(bounds, ramp.N, extend="max" if beyond else "neither")
    left, bottom, right, top = grid.bounds
    image = axes.imshow(
        np.ma.masked_invalid(grid.values),
        extent=(left, right, bottom, top),
        cmap=ramp,
        norm=norm,
        interpolation="nearest",
    )
    outline(axes, compared.shoreline)
    kept = compared.soundings.kept
    axes.plot(*kept.coordinates.T, ".", ms=0.9, mec="none", mfc=INK, alpha=0.7)
    bar = figure.colorbar(
        image, ax=axes, orientation="horizontal", aspect=32, pad=0.02, spacing="uniform"
    )
    bar.set_label(label, fontsize=9, color=INK)
    bar.ax.tick_params(labelsize=9, colors=INK)
    return figure, axes


def outline(axes: Any, shoreline: Shoreline) -> None:
    """Draw the shore, a scale bar and north, and leave coordinates out."""
    for part in shoreline.polygons.geoms:
        for ring in (part.exterior, *part.interiors):
            axes.plot(*np.array(ring.coords).T, color=INK, lw=1)
    west, south, east, north = shoreline.polygons.bounds
    axes.set(xlim=(west - 12, east + 12), ylim=(south - 12, north + 12), aspect="equal")
    axes.set(xticks=[], yticks=[], facecolor=LAND)
    axes.plot([west + 5, west + 105], [south + 5, south + 5], color=INK, lw=2.5)
    axes.text(west + 112, south + 5, "100 m", fontsize=9, va="center", color=INK)
    arrow = {"arrowstyle": "-|>", "color": INK, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (west + 20, north + 5), (west + 20, north - 45), arrowprops=arrow)
    axes.text(west + 32, north - 20, "grid north", fontsize=9, va="center", color=INK)


def mark_sections(axes: Any) -> None:
    """Draw where the sections run."""
    for name, ends in SECTIONS.items():
        start, end = (np.array(lake.ORIGIN) + place for place in ends)
        axes.plot(*np.array([start, end]).T, color=FAULT, lw=1.8)
        aside = 14 * (end - start) / np.hypot(*(end - start))
        for place, text in ((start - aside, name), (end + aside, f"{name}'")):
            box = {"boxstyle": "round,pad=0.15", "fc": PAPER, "ec": FAULT, "lw": 0.8}
            axes.text(*place, text, fontsize=9, ha="center", va="center", color=FAULT, bbox=box)


def draw_depth(compared: Compared) -> Figure:
    """Draw the fitted depths."""
    grid = grid_bed(compared.fitted, cell=CELL)
    figure, axes = draw_map(
        compared, grid, cmocean.cm.deep, np.arange(0, 13.0), "depth below the datum, m"
    )
    mark_sections(axes)
    return figure


def draw_sd(compared: Compared) -> Figure:
    """Draw how far off they may be."""
    bounds = np.array([0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.7])
    grid = depth_sd_grid(compared.fitted, cell=CELL)
    figure, _ = draw_map(
        compared, grid, cmocean.cm.amp, bounds, "standard deviation of the depth, m"
    )
    return figure


def draw_unsurveyed(compared: Compared) -> Figure:
    """Draw depths from casts alone, hatched where they are a guess."""
    grid = grid_bed(compared.fitted, cell=CELL)
    figure, axes = draw_map(
        compared, grid, cmocean.cm.deep, np.arange(0, 13.0), "depth below the datum, m"
    )
    support = support_grid(compared.fitted, cell=CELL)
    left, _, _, top = support.bounds
    rows, columns = (np.arange(count) + 0.5 for count in support.shape)
    where = left + columns * CELL, top - rows * CELL
    guess = np.where(support.values < LEAST_SUPPORT, 1.0, 0.0)
    axes.contourf(*where, guess, levels=[0.5, 1.5], colors=PAPER, alpha=0.4)
    with rc_context({"hatch.color": INK, "hatch.linewidth": 0.6}):
        axes.contourf(*where, guess, levels=[0.5, 1.5], colors="none", hatches=["////"])
        shown = Patch(fc=PAPER, ec=INK, lw=0.8, hatch="////", label="unsurveyed: a guess")
        figure.canvas.draw()  # hatches take their colour when they are drawn
    axes.contour(*where, guess, levels=[0.5], colors=INK, linewidths=0.9)
    told = Patch(fc=PAPER, ec=INK, lw=0.8, label="surveyed, about the casts")
    place = {"loc": "outside upper left", "ncols": 2, "fontsize": 9, "frameon": False}
    figure.legend(handles=[shown, told], **place)
    return figure


# ---- curves ----


def draw_sections(compared: Compared) -> Figure:
    """Draw both beds and the true one along the sections."""
    figure = new_figure(5.6)
    titles = {"A": "open water and a gully", "B": "the sharp edge of a shelf"}
    panels = {}
    for number, (name, ends) in enumerate(SECTIONS.items(), start=1):
        panels[name] = figure.add_subplot(2, 1, number)
        draw_section(panels[name], compared, *ends)
        panels[name].set_title(" ", fontsize=9.5, loc="left")
    share_legend(figure, panels["B"], "distance along the section, m")
    figure.draw_without_rendering()
    for name, axes in panels.items():
        steep = exaggeration(axes)
        title = f"{name} to {name}': {titles[name]} (vertical {steep:.0f}:1)"
        axes.set_title(title, fontsize=9.5, loc="left", color=INK)
    return figure


def exaggeration(axes: Any) -> float:
    """Return how many times larger heights are drawn than lengths."""
    box, wide, high = axes.get_window_extent(), axes.get_xlim(), axes.get_ylim()
    return float(box.height / abs(high[1] - high[0]) / (box.width / (wide[1] - wide[0])))


def share_legend(figure: Figure, axes: Any, along_what: str) -> None:
    """Explain the curves of all panels below the last of them."""
    axes.set_xlabel(along_what, fontsize=9, color=INK)
    handles, labels = axes.get_legend_handles_labels()
    place = {"loc": "outside lower center", "ncols": 2, "fontsize": 9, "frameon": False}
    figure.legend(handles, labels, **place)


def draw_section(axes: Any, compared: Compared, start: np.ndarray, end: np.ndarray) -> None:
    """Draw one of them, depth down."""
    length = float(np.hypot(*(end - start)))
    at = np.arange(0, length, 0.5)
    places = np.array(lake.ORIGIN) + start + at[:, None] / length * (end - start)
    depth, sd = (
        along(compared.fitted, values, places)
        for values in (compared.fitted.depth, compared.fitted.sd)
    )
    low, high = np.maximum(depth - Z90 * sd, 0), depth + Z90 * sd
    axes.plot(at, lake.bed_depth(*places.T), color=INK, lw=2, label="true bed", zorder=2.1)
    axes.plot(at, depth, color=FIT, lw=1.8, label="fitted bed", zorder=2.2)
    axes.fill_between(at, low, high, color=BAND, lw=0, label=IN_BAND)
    plain = along(compared.plain, compared.plain.depth, places)
    axes.plot(at, plain, color=FAULT, lw=1.3, ls=DASHES, label="triangulated bed", zorder=2.3)
    crossed = near(compared.soundings, places)
    surface = np.zeros(crossed.sum())
    ticks = {"color": INK, "ms": 7, "clip_on": False, "label": "sounding within 1 m"}
    axes.plot(at[crossed], surface, "|", **ticks)
    axes.set(xlim=(0, length), ylim=(max(np.nanmax(high), 6) + 0.4, 0))
    finish(axes, "depth, m")


def near(soundings: Soundings, places: np.ndarray) -> np.ndarray:
    """Tell which places have a sounding within a metre."""
    from scipy.spatial import KDTree

    return np.asarray(KDTree(soundings.kept.coordinates).query(places)[0] < 1)


def draw_curves(surveys: dict[str, Compared]) -> Figure:
    """Draw the area at each depth, its band and the truth."""
    figure = new_figure(5.6)
    for number, (name, compared) in enumerate(surveys.items(), start=1):
        axes = figure.add_subplot(2, 1, number)
        area, volume = area_and_volume(compared.fitted, LEVELS)
        areas, volumes = drawn_area_and_volume(compared.fitted, LEVELS)
        low, high = band(areas / 1e4)
        plain = area_and_volume(compared.plain, LEVELS)[0]
        axes.plot(true_areas(compared) / 1e4, LEVELS, color=INK, lw=2, label="true bed")
        axes.plot(area / 1e4, LEVELS, color=FIT, lw=1.6, label="fitted bed")
        axes.fill_betweenx(LEVELS, low, high, color=BAND, lw=0, label=IN_BAND)
        axes.plot(plain / 1e4, LEVELS, color=FAULT, lw=1.3, ls=DASHES, label="triangulated bed")
        axes.set(xlim=(0, 22), ylim=(15, 0), xticks=range(0, 21, 5), yticks=range(0, 16, 3))
        least, most = (end / 1e6 for end in band(volumes[:, 0]))
        truth = lake.truth().volume * compared.scale / 1e6
        axes.text(
            0.98,
            0.06,
            f"volume, million m³\nfitted {volume[0] / 1e6:.3f}\n90 %: {least:.3f} to {most:.3f}\n"
            f"true {truth:.3f}",
            transform=axes.transAxes,
            fontsize=9,
            ha="right",
            color=INK,
        )
        axes.set_title(name, fontsize=9.5, loc="left", color=INK)
        finish(axes, "depth, m")
    share_legend(figure, axes, "area of water at least so deep, ha")
    return figure


def true_areas(compared: Compared) -> np.ndarray:
    """Return the true area at least so deep as each level, m2 on the ground."""
    depth = np.sort(lake.bed_depth(*compared.places.T))
    count = len(depth) - np.searchsorted(depth, LEVELS)
    return np.asarray(count * (compared.shoreline.polygons.area / len(depth)) * compared.scale)


def new_figure(height: float) -> Figure:
    """Return a sheet of the width of all."""
    figure = Figure(figsize=(WIDTH, height), dpi=DPI, layout="constrained", facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def finish(axes: Any, label: str) -> None:
    """Give axes of a curve their style."""
    axes.set_ylabel(label, fontsize=9, color=INK)
    axes.tick_params(labelsize=9, colors=INK)
    axes.grid(color="#dddddd", lw=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def save(figure: Figure, path: Path) -> None:
    """Write a PNG of few colours, which is a third of the size."""
    from PIL import Image

    figure.savefig(path)
    with Image.open(path) as image:
        few = image.convert("RGB").quantize(96, dither=Image.Dither.NONE)
    few.save(path, optimize=True)


def main() -> None:
    """Draw them all, into the folder given or beside this page."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "pictures"
    settings = load_settings(SAMPLE / "survey.toml")
    inputs = read_inputs(settings, Lineage(settings))
    soundings = estimate_spread(inputs.soundings)
    casts = Soundings(soundings.frame[soundings.frame["source"] == "cast"])
    surveys = {
        "all soundings": Compared.of(soundings, inputs.shoreline),
        "24 casts from the bank alone": Compared.of(casts, inputs.shoreline),
    }
    whole, few = surveys.values()
    for name, compared in surveys.items():
        sys.stdout.write(compared.told(name) + "\n")
    pictures = {
        "depth": draw_depth(whole),
        "sd": draw_sd(whole),
        "sections": draw_sections(whole),
        "areas": draw_curves(surveys),
        "unsurveyed": draw_unsurveyed(few),
    }
    for name, figure in pictures.items():
        save(figure, folder / f"fitted_{name}.png")


if __name__ == "__main__":
    main()
