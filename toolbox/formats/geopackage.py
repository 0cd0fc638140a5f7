"""GeoPackage: whether a layer is whole, as the library that writes it does not always tell."""

import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from toolbox.errors import OutputError
from toolbox.faults import said_by

__all__ = ["check_index", "indexed"]

_COLUMN = "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?"
_LISTED = """SELECT count(*) FROM gpkg_extensions
WHERE extension_name = 'gpkg_rtree_index' AND table_name = ? AND column_name = ?"""


def check_index(path: Path, *, layer: str, shapes: int) -> None:
    """Raise OutputError if the spatial index of a layer that was just written is not whole.

    Parameters
    ----------
    path : Path
        The file.
    layer : str
        Name of the layer.
    shapes : int
        Features of it that have a place.

    Raises
    ------
    OutputError
        If it is missing, or knows fewer features. GDAL leaves it out on a disk that becomes full,
        and calls the file written.

    References
    ----------
    OGC 12-128r19 (2024), GeoPackage Encoding Standard 1.4, annex F.3, RTree Spatial Indexes.
    """
    found = indexed(path, layer=layer)
    if found != shapes:
        raise OutputError(
            f"{path.name} cannot be written: the spatial index of {layer!r} holds {found:,} of "
            f"{shapes:,} features; the disk may be full"
        )


def indexed(path: Path, *, layer: str) -> int:
    """Count the features that the spatial index of a layer knows; 0 if there is none."""
    address = f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as file:
            return _indexed(file, layer)
    except sqlite3.Error as error:
        raise OutputError(f"{path.name} cannot be written: {said_by(error)}") from error


def _indexed(file: sqlite3.Connection, layer: str) -> int:
    listed = file.execute("SELECT 1 FROM sqlite_master WHERE name = 'gpkg_extensions'").fetchone()
    row = file.execute(_COLUMN, (layer,)).fetchone()
    if not (listed and row and file.execute(_LISTED, (layer, row[0])).fetchone()[0]):
        return 0
    rows = f"rtree_{layer}_{row[0]}_rowid".replace('"', '""')  # a plain table behind the index
    return int(file.execute(f'SELECT count(*) FROM "{rows}"').fetchone()[0])
