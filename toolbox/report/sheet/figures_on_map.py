"""Numbers on a map: depths along isobaths and at soundings, none on top of another."""

from typing import Any

import numpy as np

from toolbox.isobaths.labels import isobath_labels
from toolbox.layers import Vectors
from toolbox.report.drawing import INK
from toolbox.report.sheet.lettering import width_of
from toolbox.report.sheet.paper import MM
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.shading import rings_of
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.view import View
from toolbox.units import convert

__all__ = ["draw_isobaths", "draw_spot_depths", "readable_isobaths", "simplified"]

_SPACING_MM = 70.0
_BETWEEN, _NEAREST = 11 * MM, 9 * MM  # depths at soundings
_CAP = 0.73  # height of a digit, in sizes of the type
_MANY = 10_000  # squares in a row, more than any sheet has
_FINE, _BEYOND = 0.03 * MM, 3 * MM
_CLEAR = 0.6 * MM
_LINES_APART = 0.9 * MM  # lines nearer to each other than that turn into a grey


def readable_isobaths(view: View, isobaths: Vectors, water: Any) -> Vectors:
    """Return as many levels as can be told apart at a scale: all, each fifth, each tenth ...

    Parameters
    ----------
    view : View
        How the map is drawn.
    isobaths : Vectors
        Lines with ``depth_m`` and ``index_line``.
    water : MultiPolygon
        The water.
    """
    frame = isobaths.frame
    levels = np.unique(frame["depth_m"].to_numpy(float))
    heavy = np.unique(frame["depth_m"].to_numpy(float)[frame["index_line"].to_numpy(bool)])
    for kept in (levels, heavy, *(heavy[step - 1 :: step] for step in (2, 4, 10, 20))):
        chosen = frame[frame["depth_m"].isin(kept)]
        apart = water.area / max(float(chosen.geometry.length.sum()), 1e-9)
        if apart * view.points_to_metre >= _LINES_APART:
            break
    return Vectors(chosen, isobaths.name, isobaths.notes)


def simplified(view: View, lines: Vectors) -> Vectors:
    """Return what a view shows of lines, without the bends that no eye can see."""
    frame = lines.frame[lines.frame.geometry.intersects(_around(view))]
    within = frame.geometry.simplify(view.on_ground(_FINE)).clip_by_rect(*_around(view).bounds)
    parts = frame.set_geometry(within).explode(ignore_index=True)
    parts = parts[(parts.geometry.geom_type == "LineString") & ~parts.geometry.is_empty]
    return Vectors(parts, lines.name, lines.notes)


def _around(view: View) -> Any:
    """Return the ground in the frame and a little around it."""
    import shapely

    return shapely.box(*view.bounds).buffer(view.on_ground(_BEYOND), join_style="mitre")


def draw_isobaths(
    pen: Pen, view: View, isobaths: Vectors, size: float, taken: list[Any]
) -> list[Any]:
    """Draw isobaths, parted where their numbers stand; return the boxes of these.

    Parameters
    ----------
    pen, view : Pen, View
        Where and how.
    isobaths : Vectors
        Lines with ``depth_m`` and ``index_line``.
    size : float
        Of the type, points.
    taken : list of Polygon
        What no number may cover, points.
    """
    import shapely

    if not len(isobaths):
        return []
    labels = _labels(view, isobaths, size, taken)
    boxes = [_turned_box(label, size) for label in labels]
    for heavy in (False, True):
        chosen = isobaths.frame["index_line"].to_numpy(bool) == heavy
        lines = _on_paper(isobaths.frame.geometry[chosen], view)
        parted = shapely.difference(lines, shapely.unary_union(boxes)) if boxes else lines
        parts = [part for part in shapely.get_parts(parted) if part.length > 0]
        drawn = [shapely.get_coordinates(part) for part in parts]
        if drawn:
            pen.shapes(drawn, stroke=INK, width=0.75 if heavy else 0.38)
    for place, words, angle, _ in labels:
        pen.text(place, words, size, align="middle", angle=angle)
    return boxes


def _labels(
    view: View, isobaths: Vectors, size: float, taken: list[Any]
) -> list[tuple[tuple[float, float], str, float, float]]:
    """Places, words, angles and widths of the numbers that are in the frame and hide nothing."""
    import shapely

    scale = max(view.scale * view.factor, 1.0)
    found = isobath_labels(
        isobaths, scale=scale, height=size / MM, spacing=_SPACING_MM * scale / 1000
    )
    frame = shapely.box(view.box.left, view.box.bottom, view.box.right, view.box.top)
    inner = shapely.buffer(frame, -2 * size)
    busy = shapely.STRtree(taken)
    labels = []
    for row in found.frame.itertuples():
        place = view(np.array([[row.geometry.x, row.geometry.y]]))[0]
        label = (tuple(place), row.label, -row.upright_deg, width_of(row.label, size))
        box = _turned_box(label, size)
        if inner.contains(box) and not len(busy.query(box, predicate="intersects")):
            labels.append(label)
    return labels


def _turned_box(label: Any, size: float) -> Any:
    import shapely
    from shapely.affinity import rotate

    (across, up), _, angle, wide = label
    half, tall = wide / 2 + _CLEAR, _CAP * size / 2 + _CLEAR / 2
    return rotate(shapely.box(across - half, up - tall, across + half, up + tall), angle)


def _on_paper(lines: Any, view: View) -> list[Any]:
    import shapely

    return [shapely.LineString(view(shapely.get_coordinates(line))) for line in lines]


def draw_spot_depths(
    pen: Pen, view: View, subject: Subject, isobaths: Vectors, size: float, taken: list[Any]
) -> int:
    """Write depths at soundings here and there, where they hide nothing; return how many."""
    import shapely

    places, depths = _thinned(view, subject)
    lines = _on_paper(isobaths.frame.geometry, view)
    edges = [shapely.LineString(ring) for ring in rings_of(subject.shoreline.polygons, view)]
    busy = shapely.STRtree([*taken, *lines, *edges])
    frame = shapely.box(view.box.left, view.box.bottom, view.box.right, view.box.top)
    written = np.empty((0, 2))
    for place, depth in zip(places, depths, strict=True):
        words = f"{depth:.1f}"
        box = _turned_box((place, words, 0.0, width_of(words, size)), size)
        alone = (np.hypot(*(written - place).T) > _NEAREST).all()
        if alone and frame.contains(box) and not len(busy.query(box, predicate="intersects")):
            pen.text(tuple(place), words, size, align="middle")
            written = np.vstack([written, place])
    return len(written)


def _thinned(view: View, subject: Subject) -> tuple[np.ndarray, np.ndarray]:
    """Take of each square of paper the sounding next to its middle."""
    kept = ~subject.soundings.flag
    places, depths = view(subject.soundings.coordinates[kept]), subject.soundings.depth[kept]
    depths = np.asarray(convert(depths, "m", subject.unit))
    box = view.box
    shown = ((places > (box.left, box.bottom)) & (places < (box.right, box.top))).all(axis=1)
    places, depths = places[shown], depths[shown]
    squares = np.floor(places / _BETWEEN)
    off = np.hypot(*(places - (squares + 0.5) * _BETWEEN).T)
    number = squares[:, 0] + squares[:, 1] * _MANY
    order = np.lexsort([off, number])
    first = np.r_[True, np.diff(number[order]) != 0][: len(order)]
    return places[order[first]], depths[order[first]]
