"""Beds on disk: a GeoPackage with the vertices and the triangles, which any GIS shows."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.vector import layer_names, read_features, write_features
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
    write_features(_triangles(bed), path, layer=TRIANGLES, append=True)


def _vertices(bed: Tin) -> "GeoDataFrame":
    import geopandas
    import shapely

    names = np.array([kind.name.lower() for kind in VertexKind])
    columns = {"depth": bed.depth, "kind": names[bed.kind]}
    if bed.sd is not None:
        columns["sd"] = bed.sd
    return geopandas.GeoDataFrame(columns, geometry=shapely.points(bed.vertices), crs=bed.crs)


def _triangles(bed: Tin) -> "GeoDataFrame":
    import geopandas
    import shapely

    corners = bed.triangles[:, [0, 1, 2, 0]]
    columns = dict(zip("abc", bed.triangles.T, strict=True))
    columns["mean_depth"] = bed.depth[bed.triangles].mean(axis=1)
    shapes = shapely.polygons(bed.vertices[corners])
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=bed.crs)
