"""Beds on disk: a GeoPackage with the vertices and the triangles, which any GIS shows."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.vector import layer_names, read_features, write_features, writing
from toolbox.layers import Tin, VertexKind

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["TRIANGLES", "VERTICES", "read_bed", "write_bed"]

VERTICES, TRIANGLES = "bed_vertices", "bed_triangles"


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

    if not {VERTICES, TRIANGLES} <= set(layer_names(path)):
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
    )


def write_bed(bed: Tin, path: Path, *, append: bool = False) -> None:
    """Write a bed as two layers of a GeoPackage."""
    write_features(_vertices(bed), path, layer=VERTICES, append=append)
    _write_triangles(bed, path)


def _vertices(bed: Tin) -> "GeoDataFrame":
    import geopandas
    import shapely

    names = np.array([kind.name.lower() for kind in VertexKind])
    columns = {"depth": bed.depth, "kind": names[bed.kind]}
    if bed.sd is not None:
        columns["sd"] = bed.sd
    return geopandas.GeoDataFrame(columns, geometry=shapely.points(bed.vertices), crs=bed.crs)


_TRIANGLE = np.dtype(
    [("order", "u1"), ("type", "<u4"), ("rings", "<u4"), ("size", "<u4"), ("ring", "<f8", (4, 2))]
)
"""A triangle as well-known binary (OGC 06-103r4, 8.2)."""


def _write_triangles(bed: Tin, path: Path) -> None:
    """Write without a geometry object for each: for millions they would take gigabytes."""
    import pyarrow
    from pyogrio import write_arrow

    shapes = np.empty(len(bed.triangles), _TRIANGLE)
    shapes["order"], shapes["type"], shapes["rings"], shapes["size"] = 1, 3, 1, 4
    for place in range(4):
        shapes["ring"][:, place] = bed.vertices[bed.triangles[:, place % 3]]
    ends = np.arange(len(shapes) + 1) * _TRIANGLE.itemsize
    buffers = [None, pyarrow.py_buffer(ends), pyarrow.py_buffer(shapes)]
    columns = dict(zip("abc", map(pyarrow.array, bed.triangles.T), strict=True))
    columns["mean_depth"] = pyarrow.array(bed.depth[bed.triangles].mean(axis=1))
    columns["geometry"] = pyarrow.Array.from_buffers(pyarrow.large_binary(), len(shapes), buffers)
    with writing(path):
        write_arrow(
            pyarrow.table(columns),
            path,
            layer=TRIANGLES,
            driver="GPKG",
            geometry_name="geometry",
            geometry_type="Polygon",
            crs=bed.crs.to_wkt() if bed.crs else None,
            append=True,
        )
