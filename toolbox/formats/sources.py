"""Sources: what a file is by its first bytes, before a library that knows many formats opens it.

GDAL asks a file's content, not its name, which of its hundred drivers is to read it. Some of these
follow what stands in the file to other files, to addresses or to commands: a virtual raster, or a
list of layers elsewhere, may bear any name. So the form is proved first, and the library is told
which driver to use wherever it lets itself be told.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote
from xml.parsers import expat

from toolbox.errors import InputFileError, TooLargeError, ToolboxError
from toolbox.faults import said_by
from toolbox.formats.containers import refuse_container
from toolbox.formats.drivers import need_driver
from toolbox.formats.paths import existing_file

__all__ = [
    "RASTER_DRIVERS",
    "check_cells",
    "open_raster",
    "refused_rasters",
    "settle_places",
    "vector_source",
]

RASTER_DRIVERS = (
    *("GTiff", "AAIGrid", "EHdr", "ENVI", "HFA", "SAGA", "GSAG", "GSBG", "GS7BG", "GPKG"),
    *("DTED", "SRTMHGT", "USGSDEM", "BT", "XYZ"),
)
"""Rasters that are read: each is one file, with at most its own header, place or statistics beside
it under its own name."""

_MAGIC = {
    ".gpkg": (b"SQLite format 3\0",),
    ".shp": (b"\x00\x00\x27\x0a",),
    ".fgb": (b"fgb\x03fgb",),
    ".geojson": (b"{",),
    ".json": (b"{",),
    ".kml": (b"<",),
}
_BY_SUFFIX = {
    ".gpkg": "GPKG",
    ".shp": "ESRI Shapefile",
    ".fgb": "FlatGeobuf",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".kml": "KML",
    ".tif": "GTiff",
    ".tiff": "GTiff",
}
"""Drivers without which a file of that suffix is none that GDAL knows."""

_WORDS = {
    ".gpkg": "a GeoPackage",
    ".shp": "a Shapefile",
    ".fgb": "FlatGeobuf",
    ".kml": "KML",
}
_INDEXES = ("rtree", "fts3", "fts4", "fts5")  # virtual tables that hold what they show
_LOOK = 4096
_BLOCK = 1 << 20
_PLACES = "PAM,INTERNAL,TABFILE,WORLDFILE,XML"  # as GDAL has them by itself
_CELL_BYTES = 10  # of a raster while it is read: as stored, as a number and whether it is one


def vector_source(path: Path) -> Path | str:
    """Prove that a file is what its suffix says, and return how GDAL is to be asked for it.

    Parameters
    ----------
    path : Path
        GeoPackage, Shapefile, FlatGeobuf, GeoJSON or KML.

    Returns
    -------
    Path or str
        To hand to the library.

    Raises
    ------
    InputFileError
        If the suffix is of none of these, or the content is of another form.
    """
    suffix = existing_file(path).suffix.lower()
    if suffix not in _MAGIC:
        refuse_container(path)
        allowed = ", ".join((*_MAGIC, ".parquet", ".geoparquet"))
        raise InputFileError(f"vector layers are read from {allowed}, got {path.name!r}")
    with path.open("rb") as file:
        start = file.read(_LOOK)
    text = suffix in (".geojson", ".json", ".kml")
    begin = start.removeprefix(b"\xef\xbb\xbf").lstrip(b" \t\r\n") if text else start
    if not begin.startswith(_MAGIC[suffix]):
        form = _WORDS.get(suffix, "GeoJSON")
        raise InputFileError(f"{path} cannot be read as {form}: it does not begin like one")
    need_driver(path, _BY_SUFFIX[suffix], InputFileError)
    if suffix == ".gpkg":
        _check_geopackage(path)
    if suffix == ".shp":
        _check_parts(path)
    if suffix == ".kml":
        _check_kml(path)
    # other drivers read JSON too, and one of them runs the command that stands in it
    return f"GeoJSON:{path}" if suffix in (".geojson", ".json") else path


def _check_parts(path: Path) -> None:
    """Refuse a Shapefile whose index was left behind."""
    if not any(path.with_suffix(suffix).is_file() for suffix in (".shx", ".SHX")):
        raise InputFileError(
            f"{path} lacks its part {path.with_suffix('.shx').name}: a Shapefile is several files "
            "of one name, .shp, .shx, .dbf and .prj, that must lie in one folder"
        )


def _check_geopackage(path: Path) -> None:
    """Refuse databases without the standard's tables, and what is computed when it is read."""
    try:
        address = f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1"
        with closing(sqlite3.connect(address, uri=True)) as file:
            file.text_factory = partial(str, encoding="utf-8", errors="replace")
            rows = file.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    except (sqlite3.Error, UnicodeDecodeError) as error:  # what it says may be no text
        raise InputFileError(f"{path} cannot be read as a GeoPackage: {said_by(error)}") from error
    if ("table", "gpkg_contents") not in {(kind, str(name).lower()) for kind, name, _ in rows}:
        raise InputFileError(f"{path} is no GeoPackage: it has no table gpkg_contents")
    for kind, name, said in rows:
        words = str(said or "").lower().split()
        virtual = words[:2] == ["create", "virtual"]
        if kind == "view":
            raise InputFileError(
                f"{path} holds the view {name!r}, which is computed when it is read: save its "
                "features as a layer, in a GeoPackage without views"
            )
        if virtual and not any(form in " ".join(words) for form in _INDEXES):
            raise InputFileError(f"{path} holds the virtual table {str(name)!r}: it is not read")


def _check_kml(path: Path) -> None:
    """Refuse XML that is not whole, is no KML, or declares a document type or entities."""
    found: list[str] = []

    def begin(name: str, _: dict[str, str]) -> None:
        if not found:
            found.append(name.rpartition(" ")[2])

    def refuse(*_: Any) -> None:
        raise InputFileError(f"{path} declares a document type: in KML that is refused")

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler, parser.StartDoctypeDeclHandler = begin, refuse
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                parser.Parse(block, False)
        parser.Parse(b"", True)
    except InputFileError:
        raise
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise InputFileError(f"{path} is no whole KML file: {said_by(error)}") from error
    if found[0] != "kml":
        raise InputFileError(f"{path} is no KML file: its first element is {found[0][:40]!r}")


def open_raster(path: Path) -> Any:
    """Open a raster with one of :data:`RASTER_DRIVERS`.

    Raises
    ------
    InputFileError
        If it is no such file; an address or a name inside an archive is none.
    """
    from rasterio.env import ensure_env
    from rasterio.io import DatasetReader

    settle_places()
    driver = _BY_SUFFIX.get(existing_file(path).suffix.lower())
    if driver is not None:
        need_driver(path, driver, InputFileError)
    with refused_rasters(path):  # the library's own way to open a file takes but one driver
        return ensure_env(DatasetReader)(str(path.absolute()), driver=list(RASTER_DRIVERS))


def settle_places() -> None:
    """Let GDAL look for the place of rasters where it does if nobody says otherwise.

    With what the environment may say, ``GDAL_GEOREF_SOURCES=NONE``, rasters lie nowhere when they
    are read, nor do those that are written.
    """
    from rasterio.env import set_gdal_config

    set_gdal_config("GDAL_GEOREF_SOURCES", _PLACES)


@contextmanager
def refused_rasters(path: Path) -> Iterator[None]:
    """Turn what the library says of a raster that it cannot read into one of our errors.

    Raises
    ------
    InputFileError
        If it is damaged.
    TooLargeError
        If so many cells do not fit into memory.
    """
    try:
        yield
    except (MemoryError, OverflowError) as error:
        raise TooLargeError(f"{path} has more cells than fit into memory") from error
    except ToolboxError:
        raise
    except Exception as error:  # whatever the libraries below make of a broken file
        raise InputFileError(f"{path} cannot be read as a raster: {said_by(error)}") from error


def check_cells(path: Path, cells: int) -> None:
    """Raise TooLargeError if there is no memory for so many cells of a raster.

    A file of a few hundred bytes may say that it holds a million million of them.
    """
    import psutil

    needed, free = _CELL_BYTES * cells, psutil.virtual_memory().available
    if needed > free:
        raise TooLargeError(
            f"{path} has {cells:,} cells, which need {needed / 2**30:,.1f} GiB; "
            f"{free / 2**30:,.1f} GiB are free"
        )
