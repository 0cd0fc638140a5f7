"""Marks map: where to put a bait, as a picture to take along."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from toolbox.layers import Grid, Shoreline, Vectors
from toolbox.report.drawing import (
    CAUTION,
    FAULT,
    INK,
    PAPER,
    SCALE_BAR,
    Bounds,
    draw_depth,
    draw_isobaths,
    draw_shoreline,
    draw_unsurveyed,
    frame,
    in_unit,
    legend,
    paint,
    window,
)
from toolbox.report.placing import place_labels
from toolbox.report.styles.colours import EDGE, FLOW, GREEN, HOLLOW, RISE
from toolbox.report.text import short
from toolbox.units import convert

__all__ = ["write_marks_map"]

_DOTS = 200
_TEXT_INCHES = 1.4  # title, cautions and legend
_PALE = 0.5  # of the depths' own colours, as more is drawn over them
_FRAME = 0.1  # of the longer side, at least what the frame shows beyond the bounds
_WHOLE = 0.5  # share of the water's length from which all of it is shown
_AROUND = 0.15  # of what is shown, around marks and pegs
_LONGEST_NAME = 14
_POINTS, _PAD = 6.5, 0.18  # size of labels, and in sizes what is around their words
_STEP = 6.0  # pixels between points by which a line counts as a crowd

_BEWARE = (
    "Keep clear of overhead lines, also of those that are not drawn here. Mind steep edges, soft "
    "mud, cold water and local rules."
)


@dataclass(frozen=True)
class _Style:
    """How one kind of feature is drawn, and what the legend calls it."""

    name: str
    colour: str
    width: float
    dashes: Any = "-"
    double: bool = False

    @property
    def options(self) -> dict[str, Any]:
        """As a line is told how to look."""
        from matplotlib.patheffects import Stroke

        outer = {"color": self.colour, "lw": self.width, "ls": self.dashes}
        if not self.double:
            return outer
        around = Stroke(linewidth=self.width, foreground=self.colour)
        core = Stroke(linewidth=self.width / 2.5, foreground=PAPER)
        return outer | {"path_effects": [around, core]}


_STYLES = {
    "drop-off lip": _Style("lip of a drop-off", EDGE, 1.8),
    "drop-off foot": _Style("foot of a drop-off", EDGE, 1.6, (0, (4, 1.5))),
    "gully axis": _Style("bottom of a gully", FLOW, 1.6, (0, (7, 1.5, 1, 1.5))),
    "hump": _Style("hump, bar or plateau", RISE, 1.5, (0, (1, 1))),
    "bar": _Style("hump, bar or plateau", RISE, 1.5, (0, (1, 1))),
    "plateau": _Style("hump, bar or plateau", RISE, 1.5, (0, (1, 1))),
    "hole": _Style("hole", HOLLOW, 2.6, double=True),
}


def write_marks_map(
    depth: Grid,
    shoreline: Shoreline,
    title: str,
    path: Path,
    *,
    marks: Vectors,
    isobaths: Vectors,
    features: Vectors,
    pegs: Vectors | None = None,
    course: Vectors | None = None,
    plants: Vectors | None = None,
    exclusions: Vectors | None = None,
    unsurveyed: Grid | None = None,
    unit: Literal["m", "ft"] = "m",
) -> None:
    """Draw marks, what they lie on and how to reach them, and write a PNG.

    Parameters
    ----------
    depth : Grid
        Depth, m.
    shoreline : Shoreline
        The water.
    title : str
        Name of the water, taken literally.
    path : Path
        File to write.
    marks : Vectors
        Points with ``mark``, their number; those to cast at also with the place of their peg.
    isobaths : Vectors
        Lines of equal depth.
    features : Vectors
        Of the bed.
    pegs : Vectors, optional
        Points to cast from, with ``peg``.
    course : Vectors, optional
        The way of a boat, one line a leg.
    plants : Vectors, optional
        Beds of plants.
    exclusions : Vectors, optional
        Closed areas, and lines and points to keep clear of.
    unsurveyed : Grid, optional
        1 where the bed is a guess.
    unit : str
        ``"m"`` or ``"ft"``: of depths and of the scale.

    Notes
    -----
    Where marks and pegs lie in a small part of the water only that part is shown.
    """
    bounds = _bounds(shoreline, marks, pegs, course)
    part = window(depth, _framed(bounds))
    shown = part.of(np.asarray(convert(part.values, "m", unit)), part.name, unit)

    def draw(figure: Any, axes: Any) -> None:
        shading = draw_depth(figure, axes, shown, strength=_PALE, unit=unit)
        if unsurveyed is not None:
            draw_unsurveyed(axes, window(unsurveyed, _framed(bounds)))
        draw_shoreline(axes, shoreline)
        if plants is not None:
            _draw_areas(axes, plants, GREEN, "....", "plants")
        _draw_areas(axes, _of_kind(features, "gully"), FLOW, "", "gully")
        _draw_features(axes, features)
        if exclusions is not None:
            _draw_exclusions(axes, exclusions)
        ways = _draw_ways(axes, marks, course)
        _draw_points(axes, marks, pegs, course)
        frame(axes, depth, bounds, title, f"{CAUTION}\n{_BEWARE}", unit=unit)
        legend(figure, axes)
        busy = np.vstack([*map(_places, filter(None, (marks, pegs))), _slip(marks, course)])
        draw_isobaths(figure, axes, in_unit(isobaths, unit), shading, keep_off=busy)
        edges = [line for shape in features.frame.geometry for line in _lines(shape)]
        _draw_labels(figure, axes, marks, pegs, ways + edges)

    paint(path, bounds, draw, around=_TEXT_INCHES, dots=_DOTS)


def _bounds(
    shoreline: Shoreline, marks: Vectors, pegs: Vectors | None, course: Vectors | None
) -> Bounds:
    """Show all of the water, or what surrounds the marks where that is a small part of it."""
    layers = [layer for layer in (marks, pegs, course) if layer is not None and len(layer)]
    ends = np.array([layer.frame.total_bounds for layer in layers])
    west, south, east, north = shoreline.polygons.bounds
    low, high = ends[:, :2].min(axis=0), ends[:, 2:].max(axis=0)
    side = float((high - low).max())
    if side >= _WHOLE * max(east - west, north - south):
        low, high = np.minimum(low, (west, south)), np.maximum(high, (east, north))
        return (*map(float, low), *map(float, high))  # type: ignore[return-value]
    middle, half = (low + high) / 2, np.maximum((high - low) / 2, side / 4) + _AROUND * side + 5
    return (*map(float, middle - half), *map(float, middle + half))  # type: ignore[return-value]


def _framed(bounds: Bounds) -> Bounds:
    """Widen bounds to all that the frame shows, else water at its edge would look like land."""
    west, south, east, north = bounds
    more = _FRAME * max(east - west, north - south)
    return west - more, south - more, east + more, north + more


def _draw_features(axes: Any, features: Vectors) -> None:
    """Draw each kind of feature in its style, below what leads to the marks."""
    told: set[str] = set()
    for kind, style in _STYLES.items():
        for shape in features.frame.geometry[features.frame["kind"] == kind]:
            name = style.name if style.name not in told else "_"
            told.add(style.name)
            for line in _lines(shape):
                axes.plot(*line.T, label=name, zorder=2.2, **style.options)
                name = "_"


def _of_kind(features: Vectors, kind: str) -> Vectors:
    return Vectors(features.frame[features.frame["kind"] == kind], features.name)


def _lines(shape: Any) -> list[np.ndarray]:
    """Return the lines of a shape, rings of polygons included."""
    import shapely

    parts = shapely.get_parts(shape.boundary if "Polygon" in shape.geom_type else shape)
    return [shapely.get_coordinates(part) for part in parts if part.geom_type != "Point"]


def _draw_areas(axes: Any, areas: Vectors, colour: str, hatch: str, name: str) -> None:
    import shapely
    from matplotlib.colors import to_rgba

    for part in shapely.get_parts(areas.frame.geometry.dropna().to_numpy()):
        if part.geom_type == "Polygon":
            axes.fill(
                *shapely.get_coordinates(part.exterior).T,
                facecolor=to_rgba(colour, 0.12),
                edgecolor=to_rgba(colour, 0.75),
                hatch=hatch,
                lw=0.7 if hatch else 0.0,
                label=name,
                zorder=1.6,
            )
            name = "_"


def _draw_exclusions(axes: Any, exclusions: Vectors) -> None:
    import shapely

    _draw_areas(axes, exclusions, FAULT, "xx", "closed")
    name = "keep clear"
    for part in shapely.get_parts(exclusions.frame.geometry.dropna().to_numpy()):
        if part.geom_type != "Polygon" and not part.is_empty:
            place = shapely.get_coordinates(part).T
            axes.plot(*place, color=FAULT, lw=2.4, marker="x", ms=4, label=name, zorder=2.6)
            name = "_"


def _draw_ways(axes: Any, marks: Vectors, course: Vectors | None) -> list[np.ndarray]:
    """Draw lines of cast, or the course with its direction; return them."""
    import shapely

    if course is not None:
        ways = [shapely.get_coordinates(shape) for shape in course.frame.geometry]
        name = "course of the boat"
    elif "peg_easting_m" in marks.frame:
        starts = marks.frame[["peg_easting_m", "peg_northing_m"]].to_numpy(float)
        ways, name = list(np.stack([starts, _places(marks)], axis=1)), "line of a cast"
    else:
        return []
    for number, way in enumerate(ways):
        label = "_" if number else name
        axes.plot(*way.T, color=INK, lw=0.8, label=label, zorder=2.8)
        if course is not None:
            _draw_arrow(axes, way)
    return ways


def _draw_arrow(axes: Any, way: np.ndarray) -> None:
    """Say in the middle of a leg which way it goes."""
    import shapely

    line = shapely.LineString(way)
    if line.length > 0:
        ends = shapely.get_coordinates(
            shapely.line_interpolate_point(line, [0.49, 0.51], normalized=True)
        )
        arrow = {"arrowstyle": "-|>", "color": INK, "lw": 0.8, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", ends[1], ends[0], arrowprops=arrow, annotation_clip=True, zorder=2.8)


def _draw_points(axes: Any, marks: Vectors, pegs: Vectors | None, course: Vectors | None) -> None:
    signs = {"linewidths": 0.8, "edgecolors": PAPER, "zorder": 3.0}
    if pegs is not None:
        axes.scatter(*_places(pegs).T, s=34, c=INK, marker="^", label="peg", **signs)
    if len(slip := _slip(marks, course)):
        axes.scatter(*slip.T, s=40, c=INK, marker="s", label="slip", **signs)
    axes.scatter(*_places(marks).T, s=22, c=FAULT, marker="o", label="mark", **signs)


def _draw_labels(
    figure: Any, axes: Any, marks: Vectors, pegs: Vectors | None, lines: list[np.ndarray]
) -> None:
    """Write the numbers of marks and the names of pegs where they hide nothing."""
    places, texts = [], []
    if pegs is not None:
        places.append(_places(pegs))
        texts += [_text(axes, short(str(name), _LONGEST_NAME), "peg") for name in pegs.frame["peg"]]
    places.append(_places(marks))
    texts += [_text(axes, str(mark), "mark") for mark in marks.frame["mark"]]
    anchors = axes.transData.transform(np.vstack(places))
    renderer = figure.canvas.get_renderer()
    extents = [text.get_window_extent(renderer) for text in texts]
    sizes = np.array([(extent.width, extent.height) for extent in extents])
    sizes += 2 * (_PAD * _POINTS / 72 * figure.dpi + 1)
    others = [*axes.texts[: -len(texts)], *axes.findobj(lambda sign: sign.get_gid() == SCALE_BAR)]
    busy = [other.get_window_extent(renderer).extents for other in others]
    centres = place_labels(
        anchors,
        sizes,
        within=tuple(axes.bbox.extents),
        keep_off=np.array(busy).reshape(-1, 4),
        crowd=_crowd(axes, lines),
        gap=0.06 * figure.dpi,
    )
    for text, anchor, centre in zip(texts, anchors, centres, strict=True):
        ends = axes.transData.inverted().transform([anchor, centre])
        text.set_position(ends[1])
        axes.plot(*ends.T, color=INK, lw=0.5, zorder=2.9)


def _text(axes: Any, words: str, kind: str) -> Any:
    """Make a label; its box is measured before it is placed."""
    heavy = {"fontweight": "bold", "color": INK}
    plain = {"color": PAPER}
    box = {"boxstyle": f"round,pad={_PAD}", "lw": 0.6, "ec": INK}
    return axes.text(
        0,
        0,
        words,
        ha="center",
        va="center",
        parse_math=False,
        zorder=3.2,
        fontsize=_POINTS,
        bbox=box | {"fc": PAPER if kind == "mark" else INK},
        **(heavy if kind == "mark" else plain),
    )


def _slip(marks: Vectors, course: Vectors | None) -> np.ndarray:
    """Return where a course starts and ends, if it has more legs than marks; else nothing."""
    import shapely

    if course is None or len(course) <= len(marks):
        return np.empty((0, 2))
    return np.asarray(shapely.get_coordinates(course.frame.geometry.iloc[0])[:1])


def _places(points: Vectors) -> np.ndarray:
    import shapely

    return shapely.get_coordinates(points.frame.geometry.to_numpy())


def _crowd(axes: Any, ways: list[np.ndarray]) -> np.ndarray:
    """Return points along lines, a few pixels apart."""
    import shapely

    lines = [shapely.LineString(axes.transData.transform(way)) for way in ways]
    lines = [line for line in lines if line.length > 0]  # a peg may stand on its mark
    dense = [shapely.get_coordinates(shapely.segmentize(line, _STEP)) for line in lines]
    return np.vstack([np.empty((0, 2)), *dense])
