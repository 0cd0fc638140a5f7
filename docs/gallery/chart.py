"""Chart the table of an example as it declares it, in the style of the reports' figures."""

import re
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from chart_bars import COLOURS, layers, plain_log, ranges, spans
from chart_rows import (
    Chart,
    Panel,
    along_of,
    behind,
    by_unit,
    ends_of,
    label,
    parted,
    rows_of,
    scaled,
)

from toolbox.formats.shoreline_file import read_shoreline
from toolbox.layers import Picture
from toolbox.report.drawing import INK, LAND, draw_shoreline, settle
from toolbox.report.figure_style import LINES, Look, date_axis, dress, legend_below, picture

__all__ = ["chart"]

WIDTH, DPI = 100.0, 134  # as wide as the other pictures, with letters that a phone shows
AXIS, SIGNS, BESIDE, ALONE = 10.0, 9.0, 78.0, 55.0  # heights, mm
NUMBERS = 7  # size of those along axes, points
FEW = 30  # rows of a curve up to which each is marked


def chart(frame: pd.DataFrame, declared: list[dict[str, Any]], folder: Path) -> Picture:
    """Return the chart of a table; files that its declaration names are read from a folder."""
    charts = [Chart.of_example(one) for one in declared]
    own = [panel for one in charts for panel in _KINDS[one.kind](frame, one, folder)]
    beside = charts[0].upright and len(own) > 1
    talls = [ALONE if len(own) == 1 and charts[0].along else panel.tall for panel in own]

    def draw(figure: Any) -> None:
        shape: dict[str, Any] = {"nrows": len(own), "height_ratios": talls}
        shape = {"ncols": len(own), "sharey": True} if beside else shape
        every = figure.subplots(**shape, squeeze=False, sharex=_dated(charts)).ravel()
        for panel, axes in zip(own, every, strict=True):
            dress(axes)
            axes.tick_params(labelsize=NUMBERS)  # else fewer numbers are chosen at the end
            panel.draw(axes)
        signs = [axes.get_legend_handles_labels() for axes in every]
        named = {name: sign for both in signs for sign, name in zip(*both, strict=True)}
        if named:
            legend_below(figure, list(named.values()), list(named))
        settle(figure)

    tall = BESIDE if beside else sum(talls) + AXIS * (1 if _dated(charts) else len(own))
    return picture(draw, what="Chart", title="", width=WIDTH, height=tall + SIGNS, dpi=DPI)


def _dated(charts: list[Chart]) -> bool:
    return charts[0].along == "time"


# ---- curves ----


def _curves(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    rows = rows_of(behind(chart, frame, folder), chart)
    for columns in by_unit(chart.show):
        yield Panel(partial(_draw_curves, rows, columns, chart, frame))


def _draw_curves(
    rows: pd.DataFrame, columns: list[str], chart: Chart, table: pd.DataFrame, axes: Any
) -> None:
    groups = [("", rows)] if not chart.by else list(rows.groupby(chart.by, sort=False))
    series = [(name, part, column) for name, part in groups for column in columns]
    factor, unit = scaled(parted(columns[0])[1], rows[columns].to_numpy(float).ravel())
    for number, (group, part, column) in enumerate(series):
        told = _told(group, chart.by) if chart.by else label(column).partition(" (")[0]
        told = told if len(series) > 1 else "the table" if chart.of else ""
        _draw_curve(axes, part, column, chart, factor, _line(number, len(series)) | {"label": told})
    for number, mark in enumerate(chart.marks, start=1):
        marked = rows_of(table, Chart("", where=mark.get("where", {})))
        _draw_mark(axes, marked, mark, number, factor)
    stem = parted(columns[0])[0].replace("_", " ") if len(columns) == 1 else ""
    _finish(axes, chart, chart.axis or f"{stem} ({unit})".strip())


def _told(group: Any, by: str) -> str:
    """Name a curve: days are written as day and month."""
    if re.match(r"\d{4}-\d\d-\d\d", str(group)):
        day = pd.Timestamp(group)
        return f"{day.day} {day:%b}"
    return group if isinstance(group, str) else f"{by} {group:g}"


def _line(number: int, count: int) -> dict[str, Any]:
    """Return the look of one of several curves; many are told apart by a ramp."""
    if count <= len(LINES):
        return Look().line(number)
    return {"color": mpl.colormaps["viridis"](0.95 * number / (count - 1))}


def _draw_curve(
    axes: Any, part: Any, column: str, chart: Chart, factor: float, look: dict[str, Any]
) -> None:
    at, value = along_of(part[chart.along]), factor * part[column].to_numpy(float)
    if chart.log:
        value = np.where(value > 0, value, np.nan)
    dots = {"marker": "o", "ms": 2.6} if len(part) <= FEW else {}
    axes.plot(
        *((value, at) if chart.upright else (at, value)), **look, **dots, lw=1.3, clip_on=False
    )
    ends = ends_of(part, column, chart)
    if ends is not None:
        fill = axes.fill_betweenx if chart.upright else axes.fill_between
        fill(at, *(factor * end for end in ends), color=look["color"], alpha=0.25, lw=0)
        axes.fill([], [], color=INK, alpha=0.25, lw=0, label=chart.band)


def _draw_mark(
    axes: Any, rows: pd.DataFrame, mark: dict[str, Any], number: int, factor: float
) -> None:
    """Mark figures of the table on what stands behind; a figure alone is a line across."""
    value, look = factor * rows[mark["show"]].to_numpy(float), {"color": COLOURS[number]}
    if "upright" not in mark:
        axes.axhline(value[0], **look, ls="--", lw=1.2, label=mark["name"])
        return
    look |= {"marker": mark.get("sign", "o"), "ls": "none", "label": mark["name"], "mfc": "none"}
    axes.plot(value, rows[mark["upright"]].to_numpy(float), **look, ms=6, mew=1.8, zorder=4)


def _finish(axes: Any, chart: Chart, told: str) -> None:
    """Label the axes, turn depths downward, and let figures begin at zero."""
    along, value = (axes.yaxis, axes.xaxis) if chart.upright else (axes.xaxis, axes.yaxis)
    value.set_label_text(told)
    if chart.along == "time":
        date_axis(axes)
    elif not chart.upright or axes.get_subplotspec().is_first_col():
        along.set_label_text(label(chart.along))
    if chart.log:
        axes.set_xscale("log")
        plain_log(axes.xaxis)
    elif axes.dataLim.min[0 if chart.upright else 1] >= 0:
        value.set_view_interval(0.0, value.get_view_interval()[1], ignore=True)
    if chart.down or (chart.upright and chart.along.startswith(("depth", "fall"))):
        low, high = axes.dataLim.intervaly
        axes.set_ylim(high + 0.03 * (high - low), min(low, 0.0))


# ---- points, fields, counts and places ----


def _points(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    yield Panel(partial(_draw_points, rows_of(behind(chart, frame, folder), chart), chart))


def _draw_points(rows: pd.DataFrame, chart: Chart, axes: Any) -> None:
    """Draw points and the straight line through them."""
    at, value = (rows[name].to_numpy(float) for name in (chart.along, chart.show[0]))
    slope, base = np.polyfit(at, value, 1)
    ends = np.array([0.0, at.max()])
    told = f"{base:.3f} m + {slope:.3f} \u00d7 reading"
    axes.plot(ends, base + slope * ends, color=COLOURS[1], lw=1.2, label=told)
    axes.plot(at, value, "o", ms=4, color=COLOURS[0], zorder=3)
    axes.set(xlabel=label(chart.along), ylabel=label(chart.show[0]), xlim=(0, None), ylim=(0, None))


def _fields(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    for column in chart.show:
        yield Panel(partial(_draw_field, rows_of(frame, chart), column))


def _draw_field(rows: pd.DataFrame, column: str, axes: Any) -> None:
    """Draw figures over time and depth as colours."""
    table = rows.pivot_table(index="depth_m", columns="time", values=column)
    days = along_of(table.columns.to_series())
    shown = axes.contourf(days, table.index, table.to_numpy(float), 12, cmap="viridis")
    bar = axes.figure.colorbar(shown, ax=axes, pad=0.01, aspect=14)
    bar.set_label(label(column), fontsize=8, color=INK)
    bar.ax.tick_params(labelsize=7)
    axes.set(ylabel="depth (m)", ylim=(table.index.max(), 0.0))
    date_axis(axes)


def _counts(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    for column in chart.show:
        yield Panel(partial(_draw_counts, frame[column].dropna().to_numpy(float), column, chart))


def _draw_counts(values: np.ndarray, column: str, chart: Chart, axes: Any) -> None:
    axes.hist(values, 24, color=Look().colour("bars"), ec=INK, lw=0.5, zorder=2)
    axes.set(xlabel=label(column), ylabel=chart.axis)


def _places(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    yield Panel(partial(_draw_places, frame, chart, read_shoreline(folder / chart.of)), 64.0)


def _draw_places(frame: pd.DataFrame, chart: Chart, shoreline: Any, axes: Any) -> None:
    """Draw the sizes of differences where they are, on the water."""
    for part in shoreline.polygons.geoms:
        axes.fill(*np.array(part.exterior.coords).T, color=Look().colour("water"), zorder=0.5)
    draw_shoreline(axes, shoreline)
    axes.set(aspect="equal", xticks=[], yticks=[], facecolor=LAND)
    axes.spines[:].set_visible(False)
    size = frame[chart.show[0]].abs()
    look = {"cmap": "viridis_r", "s": 30, "edgecolor": INK, "linewidth": 0.5, "zorder": 3}
    dots = axes.scatter(frame["easting"], frame["northing"], c=size, **look)
    bar = axes.figure.colorbar(dots, ax=axes, orientation="horizontal", aspect=36, pad=0.01)
    bar.set_label(chart.axis, fontsize=8, color=INK)
    bar.ax.tick_params(labelsize=7)


_KINDS: dict[str, Callable[[pd.DataFrame, Chart, Path], Iterator[Panel]]] = {
    "curve": _curves, "range": ranges, "layers": layers, "spans": spans, "points": _points,
    "field": _fields, "counts": _counts, "places": _places,
}  # fmt: skip
