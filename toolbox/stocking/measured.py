"""Measured: the table of measures, as stocking reads it."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.bases import BASES, Basis
from toolbox.stocking.days import in_days, month_day
from toolbox.units import convert

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "LEFT_OUT",
    "SPECIES_COLUMNS",
    "Measured",
    "Span",
    "customary",
    "metric",
    "plain",
    "suitable_rows",
    "within_days",
]

SPECIES_COLUMNS = ("measure", "species", "value", "low", "high", "unit", "note")
"""Columns of a table of measures."""

LEFT_OUT = "left out"
"""What the note of a suitable bed says where limits on the bed were not kept."""

_UNITS = {name: {"length": "m", "area": "m2", "volume": "m3"}[per] for name, per in BASES.values()}
_UNITS |= {"mean depth": "m", "greatest depth": "m"}

_HAIR = 1e-9

_SUITABLE = {
    "suitable_volume": ("m3", "suitable volume"),
    "bed_area": ("m2", "suitable bed area"),
}


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


def suitable_rows(
    suitable: Table, first: str | None = None, last: str | None = None
) -> list[tuple[Any, ...]]:
    """Return the rows of measures that a table of suitable water gives.

    Parameters
    ----------
    suitable : Table
        Columns as :func:`toolbox.stocking.measures.stocking_measures` asks.
    first, last : str, optional
        Month and day between which its rows count; they may span New Year.

    Raises
    ------
    LayerError
        If it has no species, no figures, or a figure that is no number.
    ParameterError
        If a day cannot be read, or no row is left.
    """
    frame = suitable.frame
    stems = [stem for stem, (unit, _) in _SUITABLE.items() if f"{stem}_{unit}" in frame]
    if "species" not in frame or not stems:
        raise LayerError(
            "suitable water needs columns species and suitable_volume_m3 or bed_area_m2, "
            f"got {list(frame.columns)}"
        )
    if first is not None or last is not None:
        frame = within_days(frame, first, last)
    return [
        _least(Table(part), stem, str(species))
        for stem in stems
        for species, part in frame.groupby("species", sort=False)
    ]


def within_days(frame: "pd.DataFrame", first: str | None, last: str | None) -> "pd.DataFrame":
    """Return the rows of suitable water from one day of the year to another.

    Parameters
    ----------
    frame : DataFrame
        With a column ``time``.
    first, last : str or None
        Month and day, both included; they may span New Year. Without one of them that end of the
        calendar year.

    Raises
    ------
    LayerError
        If there is no such column.
    ParameterError
        If a day cannot be read, or no row is left.
    """
    import pandas as pd

    first, last = first or "01-01", last or "12-31"

    if "time" not in frame:
        raise LayerError(
            f"suitable_first and suitable_last need a column 'time', got {list(frame.columns)}"
        )
    times = pd.DatetimeIndex(pd.to_datetime(frame["time"], utc=True))
    days = (month_day(first, name="suitable_first"), month_day(last, name="suitable_last"))
    kept = frame[in_days(times, *days)]
    if not len(kept):
        raise ParameterError(f"no row of the suitable water lies between {first} and {last}")
    return kept


def _least(rows: Table, stem: str, species: str) -> tuple[Any, ...]:
    unit, measure = _SUITABLE[stem]
    values = rows.column(f"{stem}_{unit}")
    if not (values >= 0).all():
        raise LayerError(
            f"{stem}_{unit} of {species!r} must be >= 0 everywhere, got {values.min()}"
        )
    least = int(values.argmin())
    ends = [
        rows.column(name)[least] if (name := f"{stem}_{end}_{unit}") in rows.frame else math.nan
        for end in ("low", "high")
    ]
    note = "of the species' limits"
    if stem == "bed_area" and (said := _bed_note(rows.frame)):
        note += f", {said}"
    if len(values) > 1:
        when = f", on {str(rows.frame['time'].iloc[least])[:10]}" if "time" in rows.frame else ""
        note += f"; the least of {len(values)} times{when}"
    return (measure, species, float(values[least]), *map(float, ends), unit, note)


def _bed_note(frame: "pd.DataFrame") -> str:
    """Return how a table of suitable water says that its bed areas were reckoned."""
    if "bed_note" not in frame:
        return ""
    return ", ".join(dict.fromkeys(filter(None, frame["bed_note"].astype(object).fillna(""))))
