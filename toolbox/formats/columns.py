"""Columns: which column of a table means what, by the names people commonly give them."""

import re
from collections.abc import Iterable
from typing import Any

from toolbox.errors import InputFileError
from toolbox.units import Unit

__all__ = ["find", "find_all", "need", "unit_of"]

EASTING = (
    "easting",
    "east",
    "x",
    "e",
    "xcoord",
    "coordx",
    "utme",
    "utmx",
    "pointx",
    "rechtswert",
    "ostwert",
)
NORTHING = (
    "northing",
    "north",
    "y",
    "n",
    "ycoord",
    "coordy",
    "utmn",
    "utmy",
    "pointy",
    "hochwert",
    "nordwert",
)
LONGITUDE = ("longitude", "lon", "long", "lng", "longitud", "länge", "längengrad", "lengtegraad")
LATITUDE = ("latitude", "lat", "latitud", "breite", "breitengrad", "breedtegraad")
DEPTH = ("depth", "waterdepth", "sounding", "tiefe", "profondeur", "profundidad", "diepte", "djup")
ELEVATION = ("elevation", "elev", "bedelevation", "bottomelevation", "altitude")
TIME = ("time", "timeutc", "datetime", "timestamp", "utc", "fixtime", "gpstime")
LINE = ("line", "lineid", "track", "cast", "transect")
CAST = ("cast", "castid", "castno", "castnumber")
PEG = ("peg", "pegid", "stand", "name")
BEARING = ("bearing", "bearingdegtrue", "bearingtrue", "truebearing", "bearingdeg")
MAGNETIC = (
    "bearingmagnetic",
    "bearingdegmagnetic",
    "magneticbearing",
    "bearingcompass",
    "compassbearing",
    "compass",
)
DISTANCE = ("distance", "range", "dist")
TOWARDS = ("towards", "target")
LINE_OUT = ("lineout",)
WRAPS = ("wraps",)
ROD_TIP = ("rodtipheight", "rodtip", "rodheight")
SPEED = ("retrievespeed", "retrievespeedms", "speed", "speedms")
ARRIVAL = ("arrival", "arrivals", "arrivalseconds")
START = ("starttime", "start", *TIME)
WATER_LEVEL = ("waterlevel", "level")
GAUGE = (
    *WATER_LEVEL,
    *("gauge", "gaugereading", "gaugelevel", "gaugeheight", "stage", "staff"),
    *("wasserstand", "pegelstand", "pegel", "waterstand", "niveau"),
)
SECONDS = ("seconds", "second", "s", "t", "times")
DATE = ("date", "day", "sampledate", "samplingdate", "visitdate")
STATION = ("station", "stationid", "stationname", "site", "siteid", "sitename")
SURFACE = ("surface", "surfacedepth")
CELSIUS = (
    "temperaturec",
    "tempc",
    "watertemperaturec",
    "watertempc",
    "temperaturedegc",
    "tempdegc",
)
FAHRENHEIT = (
    "temperaturef",
    "tempf",
    "watertemperaturef",
    "watertempf",
    "temperaturedegf",
    "tempdegf",
)
TEMPERATURE = ("temperature", "temp", "watertemperature", "watertemp")
OXYGEN_MG_L = (
    "oxygenmgl",
    "domgl",
    "dissolvedoxygenmgl",
    "o2mgl",
    "oxygenppm",
    "doppm",
    "dissolvedoxygenppm",
)
OXYGEN = ("oxygen", "do", "dissolvedoxygen", "o2")
LIGHT = ("par", "parumolm2s", "light", "lightpar", "irradiance")
CANOPY = ("canopy", "canopytop", "planttop", "planttops")

_UNITS: dict[str, Unit] = {
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "cm": "cm",
    "ft": "ft",
    "feet": "ft",
    "foot": "ft",
    "fm": "fathom",
    "fathom": "fathom",
    "fathoms": "fathom",
}
# it begins where its marks begin: from each of a long row of marks it would look to their end
_SUFFIX = re.compile(
    rf"(?<![\s_.(\[])[\s_.(\[]+(?:in[\s_])?({'|'.join(_UNITS)})[)\]]?$", re.IGNORECASE
)


def find(columns: Iterable[Any], names: Iterable[str]) -> str | None:
    """Return the column that bears one of some common names, whatever its case and unit.

    Parameters
    ----------
    columns : iterable
        Names of the table's columns. One that says its unit is preferred to one that does not.
    names : iterable of str
        Common names, in lower case without blanks, the best first.

    Returns
    -------
    str or None
        None where there is none.
    """
    return next(iter(find_all(columns, names)), None)


def find_all(columns: Iterable[Any], names: Iterable[str]) -> list[str]:
    """Return all columns that bear one of some common names, the best first."""
    ranked = sorted(map(str, columns), key=lambda column: unit_of(column) is None)
    bare = {column: re.sub(r"[\W_]", "", _SUFFIX.sub("", column)).lower() for column in ranked}
    return [column for name in names for column in ranked if bare[column] == name]


def unit_of(column: str) -> Unit | None:
    """Return the length unit that a name ends in, such as ``depth_ft`` or ``Depth (m)``."""
    found = _SUFFIX.search(column)
    return _UNITS[found[1].lower()] if found else None


def need(found: str | None, columns: Iterable[Any], file: object, what: str) -> str:
    """Return the column found or named, refusing a name the table does not have."""
    listed = list(map(str, columns))
    if found is None:
        raise InputFileError(
            f"{file} has no column that is plainly the {what}; name one of {', '.join(listed)}"
        )
    if found not in listed:
        raise InputFileError(f"{file} has no column {found!r}, only {', '.join(listed)}")
    return found
