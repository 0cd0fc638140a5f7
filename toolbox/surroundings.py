"""Surroundings: what other programs leave in the environment that leads our libraries astray."""

import locale
import os
import sys
from collections.abc import Iterable, Mapping, MutableMapping
from contextlib import closing, suppress
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import quote

__all__ = ["drop_foreign_proj", "open_streams", "plain_letters", "skipped_drivers"]

_NAMES = ("PROJ_DATA", "PROJ_LIB")
_BRINGERS = ("rasterio", "fiona")
"""Libraries that bring a database of PROJ and leave it for the one the environment names."""

_LAYOUT = """SELECT value FROM metadata WHERE key IN
('DATABASE.LAYOUT.VERSION.MAJOR', 'DATABASE.LAYOUT.VERSION.MINOR') ORDER BY key"""


def open_streams() -> None:
    """Let who closed our input, our output or what we say of errors have them lead nowhere.

    Notes
    -----
    Else the next files that are opened take their numbers, and what a library says goes into one
    of them.
    """
    for name, number, mode in (("stdin", 0, "r"), ("stdout", 1, "w"), ("stderr", 2, "w")):
        try:
            os.fstat(number)
        except OSError:
            found = os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free
            os.set_inheritable(found, True)
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115


def plain_letters() -> None:
    """Let libraries compare words by the letters of no language.

    Notes
    -----
    In Turkish the capital of "i" is not "I", and libraries that look a word up whatever its case
    take "TIFF" and "tiff" for two. Processes that are begun afresh ask their environment again.
    """
    with suppress(locale.Error):  # as on systems that have no such locale
        locale.setlocale(locale.LC_CTYPE, "C.UTF-8")


def drop_foreign_proj(environment: MutableMapping[str, str]) -> list[str]:
    """Drop ``PROJ_DATA`` and ``PROJ_LIB`` where they name no database our libraries can use.

    Parameters
    ----------
    environment : mutable mapping
        Variables and their values, ``os.environ`` say; changed in place.

    Returns
    -------
    list of str
        What was dropped and why, a line each.

    Notes
    -----
    Other installs, of a desktop GIS say, set these for their own PROJ. Where the database that they
    name is of an older layout, no code of the EPSG is known to ours. A database of the same layout
    or a newer one stays in use, as it may have been chosen. Nothing is dropped where our libraries
    bring no database of their own.
    """
    named = [name for name in _NAMES if name in environment]
    own = [layout for layout in map(_own_layout, _BRINGERS) if layout] if named else []
    if not own:
        return []
    told = []
    for name in named:
        found = _layout(environment[name].split(os.pathsep))
        if found is None or found[0] != max(own)[0] or found < max(own):
            what = "no database" if found is None else "the database of another version"
            told.append(f"{name} is not used: {environment[name]!r} holds {what} of PROJ")
            del environment[name]
    return told


def skipped_drivers(environment: Mapping[str, str]) -> dict[str, str]:
    """Return the drivers of GDAL that the environment switches off.

    Parameters
    ----------
    environment : mapping
        Variables and their values, ``os.environ`` say.

    Returns
    -------
    dict
        For each driver, in small letters, the variable that names it.

    Notes
    -----
    Names in ``GDAL_SKIP`` are parted by commas if there is one, else by spaces; those in
    ``OGR_SKIP``, which may hold spaces, by commas (GDAL, Configuration options, 2024).

    Examples
    --------
    >>> skipped_drivers({"GDAL_SKIP": "GTiff PDF", "OGR_SKIP": "ESRI Shapefile"})
    {'gtiff': 'GDAL_SKIP', 'pdf': 'GDAL_SKIP', 'esri shapefile': 'OGR_SKIP'}
    """
    found: dict[str, str] = {}
    for variable in ("GDAL_SKIP", "OGR_SKIP"):
        said = environment.get(variable, "")
        commas = "," in said or variable == "OGR_SKIP"
        names = map(str.strip, said.split(",") if commas else said.split())
        found |= {name.lower(): variable for name in names if name}
    return found


def _own_layout(library: str) -> tuple[int, int] | None:
    spec = find_spec(library)  # where it is, without loading it
    if spec is None or spec.origin is None:
        return None
    return _layout([Path(spec.origin).with_name("proj_data")])


def _layout(folders: Iterable[str | Path]) -> tuple[int, int] | None:
    """Return the layout, major and minor, of the database that PROJ finds in these folders."""
    import sqlite3

    path = next((p for p in (Path(f, "proj.db") for f in folders if f) if _is_file(p)), None)
    if path is None:
        return None
    address = f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as database:
            (major,), (minor,) = database.execute(_LAYOUT).fetchall()
        return int(major), int(minor)
    except (sqlite3.Error, UnicodeError, TypeError, ValueError):
        return None


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that is too long, or none at all
        return False
