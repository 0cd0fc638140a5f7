"""Rows of files of soundings as they stand, some at a time: text, vector points, LAS and LAZ."""

import inspect
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from toolbox.errors import InputFileError, ParameterError, ToolboxError
from toolbox.faults import said_by
from toolbox.formats.containers import is_read_workbook
from toolbox.formats.delimited import delimited_portions
from toolbox.formats.las_file import LasFile
from toolbox.formats.paths import existing_file
from toolbox.formats.places import coordinates_of, points_of
from toolbox.formats.point_chunks import LAS_SUFFIXES, Choices
from toolbox.formats.sources import vector_source
from toolbox.formats.vector import VECTOR_SUFFIXES, chosen_layer, crs_of, no_features
from toolbox.formats.well_known import nested_deep
from toolbox.units import Unit

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["Portion", "SoundingRows", "sounding_rows"]

Portion = tuple[np.ndarray, "pd.DataFrame"]
"""Coordinates as they stand, shape (n, 2), and a table of as many rows."""

_PARQUET = (".parquet", ".geoparquet")
_BUFFER = 2**20  # bytes of a column read at a time: a group of rows may be larger than memory


class SoundingRows(Protocol):
    """A file whose rows can be read some at a time, as often as wanted."""

    path: Path
    unit: Unit | None
    """Of its third coordinates, where it says so."""

    def portions(self, rows: int) -> "Iterator[tuple[CRS, Portion]]":
        """Go through the rows, and tell the CRS of their coordinates."""
        ...


def sounding_rows(path: Path, options: dict[str, Any]) -> SoundingRows | None:
    """Open a file of soundings, to be read some rows at a time.

    Parameters
    ----------
    path : Path
        The file.
    options : dict
        As :func:`toolbox.formats.soundings_file.read_soundings` takes them.

    Returns
    -------
    SoundingRows or None
        None of a file that must be read as a whole: GPX, workbooks, readings placed from pegs,
        points in Parquet that are not well-known binary, and, where the library below cannot tell
        times in portions, features with times.

    Raises
    ------
    InputFileError, ParameterError
        If the file is not what it should be.
    """
    suffix = existing_file(path).suffix.lower()
    if suffix in LAS_SUFFIXES:
        return _Las(path, options)
    if suffix in _PARQUET:
        return _Parquet(path, options) if _is_binary(path) else None
    if suffix == ".gpx" or is_read_workbook(path) or options.get("pegs") is not None:
        return None
    if suffix not in VECTOR_SUFFIXES:
        return _Text(path, options)
    features = _Shapefile if suffix == ".shp" else _Features
    return features(path, options) if suffix == ".shp" or _tells_times(path, options) else None


class _Las:
    def __init__(self, path: Path, options: dict[str, Any]) -> None:
        self.path = path
        self._file = LasFile(path, Choices(crs=options.get("crs")))
        self.unit = self._file.unit

    def portions(self, rows: int) -> "Iterator[tuple[CRS, Portion]]":
        import pandas as pd

        for chunk in self._file.chunks(rows):
            table = {"Z": chunk.height, "line": chunk.columns["line"]}
            yield self._file.crs, (chunk.place, pd.DataFrame(table))


class _Text:
    unit: Unit | None = None

    def __init__(self, path: Path, options: dict[str, Any]) -> None:
        self.path, self._options = path, options
        for name in ("layer", "where"):
            if (given := options.get(name)) is not None:
                raise ParameterError(
                    f"{name} is for vector files, not for text: {path.name}, got {given!r}"
                )

    def portions(self, rows: int) -> "Iterator[tuple[CRS, Portion]]":
        told = self._options
        given = {name: told.get(name) for name in ("delimiter", "decimal")}
        encoding = told.get("encoding", "utf-8-sig")
        for text in delimited_portions(self.path, rows, encoding=encoding, **given):
            place, table, crs, _ = coordinates_of(
                text, self.path, told.get("crs"), told.get("easting"), told.get("northing")
            )
            table.attrs |= text.attrs
            yield crs, (place, table)


class _Features:
    """Features of a stream that GDAL gives."""

    unit: Unit | None = None

    def __init__(self, path: Path, options: dict[str, Any]) -> None:
        self.path, self._where, self._crs = path, options.get("where"), options.get("crs")
        self._zone = options.get("timezone")
        self._layer = chosen_layer(path, options.get("layer"))

    def portions(self, rows: int) -> "Iterator[tuple[CRS, Portion]]":
        import pyogrio

        told = {"datetime_as_string": True} if _strings_of_times() else {}
        count = 0
        with (
            _readable(self.path),
            pyogrio.open_arrow(
                vector_source(self.path),
                layer=self._layer,
                where=self._where,
                batch_size=rows,
                use_pyarrow=True,
                **told,
            ) as (meta, reader),
        ):
            for batch in reader:
                frame = _as_read(batch, meta, self.path, self._zone)
                frame.attrs["first_row"] = count
                count += len(batch)
                yield (
                    crs_of(meta["crs"], self.path, self._crs),
                    (points_of(frame, self.path), frame),
                )
        if not count:
            raise no_features(self.path, self._where)


class _Shapefile:
    """Features of a Shapefile, whose texts may be in any encoding, and whose rows have numbers."""

    unit: Unit | None = None

    def __init__(self, path: Path, options: dict[str, Any]) -> None:
        self.path, self._where, self._crs = path, options.get("where"), options.get("crs")
        self._layer = chosen_layer(path, options.get("layer"))

    def portions(self, rows: int) -> "Iterator[tuple[CRS, Portion]]":
        import geopandas

        begin = 0
        while True:
            with _readable(self.path):
                frame = geopandas.read_file(
                    vector_source(self.path),
                    layer=self._layer,
                    where=self._where,
                    rows=slice(begin, begin + rows),
                )
            if "geometry" not in frame:
                raise InputFileError(f"{self.path} holds a table without geometry")
            if len(frame):
                frame.attrs["first_row"] = begin
                crs = crs_of(frame.crs, self.path, self._crs)
                yield crs, (points_of(frame, self.path), frame)
            begin += len(frame)
            if len(frame) < rows:
                break
        if not begin:
            raise no_features(self.path, self._where)


class _Parquet:
    unit: Unit | None = None

    def __init__(self, path: Path, options: dict[str, Any]) -> None:
        self.path, self._given = path, options.get("crs")
        for name in ("layer", "where"):
            if (given := options.get(name)) is not None:
                raise ParameterError(f"{name} is not for Parquet files, got {given!r}")

    def portions(self, rows: int) -> "Iterator[tuple[CRS, Portion]]":
        import pyarrow

        count = 0
        with _readable(self.path, "GeoParquet"), _parquet_file(self.path) as file:
            shape, told = _described(file.schema_arrow)
            crs = crs_of(told, self.path, self._given)
            for batch in file.iter_batches(rows, use_threads=False):
                table = pyarrow.Table.from_batches([batch])
                frame = table.drop_columns([shape]).to_pandas()
                shapes = batch.column(shape).to_numpy(zero_copy_only=False)
                frame = _with_shapes(frame, shapes, self.path)
                frame.attrs["first_row"] = count
                count += len(batch)
                yield crs, (points_of(frame, self.path), frame)
        if not count:
            raise no_features(self.path, None)


@contextmanager
def _readable(path: Path, form: str | None = None) -> Iterator[None]:
    """Turn whatever the libraries below make of a broken file into one of our errors."""
    try:
        yield
    except ToolboxError:
        raise
    except Exception as error:
        told = f" as {form}" if form else ""
        raise InputFileError(f"{path} cannot be read{told}: {said_by(error)}") from error


def _strings_of_times() -> bool:
    import pyogrio

    return "datetime_as_string" in inspect.signature(pyogrio.open_arrow).parameters


def _tells_times(path: Path, options: dict[str, Any]) -> bool:
    """Tell whether a stream of features gives times with the zones they have in the file."""
    import pyogrio

    if _strings_of_times():
        return True
    layer = chosen_layer(path, options.get("layer"))
    with _readable(path):
        kinds = pyogrio.read_info(vector_source(path), layer=layer)["dtypes"]
    return not any(str(kind).startswith("datetime") for kind in kinds)


def _as_read(batch: Any, meta: dict[str, Any], path: Path, zone: str | None) -> Any:
    """Turn a part of a stream into what reading the layer as a whole gives."""
    from toolbox.moments import in_utc

    shape = meta["geometry_name"] or "wkb_geometry"
    if shape not in batch.schema.names:
        raise InputFileError(f"{path} holds a table without geometry")
    kept = [name for name in batch.schema.names if name != shape]
    frame = batch.select(kept).to_pandas()
    kinds = meta.get("dtypes", [None] * len(meta["fields"]))
    for name, kind in zip(meta["fields"], kinds, strict=True):
        if str(kind).startswith("datetime") and str(kind) != "datetime64[D]":
            frame[name] = in_utc(frame[name], timezone=zone).dt.as_unit("ms")
    return _with_shapes(frame, batch.column(shape).to_numpy(zero_copy_only=False), path)


def _with_shapes(frame: "pd.DataFrame", shapes: np.ndarray, path: Path) -> Any:
    import geopandas
    import shapely

    if any(map(nested_deep, shapes)):
        raise InputFileError(f"{path} cannot be read: a shape of collections within collections")
    return geopandas.GeoDataFrame(frame, geometry=shapely.from_wkb(shapes))


def _parquet_file(path: Path) -> Any:
    from pyarrow import parquet

    return parquet.ParquetFile(path, buffer_size=_BUFFER, pre_buffer=False)


def _described(schema: Any) -> tuple[str, Any]:
    """Return the column of shapes and what a Parquet file says of its CRS."""
    import json

    geo = json.loads((schema.metadata or {})[b"geo"])
    shape = geo["primary_column"]
    # a missing key means longitude and latitude, a null that nobody knows
    return str(shape), geo["columns"][shape].get("crs", "OGC:CRS84")


def _is_binary(path: Path) -> bool:
    """Tell whether a Parquet file holds its shapes as well-known binary."""
    from pyarrow import types

    try:
        with _parquet_file(path) as file:
            kind = file.schema_arrow.field(_described(file.schema_arrow)[0]).type
    except Exception:  # whatever is wrong, reading it as a whole says so
        return False
    return bool(types.is_binary(kind) or types.is_large_binary(kind))
