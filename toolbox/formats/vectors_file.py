"""Vectors: any layer of points, lines or polygons, projected to metres at the door."""

from pathlib import Path
from typing import TYPE_CHECKING

from toolbox.errors import InputFileError, ParameterError
from toolbox.faults import said_by
from toolbox.formats.containers import is_read_workbook
from toolbox.formats.delimited import notes_of, read_delimited, write_delimited
from toolbox.formats.paths import existing_file
from toolbox.formats.vector import metric_crs, read_features, write_features
from toolbox.formats.well_known import nested_deep
from toolbox.layers import Vectors
from toolbox.layers.crs import parse_crs
from toolbox.tool import checked

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["read_vectors", "write_vectors"]


@checked
def read_vectors(
    path: Path,
    *,
    crs: str | None = None,
    into: str | None = None,
    layer: str | None = None,
    where: str | None = None,
) -> Vectors:
    """Read points, lines or polygons.

    Parameters
    ----------
    path : Path
        GeoPackage, Shapefile, GeoJSON, FlatGeobuf, GeoParquet, or text or a workbook (.xlsx,
        .xlsm) with a column ``wkt``.
    crs : str, optional
        CRS of the coordinates, where the file names none.
    into : str, optional
        Projected CRS in metres to work in; if left out, the file's own if it is one, else a
        suitable one.
    layer : str, optional
        Layer of a file that holds several, or sheet of a workbook.
    where : str, optional
        Condition on its features, such as "kind = 'hole'".

    Returns
    -------
    Vectors
        In a projected CRS in metres.

    Raises
    ------
    InputFileError
        If the file is no vector layer, holds no such layer or feature, or no CRS is known.
    """
    existing_file(path)
    notes: tuple[str, ...] = ()
    if (book := is_read_workbook(path)) or path.suffix.lower() == ".csv":
        for name, given in (("layer", None if book else layer), ("where", where)):
            if given is not None:
                raise ParameterError(f"{name} is not for text: {path.name}, got {given!r}")
        frame, notes = _from_text(path, crs, layer)
    else:
        frame = read_features(path, layer=layer, where=where, crs=crs)
    target = metric_crs(frame, path, into)
    return Vectors(frame.to_crs(target), layer or path.stem, notes)


def _from_text(
    path: Path, crs: str | None, sheet: str | None
) -> tuple["GeoDataFrame", tuple[str, ...]]:
    import geopandas
    import shapely

    table = read_delimited(path, sheet=sheet)
    if "wkt" not in table:
        raise InputFileError(f"{path} has no column 'wkt', only {', '.join(map(str, table))}")
    if crs is None:
        raise InputFileError(f"{path} names no CRS: give one with crs, such as 'EPSG:32633'")
    try:
        texts = table["wkt"].astype(str).to_numpy(object)
        if any(map(nested_deep, texts)):
            raise ValueError("collections within collections")
        shapes = shapely.from_wkt(texts)
    except (shapely.errors.GEOSException, ValueError) as error:
        raise InputFileError(f"{path} holds a bad shape: {said_by(error)}") from error
    rest = table.drop(columns="wkt")
    return geopandas.GeoDataFrame(rest, geometry=shapes, crs=parse_crs(crs)), notes_of(table)


def write_vectors(vectors: Vectors, path: Path, *, append: bool = False) -> None:
    """Write a layer; text gets a column ``wkt``.

    Parameters
    ----------
    vectors : Vectors
        The layer.
    path : Path
        Its suffix names the format.
    append : bool
        Whether the file holds other layers that stay (GeoPackage).
    """
    if path.suffix.lower() == ".csv":
        shapes = vectors.frame.geometry.to_wkt(rounding_precision=3)
        columns = vectors.frame.drop(columns=vectors.frame.geometry.name)
        write_delimited(columns.assign(wkt=shapes), path)
    else:
        write_features(vectors.frame, path, layer=vectors.name, append=append)
