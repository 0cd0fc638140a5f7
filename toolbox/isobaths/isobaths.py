"""Isobaths: lines of equal depth, exact from the bed."""

from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.isobaths.ground import ground_lengths
from toolbox.isobaths.isolines import Isolines, Lines, joined, together
from toolbox.isobaths.levels import chosen_levels
from toolbox.layers import Tin, Vectors, VertexKind
from toolbox.tool import Range, tool
from toolbox.units import MetreOrFoot, convert

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["isobaths"]

_HAIR = 1e-9


@tool("Isobaths")
def isobaths(
    bed: Tin,
    *,
    interval: Annotated[float, Range("m", above=0)] | None = None,
    levels: Annotated[tuple[float, ...], Range("m")] | None = None,
    smooth: Annotated[float, Range("m", min=0)] = 0.0,
    least_length: Annotated[float, Range("m", min=0)] = 0.0,
    unit: MetreOrFoot = "m",
) -> Vectors:
    """Draw lines of equal depth.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    interval : float, optional
        Depth between lines, which are drawn at its whole multiples below the water's edge; if left
        out, 1, 2, 2.5 or 5 times a power of ten that gives 7 to 15 levels (in feet 1, 2 or 5 times
        one, and 6 to 16 levels).
    levels : tuple of float, optional
        The depths to draw instead, negative above the datum. A level at which the shoreline was
        mapped gives the shoreline.
    smooth : float
        Length over which corners are rounded, and the farthest that a point may move, m on the
        map; 0 leaves lines exact.
    least_length : float
        Closed lines shorter than this are left out, m on the ground.
    unit : str
        In which an interval that is left out is round, and the depths are told: in feet (``"ft"``,
        or ``"survey_foot"``) there is also a column ``depth_ft``, which labels then show.

    Returns
    -------
    Vectors
        One line a feature, from shallow to deep and then from long to short, with columns
        ``depth_m, length_m, closed, index_line``. Deeper water lies to the left of a line's
        direction, so a ring runs counter-clockwise round a hollow and clockwise round a rise.
        Lengths are on the ground. Index lines, drawn heavier, are those at whole multiples of five
        intervals, or every fifth of the levels given.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If `interval` and `levels` are both given, or a level lies above the mapped water's edge,
        where nobody knows how far the water would spread.

    Notes
    -----
    A place as deep as the level counts as deeper: a flat that lies exactly at a level is bordered
    where shallower water begins, and not drawn where deeper water does. Lines end at the rim of the
    bed or close; none crosses itself or another. Where lines meet in one vertex they touch there.

    To smooth, each point slides along the edge of the triangles that it lies on, no farther than
    `smooth` and than half-way, in depth, to the next level drawn or to the end of the edge; the
    ends of open lines stay at the shore. So lines still keep their order along every edge, cross
    as little as exact ones do, keep to the water, and appear or vanish nowhere.
    """
    depth, every_fifth, notes = chosen_levels(bed, interval, levels, unit=unit)
    cut = Isolines(bed.vertices, bed.triangles, bed.depth, depth, smooth)
    lines = together(_shore(bed, cut), cut.lines())
    frame = _framed(bed, cut.places, lines, depth, every_fifth)
    if unit != "m":
        frame.insert(1, "depth_ft", np.round(convert(frame["depth_m"].to_numpy(), "m", unit), 6))
    short = frame["closed"] & (frame["length_m"] < least_length)
    if smooth:
        notes += (f"lines moved by up to {smooth:g} m to make them smoother",)
    if short.any():
        notes += (f"left out: {short.sum()} closed lines shorter than {least_length:g} m",)
    return Vectors(frame[~short].reset_index(drop=True), "isobaths", notes)


def _shore(bed: Tin, cut: Isolines) -> Lines:
    """Join the mapped shoreline, if it was mapped at one of the levels."""
    edge = np.nan if bed.shore_depth is None else bed.shore_depth
    level = np.flatnonzero(np.abs(cut.levels - edge) < _HAIR)
    if not len(level):
        nothing = np.empty(0, np.int32)
        return Lines(nothing, np.zeros(1, np.int64), nothing, np.empty(0, bool))
    ashore = (bed.kind <= VertexKind.ISLAND) & (np.abs(bed.depth - edge) < _HAIR)
    rim = cut.rim[ashore[cut.rim].all(axis=1)]
    return joined(np.repeat(level, len(rim)), rim[:, 0], rim[:, 1], bed.vertices)


def _framed(
    bed: Tin, places: np.ndarray, lines: Lines, depth: np.ndarray, every_fifth: np.ndarray
) -> "GeoDataFrame":
    import geopandas
    import shapely

    nodes, line = lines.drawn()
    shapes = shapely.linestrings(places[nodes], indices=line)
    length = ground_lengths(shapes, bed.crs)
    order = np.lexsort([-length, lines.group])
    columns = {
        "depth_m": depth[lines.group],
        "length_m": length,
        "closed": lines.closed,
        "index_line": every_fifth[lines.group],
    }
    columns = {name: values[order] for name, values in columns.items()}
    return geopandas.GeoDataFrame(columns, geometry=shapes[order], crs=bed.crs)
