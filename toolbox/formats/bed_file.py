"""Beds on disk: a GeoPackage with the vertices and the triangles, which any GIS shows.

A bed with draws has a third layer, a table without shapes: one row a draw, the depths of all
vertices in the order of their numbers (`fid`) as one row of little-endian floats.
"""

from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.geopackage import check_index
from toolbox.formats.paths import existing_file
from toolbox.formats.vector import layer_names, read_features, writing
from toolbox.formats.well_known import points_as_binary, triangles_as_binary
from toolbox.layers import Tin, VertexKind

if TYPE_CHECKING:
    from pyarrow import RecordBatch
    from pyproj import CRS

__all__ = ["DRAWS", "TRIANGLES", "VERTICES", "read_bed", "write_bed"]

VERTICES, TRIANGLES, DRAWS = "bed_vertices", "bed_triangles", "bed_draws"

_FLOATS = {"float32": "<f4", "float64": "<f8"}
_ROWS = 2**16  # written at a time


def read_bed(path: Path) -> Tin:
    """Read a bed written by :func:`write_bed`.

    Parameters
    ----------
    path : Path
        A GeoPackage.

    Returns
    -------
    Tin
        The same to the last bit.

    Raises
    ------
    InputFileError
        If the file holds no bed.
    """
    import shapely

    names = layer_names(existing_file(path))
    if not {VERTICES, TRIANGLES} <= set(names):
        raise InputFileError(
            f"{path} holds no bed: layers {VERTICES!r} and {TRIANGLES!r} are missing"
        )
    vertices, triangles = (read_features(path, layer=name) for name in (VERTICES, TRIANGLES))
    missing = {"depth", "kind"} - set(vertices) | {"a", "b", "c"} - set(triangles)
    if missing:
        raise InputFileError(f"{path} holds no bed: columns {sorted(missing)} are missing")
    codes = {kind.name.lower(): kind for kind in VertexKind}
    unknown = vertices["kind"][~vertices["kind"].isin(list(codes))]
    if len(unknown):
        allowed = ", ".join(codes)
        raise InputFileError(f"{path}: kind must be one of {allowed}, got {unknown.iloc[0]!r}")
    corners = triangles[["a", "b", "c"]]
    if corners.isna().any(axis=None):
        raise InputFileError(f"{path}: a triangle of the bed lacks a corner")
    return Tin(
        shapely.get_coordinates(vertices.geometry.array),
        vertices["depth"].to_numpy(float),
        corners.to_numpy(np.int32),
        vertices["kind"].map(codes).to_numpy(np.uint8),
        vertices.crs,
        vertices["sd"].to_numpy(float) if "sd" in vertices else None,
        _read_draws(path, len(vertices)) if DRAWS in names else None,
        support=vertices["support"].to_numpy(float) if "support" in vertices else None,
    )


def _read_draws(path: Path, count: int) -> np.ndarray:
    """Return the draws of a bed of so many vertices, shape (count, k), one draw after the other."""
    from pyogrio import read_arrow

    table = read_arrow(path, layer=DRAWS)[1]
    missing = {"draw", "number", "depths"} - set(table.column_names)
    if missing:
        raise InputFileError(f"{path} holds no draws: columns {sorted(missing)} are missing")
    kinds = set(table["number"].to_pylist())
    if len(kinds) != 1 or not kinds <= set(_FLOATS):
        raise InputFileError(
            f"{path}: number of the draws must be float32 or float64, got {sorted(map(str, kinds))}"
        )
    number = np.dtype(_FLOATS[kinds.pop()])
    draws = np.empty((len(table), count), number.newbyteorder("="))
    order = np.argsort(table["draw"].to_numpy(), kind="stable")
    for row, place in enumerate(order):
        told = table["depths"][int(place)].as_buffer()
        if told is None or told.size != count * number.itemsize:
            raise InputFileError(
                f"{path}: draw {row + 1} must hold {count} depths in {count * number.itemsize} "
                f"bytes, got {0 if told is None else told.size} bytes"
            )
        draws[row] = np.frombuffer(told, number)
    return draws.T


def write_bed(bed: Tin, path: Path, *, append: bool = False) -> None:
    """Write a bed as two layers of a GeoPackage, or three if it has draws."""
    _write_shapes(_vertices(bed), path, layer=VERTICES, kind="Point", crs=bed.crs, append=append)
    check_index(path, layer=VERTICES, shapes=len(bed.vertices))
    _write_shapes(_triangles(bed), path, layer=TRIANGLES, kind="Polygon", crs=bed.crs, append=True)
    check_index(path, layer=TRIANGLES, shapes=len(bed.triangles))
    if bed.draws is not None:
        _write_draws(bed.draws, path)


def _vertices(bed: Tin) -> "Iterator[RecordBatch]":
    import pyarrow

    names = np.array([kind.name.lower() for kind in VertexKind])
    for part in _parts(len(bed.vertices)):
        columns = {
            "depth": pyarrow.array(bed.depth[part]),
            "kind": pyarrow.array(names[bed.kind[part]], pyarrow.string()),
        }
        columns |= {
            name: pyarrow.array(values[part])
            for name, values in (("sd", bed.sd), ("support", bed.support))
            if values is not None
        }
        shapes = points_as_binary(bed.vertices[part])
        yield pyarrow.record_batch(columns | {"geometry": shapes})


def _triangles(bed: Tin) -> "Iterator[RecordBatch]":
    import pyarrow

    for part in _parts(len(bed.triangles)):
        corners = bed.triangles[part]
        columns = dict(zip("abc", map(pyarrow.array, corners.T), strict=True))
        columns["mean_depth"] = pyarrow.array(bed.depth[corners].mean(axis=1))
        shapes = triangles_as_binary(bed.vertices[corners])
        yield pyarrow.record_batch(columns | {"geometry": shapes})


def _parts(count: int) -> list[slice]:
    """Return what is written at a time, at least one part, though it be empty."""
    return [slice(start, start + _ROWS) for start in range(0, max(count, 1), _ROWS)]


def _write_shapes(
    batches: "Iterator[RecordBatch]",
    path: Path,
    *,
    layer: str,
    kind: str,
    crs: "CRS | None",
    append: bool,
) -> None:
    """Write without an object for each shape: for millions they would take gigabytes."""
    import pyarrow
    from pyogrio import write_arrow

    first = next(batches)
    reader = pyarrow.RecordBatchReader.from_batches(first.schema, chain([first], batches))
    with writing(path):
        write_arrow(
            reader,
            path,
            layer=layer,
            driver="GPKG",
            geometry_name="geometry",
            geometry_type=kind,
            crs=crs.to_wkt() if crs else None,
            append=append,
            dataset_options=None if append else {"VERSION": "1.3"},
        )


def _write_draws(draws: np.ndarray, path: Path) -> None:
    """Write each draw as one value: a column for each would be beyond what tables hold."""
    import pyarrow
    from pyogrio import write_arrow

    name = draws.dtype.name
    rows = np.ascontiguousarray(draws.T, _FLOATS[name])
    ends = np.arange(len(rows) + 1) * rows[0].nbytes
    buffers = [None, pyarrow.py_buffer(ends), pyarrow.py_buffer(rows)]
    columns = {
        "draw": pyarrow.array(np.arange(1, len(rows) + 1)),
        "number": pyarrow.array([name] * len(rows)),
        "depths": pyarrow.Array.from_buffers(pyarrow.large_binary(), len(rows), buffers),
    }
    with writing(path):
        write_arrow(pyarrow.table(columns), path, layer=DRAWS, driver="GPKG", append=True)
