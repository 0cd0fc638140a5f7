"""Places for the numbers on isobaths."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table, Vectors
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["isobath_labels"]

_SPACING_MM = 100.0
_DIGIT = 0.6  # widths of a digit to its height, common in plain type
_TRIES = 16
_STRAIGHT = 0.85  # chord to arc below a number: less, and it would not lie on its line


@tool("Labels of isobaths")
def isobath_labels(
    isobaths: Vectors,
    *,
    spacing: Annotated[float, Range("m", above=0)] | None = None,
    scale: Annotated[float, Range("", min=1)] = 10_000,
    height: Annotated[float, Range("mm", above=0)] = 2.0,
) -> Vectors:
    """Find places and directions for the numbers on isobaths.

    Parameters
    ----------
    isobaths : Vectors
        Lines with a column ``depth_m``, deeper water to the left of their direction. Where they
        have ``depth_ft`` too, that is what the numbers tell.
    spacing : float, optional
        Distance between labels along a line, m; if left out, 100 mm on paper.
    scale : float
        The map is drawn at 1 to this.
    height : float
        Of the digits on paper, mm.

    Returns
    -------
    Vectors
        Points in the middle of each label, with columns ``depth_m, label, rotation_deg,
        upright_deg, room_m``, and ``depth_ft`` where the lines have it. The rotation is by how much
        a label written from west to east is to be turned clockwise; its top then points to
        shallower water, so that it reads uphill.
        Upright is the same, but turned by half a turn where the label would stand on its head,
        where a 6 looks like a 9. Room is the distance to the nearest other line, up to two heights.

    Raises
    ------
    LayerError
        If the layer has other shapes than lines, or lines without a number as ``depth_m``.

    Notes
    -----
    A line is divided into stretches of about `spacing`. In each the straightest place with the
    most room gets the label, not nearer to the end of an open line than the label is wide. Labels
    at a scale and height do not overlap: where two would, lines marked ``index_line`` come first,
    then long ones. Lines shorter than three labels, and stretches that wind too much, get none.
    """
    _check(isobaths)
    frame = isobaths.frame.assign(depth_m=_depths(isobaths)).reset_index(drop=True)
    tall = height * scale / 1000
    step = _SPACING_MM * scale / 1000 if spacing is None else spacing
    tries = _tries(frame, tall, step)
    chosen = _chosen(tries, _order(frame), tall)
    labelled = len(np.unique(tries.line[chosen]))
    notes = (
        f"placed for digits {height:g} mm high at 1:{scale:g}",
        f"{labelled} of {len(frame)} lines have a label",
    )
    return Vectors(_framed(isobaths, frame, tries, chosen), "isobath_labels", notes)


@dataclass(frozen=True, eq=False)
class _Tries:
    """Places that a label might have: (t,) arrays, `place` (t, 2)."""

    line: np.ndarray
    stretch: np.ndarray
    place: np.ndarray
    wide: np.ndarray
    rotation: np.ndarray
    straight: np.ndarray
    room: np.ndarray


def _check(isobaths: Vectors) -> None:
    import shapely

    if "depth_m" not in isobaths.frame:
        raise LayerError(
            f"{isobaths.name} must have a column depth_m, got {list(isobaths.frame.columns)}"
        )
    kinds = set(isobaths.frame.geometry.geom_type)
    if kinds - {"LineString"} or shapely.is_empty(isobaths.frame.geometry.values).any():
        raise LayerError(f"{isobaths.name} must be single lines, got {sorted(map(str, kinds))}")


def _depths(isobaths: Vectors) -> np.ndarray:
    depth = Table(isobaths.frame).column("depth_m")
    if not (good := np.isfinite(depth)).all():
        row = int(np.argmin(good))
        raise LayerError(f"{isobaths.name} must have depths, line {row + 1} has {depth[row]}")
    return depth


def _texts(frame: "pd.DataFrame") -> list[str]:
    if "depth_ft" in frame:
        return [f"{round(depth, 2):g}" for depth in frame["depth_ft"]]
    return [f"{round(depth, 3):g}" for depth in frame["depth_m"]]


def _tries(frame: Any, tall: float, spacing: float) -> _Tries:
    import shapely

    shapes = np.asarray(frame.geometry.values)
    wide = np.array([len(text) for text in _texts(frame)]) * _DIGIT * tall
    length, ring = shapely.length(shapes), shapely.is_closed(shapes)
    stretches = np.where(length >= 3 * wide, np.maximum(1, np.round(length / spacing)), 0)
    line = np.repeat(np.arange(len(frame)), stretches.astype(int) * _TRIES)
    number = np.arange(len(line)) - np.searchsorted(line, line)
    margin = np.where(ring, 0, 1.5 * wide)[line]  # of which half a label is the label itself
    span = length[line] - 2 * margin
    along = margin + span * (number + 0.5) / (stretches[line] * _TRIES)
    around = along + np.array([[0.0], [-0.5], [0.5]]) * wide[line]  # its middle and its ends
    here, before, after = _points(shapes, line, around % length[line])
    chord = after - before
    straight = np.hypot(*chord.T) / wide[line]
    room, fit = np.full(len(line), 2 * tall), straight >= _STRAIGHT
    room[fit] = _room(shapes, line[fit], here[fit], 2 * tall)
    return _Tries(
        line,
        number // _TRIES,
        here,
        wide[line],
        np.degrees(np.arctan2(chord[:, 1], -chord[:, 0])) % 360,  # against the line, clockwise
        straight,
        room,
    )


def _points(shapes: np.ndarray, line: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Return places on lines, shape (k, t, 2), at distances from their beginning.

    Parameters
    ----------
    shapes : (n,) array of LineString
    line : (t,) array of int
        Which of them, in rising order.
    along : (k, t) array of float
        Distances, m.
    """
    import shapely

    places = np.empty((*along.shape, 2))
    used, first = np.unique(line, return_index=True)
    for shape, begin, end in zip(shapes[used], first, np.append(first, len(line))[1:], strict=True):
        places[:, begin:end] = _along(shapely.get_coordinates(shape), along[:, begin:end])
    return places


def _along(corners: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Return places at distances along one line; legs of no length are passed over."""
    legs = np.diff(corners, axis=0)
    long = np.sqrt((legs**2).sum(axis=1))
    passed = np.cumsum(long)
    leg = np.searchsorted(passed, along, side="right").clip(max=len(long) - 1)
    share = (along - np.r_[0.0, passed][leg]) / long[leg]
    return np.asarray(corners[leg] + share[..., None] * legs[leg])


def _room(shapes: np.ndarray, line: np.ndarray, place: np.ndarray, most: float) -> np.ndarray:
    """Distance from places on lines to the nearest other line, up to `most`."""
    import shapely

    corners, owner = shapely.get_coordinates(shapes, return_index=True)
    same = np.diff(owner) == 0
    pairs = np.stack([corners[:-1][same], corners[1:][same]], axis=1)
    segments, owner = shapely.linestrings(pairs), owner[1:][same]
    points = shapely.points(place)
    of, near = shapely.STRtree(segments).query(points, predicate="dwithin", distance=most)
    other = owner[near] != line[of]
    of, near = of[other], near[other]
    room = np.full(len(place), most)
    np.minimum.at(room, of, shapely.distance(points[of], segments[near]))
    return room


def _order(frame: Any) -> np.ndarray:
    """Turn of each line to get its labels."""
    plain = ~frame["index_line"].to_numpy(bool) if "index_line" in frame else np.zeros(len(frame))
    turn = np.empty(len(frame), int)
    turn[np.lexsort([-frame.geometry.length, plain])] = np.arange(len(frame))
    return turn


def _chosen(tries: _Tries, turn: np.ndarray, tall: float) -> np.ndarray:
    """Choose a place for each stretch that has one, so that labels keep clear of each other."""
    score = tries.straight + tries.room / (2 * tall)
    fit = np.flatnonzero(tries.straight >= _STRAIGHT)
    order = fit[np.lexsort([-score[fit], tries.stretch[fit], turn[tries.line[fit]]])]
    radius = np.hypot(tries.wide, tall) / 2
    taken = np.empty(len(order), int)
    done: set[tuple[int, int]] = set()
    for t in order:
        stretch = (tries.line[t], tries.stretch[t])
        if stretch in done:
            continue
        others = taken[: len(done)]
        apart = np.hypot(*(tries.place[others] - tries.place[t]).T)
        if (apart >= radius[others] + radius[t]).all():
            taken[len(done)] = t
            done.add(stretch)
    return taken[: len(done)]


def _framed(isobaths: Vectors, frame: Any, tries: _Tries, chosen: np.ndarray) -> Any:
    import geopandas
    import shapely

    line, texts = tries.line[chosen], np.array(_texts(frame), dtype=object)
    depths = [name for name in ("depth_m", "depth_ft") if name in frame]
    columns = {
        **{name: frame[name].to_numpy()[line] for name in depths},
        "label": texts[line],
        "rotation_deg": tries.rotation[chosen],
        "upright_deg": (tries.rotation[chosen] + 90) % 180 - 90,
        "room_m": tries.room[chosen],
    }
    return geopandas.GeoDataFrame(
        columns, geometry=shapely.points(tries.place[chosen]), crs=isobaths.crs
    )
