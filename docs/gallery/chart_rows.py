"""Which rows and columns of a table an example has charted, and how they are labelled."""

import math
import re
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from toolbox.formats.doors import READERS
from toolbox.layers import Table

__all__ = [
    "Chart", "Panel", "along_of", "behind", "by_unit", "ends_of", "label", "named", "parsed",
    "parted", "rows_of", "scaled",
]  # fmt: skip

UNITS = {
    "m": "m", "m2": "m²", "m3": "m³", "ha": "ha", "ft": "ft", "acre_foot": "acre-feet", "c": "°C",
    "acre_ft": "acre-feet", "mg_l": "mg/L", "percent": "%", "share": "%", "degree": "degrees",
    "days": "days", "kg": "kg", "s": "s", "db": "dB", "cm": "cm", "per_m": "1/m", "j_m2": "J/m²",
    "per_1000_m3": "per 1000 m³", "1": "%", "m3/min": "m³/min", "m3/year": "m³/year",
    "year": "years",
}  # fmt: skip
"""How what a column ends in, or the unit of a row, is written; shares are drawn in per cent."""

LARGE = {"m2": (1e-4, "ha"), "m3": (1e-3, "1000 m³")}
LEAST_LARGE = 1e4
NORMAL_90 = 1.645  # standard deviations to either side that hold 90 %, derived
LETTERS = 34  # of a row's name on one line


@dataclass(frozen=True)
class Chart:
    """How a table is charted.

    ``kind`` is curve, range, points, layers, spans, field, counts or places. ``show`` are columns
    of figures; those of one unit share axes. ``along`` is the column over which they are drawn:
    depths and levels stand upright. ``names`` are the columns that name a row, and words that
    begin with a blank; ``by`` parts rows into curves, ``unit`` holds the unit of each. ``where``,
    ``drop`` and ``rows`` choose rows, by value or by name. ``low`` and ``high``, or ``sd``, are the
    ends of a band that are not named after their figure; ``strong`` tells rows that stand out.
    ``of`` is a file, ``data`` are rows that stand behind ``marks`` of the table.
    """

    kind: str
    show: tuple[str, ...] = ()
    along: str = ""
    names: tuple[str, ...] = ()
    by: str = ""
    unit: str = ""
    where: dict[str, Any] = field(default_factory=dict)
    drop: dict[str, Any] = field(default_factory=dict)
    rows: tuple[str, ...] = ()
    low: str = "low"
    high: str = "high"
    sd: str = ""
    band: str = "90 % band"
    of: str = ""
    data: dict[str, Any] = field(default_factory=dict)
    marks: tuple[dict[str, Any], ...] = ()
    axis: str = ""
    strong: str = ""
    down: bool = False
    log: bool = False
    relative: bool = False

    @classmethod
    def of_example(cls, declared: dict[str, Any]) -> "Chart":
        """Take a declaration as TOML holds it."""
        return cls(**{k: tuple(v) if isinstance(v, list) else v for k, v in declared.items()})

    @property
    def upright(self) -> bool:
        """Tell whether what it is drawn along stands upright."""
        upward = ("depth", "elevation", "level", "fall")
        return self.kind == "layers" or self.along.startswith(upward)


@dataclass(frozen=True)
class Panel:
    """One pair of axes: how it is drawn, and how tall it is beside nothing else, mm."""

    draw: Callable[[Any], None]
    tall: float = 40.0


def rows_of(frame: pd.DataFrame, chart: Chart) -> pd.DataFrame:
    """Choose the rows, in the order in which they are named; none are a fault of the example."""
    for column, wanted in chart.where.items():
        frame = frame[frame[column].isin(wanted if isinstance(wanted, list) else [wanted])]
    for column, left in chart.drop.items():
        frame = frame[frame[column] != left]
    if chart.rows:
        told = [named(row, chart.names) for _, row in frame.iterrows()]
        order = [at for mask in chart.rows for at, name in enumerate(told) if fnmatch(name, mask)]
        frame = frame.iloc[list(dict.fromkeys(order))]
    if frame.empty:
        raise ValueError(f"no rows to chart for {chart}")
    return frame


def behind(chart: Chart, frame: pd.DataFrame, folder: Path) -> pd.DataFrame:
    """Return what is drawn: the table, or the rows or the file that stand behind its marks."""
    if chart.data:
        return pd.DataFrame(chart.data)
    read: Any = READERS[Table]
    return read(folder / chart.of).frame if chart.of else frame


def along_of(values: Any) -> Any:
    """Return places along an axis: times as times, figures as figures."""
    if pd.api.types.is_numeric_dtype(values):
        return values.to_numpy(float)
    return pd.to_datetime(values, utc=True, format="ISO8601").dt.tz_localize(None).to_numpy()


def ends_of(rows: pd.DataFrame, column: str, chart: Chart) -> tuple[Any, Any] | None:
    """Return the low and high ends of a figure, shape (n,) each; None if the table has none."""
    if chart.sd:
        half = NORMAL_90 * rows[chart.sd].to_numpy(float)
        return rows[column].to_numpy(float) - half, rows[column].to_numpy(float) + half
    stem, unit = parted(column)
    stem = stem.removesuffix("_share")
    for low, high in (
        (chart.low, chart.high),
        (f"{stem}_low_{unit}", f"{stem}_high_{unit}"),
        (f"{column}_low", f"{column}_high"),
    ):
        if low in rows and high in rows and rows[low].notna().any():
            return rows[low].to_numpy(float), rows[high].to_numpy(float)
    return None


def parsed(text: str) -> tuple[float, float, float, str]:
    """Read a figure, its range and its unit as words give them: 9.5 ha (9.3 ha to 9.7 ha)."""
    number = r"([\d,]*\.?\d+)"
    found = re.match(number + r" ?([^\s(,]*)", text)
    ends = re.search(r"\(" + number + r"[^)]*? to " + number, text)
    value, unit = found.groups() if found else ("nan", "")
    low, high = ends.groups() if ends else ("nan", "nan")
    value, low, high = (float(one.replace(",", "")) for one in (value, low, high))
    return value, low, high, unit


# ---- units and labels ----


def label(column: str) -> str:
    """Write a column's name as an axis tells it, with its unit."""
    stem, unit = parted(column)
    told = f" ({UNITS[unit]})" if unit else ""
    return (stem.replace("_", " ") + told).strip()


def parted(column: str) -> tuple[str, str]:
    """Part a column's name from its unit; a share keeps its word."""
    for unit in sorted(UNITS, key=len, reverse=True):
        if column == unit or column.endswith(f"_{unit}"):
            return (column if unit == "share" else column.removesuffix(unit).rstrip("_")), unit
    return column, ""


def scaled(unit: str, values: Any) -> tuple[float, str]:
    """Return by what figures of a unit are multiplied to be drawn, and what it is then."""
    most = max((abs(value) for value in values if math.isfinite(value)), default=0.0)
    if unit in LARGE and most >= LEAST_LARGE:
        return LARGE[unit]
    return (100.0 if unit in ("share", "1") else 1.0), UNITS.get(unit, unit)


def by_unit(columns: tuple[str, ...]) -> list[list[str]]:
    """Gather columns of one unit: others do not belong on their axis."""
    own: dict[str, list[str]] = {}
    for column in columns:
        own.setdefault(parted(column)[1], []).append(column)
    return list(own.values())


def named(row: Any, columns: tuple[str, ...]) -> str:
    """Name a row after its columns, numbers with their units, in lines that are not too long."""
    parts = []
    for column in columns:
        cell = column if column.startswith(" ") else row[column]
        if isinstance(cell, str):
            parts.append(cell.strip(" '"))  # what a spreadsheet must not reckon begins with '
        elif np.isfinite(cell):
            parts.append(f"{cell:.3g} {UNITS.get(parted(column)[1], '')}".strip())
    return "\n".join(textwrap.wrap(" ".join(parts), LETTERS))
