"""Customary units: what a table says in metres, again in feet, acres and acre-feet."""

import re
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Table
from toolbox.units import convert
from toolbox.volume.stage import CUSTOMARY, Foot

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FEET", "areas_and_volumes", "with_customary_columns", "with_customary_values"]

FEET: dict[Foot, str] = {
    "international": "the international foot, 0.3048 m",
    "survey": "the US survey foot, 1200/3937 m",
}

_SUFFIXES = {"m": "ft", "m2": "acre", "m3": "acre_ft"}
_METRIC = {"m": "m", "m2": "m^2", "m3": "m^3"}
_PLACES = ("easting", "northing")
_ALIKE = 1e-7  # the two feet part by 2e-6


def areas_and_volumes(hypsography: Table, *, foot: Foot = "international") -> Table:
    """Arrange a hypsographic table for a report: SI and US customary columns side by side.

    Parameters
    ----------
    hypsography : Table
        As the tool of that name makes it.
    foot : str
        ``"international"`` (0.3048 m) or ``"survey"`` (1200/3937 m), of which feet, acres and
        acre-feet are made.

    Returns
    -------
    Table
        All columns of `hypsography` but those that are empty, each figure followed by the ends of
        its band; then the same in ``_ft``, ``_acre`` and ``_acre_ft``; then shares.

    Examples
    --------
    >>> import pandas as pd
    >>> table = Table(pd.DataFrame({"depth_m": [3.048], "area_m2": [0.0]}))
    >>> list(areas_and_volumes(table).frame)
    ['depth_m', 'area_m2', 'depth_ft', 'area_acre']
    """
    filled = hypsography.frame.dropna(axis="columns", how="all")
    return with_customary_columns(Table(filled, "Areas and volumes", hypsography.notes), foot=foot)


def with_customary_columns(table: Table, *, foot: Foot) -> Table:
    """Repeat the columns in m, m2 and m3 of a table in feet, acres and acre-feet.

    Raises
    ------
    ParameterError
        If the table has such columns already, of another foot.
    """
    frame = table.frame
    names = [str(name) for name in frame]
    metric = [name for name in _banded(names) if _unit(name) in _METRIC]
    made = {_renamed(name): _converted(frame[name], _unit(name), foot) for name in metric}
    for name in made:
        if name in frame and not np.allclose(frame[name], made[name], _ALIKE, 0, equal_nan=True):
            raise ParameterError(f"foot must be that of the table's column {name!r}, got {foot!r}")
    rest = [name for name in names if name not in metric and name not in made]
    said = f"feet, acres and acre-feet of {FEET[foot]}"
    told = [note for note in table.notes if not note.startswith("feet, acres and acre-feet of")]
    ordered = frame[metric].assign(**made).join(frame[rest])
    return Table(ordered, table.title, (*told, said))


def with_customary_values(table: Table, *, foot: Foot) -> Table:
    """Repeat the rows in m, m2 and m3 of a table of one value a row in feet, acres and acre-feet.

    Parameters
    ----------
    table : Table
        A name first, then ``value``, perhaps ``low`` and ``high``, ``unit`` and what more there is.
    foot : str
        Of which acres and acre-feet are made too.

    Returns
    -------
    Table
        With ``us_value``, perhaps ``us_low`` and ``us_high``, and ``us_unit`` after the unit; empty
        for places, and where there is no such unit.
    """
    frame = table.frame.copy()
    place = frame.iloc[:, 0].str.endswith(_PLACES)
    units = frame["unit"].where(frame["unit"].isin(list(_METRIC)) & ~place, "")
    after = list(frame).index("unit") + 1
    for name in (name for name in ("value", "low", "high") if name in frame):
        frame.insert(after, f"us_{name}", np.nan)
        for unit in set(units) - {""}:
            rows = units == unit
            frame.loc[rows, f"us_{name}"] = _converted(frame.loc[rows, name], unit, foot)
        after += 1
    frame.insert(after, "us_unit", units.map({"": ""} | _SUFFIXES))
    return Table(frame, table.title, (*table.notes, f"feet, acres and acre-feet of {FEET[foot]}"))


def _converted(values: "pd.Series", unit: str, foot: Foot) -> np.ndarray:
    return np.asarray(convert(values.to_numpy(float), _METRIC[unit], CUSTOMARY[foot][unit]))


def _unit(name: str) -> str:
    return name.rpartition("_")[2]


def _renamed(name: str) -> str:
    stem, _, unit = name.rpartition("_")
    return f"{stem}_{_SUFFIXES[unit]}"


def _banded(names: list[str]) -> list[str]:
    """Put the ends of each band behind the column they belong to."""
    order = {name: place for place, name in enumerate(names)}

    def key(name: str) -> tuple[int, int]:
        found = re.fullmatch(r"(.+)_(low|high)_(\w+)", name)
        base = f"{found[1]}_{found[3]}" if found else name
        return order.get(base, order[name]), order[name]

    return sorted(names, key=key)
