"""Styles on disk: the table of styles in a GeoPackage, and style files beside rasters."""

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from toolbox.errors import InputFileError, OutputError
from toolbox.faults import said_by
from toolbox.formats.paths import existing_file

__all__ = [
    "LAYER_STYLES",
    "StyleText",
    "write_layer_styles",
    "write_style_beside",
]

LAYER_STYLES = "layer_styles"
"""Table that desktop GISs look for; no part of the GeoPackage standard, but an open habit."""


@dataclass(frozen=True)
class StyleText:
    """A style in its two languages.

    Parameters
    ----------
    sld : str
        As OGC Styled Layer Descriptor.
    qml : str
        In the language of QGIS; it opens a layer with this one.
    """

    sld: str
    qml: str


_TABLE = f"""
CREATE TABLE IF NOT EXISTS {LAYER_STYLES} (
 id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
 f_table_catalog TEXT(256),
 f_table_schema TEXT(256),
 f_table_name TEXT(256),
 f_geometry_column TEXT(256),
 styleName TEXT(30),
 styleQML TEXT,
 styleSLD TEXT,
 useAsDefault BOOLEAN,
 description TEXT,
 owner TEXT(30),
 ui TEXT(30),
 update_time DATETIME DEFAULT CURRENT_TIMESTAMP
)"""

_CONTENTS = (
    "INSERT OR REPLACE INTO gpkg_contents (table_name, data_type, identifier, description, "
    "last_change) VALUES (?, 'attributes', ?, 'Default styles of layers', ?)"
)

_ROW = (
    f"INSERT INTO {LAYER_STYLES} (f_table_catalog, f_table_schema, f_table_name, "
    "f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, ui, "
    "update_time) VALUES ('', '', ?, ?, 'default', ?, ?, 1, 'Made by the survey', '', NULL, ?)"
)


def write_layer_styles(path: Path, styles: Mapping[str, StyleText], *, made: datetime) -> list[str]:
    """Write default styles of layers into their GeoPackage; former ones of these layers go.

    Parameters
    ----------
    path : Path
        A GeoPackage.
    styles : mapping of StyleText
        By name of the layer; those of layers that the file lacks are left out.
    made : datetime
        Told as the time of the styles; one without a zone is taken as UTC.

    Returns
    -------
    list of str
        The layers that got one.

    Raises
    ------
    InputFileError
        If the file is no GeoPackage.
    OutputError
        If the disk is full or the like.
    """
    existing_file(path)
    moment = made.replace(tzinfo=made.tzinfo or UTC).astimezone(UTC)
    when = moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"
    shapes = _geometry_columns(path)
    chosen = [name for name in styles if name in shapes]
    try:
        with closing(sqlite3.connect(path)) as file, file:
            file.execute("PRAGMA synchronous = OFF")  # as the layers were written
            file.execute(_TABLE)
            file.execute(_CONTENTS, (LAYER_STYLES, LAYER_STYLES, when))
            for name in chosen:
                file.execute(f"DELETE FROM {LAYER_STYLES} WHERE f_table_name = ?", (name,))
                file.execute(_ROW, (name, shapes[name], styles[name].qml, styles[name].sld, when))
    except sqlite3.Error as error:
        raise OutputError(f"{path.name} cannot be written: {said_by(error)}") from error
    return chosen


def _geometry_columns(path: Path) -> dict[str, str]:
    wanted = "SELECT table_name, column_name FROM gpkg_geometry_columns"
    try:
        with closing(sqlite3.connect(path)) as file:
            return dict(file.execute(wanted).fetchall())
    except (sqlite3.Error, UnicodeDecodeError) as error:
        what = "no layers of a GeoPackage"
        raise InputFileError(f"{path} holds {what}: {said_by(error)}") from error


def write_style_beside(style: StyleText, raster: Path) -> tuple[Path, Path]:
    """Write a style beside the raster it is for: ``depth.sld``, ``depth.qml`` and ``depth.tif``.

    Parameters
    ----------
    style : StyleText
        The style.
    raster : Path
        The raster.

    Returns
    -------
    tuple of Path
        The two files written.
    """
    files = raster.with_suffix(".sld"), raster.with_suffix(".qml")
    for path, text in zip(files, (style.sld, style.qml), strict=True):
        path.write_text(text, encoding="utf-8")
    return files
