"""Measured: the table of measures, as stocking reads it."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.stocking.bases import BASES, Basis
from toolbox.units import convert

__all__ = [
    "SPECIES_COLUMNS",
    "Measured",
    "Span",
    "customary",
    "metric",
    "plain",
]

SPECIES_COLUMNS = ("measure", "species", "value", "low", "high", "unit", "note")
"""Columns of a table of measures."""

_UNITS = {name: {"length": "m", "area": "m2", "volume": "m3"}[per] for name, per in BASES.values()}
_UNITS |= {"mean depth": "m", "greatest depth": "m"}

_HAIR = 1e-9


@dataclass(frozen=True)
class Span:
    """A figure with its ends; both are the figure itself where they are not known."""

    low: float
    likely: float
    high: float

    @classmethod
    def of(cls, likely: float, low: float = math.nan, high: float = math.nan) -> "Span":
        """Make a span of a figure whose ends may be missing; they always hold the figure."""
        ends = (likely if math.isnan(low) else low, likely if math.isnan(high) else high)
        return cls(min(ends[0], likely), likely, max(ends[1], likely))

    @property
    def known(self) -> bool:
        """Whether it has a width, beyond rounding."""
        return self.high - self.low > _HAIR * abs(self.likely)


@dataclass(frozen=True, eq=False)
class Measured:
    """What is known of a water.

    Parameters
    ----------
    table : Table
        As the tool of measures makes it; a person's own needs ``measure, value, unit`` at least.

    Raises
    ------
    LayerError
        If a column is missing, or a value is no number >= 0.
    """

    table: Table

    def __post_init__(self) -> None:
        frame = self.table.frame
        for name in ("measure", "value", "unit"):
            if name not in frame:
                raise LayerError(f"measures need a column {name!r}, got {list(frame.columns)}")
        value = self.table.column("value")
        if not (value >= 0).all():
            worst = int(np.argmin(value >= 0))
            raise LayerError(
                f"measure {frame['measure'].iloc[worst]!r} must be >= 0, got {value[worst]:g}"
            )

    def span(self, measure: str, species: str = "") -> Span:
        """Return one measure.

        Raises
        ------
        LayerError
            If it is not in the table once, in its SI unit.
        """
        row = self._row(measure, species)
        if row["unit"] != (unit := _UNITS.get(measure, "m2")):
            raise LayerError(f"measure {measure!r} must be in {unit}, got {row['unit']!r}")
        return Span.of(*(float(row.get(name, math.nan)) for name in ("value", "low", "high")))

    def unit(self, measure: str, species: str = "") -> str:
        """Return the unit of one measure."""
        return str(self._row(measure, species)["unit"])

    def note(self, measure: str, species: str = "") -> str:
        """Return what is said of one measure."""
        return str(self._row(measure, species).get("note", "the table of measures"))

    def _row(self, measure: str, species: str) -> Any:
        frame = self.table.frame
        rows = frame["measure"] == measure
        if "species" in frame:
            rows &= frame["species"].astype(object).fillna("").astype(str) == species
        if rows.sum() != 1:
            of = f" of {species!r}" if species else ""
            known = ", ".join(map(repr, dict.fromkeys(frame["measure"])))
            raise LayerError(
                f"the measures need {measure!r}{of} once, got it {rows.sum()} times; they hold "
                f"{known}"
            )
        return frame[rows].iloc[0]

    def basis(self, basis: Basis, species: str) -> Span:
        """Return what a rate on this basis counts by, for this species where it is one's own."""
        name = BASES[basis][0]
        return self.span(name, species if name.startswith("suitable") else "")

    @property
    def surface(self) -> float:
        """Area of the water, m2; raises LayerError if there is none."""
        area = self.span("surface area").likely
        if not area > 0:
            raise LayerError(f"surface area must be above 0, got {area:g} m2")
        return area


def plain(value: float, digits: int = 4, *, trimmed: bool = False) -> str:
    """Write a number to so many figures, thousands set apart and without powers of ten.

    Zeros at its end are left away where it is `trimmed`.

    Examples
    --------
    >>> plain(1001363.5), plain(9.8999), plain(2471.05, 3), plain(0.0083)
    ('1,001,000', '9.900', '2,470', '0.008300')
    """
    if not (math.isfinite(value) and value):
        return f"{value:g}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    told = f"{round(value, places):,.{max(places, 0)}f}"
    return told.rstrip("0").rstrip(".") if trimmed and "." in told else told


def customary(quantity: float, unit: str) -> str:
    """Write a quantity in m, m2 or m3 as miles, acres or acre-feet."""
    name = {"m": "mile", "m2": "acre", "m3": "acre_foot"}[unit]
    size = convert(quantity, {"m": "m", "m2": "m**2", "m3": "m**3"}[unit], name)
    return f"{plain(size, trimmed=True)} {name.replace('_', '-')}"


def metric(span: "Span", unit: str) -> str:
    """Write a span in m, m2 or m3 as km, ha or m3, with its ends where it has some.

    Examples
    --------
    >>> metric(Span(94045.0, 96583.0, 99000.0), "m2")
    '9.658 ha (9.405 to 9.900 ha)'
    """
    size, name = {"m": (1e3, "km"), "m2": (1e4, "ha"), "m3": (1.0, "m\u00b3")}[unit]
    told = f"{plain(span.likely / size)} {name}"
    if not span.known:
        return told
    return f"{told} ({plain(span.low / size)} to {plain(span.high / size)} {name})"
