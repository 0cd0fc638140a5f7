"""Places: points from text or vector files, projected to metres at the door."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats import columns as names
from toolbox.formats.containers import is_read_workbook
from toolbox.formats.degrees import degrees
from toolbox.formats.delimited import notes_of, numbers, place_of, read_delimited
from toolbox.formats.paths import existing_file
from toolbox.formats.vector import VECTOR_SUFFIXES, count_features, layer_names, read_features
from toolbox.layers import Places
from toolbox.layers.crs import parse_crs, project, working_crs
from toolbox.layers.geodesy import travel
from toolbox.notes import Assumption
from toolbox.tool import Range, checked
from toolbox.units import convert
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = [
    "check_degrees",
    "coordinates_of",
    "named_places",
    "points_of",
    "read_places",
    "true_bearings",
]

_KML = ".kml"
_POLE = 90.0  # degrees


@checked
def read_places(
    path: Path,
    *,
    crs: str | None = None,
    into: str | None = None,
    layer: str | None = None,
    where: str | None = None,
    easting: str | None = None,
    northing: str | None = None,
    pegs: Path | None = None,
    declination: Annotated[float, Range("degree", min=-180, max=180)] | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> Places:
    """Read points.

    Parameters
    ----------
    path : Path
        Delimited text, a workbook (.xlsx, .xlsm), GeoPackage, Shapefile, GeoJSON, FlatGeobuf,
        GeoParquet, or the pins of a KML file, of all its folders if no layer is named.
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
        Condition on the features of a vector file, such as "name = 'slip'".
    easting : str, optional
        Column of eastings or longitudes, if its name does not tell.
    northing : str, optional
        Column of northings or latitudes, if its name does not tell.
    pegs : Path, optional
        Points with a column ``peg``, for places told by columns ``peg``, ``bearing`` (or
        ``bearing_magnetic``) and ``distance``.
    declination : float, optional
        East of true north, if bearings are magnetic.
    delimiter : str, optional
        Between columns of text, if it cannot be found out.
    decimal : str, optional
        Decimal mark of text, if it cannot be found out.
    encoding : str
        Encoding of text.

    Returns
    -------
    Places
        In the file's own CRS if that is in metres, else in a suitable one.

    Raises
    ------
    InputFileError
        If the file holds no points, or no CRS is known.
    """
    existing_file(path)
    if path.suffix.lower() in (*VECTOR_SUFFIXES, _KML):
        read = _pins if path.suffix.lower() == _KML else read_features
        frame = read(path, layer=layer, where=where, crs=crs)
        return _projected(points_of(frame, path), frame, frame.crs, into, path, ())
    book = is_read_workbook(path)
    for name, given in (("layer", None if book else layer), ("where", where)):
        if given is not None:
            raise ParameterError(
                f"{name} is for vector files, not for text: {path.name}, got {given!r}"
            )
    text = read_delimited(
        path, delimiter=delimiter, decimal=decimal, encoding=encoding, sheet=layer
    )
    if pegs is not None:
        known = read_places(pegs, crs=crs, into=into)
        placed = _from_pegs(text, path, known, declination)
        return replace(placed, notes=(*placed.notes, *notes_of(text)))
    place, rest, found, notes = coordinates_of(text, path, crs, easting, northing)
    notes += notes_of(text)
    if not book and text.attrs["layout"].encoding != encoding:
        notes += ("not UTF-8, so read as Windows-1252; if names look wrong, give encoding",)
    return _projected(place, rest, found, into, path, notes)


def named_places(wanted: "pd.Series[str]", known: Places, path: Path) -> np.ndarray:
    """Return the coordinates of named points, shape (n, 2), m.

    Parameters
    ----------
    wanted : Series of str
        Their names.
    known : Places
        Points with a column of names, such as ``peg``.
    path : Path
        The file that names them, for errors.

    Raises
    ------
    InputFileError
        If there is no such point.
    """
    column = names.need(names.find(known.frame, names.PEG), known.frame, "the file of pegs", "peg")
    row = {_called(str(name)): number for number, name in enumerate(known.frame[column])}
    wanted = wanted.map(_called)
    unknown = [name for name in wanted if name not in row]
    if unknown:
        raise InputFileError(f"{path}: no such peg {unknown[0]!r}, only {', '.join(sorted(row))}")
    return known.coordinates[[row[name] for name in wanted]]


def _called(name: str) -> str:
    """Take a peg's number for what it is, whatever fraction of noughts a table writes to it."""
    whole, point, rest = name.strip().partition(".")
    return whole if point and whole.isdigit() and not rest.strip("0") else name.strip()


def true_bearings(
    frame: "pd.DataFrame", path: Path, declination: float | None
) -> np.ndarray | None:
    """Return the bearings of a table, degrees true, shape (n,); None if it has none.

    Raises
    ------
    ParameterError
        If they are magnetic and no declination is given.
    """
    if (column := names.find(frame, names.BEARING)) is not None:
        return numbers(frame, column, path) % 360
    if (column := names.find(frame, names.MAGNETIC)) is None:
        return None
    if declination is None:
        raise ParameterError(f"{path}: magnetic bearings need declination, east of true north")
    return (numbers(frame, column, path) + declination) % 360


def coordinates_of(
    text: "pd.DataFrame", path: Path, crs: str | None, easting: str | None, northing: str | None
) -> tuple[np.ndarray, "pd.DataFrame", "CRS", tuple[str, ...]]:
    """Take coordinates from a table of text.

    Returns
    -------
    place : (n, 2) array
        As they stand; degrees, minutes and seconds as decimal degrees.
    rest : DataFrame
        The other columns.
    crs : CRS
        Of the coordinates.
    notes : tuple of str
        What was assumed or put right.
    """
    columns = _coordinate_columns(text, path, easting, northing)
    place, exchanged = _coordinates(text, columns, path)
    found, notes = _text_crs(text, place, columns, path, crs)
    return place, text.drop(columns=list(columns)), found, notes + exchanged


def _coordinates(
    text: "pd.DataFrame", columns: tuple[str, str], path: Path
) -> tuple[np.ndarray, tuple[str, ...]]:
    """Return the coordinates of a text table, shape (n, 2), and what was put right."""
    if names.find(columns, names.LONGITUDE) and names.find(columns, names.LATITUDE):
        place, notes = degrees(text, columns, path)
        _refuse_exchanged(text, place, columns, path)
        return place, notes
    return np.column_stack([numbers(text, column, path) for column in columns]), ()


def _refuse_exchanged(
    text: "pd.DataFrame", place: np.ndarray, columns: tuple[str, str], path: Path
) -> None:
    """Refuse rows among others that have a longitude for latitude, which no CRS would mend."""
    longitude, latitude = np.abs(place).T
    wrong = (latitude > _POLE) & (longitude <= _POLE)
    if not wrong.any() or not (latitude <= _POLE).any():
        return
    row = int(wrong.argmax())
    raise InputFileError(
        f"{path}, {place_of(text, row, path)}: column {columns[1]!r} must hold a latitude of at "
        f"most 90, got {place[row, 1]:g}: longitude and latitude of "
        f"{counted(int(wrong.sum()), 'row')} are exchanged"
    )


def _pins(path: Path, *, layer: str | None, where: str | None, crs: str | None) -> Any:
    """Read the points of all folders of a file that may hold an outline as well."""
    import pandas as pd

    several = layer_names(path) if layer is None and where is None else []
    filled: list[str | None] = [name for name in several if count_features(path, name)]
    found = [read_features(path, layer=name, where=where, crs=crs) for name in filled or [layer]]
    frame = pd.concat(found, ignore_index=True) if len(found) > 1 else found[0]
    points = frame[frame.geometry.geom_type == "Point"]
    return points.reset_index(drop=True) if len(points) else frame


def points_of(frame: Any, path: Path) -> np.ndarray:
    """Return the coordinates of points, shape (n, 2); raise InputFileError at other shapes."""
    kinds = set(frame.geometry.dropna().geom_type) - {"Point"}
    if kinds:
        raise InputFileError(f"{path} must hold points, got {', '.join(sorted(kinds))}")
    return np.column_stack([frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()])


def _from_pegs(
    frame: "pd.DataFrame", path: Path, known: Places, declination: float | None
) -> Places:
    """Place readings by a peg, a bearing and a distance from it."""
    peg = names.need(names.find(frame, names.PEG), frame, path, "peg")
    away = names.need(names.find(frame, names.DISTANCE), frame, path, "distance")
    bearing = true_bearings(frame, path, declination)
    if bearing is None:
        raise InputFileError(
            f"{path} has no column bearing or bearing_magnetic, only {', '.join(map(str, frame))}"
        )
    unit = names.unit_of(away)
    distance = convert(numbers(frame, away, path), unit or "m", "m")
    said = frame[peg].astype(str).str.strip() != ""
    start = np.full((len(frame), 2), np.nan)  # a row that names no peg has no position
    start[said] = named_places(frame.loc[said, peg].astype(str), known, path)
    told = (
        f"column {away!r} read in {unit}, as its name says"
        if unit
        else f"column {away!r} read in m"
    )
    notes = (*known.notes, Assumption(told))
    return Places(travel(start, bearing, distance, known.crs), frame, known.crs, notes)


def _coordinate_columns(
    frame: "pd.DataFrame", path: Path, easting: str | None, northing: str | None
) -> tuple[str, str]:
    for east, north in ((names.EASTING, names.NORTHING), (names.LONGITUDE, names.LATITUDE)):
        found = names.find(frame.columns, east), names.find(frame.columns, north)
        if all(found):
            break
    if not frame.attrs["header"] and len(frame.columns) >= 3:
        found = "1", "2"
    if not any((*found, easting, northing)) and _by_peg(frame):
        raise InputFileError(
            f"{path} tells places by peg, bearing and distance: give pegs, a file of where they are"
        )
    return (
        names.need(easting or found[0], frame.columns, path, "easting or longitude"),
        names.need(northing or found[1], frame.columns, path, "northing or latitude"),
    )


def _by_peg(frame: "pd.DataFrame") -> bool:
    return all(names.find(frame, common) for common in (names.PEG, names.DISTANCE))


def _text_crs(
    text: "pd.DataFrame",
    place: np.ndarray,
    columns: tuple[str, str],
    path: Path,
    crs: str | None,
) -> tuple["CRS", tuple[str, ...]]:
    if crs is not None:
        return parse_crs(crs), ()
    if names.find(columns, names.LONGITUDE) and names.find(columns, names.LATITUDE):
        return parse_crs("EPSG:4326"), (Assumption("longitude and latitude taken as WGS 84"),)
    degrees = bool((np.abs(place[np.isfinite(place).all(axis=1)]) <= (180, 90)).all())
    ask = f"give one with crs, such as '{'EPSG:4326' if degrees else 'EPSG:32633'}'"
    if not text.attrs["header"]:
        head = "longitude,latitude,depth" if degrees else "easting,northing,depth"
        raise InputFileError(
            f"{path} has no header line: write one above the figures, such as {head}; if that is "
            f"the order of its columns, a CRS is enough: {ask}"
        )
    if degrees:
        ask += f", if {columns[0]} and {columns[1]} are longitude and latitude"
    raise InputFileError(f"{path} names no CRS: {ask}")


def _projected(
    place: np.ndarray,
    frame: "pd.DataFrame",
    crs: "CRS",
    into: str | None,
    path: Path,
    notes: tuple[str, ...],
) -> Places:
    known = place[np.isfinite(place).all(axis=1)]
    if not len(known):
        raise InputFileError(f"{path} holds no coordinates")
    low, high = known.min(axis=0), known.max(axis=0)
    check_degrees(low, high, crs, path)
    target = working_crs(crs, (low[0], low[1], high[0], high[1]), into)
    moved = place if target == crs else project(place, crs, target)
    return Places(moved, frame, target, notes)


def check_degrees(low: np.ndarray, high: np.ndarray, crs: "CRS", path: Path) -> None:
    """Raise InputFileError if coordinates between `low` and `high` cannot be degrees, but must."""
    if crs.is_geographic and (np.abs([low, high]) > [360, 90]).any():
        raise InputFileError(
            f"{path}: coordinates up to {np.abs([low, high]).max():g} are no degrees, as their "
            f"CRS {crs.name!r} asks; give the right crs"
        )
