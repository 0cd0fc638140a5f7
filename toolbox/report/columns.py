"""Columns: a table as it is printed, units in its header and as many digits as mean something.

Figures stay whole: only how many of their digits are shown is chosen here.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.report.text import short

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "PLACE",
    "TEXT",
    "WHEN",
    "WHOLE",
    "Column",
    "decimals",
    "figure_and_band",
    "printed_columns",
    "quoted",
]

TEXT, WHOLE, WHEN = "@", "#,##0", "yyyy-mm-dd hh:mm"
"""Formats of text, of whole numbers and of times, as spreadsheets spell them."""

PLACE = "0"
"""Format of a coordinate."""

_PLAIN = "General"
_UNITS = {
    "_per_ha": "per ha",
    "_per_acre": "per acre",
    "_kg_ha": "kg/ha",
    "_lb_acre": "lb/acre",
    "_kg_l": "kg/L",
    "_mg_l": "mg/L",
    "_percent": "%",
    "_days": "days",
    "_kg": "kg",
    "_lb": "lb",
    "_cm": "cm",
    "_db": "dB",
    "_c": "\u00b0C",
    "_g": "g",
    "_acre_ft": "acre-ft",
    "_acre": "acres",
    "_ft": "ft",
    "_m3": "m\u00b3",
    "_m2": "m\u00b2",
    "_m": "m",
    "_deg": "degrees",
    "_share": "share",
}
_UNIT_COLUMNS = ("unit", "us_unit")
_UNIT_NAMES = {name[1:]: printed for name, printed in _UNITS.items()} | {"1": ""}
_WORDS = {"us": "US", "rmse": "RMSE", "sd": "standard deviation"}
_SHARES = {"coverage_90": "Share within the 90 % band"}
_LEVELS = ("depth", "elevation", "level")
_MOST_DECIMALS = 6
_OF_LENGTHS = 3  # decimals of metres and feet: nobody sounds to less than a millimetre
_LONGEST = 100  # characters of a header
_HAIR = 1e-9  # a band narrower than this share of its figure is none


@dataclass(frozen=True)
class Column:
    """One column of a printed table.

    Parameters
    ----------
    header : str
        Name and unit.
    values : list
        Numbers, text, truth values, times in UTC without a zone; None where there is nothing.
    formats : list of str
        Number format of each.
    """

    header: str
    values: list[Any]
    formats: list[str]


def printed_columns(frame: "pd.DataFrame") -> list[Column]:
    """Arrange a table's columns for print.

    Parameters
    ----------
    frame : DataFrame
        Names of columns end in their unit. Where there are columns ``value`` and ``unit`` each row
        has digits of its own, else each column has.

    Returns
    -------
    list of Column
        In the same order; no two headers are alike.
    """
    columns: list[Column] = []
    taken: set[str] = set()
    for name in frame:
        header = _header(str(name), taken)
        taken.add(header.lower())
        values = _values(frame[name])
        if name in _UNIT_COLUMNS:
            values = _printed_units(frame, values)
        columns.append(Column(header, values, _formats(frame, str(name))))
    return columns


def decimals(size: float, *, figures: int) -> int:
    """Return how many decimals show so many figures of a number, at least 0 and at most 6."""
    if not (math.isfinite(size) and size > 0):
        return 0
    return min(max(figures - 1 - math.floor(math.log10(size)), 0), _MOST_DECIMALS)


def quoted(value: float, low: float = math.nan, high: float = math.nan, *, unit: str) -> str:
    """Write a figure and its band as one quotes them, to two figures of half the band's width.

    Examples
    --------
    >>> quoted(1001363.5, 979012.0, 1024060.4, unit="m3")
    '1,001,000 m3 (979,000 to 1,024,000)'
    >>> quoted(210792.4, unit="m2")
    '210,800 m2'
    """
    figure, *ends = figure_and_band(value, low, high, unit=unit)
    return f"{figure} {unit}" + (f" ({' to '.join(ends)})" if ends else "")


def figure_and_band(
    value: float, low: float = math.nan, high: float = math.nan, *, unit: str = ""
) -> list[str]:
    """Write a figure and the ends of its band to one place: two figures of half the band's width.

    Parameters
    ----------
    value, low, high : float
        The figure and the ends of its band.
    unit : str
        Lengths, in m or ft, are written to a thousandth at most.

    Returns
    -------
    list of str
        Figure, low and high; the figure alone, to four figures, where there is no band.

    Examples
    --------
    >>> figure_and_band(9.398, 9.4012, 9.5319)
    ['9.398', '9.401', '9.532']
    """
    half = (high - low) / 2
    has_band = half > _HAIR * abs(value)
    size, figures = (half, 2) if has_band else (abs(value), 4)
    if not (math.isfinite(size) and size > 0):
        return [f"{value:g}"]
    most = _OF_LENGTHS if unit in ("m", "ft") else _MOST_DECIMALS
    digits = min(figures - 1 - math.floor(math.log10(size)), most)
    parts = (value, low, high) if has_band else (value,)
    return [f"{round(part, digits):,.{max(digits, 0)}f}" for part in parts]


def _header(name: str, taken: set[str]) -> str:
    unit = _unit(name)
    words = [_WORDS.get(word, word) for word in name.removesuffix(unit).split("_")]
    stem = short(" ".join(words), _LONGEST)
    stem = stem[:1].upper() + stem[1:]
    for end in (" low", " high"):
        stem = f"{stem.removesuffix(end)},{end}" if unit and stem.endswith(end) else stem
    header = _SHARES.get(name, f"{stem}, {_UNITS[unit]}" if unit else stem or "Column")
    count, unlike = 1, header
    while unlike.lower() in taken:
        count += 1
        unlike = f"{header} ({count})"
    return unlike


def _unit(name: str) -> str:
    """Return the end of a column's name that is its unit, empty for none."""
    return next((end for end in _UNITS if name.endswith(end)), "")


def _values(column: "pd.Series") -> list[Any]:
    import pandas as pd

    kind = column.dtype.kind
    if kind == "M":
        zone = getattr(column.dt, "tz", None)
        naive = column if zone is None else column.dt.tz_convert("UTC").dt.tz_localize(None)
        return [None if pd.isna(time) else time.to_pydatetime(warn=False) for time in naive]
    if kind in "iufb":
        told = [None if pd.isna(value) else value for value in column.tolist()]
        return [value if value is None or math.isfinite(value) else None for value in told]
    return [None if pd.isna(value) else str(value) for value in column]


def _printed_units(frame: "pd.DataFrame", values: list[Any]) -> list[Any]:
    names = frame.iloc[:, 0].astype(str)
    return [
        "share" if unit == "1" and "share" in name else _UNIT_NAMES.get(unit, unit)
        for name, unit in zip(names, values, strict=True)
    ]


def _formats(frame: "pd.DataFrame", name: str) -> list[str]:
    kind, count = frame[name].dtype.kind, len(frame)
    if kind == "f" and {"value", "unit"} <= set(frame):
        return _formats_of_rows(frame, "us_" if name.startswith("us_") else "")
    if kind == "f":
        return [_format_of_column(frame, name)] * count
    return [{"M": WHEN, "i": WHOLE, "u": WHOLE, "b": _PLAIN}.get(kind, TEXT)] * count


def _format_of_column(frame: "pd.DataFrame", name: str) -> str:
    values, unit = frame[name].to_numpy(float), _unit(name)
    largest = float(np.abs(values[np.isfinite(values)]).max(initial=0.0))
    if unit == "_share" or name in _SHARES:
        return _percent(largest)
    half = _half_width(frame, name, unit)
    if not unit and (values[np.isfinite(values)] % 1 == 0).all():
        return WHOLE  # counts, with gaps
    if half > 0:
        digits = decimals(half, figures=2)
    elif name.removesuffix(unit) in _LEVELS and len(values) > 1:
        digits = max(decimals(float(np.median(np.abs(np.diff(values)))), figures=2), 2)
    else:
        digits = decimals(largest, figures=4)
    return _number(digits, unit[1:])


def _half_width(frame: "pd.DataFrame", name: str, unit: str) -> float:
    """Return the median of half the width of the band that a column belongs to, 0 for none."""
    stem = name.removesuffix(unit).removesuffix("_low").removesuffix("_high")
    if not {f"{stem}_low{unit}", f"{stem}_high{unit}"} <= set(frame):
        return 0.0
    low, high = (frame[f"{stem}_{end}{unit}"].to_numpy(float) for end in ("low", "high"))
    half = (high - low) / 2
    half = half[half > _HAIR * np.abs(high).max(initial=0.0, where=np.isfinite(high))]
    return float(np.median(half)) if len(half) else 0.0


def _formats_of_rows(frame: "pd.DataFrame", system: str) -> list[str]:
    names, units = (frame[column].astype(str) for column in (frame.columns[0], f"{system}unit"))
    value = frame[f"{system}value"].to_numpy(float)
    half = np.full(len(frame), np.nan)
    if f"{system}low" in frame:
        half = (frame[f"{system}high"] - frame[f"{system}low"]).to_numpy(float) / 2
    rows = zip(names, units, value, half, strict=True)
    return [_format_of_row(*row) for row in rows]


def _format_of_row(name: str, unit: str, value: float, half: float) -> str:
    if name.endswith(("easting", "northing")):
        return PLACE
    if unit == "1" and "share" in name:
        return _percent(value)
    if half > _HAIR * abs(value):
        return _number(decimals(half, figures=2), unit)
    if value == round(value, 0):
        return WHOLE
    return _number(decimals(abs(value), figures=4), unit)


def _percent(largest: float) -> str:
    return "0.0%" if largest >= 0.1 else "0.00%"


def _number(digits: int, unit: str) -> str:
    digits = min(digits, _OF_LENGTHS) if unit in ("m", "ft") else digits
    return WHOLE + ("." + "0" * digits if digits else "")
