"""DXF: isobaths and other layers for drawing programs."""

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO, TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.formats.captions import CAUTION, captions, depths_of, plain
from toolbox.formats.paths import new_file
from toolbox.layers import Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range

if TYPE_CHECKING:
    from ezdxf.document import Drawing

__all__ = ["write_dxf"]

_METRES = 6  # $INSUNITS
_VERSION = "R2010"
_TEXT = 1 / 150  # height of letters to the longer side of the drawing
_FORBIDDEN = str.maketrans(dict.fromkeys('<>/\\":;?*|=`,\u2039\u203a', "-"))


def write_dxf(
    path: Path,
    *layers: Vectors,
    datum: Annotated[float, Range("m")] | None = None,
    title: str = "",
    overwrite: bool = False,
) -> None:
    """Write layers for drawing programs.

    Parameters
    ----------
    path : Path
        File to write.
    *layers : Vectors
        Lines become 3D polylines, polygons closed ones along their edges, points points with
        their name beside them. Those with ``depth_m`` lie at their depth, others at the water
        level.
    datum : float, optional
        Elevation of the datum water level, m: heights are then elevations of the bed. If left
        out, the water level is 0 and heights are negative depths.
    title : str
        Name of the water.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    LayerError
        If there is nothing to write.
    OutputError
        If the file is there already or cannot be written.

    Notes
    -----
    Isobaths stand on a drawing layer for each depth, ``isobaths_5_m``, others on one named after
    them. Units are metres. DXF knows no CRS: its name, the meaning of heights and cautions are
    written on the drawing layer ``notes``, below the water.
    """
    with _without_clock():
        text = _bytes(_drawing(layers, datum, title))
    with new_file(path, overwrite=overwrite) as place:
        place.write_bytes(text)


@contextmanager
def _without_clock() -> Iterator[None]:
    """Let the library write neither times nor numbers made by chance."""
    import ezdxf

    settings: Any = ezdxf.options  # type: ignore[attr-defined]
    former = settings.write_fixed_meta_data_for_testing
    settings.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        settings.write_fixed_meta_data_for_testing = former


def _drawing(layers: tuple[Vectors, ...], datum: float | None, title: str) -> "Drawing":
    from ezdxf.filemanagement import new

    check_same_crs(**{layer.name: layer for layer in layers})
    boxes = np.array([layer.frame.total_bounds for layer in layers])
    if not np.isfinite(boxes).any():
        raise LayerError("a DXF file needs at least one feature with a place, got none")
    bounds = np.r_[np.nanmin(boxes[:, :2], axis=0), np.nanmax(boxes[:, 2:], axis=0)]
    drawing = new(_VERSION, units=_METRES)
    for layer in layers:
        _add(drawing, layer, 0.0 if datum is None else datum, _letters(bounds))
    _remarks(drawing, bounds, _said(layers, datum, title))
    _look_at(drawing, bounds)
    return drawing


def _add(drawing: "Drawing", layer: Vectors, level: float, size: float) -> None:
    """Add the features of a layer, with letters of some size."""
    frame, depths = layer.frame, depths_of(layer.frame)
    heights = (level - np.nan_to_num(depths)).tolist()
    colours = _colours(depths)
    rows = zip(frame.geometry, depths, heights, colours, captions(frame, layer.name), strict=True)
    for shape, depth, height, colour, (name, _) in rows:
        if shape is None or shape.is_empty:
            continue
        level_known = "index_line" in frame and np.isfinite(depth)
        drawn = f"{layer.name} {name}" if level_known else layer.name
        attributes = {"layer": _layer(drawing, drawn, colour)}
        _draw(drawing, shape, height, attributes, (name, size))


def _layer(drawing: "Drawing", name: str, colour: int) -> str:
    """Return the name of a drawing layer, made where there is none yet."""
    safe = plain(name).translate(_FORBIDDEN).replace(" ", "_") or "layer"
    if safe not in drawing.layers:
        drawing.layers.add(safe, true_color=colour)
    return safe


def _colours(depths: np.ndarray) -> list[int]:
    """From a middling blue to a dark one: seen on white paper and on a black screen."""
    known = depths[np.isfinite(depths)]
    deepest = max(float(known.max(initial=0)), 0.01)
    share = np.clip(np.nan_to_num(depths) / deepest, 0, 1)[:, None]
    ends = np.array([[110, 190, 200], [60, 90, 190]])
    red, green, blue = np.round(ends[0] + share * (ends[1] - ends[0])).astype(int).T
    return [int(colour) for colour in (red << 16) + (green << 8) + blue]


def _draw(
    drawing: "Drawing",
    shape: Any,
    height: float,
    attributes: dict[str, Any],
    text: tuple[str, float],
) -> None:
    import shapely

    space = drawing.modelspace()
    outline = shape.boundary if "Polygon" in shape.geom_type else shape
    for part in shapely.get_parts(outline):
        places = [(*place, height) for place in shapely.get_coordinates(part).tolist()]
        if part.geom_type == "Point":
            space.add_point(places[0], dxfattribs=attributes)
            name, size = text
            words = space.add_text(name, height=size, dxfattribs=attributes)
            words.set_placement((places[0][0] + size, places[0][1], height))
        else:
            closed = len(places) > 3 and places[0] == places[-1]
            space.add_polyline3d(
                places[:-1] if closed else places, close=closed, dxfattribs=attributes
            )


def _letters(bounds: np.ndarray) -> float:
    west, south, east, north = bounds
    return float(max(max(east - west, north - south) * _TEXT, 0.1))


def _said(layers: tuple[Vectors, ...], datum: float | None, title: str) -> list[str]:
    crs = layers[0].crs
    heights = (
        "Heights: 0 is the datum water level, depths are negative."
        if datum is None
        else f"Heights: elevations of the bed; the datum water level is {datum:g} m."
    )
    named = "a plane of its own" if crs is None else crs.name
    return [plain(title), f"Easting and northing in metres, {named}.", heights, CAUTION]


def _remarks(drawing: "Drawing", bounds: np.ndarray, said: list[str]) -> None:
    size = _letters(bounds)
    layer = _layer(drawing, "notes", 0x808080)
    for number, line in enumerate(filter(None, said), start=2):
        words = drawing.modelspace().add_text(line, height=size, dxfattribs={"layer": layer})
        words.set_placement((bounds[0], bounds[1] - 2 * number * size))


def _look_at(drawing: "Drawing", bounds: np.ndarray) -> None:
    """Let programs open the file with the water in view."""
    west, south, east, north = bounds.tolist()
    drawing.modelspace().reset_extents((west, south, 0), (east, north, 0))
    height = 1.2 * max(east - west, north - south, 1.0)
    drawing.set_modelspace_vport(height, ((west + east) / 2, (south + north) / 2))


def _bytes(drawing: "Drawing") -> bytes:
    target = BytesIO()
    stream = TextIOWrapper(target, "utf-8", "dxfreplace", newline="\n", write_through=True)
    for kind in sorted(drawing.entitydb.dxf_types_in_use()):  # the library's own order is by chance
        drawing.classes.add_class(kind)
    drawing.write(stream)
    return target.getvalue()
