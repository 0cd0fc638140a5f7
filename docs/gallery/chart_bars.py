"""Charts with a line for each row: dots in their bands, bars, spans, and bars by depth."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from chart_rows import (
    Chart,
    Panel,
    along_of,
    behind,
    by_unit,
    ends_of,
    label,
    named,
    parsed,
    parted,
    rows_of,
    scaled,
)

from toolbox.report.drawing import INK
from toolbox.report.figure_style import LINES, date_axis

__all__ = ["layers", "plain_log", "ranges", "spans"]

LINE, BETWEEN = 3.0, 2.0  # height of a line of letters, and what parts two rows, mm
COLOURS = [colour for colour, _ in LINES]
PAD = 0.05  # of an axis, left free at its ends
FEW_DECADES = 1000.0  # from the lowest to the highest, that leave room for 2 and 5 between


@dataclass(frozen=True)
class Figure:
    """A figure to draw: its row, its series, and its ends."""

    name: str
    series: str
    value: float
    low: float
    high: float
    unit: str
    strong: bool = False

    @property
    def banded(self) -> bool:
        """Tell whether it has a band."""
        return self.high > self.low


# ---- dots in their bands, or bars where nothing has a band ----


def ranges(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    """Give a panel for each unit: names downward, figures across."""
    rows = rows_of(behind(chart, frame, folder), chart)
    every = [figure for column in chart.show for figure in _figures(rows, column, chart)]
    for unit in dict.fromkeys(figure.unit for figure in every):
        own = [figure for figure in every if figure.unit == unit]
        yield Panel(partial(_draw_ranges, own, chart), _height(own))


def _height(own: list[Figure]) -> float:
    names = dict.fromkeys(figure.name for figure in own)
    series = len(dict.fromkeys(figure.series for figure in own))
    return sum(max(LINE * (name.count("\n") + 1), LINE * series) + BETWEEN for name in names)


def _figures(rows: pd.DataFrame, column: str, chart: Chart) -> Iterator[Figure]:
    lows, highs = ends_of(rows, column, chart) or (np.full(len(rows), np.nan),) * 2
    for (_, row), low, high in zip(rows.iterrows(), lows, highs, strict=True):
        unit, value = row[chart.unit] if chart.unit else parted(column)[1], row[column]
        if isinstance(value, str):
            value, low, high, unit = parsed(value)
        if chart.relative:
            low, high, unit = 100 * (low / value - 1), 100 * (high / value - 1), "percent"
            value = 0.0 if math.isfinite(low) else math.nan
        told = _row(column)
        series = str(row[chart.by]) if chart.by else told if chart.names else ""
        strong = bool(chart.strong and row[chart.strong])
        if math.isfinite(value):
            name = named(row, chart.names) or told
            yield Figure(name, series, float(value), float(low), float(high), unit, strong)


def _row(column: str) -> str:
    """Name a row after a column: without the unit, where the name says enough."""
    stem, unit = parted(column)
    whole = unit == "days" or stem[-1].isdigit()
    return (column if whole else stem).replace("_", " ")


def _draw_ranges(own: list[Figure], chart: Chart, axes: Any) -> None:
    names, series = (list(dict.fromkeys(told)) for told in _told(own))
    factor, unit = scaled(own[0].unit, np.array([(f.value, f.low, f.high) for f in own]).ravel())
    dots = chart.log or any(figure.banded for figure in own)
    wide = 0.72 / len(series)
    for figure in own:
        number = series.index(figure.series)
        place = names.index(figure.name) + (number - (len(series) - 1) / 2) * wide
        colour = COLOURS[1] if figure.strong else COLOURS[number]
        _draw_figure(axes, figure, (place, 0.86 * wide), factor, colour, dots)
    for number, told in enumerate(series if len(series) > 1 else []):
        axes.plot([], [], "o" if dots else "s", color=COLOURS[number], label=told)
    if any(figure.banded for figure in own):
        axes.fill([], [], color=INK, alpha=0.3, lw=0, label=chart.band)
    _list(axes, names)
    axes.set_xlabel(chart.axis or _axis(own, chart, unit))
    _limit(axes, chart.log)


def _told(own: list[Figure]) -> tuple[list[str], list[str]]:
    return [figure.name for figure in own], [figure.series for figure in own]


def _axis(own: list[Figure], chart: Chart, unit: str) -> str:
    """Label the axis of figures: with their name where they have one."""
    alone = chart.names and not chart.unit and len(by_unit(chart.show)[0]) == 1
    stem = parted(chart.show[0])[0].replace("_", " ") if alone else ""
    return f"{stem} ({unit})" if stem and unit else stem or unit


def _draw_figure(
    axes: Any, figure: Figure, place: tuple[float, float], factor: float, colour: str, dots: bool
) -> None:
    value, low, high = (factor * one for one in (figure.value, figure.low, figure.high))
    at, wide = place
    if not dots:
        axes.barh(at, value, wide, color=colour, alpha=0.75, zorder=2)
        return
    if figure.banded:
        axes.barh(at, high - low, wide, low, color=colour, alpha=0.32, lw=0, zorder=2)
    axes.plot(value, at, "o", ms=4, color=colour, zorder=3, clip_on=False)


def _list(axes: Any, names: list[str]) -> None:
    """Write names of rows, the first above."""
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.45, -0.55)
    axes.grid(axis="y", visible=False)


def _limit(axes: Any, log: bool) -> None:
    """Let figures begin at zero, and leave room beyond the last."""
    left, right = axes.dataLim.intervalx
    if log:
        axes.set_xlim(left / 1.2, right * 1.2)
        axes.set_xscale("log")
        plain_log(axes.xaxis)
    elif left < 0:
        pad = PAD * (max(right, 0) - left)
        axes.set_xlim(left - pad, max(right, 0) + pad)
        axes.axvline(0, color=INK, lw=0.8, zorder=1.5)
    else:
        axes.set_xlim(0, (1 + PAD) * right if right > 0 else 1.0)


def plain_log(axis: Any) -> None:
    """Write plain numbers along a logarithmic axis."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

    low, high = axis.get_view_interval()
    axis.set_major_locator(LogLocator(subs=(1, 2, 5) if high / low < FEW_DECADES else (1,)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}"))
    axis.set_minor_locator(NullLocator())


# ---- spans from one figure or day to another ----


def spans(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    """Give a panel for each unit: names downward, a bar from the low to the high end."""
    rows = rows_of(frame, chart)
    groups = [("", rows)] if not chart.unit else list(rows.groupby(chart.unit, sort=False))
    for unit, part in groups:
        names = [named(row, chart.names) for _, row in part.iterrows()]
        lines = sum(LINE * (name.count("\n") + 1) + BETWEEN for name in dict.fromkeys(names))
        yield Panel(partial(_draw_spans, part, names, str(unit), chart), lines)


def _draw_spans(part: pd.DataFrame, names: list[str], unit: str, chart: Chart, axes: Any) -> None:
    order = list(dict.fromkeys(names))
    kinds = list(part[chart.by]) if chart.by else [""] * len(part)
    start, end = (along_of(part[name]) for name in (chart.low, chart.high))
    days = np.issubdtype(start.dtype, np.datetime64)
    most = max(start.max(), end.max()) if days else 1.25 * np.nanmax([start, end])
    for name, kind, left, right in zip(names, kinds, start, end, strict=True):
        place, colour = order.index(name), COLOURS[list(dict.fromkeys(kinds)).index(kind)]
        low, high = (0.0 if pd.isna(left) else left), (most if pd.isna(right) else right)
        axes.barh(
            place, high - low, 0.6, low, color=colour, alpha=0.6, label=kind or None, zorder=2
        )
        if pd.isna(right):
            axes.plot(most, place, ">", ms=9, color=colour, clip_on=False, zorder=3)
    _list(axes, order)
    if days:
        date_axis(axes)
        return
    axes.set_xlabel(chart.axis or label(unit))
    _limit(axes, log=False)


# ---- bars by depth ----


def layers(frame: pd.DataFrame, chart: Chart, folder: Path) -> Iterator[Panel]:
    """Give a panel for each figure of each part: depth downward, a bar for each layer."""
    rows = rows_of(frame, chart)
    top, bottom = ("top_m", "bottom_m") if "top_m" in rows else ("from_m", "to_m")
    rows = rows[rows[list(chart.show)].notna().any(axis=1)]
    edges = [*dict.fromkeys(rows[top]), float(rows[bottom].max())]
    groups = [("", rows)] if not chart.by else list(rows.groupby(chart.by, sort=False))
    for number, (group, part) in enumerate(groups):
        for column in chart.show:
            most = float(rows[column].max())
            yield Panel(
                partial(_draw_layers, part, edges, column, chart, (COLOURS[number], group, most))
            )


def _draw_layers(
    part: pd.DataFrame,
    edges: list[float],
    column: str,
    chart: Chart,
    group: tuple[str, Any, float],
    axes: Any,
) -> None:
    factor, unit = scaled(parted(column)[1], part[column])
    value, (colour, name, most) = factor * part[column].to_numpy(float), group
    middle, thick = np.array(edges[:-1]) + np.diff(edges) / 2, 0.86 * np.diff(edges)
    axes.barh(middle, value, thick, color=colour, alpha=0.7, zorder=2)
    ends = ends_of(part, column, chart)
    if ends is not None:
        low, high = (factor * end for end in ends)
        axes.hlines(middle, low, high, color=INK, lw=1.2, zorder=3, label=chart.band)
        axes.plot(low, middle, "|", high, middle, "|", color=INK, ms=6, zorder=3)
        most = max(most, float(np.nanmax(high) / factor))
    told = chart.axis or parted(column)[0].replace("_", " ")
    told = f"{told} ({unit})" if unit else told
    axes.set_xlabel(f"{name}: {told}" if name else told)
    axes.set(ylim=(edges[-1], edges[0]), xlim=(0, (1 + PAD) * factor * most))
    if axes.get_subplotspec().is_first_col():
        axes.set_ylabel("depth (m)")
