"""GPX 1.1, written: waypoints, routes and tracks for a handheld."""

import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.formats.captions import CAUTION, captions, depths_of, in_degrees, plain
from toolbox.formats.paths import new_file
from toolbox.formats.xml_text import add_texts, degrees_text
from toolbox.layers import Vectors

__all__ = ["write_gpx"]

_NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SCHEMA = f"{_NAMESPACE} {_NAMESPACE}/gpx.xsd"
_DEPTH = "urn:leadline:gpx"  # whose elements stand where GPX leaves room for others


def write_gpx(
    path: Path,
    *layers: Vectors,
    course: Vectors | None = None,
    title: str = "",
    about: str = CAUTION,
    time: datetime | None = None,
    overwrite: bool = False,
) -> None:
    """Write layers for a handheld.

    Parameters
    ----------
    path : Path
        File to write.
    *layers : Vectors
        Points become waypoints in their order, lines of two points (planned casts and lines)
        routes, other lines and the edges of polygons tracks, which a handheld draws.
    course : Vectors, optional
        The way of a boat, one line a leg: becomes one route.
    title : str
        Name of the water.
    about : str
        Description of the file.
    time : datetime, optional
        When it was made, with its zone.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    LayerError
        If a layer is not tied to the earth, or there is nothing to write.
    OutputError
        If the file is there already or cannot be written.

    Notes
    -----
    On WGS 84, as GPX asks. GPX has no place for a depth: it is told in name, description and
    comment, and as an element ``depth`` (m, positive down) among the extensions.

    References
    ----------
    Foster 2004, GPX 1.1 Schema Documentation (order of elements; from memory).
    """
    parts: dict[str, list[ET.Element]] = {"wpt": [], "rte": [], "trk": []}
    for layer in layers:
        _add(parts, layer)
    if course is not None and len(course):
        parts["rte"].append(_course(course))
    if not any(parts.values()):
        raise LayerError("a GPX file needs at least one feature with a place, got none")
    root = _root(title, about, time, _bounds((*layers, *([course] if course else []))))
    root.extend(part for group in parts.values() for part in group)
    ET.indent(root)
    text = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    with new_file(path, overwrite=overwrite) as place:
        place.write_bytes(text + b"\n")


def _root(title: str, about: str, time: datetime | None, bounds: np.ndarray) -> ET.Element:
    root = ET.Element("gpx", version="1.1", creator="Leadline")
    root.set("xmlns", _NAMESPACE)
    root.set("xmlns:leadline", _DEPTH)
    root.set("xmlns:xsi", "http://www.w3.org/2001/XMLSchema-instance")
    root.set("xsi:schemaLocation", _SCHEMA)
    about_it = ET.SubElement(root, "metadata")
    add_texts(about_it, name=plain(title), desc=plain(about, most=1000))
    if time is not None:
        add_texts(about_it, time=time.isoformat(timespec="seconds"))
    names = ("minlon", "minlat", "maxlon", "maxlat")
    ET.SubElement(about_it, "bounds", dict(zip(names, map(degrees_text, bounds), strict=True)))
    return root


def _bounds(layers: Iterable[Vectors]) -> np.ndarray:
    boxes = np.array([in_degrees(layer).total_bounds for layer in layers])
    return np.r_[np.nanmin(boxes[:, :2], axis=0), np.nanmax(boxes[:, 2:], axis=0)]


def _add(parts: dict[str, list[ET.Element]], layer: Vectors) -> None:
    import shapely

    frame = in_degrees(layer)
    said = captions(frame, layer.name)
    kinds = frame["kind"] if "kind" in frame else [""] * len(frame)
    rows = zip(frame.geometry, said, kinds, depths_of(frame), strict=True)
    for shape, caption, kind, depth in rows:
        name, words = caption
        texts = {"name": name, "cmt": words, "desc": words, "type": plain(kind or "")}
        if shape.geom_type in ("Point", "MultiPoint"):
            for place in shapely.get_coordinates(shape):
                parts["wpt"].append(_point("wpt", place, texts, depth))
        elif shape.geom_type == "LineString" and len(shape.coords) == 2:
            ends = zip(
                shapely.get_coordinates(shape), (f"{name} start", f"{name} end"), strict=True
            )
            parts["rte"].append(_route(texts, ends))
        else:
            parts["trk"].append(_track(texts, shape))


def _course(course: Vectors) -> ET.Element:
    """Join the legs: each begins where the one before it ends."""
    import shapely

    frame = in_degrees(course)
    places: list[tuple[np.ndarray, str]] = []
    line = np.empty((0, 2))
    for leg, shape in enumerate(frame.geometry, start=1):
        line = shapely.get_coordinates(shape)
        names = [f"{leg}", *(f"{leg}.{turn}" for turn in range(1, len(line) - 1))]
        places += zip(line[:-1], names, strict=True)
    places += [(place, "end") for place in line[-1:]]
    return _route({"name": course.name.replace("_", " "), "desc": "; ".join(course.notes)}, places)


def _route(texts: dict[str, str], places: Iterable[tuple[np.ndarray, str]]) -> ET.Element:
    route = ET.Element("rte")
    add_texts(route, **texts)
    route.extend(_point("rtept", place, {"name": name}) for place, name in places)
    return route


def _track(texts: dict[str, str], shape: Any) -> ET.Element:
    import shapely

    track = ET.Element("trk")
    add_texts(track, **texts)
    outline = shape.boundary if "Polygon" in shape.geom_type else shape
    for line in shapely.get_parts(outline):
        segment = ET.SubElement(track, "trkseg")
        segment.extend(_point("trkpt", place, {}) for place in shapely.get_coordinates(line))
    return track


def _point(
    kind: str, place: Sequence[float] | np.ndarray, texts: dict[str, str], depth: float = np.nan
) -> ET.Element:
    longitude, latitude = place
    point = ET.Element(kind, lat=degrees_text(latitude), lon=degrees_text(longitude))
    add_texts(point, **texts)
    if np.isfinite(depth):
        extensions = ET.SubElement(point, "extensions")
        add_texts(extensions, **{"leadline:depth": f"{depth:.2f}"})
    return point
