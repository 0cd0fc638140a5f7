"""Shorelines and breaklines from vector files."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.gpx_paths import read_gpx_paths
from toolbox.formats.paths import existing_file
from toolbox.formats.soundings_file import depths_of
from toolbox.formats.vector import metric_crs, read_features
from toolbox.isobaths.map_bands import isobaths_of_bands
from toolbox.layers import Breaklines, Centreline, Shoreline
from toolbox.layers.crs import project_shapes
from toolbox.layers.outlines import closed_outlines
from toolbox.tool import Range, checked
from toolbox.units import Unit
from toolbox.words import counted

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS

__all__ = ["read_breaklines", "read_centreline", "read_shoreline"]


@checked
def read_shoreline(
    path: Path,
    *,
    crs: str | None = None,
    into: str | None = None,
    layer: str | None = None,
    where: str | None = None,
    depth: Annotated[float, Range("m")] = 0.0,
    open_edges: Path | None = None,
    open_within: Annotated[float, Range("m", above=0)] = 5.0,
) -> Shoreline:
    """Read a shoreline of polygons, or of lines that go round the water.

    Parameters
    ----------
    path : Path
        GeoPackage, Shapefile, GeoJSON, FlatGeobuf, GeoParquet, KML, or a GPX track or route.
        Islands may be holes, or rings stacked upon the water. A line is closed where its ends lie
        no farther apart than a tenth of its length. Points beside an outline are not used.
    crs : str, optional
        CRS of the coordinates, where the file names none.
    into : str, optional
        Projected CRS in metres to work in; if left out, the file's own if it is one, else a
        suitable one.
    layer : str, optional
        Layer of a file that holds several.
    where : str, optional
        Condition on its features, such as "label = 'North basin'".
    depth : float
        Depth of the mapped water's edge below the datum, negative above it.
    open_edges : Path, optional
        Lines or polygons that mark where the edge is not a shore: a river reach's ends, a bay cut
        off a larger water.
    open_within : float
        How near to those marks the edge is open.

    Returns
    -------
    Shoreline
        In a projected CRS in metres; its notes name every repair.

    Raises
    ------
    InputFileError
        If the file is no vector layer.
    LayerError
        If it holds no usable polygon.
    """
    frame = _outlines(existing_file(path), layer=layer, where=where, crs=crs)
    target = metric_crs(frame, path, into)
    frame, aside = _without_pins(frame)
    shapes, notes = closed_outlines(_projected(frame, target, path))
    shoreline = Shoreline.from_shapes(shapes, target, depth=depth)
    shoreline = replace(shoreline, notes=aside + notes + shoreline.notes)
    if open_edges is None:
        return shoreline
    marks = read_features(existing_file(Path(open_edges)), crs=crs)
    return shoreline.with_open_edges(_projected(marks, target, path), within=open_within)


@checked
def read_breaklines(
    path: Path,
    *,
    crs: str | None = None,
    into: str | None = None,
    layer: str | None = None,
    where: str | None = None,
    depth: str | None = None,
    elevation: str | None = None,
    unit: Unit | None = None,
    positive: Literal["down", "up"] = "down",
    bands: bool = False,
    datum: Annotated[float, Range("m")] | None = None,
) -> Breaklines:
    """Read lines of known depth, such as isobaths.

    Parameters
    ----------
    path : Path
        GeoPackage, Shapefile, GeoJSON, FlatGeobuf or GeoParquet; lines, or polygons whose rings
        are meant.
    crs : str, optional
        CRS of the coordinates, where the file names none.
    into : str, optional
        Projected CRS in metres to work in; if left out, the file's own if it is one, else a
        suitable one.
    layer : str, optional
        Layer of a file that holds several.
    where : str, optional
        Condition on its features.
    depth : str, optional
        Column of depths, if its name does not tell.
    elevation : str, optional
        Column of elevations instead of depths; needs the datum.
    unit : str, optional
        Unit of depths or elevations; if left out, what the column's name says, or metres.
    positive : str
        Direction in which depths grow.
    bands : bool
        Whether polygons are depth bands of an older map: their depth is their shallower limit, and
        the lines between them are meant.
    datum : float, optional
        Elevation of the datum water level, to turn elevations into depths.

    Returns
    -------
    Breaklines
        In a projected CRS in metres.

    Raises
    ------
    InputFileError
        If the file is no vector layer, or a line has no depth.
    """
    frame = read_features(existing_file(path), layer=layer, where=where, crs=crs)
    target = metric_crs(frame, path, into)
    values, notes = depths_of(
        frame, path, depth=depth, elevation=elevation, unit=unit, positive=positive, datum=datum
    )
    if not np.isfinite(values).all():
        raise InputFileError(f"{path}: feature {int(np.isnan(values).argmax()) + 1} has no depth")
    absent = frame.geometry.isna() | frame.geometry.is_empty
    if absent.any():
        raise InputFileError(f"{path}: feature {int(absent.argmax()) + 1} has no line")
    shapes = _projected(frame, target, path)
    pairs = isobaths_of_bands(shapes, values) if bands else zip(shapes, values, strict=True)
    lines = [
        np.column_stack([line, np.full(len(line), value)])
        for shape, value in pairs
        for line in _lines(shape, path)
    ]
    return Breaklines(tuple(lines), target, tuple(notes))


@checked
def read_centreline(
    path: Path,
    *,
    crs: str | None = None,
    into: str | None = None,
    layer: str | None = None,
    where: str | None = None,
) -> Centreline:
    """Read lines along which a river or an arm runs.

    Parameters
    ----------
    path : Path
        GeoPackage, Shapefile, GeoJSON, FlatGeobuf or GeoParquet with lines.
    crs : str, optional
        CRS of the coordinates, where the file names none.
    into : str, optional
        Projected CRS in metres to work in; if left out, the file's own if it is one, else a
        suitable one.
    layer : str, optional
        Layer of a file that holds several.
    where : str, optional
        Condition on its features.

    Returns
    -------
    Centreline
        In a projected CRS in metres.

    Raises
    ------
    InputFileError
        If the file is no vector layer, or holds anything but lines.
    """
    frame = read_features(existing_file(path), layer=layer, where=where, crs=crs)
    target = metric_crs(frame, path, into)
    there = frame[~(frame.geometry.isna() | frame.geometry.is_empty)]
    shapes = _projected(there, target, path)
    return Centreline(tuple(line for shape in shapes for line in _lines(shape, path)), target)


def _outlines(path: Path, **choice: str | None) -> "GeoDataFrame":
    if path.suffix.lower() != ".gpx":
        return read_features(path, **choice)
    for name, given in choice.items():
        if given is not None:
            raise ParameterError(f"{name} is not for GPX files, got {given!r}")
    return read_gpx_paths(path)


def _without_pins(frame: "GeoDataFrame") -> tuple["GeoDataFrame", tuple[str, ...]]:
    """Leave out points that stand beside an outline, such as the pins of a globe viewer."""
    pins = frame.geometry.geom_type.isin(["Point", "MultiPoint"])
    if not pins.any() or pins.all():
        return frame, ()
    return frame[~pins], (f"{counted(int(pins.sum()), 'point')} beside the outline not used",)


def _projected(frame: "GeoDataFrame", target: "CRS", path: Path) -> list[Any]:
    shapes = frame.geometry.array
    return list(project_shapes(np.asarray(shapes), frame.crs, target, str(path)))


def _lines(shape: Any, path: Path) -> list[np.ndarray]:
    import shapely

    lines = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            lines += [part.exterior, *part.interiors]
        elif part.geom_type in ("LineString", "LinearRing"):
            lines.append(part)
        else:
            raise InputFileError(f"{path} must hold lines or rings, got a {part.geom_type}")
    return [shapely.get_coordinates(line) for line in lines]
