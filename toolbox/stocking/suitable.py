"""Suitable: what a table of suitable water says of each species, as rows of measures."""

import math
from typing import TYPE_CHECKING, Any

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.days import in_days, month_day
from toolbox.stocking.measured import plain

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["LEFT_OUT", "UNREAD", "suitable_rows", "within_days"]

LEFT_OUT = "left out"
"""What the note of a suitable bed says where limits on the bed were not kept."""

UNREAD = "nobody read what the species needs"
"""What it says where water is unknown."""

_TRIFLE = 0.05
"""Share of unknown water from which on it is told (judgement)."""

_SUITABLE = {
    "suitable_volume": ("m3", "suitable volume"),
    "bed_area": ("m2", "suitable bed area"),
}


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
        raise ParameterError(
            f"no row of the suitable water lies between {first} and {last}, the days of "
            "suitable_first and suitable_last"
        )
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
    note += _unread(rows, least)
    return (measure, species, float(values[least]), *map(float, ends), unit, note)


def _unread(rows: Table, least: int) -> str:
    """Say how much water is unknown at the least, where that is no trifle."""
    if not {"unknown_volume_m3", "suitable_volume_m3"} <= set(rows.frame):
        return ""
    unknown, known = (
        float(rows.column(name)[least]) for name in ("unknown_volume_m3", "suitable_volume_m3")
    )
    if not unknown > _TRIFLE * known:
        return ""
    return f"; {UNREAD} of {plain(unknown)} m3, not counted"


def _bed_note(frame: "pd.DataFrame") -> str:
    """Return how a table of suitable water says that its bed areas were reckoned."""
    if "bed_note" not in frame:
        return ""
    return ", ".join(dict.fromkeys(filter(None, frame["bed_note"].astype(object).fillna(""))))
