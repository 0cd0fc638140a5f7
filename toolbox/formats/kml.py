"""KML 2.2 and KMZ: a water for a globe viewer."""

import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.errors import LayerError, OutputError
from toolbox.formats.captions import CAUTION, WGS84, captions, in_degrees, plain
from toolbox.formats.depth_colours import INK, DepthColours, extent, png, trimmed
from toolbox.formats.drivers import need_driver
from toolbox.formats.paths import new_file
from toolbox.formats.xml_text import add_texts, degrees_text
from toolbox.layers import Grid, Vectors

__all__ = ["write_kml", "write_kmz"]

_NAMESPACE = "http://www.opengis.net/kml/2.2"
_MOST_PIXELS = 2048  # along a side: more is scaled down by viewers on phones
_FINER = 4  # pixels to a cell, so that the edge of the water is no staircase in degrees
_METRES = 111_320.0  # to a degree of latitude, on a sphere
_INK = f"ff{INK[5:7]}{INK[3:5]}{INK[1:3]}"  # opacity, blue, green, red, as KML has them
_WIDTHS = {"line": 1.2, "heavy": 2.4, "area": 1.5}


def write_kmz(
    path: Path,
    *layers: Vectors,
    depth: Grid | None = None,
    title: str = "",
    about: str = CAUTION,
    ramp: np.ndarray | None = None,
    overwrite: bool = False,
) -> None:
    """Write a depth picture and layers over it for a globe viewer.

    Parameters
    ----------
    path : Path
        File to write.
    *layers : Vectors
        Isobaths, marks and whatever else lies above, each a folder of its own.
    depth : Grid, optional
        Laid on the ground, transparent where it has no value, with a legend.
    title : str
        Name of the water.
    about : str
        Description of the whole.
    ramp : (n, 3) array of uint8, optional
        Colours from the least depth to the greatest.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    LayerError
        If a layer is not tied to the earth or crosses the antimeridian, or there is none.
    OutputError
        If the file is there already or cannot be written.

    Notes
    -----
    The picture is warped to longitude and latitude first, so that its box is upright; it has
    four pixels to a cell of the grid, but at most 2048 along a side. The same input gives the
    same bytes.

    References
    ----------
    OGC 07-147r2 (2008), OGC KML 2.2 (from memory).
    """
    files: dict[str, bytes] = {}
    root, document = _document(title, about)
    if depth is not None:
        need_driver(path, "MEM", OutputError)  # which warps the picture
        colours = DepthColours(trimmed(depth), ramp)
        picture, box = _picture(colours)
        files = {"files/depth.png": png(picture), "files/legend.png": colours.legend(title)}
        _overlay(document, depth.name, box)
        _legend(document)
    _folders(document, layers, empty=depth is None)
    with new_file(path, overwrite=overwrite) as place:
        place.write_bytes(_zipped({"doc.kml": _text(root), **files}))


def write_kml(
    path: Path, *layers: Vectors, title: str = "", about: str = CAUTION, overwrite: bool = False
) -> None:
    """Write layers for a globe viewer, without a picture; parameters as of :func:`write_kmz`."""
    root, document = _document(title, about)
    _folders(document, layers, empty=True)
    with new_file(path, overwrite=overwrite) as place:
        place.write_bytes(_text(root))


def _text(root: ET.Element) -> bytes:
    ET.indent(root)
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True)) + b"\n"


def _zipped(files: Mapping[str, bytes]) -> bytes:
    target = BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name)  # of 1980: no clock in the bytes
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(entry, content)
    return target.getvalue()


def _picture(colours: DepthColours) -> tuple[np.ndarray, tuple[float, float, float, float]]:
    """Warp to degrees: a picture, and its west, south, east and north."""
    from affine import Affine

    grid = colours.grid
    west, south, east, north = box = extent(grid, WGS84)
    down = (north - south) * _METRES
    across = (east - west) * _METRES * np.cos(np.radians((north + south) / 2))
    pixel = max(grid.cell / _FINER, down / _MOST_PIXELS, across / _MOST_PIXELS)
    rows, cols = (max(int(np.ceil(size / pixel)), 1) for size in (down, across))
    transform = Affine((east - west) / cols, 0, west, 0, (south - north) / rows, north)
    return colours.picture(WGS84, transform, (rows, cols)), box


def _document(title: str, about: str) -> tuple[ET.Element, ET.Element]:
    root = ET.Element("kml", xmlns=_NAMESPACE)
    document = ET.SubElement(root, "Document")
    add_texts(
        document, name=plain(title) or "Lake bed", open="1", description=plain(about, most=1000)
    )
    add_texts(ET.SubElement(_styled(document, "point"), "LabelStyle"), scale="0.9")
    for name, width in _WIDTHS.items():
        style = _styled(document, name)
        add_texts(ET.SubElement(style, "LineStyle"), color=_INK, width=f"{width:g}")
        if name == "area":
            add_texts(ET.SubElement(style, "PolyStyle"), color="40ffffff")
    return root, document


def _styled(document: ET.Element, name: str) -> ET.Element:
    return ET.SubElement(document, "Style", id=name)


def _overlay(document: ET.Element, name: str, box: tuple[float, float, float, float]) -> None:
    overlay = ET.SubElement(document, "GroundOverlay")
    add_texts(overlay, name=plain(name.replace("_", " ")))
    add_texts(ET.SubElement(overlay, "Icon"), href="files/depth.png")
    west, south, east, north = map(degrees_text, box)
    box_it = ET.SubElement(overlay, "LatLonBox")
    add_texts(box_it, north=north, south=south, east=east, west=west)


def _legend(document: ET.Element) -> None:
    overlay = ET.SubElement(document, "ScreenOverlay")
    add_texts(overlay, name="legend")
    add_texts(ET.SubElement(overlay, "Icon"), href="files/legend.png")
    for corner in ("overlayXY", "screenXY"):
        units = {"xunits": "fraction", "yunits": "fraction"}
        ET.SubElement(overlay, corner, {"x": "0.01", "y": "0.98", **units})


def _folders(document: ET.Element, layers: tuple[Vectors, ...], *, empty: bool) -> None:
    frames = [in_degrees(layer) for layer in layers]
    if empty and not any(len(frame) for frame in frames):
        raise LayerError("a KML file needs at least one feature with a place, got none")
    for layer, frame in zip(layers, frames, strict=True):
        folder = ET.SubElement(document, "Folder")
        add_texts(folder, name=plain(layer.name.replace("_", " ")))
        said = captions(frame, layer.name)
        heavy = frame["index_line"] if "index_line" in frame else [False] * len(frame)
        for shape, (name, words), strong in zip(frame.geometry, said, heavy, strict=True):
            mark = ET.SubElement(folder, "Placemark")
            add_texts(
                mark, name=name, description=words, styleUrl=f"#{_style(shape, bool(strong))}"
            )
            mark.append(_shape(shape))


def _style(shape: Any, heavy: bool) -> str:
    if "Polygon" in shape.geom_type:
        return "area"
    if "Point" in shape.geom_type:
        return "point"
    return "heavy" if heavy else "line"


def _shape(shape: Any) -> ET.Element:
    if hasattr(shape, "geoms"):
        several = ET.Element("MultiGeometry")
        several.extend(_shape(part) for part in shape.geoms)
        return several
    if shape.geom_type == "Polygon":
        return _polygon(shape)
    element = ET.Element("Point" if shape.geom_type == "Point" else "LineString")
    if shape.geom_type != "Point":
        add_texts(element, tessellate="1")  # lies on the ground
    return _with_places(element, shape)


def _polygon(shape: Any) -> ET.Element:
    import shapely

    turned = shapely.orient_polygons(shape)  # KML asks for outer rings counter-clockwise
    element = ET.Element("Polygon")
    add_texts(element, tessellate="1")
    for name, rings in (
        ("outerBoundaryIs", [turned.exterior]),
        ("innerBoundaryIs", turned.interiors),
    ):
        for ring in rings:
            boundary = ET.SubElement(element, name)
            boundary.append(_with_places(ET.Element("LinearRing"), ring))
    return element


def _with_places(element: ET.Element, shape: Any) -> ET.Element:
    import shapely

    places = shapely.get_coordinates(shape).tolist()
    said = " ".join(f"{degrees_text(east)},{degrees_text(north)}" for east, north in places)
    add_texts(element, coordinates=said)
    return element
