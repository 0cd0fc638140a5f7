"""Casts from files: the log of a bank session, its pings, and the pegs it was cast from."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats import columns as names
from toolbox.formats.delimited import notes_of, numbers, read_delimited
from toolbox.formats.paths import existing_file
from toolbox.formats.places import named_places, read_places, true_bearings
from toolbox.formats.times import TAKEN_AS_UTC
from toolbox.layers import CastLog, Places
from toolbox.layers.geodesy import bearings
from toolbox.moments import check_zone, in_utc, zone_unsaid
from toolbox.tool import Range, checked
from toolbox.units import convert

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["read_casts"]


@checked
def read_casts(
    path: Path,
    *,
    pings: Path,
    pegs: Path | None = None,
    crs: str | None = None,
    into: str | None = None,
    declination: Annotated[float, Range("degree", min=-180, max=180)] | None = None,
    wrap: Annotated[float, Range("m", above=0)] | None = None,
    timezone: str | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> CastLog:
    """Read a cast log and its pings.

    Parameters
    ----------
    path : Path
        The log as delimited text or a workbook (.xlsx, .xlsm), one row a cast: ``cast``; ``peg``,
        or the rod's coordinates; ``bearing`` (degrees true), ``bearing_magnetic``, or ``towards``
        (the name of a point of the file of pegs); ``line_out`` (``_m`` or ``_ft``) or ``wraps``;
        where known ``rod_tip_height``, ``retrieve_speed_m_s`` or ``arrival_s``, ``start_time``,
        ``water_level``.
    pings : Path
        The readings as text or a workbook: ``cast``, ``seconds`` since the retrieve began,
        ``depth``, and ``canopy`` where plants stood; all other columns are kept.
    pegs : Path, optional
        Points with a column ``peg``: pegs, and whatever casts go towards.
    crs : str, optional
        CRS of the coordinates, where the files name none.
    into : str, optional
        Projected CRS in metres to work in; if left out, the file's own if it is one, else a
        suitable one.
    declination : float, optional
        East of true north, to turn magnetic bearings into true ones.
    wrap : float, optional
        Line on one wrap around the pegs that measure it, where the log counts wraps.
    timezone : str, optional
        Zone of starting times that name no offset; if left out, they are taken as UTC, and that is
        told.
    delimiter : str, optional
        Between columns, if it cannot be found out.
    decimal : str, optional
        Decimal mark, if it cannot be found out.
    encoding : str
        Encoding of the text.

    Returns
    -------
    CastLog
        In a projected CRS in metres.

    Raises
    ------
    InputFileError
        If a file lacks what it needs; the message names the line or the column.
    """
    if timezone is not None:
        check_zone(timezone)
    text: dict[str, Any] = {"delimiter": delimiter, "decimal": decimal, "encoding": encoding}
    frame = read_delimited(existing_file(path), **text)
    known = read_places(pegs, crs=crs, into=into, **text) if pegs is not None else None
    rods, target, notes = _rods(frame, path, known, {"crs": crs, "into": into} | text)
    columns: dict[str, Any] = {
        "cast": frame[names.need(names.find(frame, names.CAST), frame, path, "cast")].astype(str),
        "easting": rods[:, 0],
        "northing": rods[:, 1],
        "bearing": _bearings(frame, path, rods, known, target, declination),
        "line_out": _line_out(frame, path, wrap),
    }
    starts, assumed = _starts(frame, timezone)
    readings, told = _pings(existing_file(pings), text)
    notes = tuple(dict.fromkeys((*notes, *notes_of(frame), *told, *assumed)))
    return CastLog(_table(columns | _optional(frame, path) | starts), readings, target, notes)


def _table(columns: dict[str, Any]) -> "pd.DataFrame":
    import pandas as pd

    return pd.DataFrame(columns)


def _rods(
    frame: "pd.DataFrame", path: Path, known: Places | None, options: Any
) -> tuple[np.ndarray, "CRS | None", tuple[str, ...]]:
    """Where the rod stood at each cast: at a peg, or at coordinates of its own."""
    column = names.find(frame, names.PEG)
    if known is None or column is None:
        own = read_places(path, **options)
        return own.coordinates, own.crs, own.notes
    return named_places(frame[column].astype(str), known, path), known.crs, known.notes


def _bearings(
    frame: "pd.DataFrame",
    path: Path,
    rods: np.ndarray,
    known: Places | None,
    crs: "CRS | None",
    declination: float | None,
) -> np.ndarray:
    true = true_bearings(frame, path, declination)
    if true is not None:
        return true
    column = names.find(frame, names.TOWARDS)
    if column is None or known is None:
        listed = ", ".join(map(str, frame.columns))
        raise InputFileError(
            f"{path} has no column bearing, bearing_magnetic, or towards with a file of pegs, "
            f"only {listed}"
        )
    return bearings(rods, named_places(frame[column].astype(str), known, path), crs)


def _line_out(frame: "pd.DataFrame", path: Path, wrap: float | None) -> np.ndarray:
    if (column := names.find(frame, names.LINE_OUT)) is not None:
        unit = names.unit_of(column) or "m"
        return np.asarray(convert(numbers(frame, column, path), unit, "m"))
    column = names.need(names.find(frame, names.WRAPS), frame, path, "line out, or wraps")
    if wrap is None:
        raise ParameterError(f"{path}: a log in wraps needs wrap, the line on one of them")
    return numbers(frame, column, path) * wrap


def _optional(frame: "pd.DataFrame", path: Path) -> dict[str, Any]:

    found: dict[str, Any] = {}
    for name, common in (("rod_tip", names.ROD_TIP), ("water_level", names.WATER_LEVEL)):
        if (column := names.find(frame, common)) is not None:
            found[name] = convert(numbers(frame, column, path), names.unit_of(column) or "m", "m")
    for name, listed in (("speed", names.SPEED), ("arrival", names.ARRIVAL)):
        if (column := names.find(frame, listed)) is not None:
            found[name] = numbers(frame, column, path)
    return found


def _starts(frame: "pd.DataFrame", timezone: str | None) -> tuple[dict[str, Any], tuple[str, ...]]:
    """When each retrieve began, where that is told, and what was assumed of it."""
    if (column := names.find(frame, names.START)) is None:
        return {}, ()
    assumed = timezone is None and zone_unsaid(frame[column])
    notes = (TAKEN_AS_UTC,) if assumed else ()
    return {"start": in_utc(frame[column], timezone=timezone)}, notes


def _pings(path: Path, text: Any) -> tuple["pd.DataFrame", tuple[str, ...]]:
    """Read the readings, and tell what was assumed of them."""
    frame = read_delimited(path, **text)
    common = {"cast": names.CAST, "seconds": names.SECONDS, "depth": names.DEPTH}
    used = {
        name: names.need(names.find(frame, known), frame, path, name)
        for name, known in common.items()
    }
    if (canopy := names.find(frame, names.CANOPY)) is not None:
        used["canopy"] = canopy
    measured = {
        name: _in_metres(frame, column, path) for name, column in used.items() if name != "cast"
    }
    cast = frame[used["cast"]].astype(str)
    kept = frame.drop(columns=list(used.values()))
    return kept.assign(cast=cast, **measured), notes_of(frame)


def _in_metres(frame: "pd.DataFrame", column: str, path: Path) -> np.ndarray:
    return np.asarray(convert(numbers(frame, column, path), names.unit_of(column) or "m", "m"))
