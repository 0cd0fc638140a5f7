"""Vector files: GeoPackage, Shapefile, GeoJSON, FlatGeobuf, GeoParquet."""

import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.errors import InputFileError, OutputError, ParameterError, TooLargeError
from toolbox.faults import said_by
from toolbox.formats.drivers import need_driver
from toolbox.formats.geopackage import check_index, indexed
from toolbox.formats.shapefile import check_whole, for_shapefile
from toolbox.formats.sources import vector_source
from toolbox.formats.styles_file import LAYER_STYLES
from toolbox.formats.well_known import nested_deep

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS

__all__ = [
    "VECTOR_SUFFIXES",
    "chosen_layer",
    "count_features",
    "crs_of",
    "layer_names",
    "metric_crs",
    "no_features",
    "read_features",
    "write_features",
    "writing",
]

_DRIVERS = {".gpkg": "GPKG", ".geojson": "GeoJSON", ".shp": "ESRI Shapefile", ".fgb": "FlatGeobuf"}
_PARQUET = (".parquet", ".geoparquet")
_TOGETHER = 65_536  # rows
_SHAPE_BYTES, _CELL_BYTES = 100, 16  # of a shape and of a value in memory, at least
_DATABASE = {
    "OGR_SQLITE_SYNCHRONOUS": "OFF",
    "OGR_SQLITE_JOURNAL": "DELETE",  # else what the environment says; some forms are several files
    "OGR_SQLITE_PRAGMA": "",
}
VECTOR_SUFFIXES = (*_DRIVERS, ".json", *_PARQUET)


def layer_names(path: Path) -> list[str]:
    """List the vector layers in a file; a table of styles is none."""
    import pyogrio

    source = vector_source(path)
    try:
        found = pyogrio.list_layers(source)[:, 0]
        return [str(name) for name in found if name != LAYER_STYLES]
    except Exception as error:  # whatever the library makes of a broken file
        raise InputFileError(
            f"{path} cannot be read as a vector layer: {said_by(error)}"
        ) from error


def count_features(path: Path, layer: str) -> int:
    """Return how many features a layer holds, without reading them."""
    import pyogrio

    try:
        told = pyogrio.read_info(vector_source(path), layer=layer, force_feature_count=True)
    except Exception as error:  # whatever the library makes of a broken file
        raise InputFileError(f"{path} cannot be read: {said_by(error)}") from error
    return int(told["features"])


def read_features(
    path: Path, *, layer: str | None = None, where: str | None = None, crs: str | None = None
) -> "GeoDataFrame":
    """Read one layer.

    Parameters
    ----------
    path : Path
        The file.
    layer : str, optional
        Needed where the file holds several.
    where : str, optional
        Condition that features must meet, in the dialect of OGR SQL: ``"label = 'North basin'"``.
    crs : str, optional
        Used where the file names none.

    Returns
    -------
    GeoDataFrame
        Its CRS is known.

    Raises
    ------
    InputFileError
        If the file is no vector layer, holds no such layer or feature, or names no CRS and none
        is given.
    """
    frame = (
        _read_parquet(path, layer, where)
        if path.suffix.lower() in _PARQUET
        else _read(path, layer, where)
    )
    if not len(frame):
        raise no_features(path, where)
    return _with_crs(frame, path, crs)


def no_features(path: Path, where: str | None) -> InputFileError:
    """Return the error of a layer without features, or without any that meet a condition."""
    return InputFileError(f"{path} holds no features" + (f" where {where}" if where else ""))


def chosen_layer(path: Path, layer: str | None) -> str:
    """Return the layer that is named, or the only one.

    Raises
    ------
    InputFileError
        If there is no layer at all, none of that name, or several and none is named.
    """
    names = layer_names(path)
    if not names:
        raise InputFileError(f"{path} holds no layer")
    if layer is None and len(names) > 1:
        raise InputFileError(f"{path} holds several layers, name one of {', '.join(names)}")
    if layer is not None and layer not in names:
        raise InputFileError(f"{path} has no layer {layer!r}, only {', '.join(names)}")
    return layer or names[0]


def _read(path: Path, layer: str | None, where: str | None) -> "GeoDataFrame":
    import geopandas

    name = chosen_layer(path, layer)
    try:
        frame = geopandas.read_file(vector_source(path), layer=name, where=where)
    except Exception as error:  # whatever the libraries below make of a broken file
        raise InputFileError(f"{path} cannot be read: {said_by(error)}") from error
    if "geometry" not in frame:
        raise InputFileError(f"{path} holds a table without geometry")
    return frame


def _read_parquet(path: Path, layer: str | None, where: str | None) -> "GeoDataFrame":
    import geopandas

    for name, given in (("layer", layer), ("where", where)):
        if given is not None:
            raise ParameterError(f"{name} is not for Parquet files, got {given!r}")
    try:
        _check_memory(path)
        _check_nesting(path)
        return geopandas.read_parquet(path)
    except TooLargeError:
        raise
    except Exception as error:  # whatever the libraries below make of a broken file
        raise InputFileError(f"{path} cannot be read as GeoParquet: {said_by(error)}") from error


def _check_memory(path: Path) -> None:
    """Refuse what a few bytes of a Parquet file may swell to."""
    import psutil
    from pyarrow import parquet

    told, free = parquet.read_metadata(path), psutil.virtual_memory().available
    needed = told.num_rows * (_SHAPE_BYTES + _CELL_BYTES * told.num_columns)
    if needed > free:
        raise TooLargeError(
            f"{path} holds {told.num_rows:,} rows, which need {needed / 2**30:,.1f} GiB; "
            f"{free / 2**30:,.1f} GiB are free"
        )


def _check_nesting(path: Path) -> None:
    """Raise ValueError at a shape that would end the process if it were read."""
    from pyarrow import parquet, types

    with parquet.ParquetFile(path) as file:
        kinds = file.schema_arrow
        binary = [one.name for one in kinds if types.is_binary(one.type) or _large(one.type)]
        for part in file.iter_batches(_TOGETHER, columns=binary) if binary else ():
            for column in part.columns:
                if any(map(nested_deep, column.to_numpy(zero_copy_only=False))):
                    raise ValueError("a shape of collections within collections")


def _large(kind: Any) -> bool:
    from pyarrow import types

    return bool(types.is_large_binary(kind) or types.is_binary_view(kind))


def _with_crs(frame: "GeoDataFrame", path: Path, crs: str | None) -> "GeoDataFrame":
    return frame.set_crs(crs_of(frame.crs, path, crs), allow_override=True)


def crs_of(told: Any, path: Path, given: str | None) -> "CRS":
    """Return the CRS that a file tells, else the one given; raise InputFileError if there is none.

    Parameters
    ----------
    told : CRS, str or None
        What the file tells.
    path : Path
        The file, for errors.
    given : str or None
        What a person says.
    """
    from toolbox.layers.crs import parse_crs

    if told is None and given is None:
        raise InputFileError(f"{path} names no CRS: give one with crs, such as 'EPSG:32633'")
    return parse_crs(given if told is None else told)


def metric_crs(frame: "GeoDataFrame", path: Path, into: str | None) -> "CRS":
    """Choose the CRS in metres for a layer that was read, the one named if there is one.

    Raises
    ------
    InputFileError
        If nothing in it has a place.
    """
    from toolbox.layers.crs import working_crs

    bounds = frame.total_bounds
    if not all(map(math.isfinite, bounds)):
        raise InputFileError(f"{path} holds only empty geometries")
    return working_crs(frame.crs, tuple(bounds.tolist()), into)


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn whatever goes wrong in the writer below, such as a full disk, into an OutputError.

    The disk is not waited for after every layer, which may take longer than all else: what is
    written has no name of its own until it is whole.
    """
    import pyogrio

    pyogrio.set_gdal_config_options(_DATABASE)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # one for each value that did not fit
            warnings.filterwarnings("ignore", "Column names longer", UserWarning)  # of Shapefiles
            yield
    except RuntimeError as error:  # all errors of that writer are of this kind
        raise OutputError(f"{path.name} cannot be written: {said_by(error)}") from error


def _rings_as_lines(frame: "GeoDataFrame") -> "GeoDataFrame":
    """Turn rings, which files do not know, into closed lines."""
    import shapely

    shapes = frame.geometry.to_numpy()
    rings = shapely.get_type_id(shapes) == shapely.GeometryType.LINEARRING
    if not rings.any():
        return frame
    lines = shapes.copy()
    lines[rings] = [shapely.linestrings(shapely.get_coordinates(ring)) for ring in shapes[rings]]
    return frame.set_geometry(lines, crs=frame.crs)


def _placed(frame: "GeoDataFrame") -> int:
    """Count the features that have a place."""
    import shapely

    shapes = frame.geometry.to_numpy()
    return int((~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)).sum())


def write_features(
    frame: "GeoDataFrame", path: Path, *, layer: str, append: bool = False, kind: str | None = None
) -> None:
    """Write one layer.

    Parameters
    ----------
    frame : GeoDataFrame
        The features.
    path : Path
        Its suffix names the format; GeoJSON is written in longitude and latitude on WGS 84, as
        RFC 7946 asks.
    layer : str
        Name of the layer.
    append : bool
        Whether the file holds other layers that stay (GeoPackage).
    kind : str, optional
        Of the shapes of a GeoPackage, such as ``"Point"``, where none may have a place to tell.

    Raises
    ------
    ParameterError
        If the suffix names no format that can be written, or a Shapefile would have to hold
        points, lines and polygons together.
    OutputError
        If the disk is full or the like.

    Notes
    -----
    A Shapefile cuts names of columns to ten characters.
    """
    frame = _rings_as_lines(frame)
    suffix = path.suffix.lower()
    if suffix in _PARQUET:
        frame.to_parquet(path)
        return
    if suffix not in _DRIVERS:
        allowed = ", ".join((*_DRIVERS, *_PARQUET))
        raise ParameterError(f"vector layers are written as {allowed}, got {path.name!r}")
    options: dict[str, Any] = {"layer": layer, "use_arrow": suffix == ".gpkg"}
    if kind is not None and suffix == ".gpkg":
        options["geometry_type"] = kind
    need_driver(path, _DRIVERS[suffix], OutputError)
    if suffix == ".gpkg" and not append:
        options["dataset_options"] = {"VERSION": "1.3"}  # older desktop GIS know it
    if suffix == ".geojson":
        frame = frame.to_crs(4326) if frame.crs is not None else frame
        options = {"layer": layer, "RFC7946": "YES", "WRITE_NAME": "YES"}
    if suffix == ".shp":
        frame = for_shapefile(frame, path)
    if suffix == ".fgb":
        options["SPATIAL_INDEX"] = "NO"  # with one, features without a place could not be kept
    mode = "a" if append else "w"
    before = indexed(path, layer=layer) if append and suffix == ".gpkg" else 0
    # what is one file is written by Python: the writer below does not notice a full disk
    target = BytesIO() if suffix in (".fgb", ".geojson") else path
    with writing(path):
        frame.to_file(target, driver=_DRIVERS[suffix], mode=mode, index=False, **options)
    if isinstance(target, BytesIO):
        path.write_bytes(target.getvalue())
    if suffix == ".shp":
        check_whole(path)
    if suffix == ".gpkg":
        check_index(path, layer=layer, shapes=before + _placed(frame))
