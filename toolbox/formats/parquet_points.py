"""Points in Parquet, read some rows at a time: GeoParquet, or plain columns of coordinates."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import InputFileError
from toolbox.faults import said_by
from toolbox.formats import columns as names
from toolbox.formats.point_chunks import Choices, PointChunk
from toolbox.formats.point_columns import Columns, coordinate_columns, height_column, kind_of
from toolbox.formats.well_known import nested_deep
from toolbox.layers.crs import parse_crs

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["ParquetPoints"]

_BUFFER = 2**20  # bytes of a column read at a time: a group of rows may be larger than memory


class ParquetPoints:
    """A Parquet file of points.

    Parameters
    ----------
    path : Path
        GeoParquet with points as WKB or as pairs of coordinates, or plain columns of coordinates.
    choices : Choices
        Its CRS if it names none, and its columns if their names do not tell.
    """

    def __init__(self, path: Path, choices: Choices) -> None:
        self.path = path
        with self._open() as file:
            schema, rows = file.schema_arrow, file.metadata.num_rows
        self.rows = rows
        if not rows:
            raise InputFileError(f"{path} holds no points")
        self._shape, found = self._described(schema)
        listed = [name for name in schema.names if name != self._shape]
        self._pair, self.crs = self._geography(listed, found, choices)
        self._height = height_column(listed, path, choices.height)
        if self._height is None and self._shape is None:
            names.need(None, listed, path, "depth")
        self.kind = kind_of(self._height) if self._height else None
        self.unit = names.unit_of(self._height) if self._height else None
        self._others = Columns.among(listed)
        self.columns = self._others.carried

    def _open(self) -> Any:
        from pyarrow import parquet

        try:
            return parquet.ParquetFile(self.path, buffer_size=_BUFFER, pre_buffer=False)
        except Exception as error:  # whatever the library makes of a broken foot
            raise InputFileError(
                f"{self.path} cannot be read as Parquet: {said_by(error)}"
            ) from error

    def _described(self, schema: Any) -> tuple[str | None, Any]:
        """Return the column of shapes, if there is one, and what the file says of its CRS."""
        told = (schema.metadata or {}).get(b"geo")
        if told is None:
            return None, None
        try:
            geo = json.loads(told)
            shape = geo["primary_column"]
            # a missing key means longitude and latitude, a null that nobody knows
            found = geo["columns"][shape].get("crs", "OGC:CRS84")
            schema.field(shape)
        except Exception as error:  # whatever is made of a broken description
            raise InputFileError(
                f"{self.path} is no GeoParquet: what it says of its shapes cannot be read "
                f"({said_by(error)})"
            ) from error
        return str(shape), found

    def _geography(
        self, listed: list[str], found: Any, choices: Choices
    ) -> tuple[tuple[str, str] | None, "CRS"]:
        """Return the columns of coordinates, if they are not shapes, and the CRS."""
        pair = None
        if self._shape is None:
            pair, degrees = coordinate_columns(listed, self.path, choices.easting, choices.northing)
            found = "EPSG:4326" if degrees else None
        crs = choices.crs if found is None or (pair and choices.crs) else found
        if crs is None:
            raise InputFileError(
                f"{self.path} names no CRS: give one with crs, such as 'EPSG:32633'"
            )
        return pair, parse_crs(crs)

    def chunks(self, rows: int) -> Iterator[PointChunk]:
        """Go through the points, at most `rows` at a time."""
        wanted = [*(self._pair or (self._shape,)), *self._others.read]
        wanted += [self._height] if self._height else []
        read = 0
        try:
            with self._open() as file:
                for batch in file.iter_batches(rows, columns=wanted, use_threads=False):
                    yield self._chunk(batch)
                    read += len(batch)
        except InputFileError:
            raise
        except Exception as error:  # whatever the libraries below make of broken rows
            raise InputFileError(
                f"{self.path} is damaged after row {read}: {said_by(error)}"
            ) from error

    def _chunk(self, batch: Any) -> PointChunk:
        if self._pair is None:
            place, third = self._points(batch.column(self._shape))
        else:
            place, third = np.column_stack([self._numbers(batch, n) for n in self._pair]), None
        height = self._numbers(batch, self._height) if self._height else third
        if height is None:
            raise InputFileError(f"{self.path}: the points have no third coordinate, and no depth")
        frame = batch.select(list(self._others.read)).to_pandas(ignore_metadata=True)
        return self._others.chunk(frame, place, height)

    def _numbers(self, batch: Any, name: str) -> np.ndarray:
        import pyarrow

        try:
            column = batch.column(name).cast(pyarrow.float64())
        except pyarrow.ArrowException as error:
            raise InputFileError(
                f"{self.path}: column {name!r} must hold numbers: {said_by(error)}"
            ) from error
        return np.array(column.to_numpy(zero_copy_only=False), float)

    def _points(self, column: Any) -> tuple[np.ndarray, np.ndarray | None]:
        """Return places and third coordinates, if there are any."""
        import pyarrow
        import shapely

        if pyarrow.types.is_struct(column.type):
            axes = [np.array(column.field(k).to_numpy(zero_copy_only=False)) for k in (0, 1)]
            place = np.column_stack(axes).astype(float)
            place[column.is_null().to_numpy(zero_copy_only=False)] = np.nan
            if column.type.num_fields < 3:
                return place, None
            return place, np.array(column.field(2).to_numpy(zero_copy_only=False), float)
        shapes = column.to_numpy(zero_copy_only=False)
        if any(map(nested_deep, shapes)):
            raise InputFileError(f"{self.path} must hold points, it holds other shapes too")
        points = shapely.from_wkb(shapes)
        if (shapely.get_type_id(points) > 0).any():
            raise InputFileError(f"{self.path} must hold points, it holds other shapes too")
        third = shapely.get_z(points) if shapely.has_z(points).any() else None
        return np.column_stack([shapely.get_x(points), shapely.get_y(points)]), third
