"""Soundings written some at a time: GeoParquet and GeoPackage."""

import json
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from toolbox.errors import OutputError, ParameterError
from toolbox.faults import said_by
from toolbox.formats.vector import write_features

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS

__all__ = ["GROWING_SUFFIXES", "GrowingPoints", "check_growing"]

GROWING_SUFFIXES = (".parquet", ".geoparquet", ".gpkg")
_TEXTS = ("line", "source")
_WHOLE = ("count", "lines")
_FIELDS = ("depth", *_TEXTS, "sd", "sd_xy", "sd_shared", *_WHOLE, "cell")
_TOGETHER = 100_000  # rows of a group: few enough to be held, many enough to be packed well


def check_growing(path: Path) -> None:
    """Raise ParameterError unless a file can grow in the format that its suffix names."""
    if path.suffix.lower() not in GROWING_SUFFIXES:
        raise ParameterError(
            f"thinned points are written as {', '.join(GROWING_SUFFIXES)}, got {path.name!r}"
        )


class GrowingPoints:
    """A file of soundings to which more are added; whole once it is left.

    Parameters
    ----------
    path : Path
        Its suffix names the format.
    crs : CRS or None
        Of all that is added.
    """

    def __init__(self, path: Path, crs: "CRS | None") -> None:
        check_growing(path)
        self._path, self._crs = path, crs
        self._waiting: list[GeoDataFrame] = []
        self._parquet = None if path.suffix.lower() == ".gpkg" else _ParquetGroups(path, crs)
        self._begun = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self._put_down()
        if self._parquet:
            self._parquet.close()

    def add(self, frame: "GeoDataFrame") -> None:
        """Add soundings below those that are there.

        Parameters
        ----------
        frame : GeoDataFrame
            Points with columns of the names that thinning gives. Written are ``depth``, ``line``,
            ``source``, ``sd``, ``sd_xy``, ``sd_shared``, ``count``, ``lines`` and ``cell``; one
            that is not there is left empty.

        Raises
        ------
        OutputError
            If the disk is full.
        """
        self._waiting.append(_as_written(frame))
        if sum(map(len, self._waiting)) >= _TOGETHER:
            self._put_down()

    def _put_down(self) -> None:
        import pandas as pd

        if not self._waiting:
            return
        frame = pd.concat(self._waiting, ignore_index=True)
        self._waiting = []
        if self._parquet:
            self._parquet.add(frame)
        else:
            write_features(frame, self._path, layer="soundings", append=self._begun)
        self._begun = True


def _as_written(frame: "GeoDataFrame") -> "GeoDataFrame":
    import geopandas

    columns = {name: frame[name].to_numpy() if name in frame else np.nan for name in _FIELDS}
    return geopandas.GeoDataFrame(columns, geometry=frame.geometry.to_numpy(), crs=frame.crs)


class _ParquetGroups:
    """A GeoParquet file, written one group of rows after the other."""

    def __init__(self, path: Path, crs: "CRS | None") -> None:
        import pyarrow
        from pyarrow import parquet

        kinds = dict.fromkeys(_TEXTS, pyarrow.string()) | dict.fromkeys(_WHOLE, pyarrow.int64())
        fields = [(name, kinds.get(name, pyarrow.float64())) for name in _FIELDS]
        schema = pyarrow.schema([*fields, ("geometry", pyarrow.binary())], {"geo": _geo(crs)})
        self._schema: Any = schema
        packed = [name for name in _FIELDS if name not in ("depth", "sd", "sd_xy", "sd_shared")]
        self._writer = parquet.ParquetWriter(
            path, schema, compression="zstd", use_dictionary=packed
        )

    def add(self, frame: "GeoDataFrame") -> None:
        import pyarrow

        columns = [
            pyarrow.array(frame[name].to_numpy(), self._schema.field(name).type, from_pandas=True)
            for name in _FIELDS
        ]
        shapes = pyarrow.array(frame.geometry.to_wkb().to_numpy(object), pyarrow.binary())
        try:
            self._writer.write_table(pyarrow.table([*columns, shapes], schema=self._schema))
        except OSError as error:
            raise OutputError(f"the file cannot be written: {said_by(error)}") from error

    def close(self) -> None:
        self._writer.close()


def _geo(crs: "CRS | None") -> str:
    """Return what makes a Parquet file a GeoParquet file (OGC GeoParquet 1.0.0)."""
    known = None if crs is None else crs.to_json_dict()
    shape = {"encoding": "WKB", "geometry_types": ["Point"], "crs": known}
    whole = {"version": "1.0.0", "primary_column": "geometry", "columns": {"geometry": shape}}
    return json.dumps(whole)
