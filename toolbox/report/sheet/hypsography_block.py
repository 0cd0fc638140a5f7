"""Areas and volumes: the hypsographic table of a sheet, and its curve with the band."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.layers import Table
from toolbox.report.drawing import INK
from toolbox.report.sheet.blocks import Block, heading, heading_height
from toolbox.report.sheet.lettering import width_of
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.pen import Pen
from toolbox.units import convert, round_number
from toolbox.volume.stage import CUSTOMARY, Foot

__all__ = ["curve_block", "table_block"]

_AREA, _VOLUME, _RULE = "#0a5c8f", "#b35900", "#cfd7db"
_LEAST_ROWS, _MOST_ROWS = 6, 26
_ROW = 1.42
_AXIS = 3.7  # left of the curve, in sizes of type


def _scaled(most: float, unit: str) -> tuple[float, str]:
    """Return by what to divide square or cubic metres, and how the unit is then called."""
    if unit == "m2":
        return (1e6, "km\u00b2") if most >= 2e7 else (1e4, "ha") if most >= 2e3 else (1, "m\u00b2")
    if most >= 2e7:
        return 1e6, "million m\u00b3"
    return (1e3, "1000 m\u00b3") if most >= 2e4 else (1.0, "m\u00b3")


@dataclass(frozen=True, eq=False)
class _Curve:
    """One figure by depth with its band: arrays (n,)."""

    values: np.ndarray
    low: np.ndarray
    high: np.ndarray
    unit: str
    name: str
    colour: str

    @classmethod
    def of(cls, table: Table, stem: str, unit: str, name: str, colour: str) -> "_Curve":
        values = table.column(f"{stem}_{unit}")
        divisor, called = _scaled(float(np.nanmax(values, initial=0.0)), unit)
        low, high = (
            table.column(f"{stem}_{end}_{unit}") / divisor
            if f"{stem}_{end}_{unit}" in table.frame
            else np.full(len(values), np.nan)
            for end in ("low", "high")
        )
        return cls(values / divisor, low, high, called, name, colour)

    @property
    def most(self) -> float:
        """Largest figure, those of the band included."""
        found = np.nanmax(np.r_[self.values, self.high], initial=0.0)
        return float(found) or 1.0


def curve_block(hypsography: Table, width: float, size: float) -> Block:
    """Draw area and volume by depth, each with its 90 % band where there is one."""
    curves = [
        _Curve.of(hypsography, "area", "m2", "area", _AREA),
        _Curve.of(hypsography, "volume_below", "m3", "volume below", _VOLUME),
    ]
    depth = hypsography.column("depth_m")
    banded = bool(np.isfinite(curves[0].high).any())

    def draw(pen: Pen, box: Box) -> None:
        title = "Area and volume by depth" + (", with 90 % band" if banded else "")
        below = heading(pen, box, title, size)
        plot = below.inside(_AXIS * size, 2.9 * size, 1.5 * size, 2.6 * size)
        _draw_depth_axis(pen, plot, depth, size)
        for curve, over in zip(curves, (False, True), strict=True):
            _draw_curve(pen, plot, depth, curve)
            _draw_axis(pen, plot, curve, size, over=over)
        pen.rectangle(plot, stroke=INK, width=0.5)

    least = heading_height(size) + 5.5 * size + 19 * MM
    return Block("curve", least, max(least, 0.9 * width), draw)


def _up(plot: Box, depth: Any, depths: np.ndarray) -> Any:
    low, high = float(depths.min()), float(depths.max())
    return plot.top - (depth - low) / max(high - low, 1e-9) * plot.height


def _draw_depth_axis(pen: Pen, plot: Box, depths: np.ndarray, size: float) -> None:
    low, high = float(depths.min()), float(depths.max())
    step = round_number(max(high - low, 0.01) * 2 * size / plot.height, up=True)
    for depth in np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step:
        up = float(_up(plot, depth, depths))
        pen.line([(plot.left, up), (plot.right, up)], colour=_RULE, width=0.3)
        pen.text(
            (plot.left - 0.4 * size, up - 0.35 * size), f"{depth + 0.0:g}", size, align="right"
        )
    place = (plot.left - (_AXIS - 0.9) * size, plot.centre[1])
    pen.text(place, "depth, m", size, align="centre", angle=90)


def _draw_curve(pen: Pen, plot: Box, depths: np.ndarray, curve: _Curve) -> None:
    up = _up(plot, depths, depths)

    def across(values: np.ndarray) -> np.ndarray:
        return plot.left + values / curve.most * plot.width

    if np.isfinite(curve.high).any():
        low = np.column_stack([across(curve.low), up])
        high = np.column_stack([across(curve.high), up])
        ring = np.vstack([low, high[::-1]])
        ring = ring[np.isfinite(ring).all(axis=1)]
        pen.shapes([ring], close=True, fill=curve.colour, opacity=0.25)
    pen.line(np.column_stack([across(curve.values), up]), colour=curve.colour, width=1.1)


def _draw_axis(pen: Pen, plot: Box, curve: _Curve, size: float, *, over: bool) -> None:
    step = round_number(curve.most * 5.5 * size / plot.width, up=True)
    edge, side = (plot.top, 1) if over else (plot.bottom, -1)
    base = edge + (0.5 * size if over else -1.2 * size)
    for value in np.arange(0, np.floor(curve.most / step + 1e-9) + 1) * step:
        place = plot.left + value / curve.most * plot.width
        pen.line([(place, edge), (place, edge + side * 1.5)], width=0.4)
        pen.text((place, base), f"{value:,g}", size, align="centre", colour=curve.colour)
    words = f"{curve.name}, {curve.unit}"
    pen.text(
        (plot.centre[0], base + side * 1.25 * size),
        words,
        size,
        align="centre",
        colour=curve.colour,
    )


def table_block(hypsography: Table, size: float, foot: Foot) -> Block:
    """Set the table in metric and customary units, as many of its rows as there is room for."""
    columns = _columns(hypsography, foot)
    count = len(hypsography.frame)
    head = heading_height(size) + 2.9 * size

    def draw(pen: Pen, box: Box) -> None:
        below = heading(pen, box, "Areas, and volumes below each depth", size)
        room = int((below.height - 2.9 * size + 0.01) / (_ROW * size))
        rows = chosen_rows(hypsography.column("depth_m"), room)
        _draw_table(
            pen,
            below,
            [(name, unit, [texts[r] for r in rows]) for name, unit, texts in columns],
            size,
        )

    few, many = min(count, _LEAST_ROWS), min(count, _MOST_ROWS)
    return Block("table", head + few * _ROW * size, head + many * _ROW * size, draw)


def chosen_rows(depths: np.ndarray, room: int) -> list[int]:
    """Return rows to print: at even steps of round depth if they can be, the first always."""
    count = len(depths)
    for step in range(1, count + 1):
        rows = list(range(0, count, step))
        if len(rows) <= max(room, 1) and (step <= 6 or step % 5 == 0):
            return rows
    return [0]


def _columns(table: Table, foot: Foot) -> list[tuple[str, str, list[str]]]:
    depth, area, volume = map(table.column, ("depth_m", "area_m2", "volume_below_m3"))
    by, unit = _scaled(float(area.max(initial=0)), "m2")
    per, called = _scaled(float(volume.max(initial=0)), "m3")
    to = CUSTOMARY[foot]
    acres, acre_feet = convert(area, "m^2", to["m2"]), convert(volume, "m^3", to["m3"])
    return [
        ("depth", "m", _numbers(depth, 2)),
        ("", "ft", _numbers(convert(depth, "m", to["m"]), 3)),
        ("area", unit, _numbers(area / by, 4)),
        ("", "acres", _numbers(acres, 4)),
        ("volume", called, _numbers(volume / per, 4)),
        ("", "acre-ft", _numbers(acre_feet, 4)),
    ]


def _numbers(values: np.ndarray, figures: int) -> list[str]:
    """Write numbers with as many decimals as the largest needs, two at most."""
    most = float(np.abs(values).max(initial=0.0))
    whole = len(f"{most:.0f}")
    digits = min(max(figures - whole, 0), 2)
    if figures == 2:  # depths of the rows, as they are
        digits = next((d for d in range(3) if np.allclose(values, values.round(d))), 2)
    return [f"{value:,.{digits}f}" for value in values + 0.0]


def _draw_table(pen: Pen, box: Box, columns: list[tuple[str, str, list[str]]], size: float) -> None:
    needs = [
        max(width_of(words, size) for words in (name, unit, *texts))
        for name, unit, texts in columns
    ]
    spare = max((box.width - sum(needs)) / len(needs), 0.0)
    right = box.left
    for (name, unit, texts), need in zip(columns, needs, strict=True):
        right += need + spare
        pen.text((right, box.top - 1.0 * size), name, size, bold=True, align="right")
        pen.text((right, box.top - 2.2 * size), unit, size, align="right")
        for number, words in enumerate(texts):
            up = box.top - 2.7 * size - (number + 0.78) * _ROW * size
            pen.text((right, up), words, size, align="right")
    rules = [
        box.top - 2.7 * size - number * _ROW * size for number in range(len(columns[0][2]) + 1)
    ]
    for number, up in enumerate(rules):
        ends: Any = [(box.left, up), (box.right, up)]
        pen.line(ends, colour=_RULE if number else INK, width=0.3 if number else 0.5)
