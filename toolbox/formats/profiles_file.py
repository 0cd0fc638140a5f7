"""Profiles from text: temperature, oxygen and light at depths, stations and times."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats import columns as names
from toolbox.formats.delimited import notes_of, numbers, place_of, read_delimited, refuse
from toolbox.formats.paths import existing_file
from toolbox.formats.times import read_times
from toolbox.layers import Profiles
from toolbox.layers.profiles import MEASURES
from toolbox.notes import Assumption, Caution
from toolbox.tool import Range, checked
from toolbox.units import Unit, convert

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["AT_DATUM", "read_profiles"]

AT_DATUM = Assumption("each day's surface taken at the datum")
"""What is assumed where no levels are told."""

_LIMITS = {"temperature_c": (-2.0, 60.0), "oxygen_mg_l": (0.0, 40.0), "par": (0.0, np.inf)}
_OWN = ("time", "station", "depth_m", "surface_m", *MEASURES)
_WARM = 45.0  # no lake's water in degrees Celsius, but an autumn lake's in Fahrenheit
_OF_SATURATION = re.compile(r"(oxygen|\bdo\b|^do_).*(percent|pct|%|sat)")
_DRIFT = 0.5  # by which a worn oxygen sonde reads below nothing, mg/L (common practice, no source)


@checked
def read_profiles(
    path: Path,
    *,
    time: str | None = None,
    date: str | None = None,
    date_format: str | None = None,
    timezone: str | None = None,
    station: str | None = None,
    depth: str | None = None,
    unit: Unit | None = None,
    temperature: str | None = None,
    temperature_unit: Literal["C", "F"] | None = None,
    oxygen: str | None = None,
    light: str | None = None,
    level: str | None = None,
    datum: Annotated[float, Range("m")] | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> Profiles:
    """Read profiles of temperature, oxygen and light.

    Parameters
    ----------
    path : Path
        Delimited text or a workbook (.xlsx, .xlsm), one row a reading, any number of stations and
        visits together: a date or time, ``depth`` (``_m`` or ``_ft``), of ``temperature`` (``_c``
        or ``_f``), ``oxygen_mg_l`` (or ``do_mg_l``, ``do_ppm``) and ``par`` those that were read,
        and where known ``station`` and ``level`` (elevation of the water surface). An empty cell
        is a reading that was not made; other columns are kept.
    time : str, optional
        Column of times, or of times of day beside dates, if its name does not tell.
    date : str, optional
        Column of dates, if its name does not tell. A date alone is noon.
    date_format : str, optional
        How dates are written, such as "%d.%m.%Y" or "%m/%d/%Y", if not as ISO 8601.
    timezone : str, optional
        Zone of times that name no offset, such as "America/Chicago"; if left out, they are taken
        as UTC, and that is told.
    station : str, optional
        Column of stations, if its name does not tell.
    depth : str, optional
        Column of depths below that day's surface, positive down, if its name does not tell.
    unit : str, optional
        Unit of the depths; if left out, what the column's name says, or metres.
    temperature : str, optional
        Column of temperatures, if its name does not tell.
    temperature_unit : str, optional
        C or F; if left out, what the column's name says, or C.
    oxygen : str, optional
        Column of oxygen in mg/L (ppm is the same), if its name does not tell; not per cent.
    light : str, optional
        Column of light, in any unit that grows with it, if its name does not tell.
    level : str, optional
        Column of the elevation of the water surface, if its name does not tell; needs the datum.
    datum : float, optional
        Elevation of the datum water level, m, to tell how deep below it each day's surface lay.
    delimiter : str, optional
        Between columns, if it cannot be found out.
    decimal : str, optional
        Decimal mark, if it cannot be found out.
    encoding : str
        Encoding of the text.

    Returns
    -------
    Profiles
        In UTC, metres, degrees Celsius and mg/L; the notes say what was assumed.

    Raises
    ------
    InputFileError
        If the file lacks a column, a cell is out of its range, or a visit holds a depth twice;
        the message names the line.
    """
    frame = read_delimited(
        existing_file(path), delimiter=delimiter, decimal=decimal, encoding=encoding
    )
    times, used, notes = read_times(
        frame, path, time=time, date=date, date_format=date_format, timezone=timezone
    )
    notes += notes_of(frame)
    stations, station_column = _stations(frame, path, station)
    columns: dict[str, Any] = {"time": times, "station": stations}
    taken = [*used, *station_column]
    for values, column, told in (
        _depths(frame, path, depth, unit),
        _surface(frame, path, level, datum),
        _temperatures(frame, path, temperature, temperature_unit),
        _oxygen(frame, path, oxygen),
        _light(frame, path, light),
    ):
        columns |= values
        taken += column
        notes += told
    if not set(columns) & set(MEASURES):
        names.need(None, frame.columns, path, "temperature, oxygen or light")
    _refuse_twice(frame, path, columns)
    kept, told = _kept(frame, taken)
    return Profiles(_table(columns | kept), tuple(notes + told))


Found = tuple[dict[str, Any], list[str], list[str]]
"""Values by name, the columns they were taken from, and what was assumed."""


def _stations(frame: "pd.DataFrame", path: Path, named: str | None) -> tuple[Any, list[str]]:
    column = named or names.find(frame.columns, names.STATION)
    if column is None:
        return "", []
    names.need(column, frame.columns, path, "station")
    return frame[column].astype(str).str.strip(), [column]


def _depths(frame: "pd.DataFrame", path: Path, named: str | None, unit: Unit | None) -> Found:
    column = named or names.find(frame.columns, names.DEPTH)
    column = names.need(column, frame.columns, path, "depth")
    said = unit or names.unit_of(column) or "m"
    values = np.asarray(convert(numbers(frame, column, path), said, "m"), float)
    _refuse(frame, path, column, values, (0.0, 2000.0), "a depth below the surface, 0 to 2000 m")
    return {"depth_m": values}, [column], [] if said == "m" else [f"depths read in {said}"]


def _surface(frame: "pd.DataFrame", path: Path, named: str | None, datum: float | None) -> Found:
    """Take the elevation of each day's surface, or its depth below the datum, if either is told."""
    if datum is None and named is not None:
        raise ParameterError(f"{path}: levels need the datum's elevation: give datum")
    level = named or names.find(frame.columns, names.WATER_LEVEL)
    depth = None if named else names.find(frame.columns, names.SURFACE)
    told = depth if datum is None else level or depth
    if told is None:
        unused = f"column {level!r} was not used: give datum, the elevation of the datum"
        return {}, [], [unused if level else AT_DATUM]
    names.need(told, frame.columns, path, "level")
    values = np.asarray(convert(numbers(frame, told, path), names.unit_of(told) or "m", "m"), float)
    _refuse(frame, path, told, values, (-np.inf, np.inf), "the level of every reading's day")
    if told == level and datum is not None:
        values = datum - values
    return {"surface_m": np.round(values, 6)}, [told], []


def _temperatures(
    frame: "pd.DataFrame", path: Path, named: str | None, unit: Literal["C", "F"] | None
) -> Found:
    said = {"C": names.CELSIUS, "F": names.FAHRENHEIT}
    known = {u: names.find(frame.columns, said[u]) for u in said}
    plain = names.find(frame.columns, names.TEMPERATURE)
    column = named or known["C"] or known["F"] or plain
    if column is None:
        return {}, [], []
    names.need(column, frame.columns, path, "temperature")
    told = next((u for u in said if names.find([column], said[u])), None)
    raw = numbers(frame, column, path)
    if unit is None and told is None and (raw > _WARM).any():
        raise InputFileError(
            f"{path}, {place_of(frame, int((raw > _WARM).argmax()), path)}: column {column!r} "
            "does not say whether it is in C or F: give temperature_unit"
        )
    values = (raw - 32) / 1.8 if (unit or told) == "F" else raw
    _refuse_measure(frame, path, column, values, "temperature_c", "a temperature of -2 to 60 C")
    assumed: list[str] = (
        [] if unit or told else [Assumption(f"column {column!r} taken as degrees Celsius")]
    )
    return {"temperature_c": values}, [column], assumed


def _oxygen(frame: "pd.DataFrame", path: Path, named: str | None) -> Found:
    certain = names.find(frame.columns, names.OXYGEN_MG_L)
    column = named or certain or names.find(frame.columns, names.OXYGEN)
    if column is None:
        share = [str(name) for name in frame.columns if _OF_SATURATION.search(str(name).lower())]
        return (
            {},
            [],
            [Caution(f"column {name!r} was not read: oxygen is read in mg/L") for name in share],
        )
    names.need(column, frame.columns, path, "oxygen")
    values = numbers(frame, column, path)
    notes: list[str] = [] if named or certain else [Assumption(f"column {column!r} taken as mg/L")]
    drifted = (values < 0) & (values >= -_DRIFT)
    if drifted.any():
        notes.append(f"{int(drifted.sum())} readings of oxygen a little below 0 taken as 0")
    values = np.where(drifted, 0.0, values)
    allowed = "oxygen of 0 to 40 mg/L (not per cent)"
    _refuse_measure(frame, path, column, values, "oxygen_mg_l", allowed)
    return {"oxygen_mg_l": values}, [column], notes


def _light(frame: "pd.DataFrame", path: Path, named: str | None) -> Found:
    column = named or names.find(frame.columns, names.LIGHT)
    if column is None:
        return {}, [], []
    names.need(column, frame.columns, path, "light")
    values = numbers(frame, column, path)
    _refuse_measure(frame, path, column, values, "par", "light of 0 or more")
    return {"par": values}, [column], []


def _refuse_measure(
    frame: "pd.DataFrame", path: Path, column: str, values: np.ndarray, measure: str, allowed: str
) -> None:
    known = np.where(np.isnan(values), 0.0, values)
    _refuse(frame, path, column, known, _LIMITS[measure], f"{allowed}, or be empty")


def _refuse(
    frame: "pd.DataFrame",
    path: Path,
    column: str,
    values: np.ndarray,
    limits: tuple[float, float],
    allowed: str,
) -> None:
    refuse(frame, column, path, ~((values >= limits[0]) & (values <= limits[1])), allowed)


def _refuse_twice(frame: "pd.DataFrame", path: Path, columns: dict[str, Any]) -> None:
    key = _table({name: columns[name] for name in ("station", "time", "depth_m")})
    twice = key.duplicated().to_numpy()
    if twice.any():
        row = int(twice.argmax())
        first = int((key == key.iloc[row]).all(axis=1).to_numpy().argmax())
        name, time, depth = key.iloc[row]
        raise InputFileError(
            f"{path}, {place_of(frame, row, path)}: {depth:g} m at station {name!r} on "
            f"{time:%Y-%m-%d %H:%M} UTC stands in {place_of(frame, first, path)} already; "
            "two profiles of one day need their times of day"
        )


def _kept(frame: "pd.DataFrame", taken: list[str]) -> tuple[dict[str, Any], list[str]]:
    """Columns that stay beside the readings, under a name of their own."""
    others = [str(name) for name in frame.columns if name not in taken]
    kept = {f"{name} (file)" if name in _OWN else name: frame[name].to_numpy() for name in others}
    return kept, [f"columns kept and not used: {', '.join(others)}"] if others else []


def _table(columns: dict[str, Any]) -> "pd.DataFrame":
    import pandas as pd

    return pd.DataFrame(columns)
