"""Soundings from files: text or vector points, in whatever units and signs they come."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats import columns as names
from toolbox.formats.delimited import numbers
from toolbox.formats.gpx import read_gpx
from toolbox.formats.las_file import las_places
from toolbox.formats.paths import existing_file
from toolbox.formats.places import read_places
from toolbox.formats.point_chunks import LAS_SUFFIXES
from toolbox.formats.point_columns import UNSAID, texts
from toolbox.formats.times import TAKEN_AS_UTC
from toolbox.layers import Soundings
from toolbox.layers.crs import parse_crs
from toolbox.moments import check_zone, in_utc, zone_unsaid
from toolbox.notes import Assumption, Caution
from toolbox.tool import Range, checked
from toolbox.units import Unit, convert

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = [
    "check_direction",
    "depth_column",
    "depths_of",
    "put_together",
    "read_soundings",
    "text_columns",
]

_NUMBERS = (
    "sd",
    "sd_xy",
    "sd_along",
    "sd_across",
    "sd_shared",
    "bearing",
    "canopy",
    "depth_read",
    "temperature",
    "water_level",
    "level_correction",
    "sound_speed_correction",
    "count",
    "lines",
    "cell",
    "bar_check_correction",
)


@checked
def read_soundings(
    path: Path,
    *,
    crs: str | None = None,
    into: str | None = None,
    layer: str | None = None,
    where: str | None = None,
    easting: str | None = None,
    northing: str | None = None,
    depth: str | None = None,
    elevation: str | None = None,
    unit: Unit | None = None,
    positive: Literal["down", "up"] = "down",
    datum: Annotated[float, Range("m")] | None = None,
    pegs: Path | None = None,
    declination: Annotated[float, Range("degree", min=-180, max=180)] | None = None,
    timezone: str | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> Soundings:
    """Read point soundings.

    Parameters
    ----------
    path : Path
        Delimited text, a workbook (.xlsx, .xlsm), GeoPackage, Shapefile, GeoJSON, FlatGeobuf,
        GeoParquet, GPX, LAS or LAZ; of the last two give depth = "Z", or elevation = "Z" and the
        datum.
    crs : str, optional
        CRS of the coordinates, where the file names none. Text with columns named longitude and
        latitude is taken as WGS 84 if this is left out.
    into : str, optional
        Projected CRS in metres to work in; if left out, the file's own if it is one, else a
        suitable one.
    layer : str, optional
        Layer of a file that holds several, or sheet of a workbook; of a workbook if left out the
        first sheet that holds a table.
    where : str, optional
        Condition on the features of a vector file, such as "line = '7'".
    easting : str, optional
        Column of eastings or longitudes, if its name does not tell.
    northing : str, optional
        Column of northings or latitudes, if its name does not tell.
    depth : str, optional
        Column of depths, if its name does not tell; "Z" for the points' own third coordinate.
    elevation : str, optional
        Column of bed elevations instead of depths; needs the datum.
    unit : str, optional
        Unit of the depths or elevations; if left out, what the column's name says, or metres.
    positive : str
        Direction in which depths grow.
    datum : float, optional
        Elevation of the datum water level, to turn elevations into depths.
    pegs : Path, optional
        Points with a column ``peg``, for readings placed by columns ``peg``, ``bearing`` (or
        ``bearing_magnetic``) and ``distance``.
    declination : float, optional
        East of true north, if bearings are magnetic.
    timezone : str, optional
        Zone of times that name no offset, such as "Europe/Berlin"; if left out, they are taken as
        UTC, and that is told.
    delimiter : str, optional
        Between columns of text, if it cannot be found out.
    decimal : str, optional
        Decimal mark of text, if it cannot be found out.
    encoding : str
        Encoding of text.

    Returns
    -------
    Soundings
        As many as the file has, in a projected CRS in metres. Missing depths and places are
        flagged; the notes say what was assumed.

    Raises
    ------
    InputFileError
        If the file is not what it should be; the message names the line or the columns.
    """
    if timezone is not None:
        check_zone(timezone)
    if path.suffix.lower() == ".gpx":
        return _waypoints(path, unit, into)
    said: Unit | None = None
    if path.suffix.lower() in LAS_SUFFIXES:
        places, said = las_places(existing_file(path), crs=crs, into=into)
    else:
        places = read_places(
            path,
            crs=crs,
            into=into,
            layer=layer,
            where=where,
            easting=easting,
            northing=northing,
            pegs=pegs,
            declination=declination,
            delimiter=delimiter,
            decimal=decimal,
            encoding=encoding,
        )
    values, told = depths_of(
        places.frame,
        path,
        depth=depth,
        elevation=elevation,
        unit=unit or said,
        positive=positive,
        datum=datum,
    )
    return put_together(
        places.coordinates,
        values,
        places.frame,
        places.crs,
        (*places.notes, *told),
        timezone=timezone,
    )


def depths_of(
    frame: "pd.DataFrame",
    path: Path,
    *,
    depth: str | None = None,
    elevation: str | None = None,
    unit: Unit | None = None,
    positive: Literal["down", "up"] = "down",
    datum: float | None = None,
    whole: bool = True,
) -> tuple[np.ndarray, list[str]]:
    """Take depths in metres, positive down, from a table.

    Of a table that is a portion only, ``whole=False``, it is not checked on which side most lie.

    Returns
    -------
    values : (n,) array
        NaN where missing.
    notes : list of str
        What was assumed.

    Raises
    ------
    InputFileError
        If no column is plainly the depth, or most depths lie above the water.
    ParameterError
        If depth and elevation are both named, or the datum is missing.
    """
    column, is_elevation = depth_column(frame, path, depth, elevation)
    raw = _thirds(frame, path) if column.upper() == "Z" and column not in frame else None
    raw = numbers(frame, column, path) if raw is None else raw
    said = names.unit_of(column)
    notes: list[str] = (
        [Assumption(f"column {column!r} read in {said}, as its name says")]
        if said and not unit
        else []
    )
    values = np.asarray(convert(raw, unit or said or "m", "m"), float)
    if is_elevation:
        if datum is None:
            raise ParameterError(f"{path}: elevations need the datum's elevation: give datum")
        return datum - values, notes
    if positive == "up":
        return -values, notes
    if whole:
        check_direction(int((values < 0).sum()), int((values > 0).sum()), column, path)
    return values, notes


def check_direction(above: int, below: int, column: str, path: Path) -> None:
    """Raise InputFileError if more depths lie above the water than below."""
    if above > below:
        raise InputFileError(
            f"{path}: most depths in column {column!r} are negative; if they grow upwards, "
            "give positive = 'up'; if they are elevations, give elevation and datum"
        )


def depth_column(
    frame: "pd.DataFrame", path: Path, depth: str | None, elevation: str | None
) -> tuple[str, bool]:
    """Return the column of depths or elevations, and whether it holds elevations."""
    if depth is not None and elevation is not None:
        raise ParameterError(f"{path}: name a column of depths or of elevations, not both")
    given = depth or elevation
    if given is not None:
        third = given.upper() == "Z" and "geometry" in frame
        return (given if third else names.need(given, frame.columns, path, "depth")), depth is None
    several = names.find_all(frame.columns, names.DEPTH)
    if len(several) > 1:
        raise InputFileError(
            f"{path} has several columns that may be the depth: {', '.join(several)}; name one"
        )
    found = several[0] if several else None
    if found is None and (found := names.find(frame.columns, names.ELEVATION)):
        return found, True
    others = [column for column in frame.columns if column != "geometry"]
    return names.need(found, others, path, "depth"), False


def _thirds(frame: "pd.DataFrame", path: Path) -> np.ndarray:
    import shapely

    shapes = frame["geometry"].array
    if not shapely.has_z(shapes).all():
        raise InputFileError(f"{path}: the points have no third coordinate")
    return np.asarray(shapely.get_z(shapes))


def _waypoints(path: Path, unit: Unit | None, into: str | None) -> Soundings:
    soundings = read_gpx(existing_file(path), unit=unit or "m")
    return soundings if into is None else soundings.to_crs(parse_crs(into))


def text_columns(listed: "Iterable[Any]") -> list[str]:
    """Return which columns of a table are read as texts or times, whatever they hold."""
    table = list(map(str, listed))
    found = (names.find(table, words) for words in (names.LINE, names.TIME))
    own = (name for name in (*UNSAID, "flag") if name in table)
    return list(dict.fromkeys([*own, *(name for name in found if name is not None)]))


def put_together(
    place: np.ndarray,
    depth: np.ndarray,
    frame: "pd.DataFrame",
    crs: "CRS | None",
    notes: tuple[str, ...] = (),
    *,
    timezone: str | None = None,
) -> Soundings:
    """Make soundings of places, depths and what else a table says of them.

    Parameters
    ----------
    place : (n, 2) array
        Easting and northing, m.
    depth : (n,) array
        Metres, positive down.
    frame : DataFrame
        The table, with as many rows.
    crs : CRS or None
        Of the places.
    notes : tuple of str
        What was assumed so far.
    timezone : str, optional
        Zone of times that name no offset.
    """
    extra, odd = _extra(frame, timezone)
    return _soundings(place, depth, crs, (*notes, *odd), extra)


def _extra(frame: "pd.DataFrame", timezone: str | None) -> tuple[dict[str, Any], list[str]]:
    """Columns that soundings carry on, and what was odd about them."""
    import pandas as pd

    kept: dict[str, Any] = {
        name: texts(frame[name], unsaid) for name, unsaid in UNSAID.items() if name in frame
    }
    kept |= {"flag": frame["flag"].to_numpy()} if "flag" in frame else {}
    notes: list[str] = []
    if (column := names.find(frame.columns, names.LINE)) is not None:
        kept["line"] = texts(frame[column], UNSAID["line"])
    if (column := names.find(frame.columns, names.TIME)) is not None:
        kept["time"], notes = _times(frame[column], timezone)
    for name in (name for name in _NUMBERS if name in frame):
        kept[name] = pd.to_numeric(frame[name], errors="coerce").to_numpy(float)
    return kept, notes


def _times(given: "pd.Series[Any]", timezone: str | None) -> tuple[np.ndarray, list[str]]:
    """Read times in UTC, and tell those that cannot be read and what was assumed."""
    import pandas as pd

    found = in_utc(given, timezone=timezone).to_numpy()
    notes: list[str] = [TAKEN_AS_UTC] if timezone is None and zone_unsaid(given) else []
    said = given.notna() & (given.astype(str).str.strip() != "")
    if unread := int((pd.isna(found) & said).sum()):
        once = f" or do not come once in {timezone}" if timezone else ""
        text = f"{unread} times in column {given.name!r} are not ISO 8601{once} and were left empty"
        notes.append(Caution(text))
    return found, notes


def _soundings(
    place: np.ndarray,
    depth: np.ndarray,
    crs: "CRS | None",
    notes: tuple[str, ...],
    extra: dict[str, Any],
) -> Soundings:
    reason, flagged = extra.pop("reason", None), extra.pop("flag", None)
    soundings = Soundings.from_arrays(place, depth, crs=crs, notes=notes, **extra)
    if flagged is None:
        return soundings
    flagged = np.isin(flagged.astype(str), ("True", "true", "1"))
    reason = np.full(len(depth), "", object) if reason is None else reason
    for text in np.unique(reason[flagged]):
        soundings = soundings.reject(flagged & (reason == text), text or "flagged in the file")
    return soundings
