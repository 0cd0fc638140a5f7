"""Bands: polygons of the bed between levels, joined from isolines and pieces of the rim."""

from dataclasses import dataclass

import numpy as np

from toolbox.isobaths.isolines import Isolines, Lines, joined
from toolbox.layers import Tin

__all__ = ["Bands", "banded"]

Edges = tuple[np.ndarray, np.ndarray, np.ndarray]
"""Band to the left of each directed edge, and the nodes from which and to which it runs."""


@dataclass(frozen=True, eq=False)
class Bands:
    """What lies between levels, those bands left out in which there is nothing.

    Parameters
    ----------
    number : (b,) array of int
        0 is shallower than the first level, 1 between it and the second, and so on.
    shapes : (b,) array of MultiPolygon
        Valid; neighbours share their vertices.
    area : (b,) array
        On the ground, m2.
    notes : tuple of str
        What had to be repaired.
    """

    number: np.ndarray
    shapes: np.ndarray
    area: np.ndarray
    notes: tuple[str, ...]


def banded(bed: Tin, levels: np.ndarray) -> Bands:
    """Cut the bed at levels, (k,) ascending, into polygons.

    Notes
    -----
    Each band is bordered by isolines of its upper level, isolines of its lower level run through
    backwards, and pieces of the rim. They meet in shared nodes, so that joining them needs no
    measuring; only where several rings meet in one vertex do angles decide which belong together.
    """
    from toolbox.isobaths.kernels.isolines import share_deeper

    cut = Isolines(bed.vertices, bed.triangles, bed.depth, levels)
    parts = zip(_along_lines(cut), _along_rim(cut), strict=True)
    band, tail, head = map(np.concatenate, parts)
    rings = joined(band, tail, head, cut.places)
    number, shapes, notes = _valid(*_polygons(cut.places, rings))
    area = share_deeper(bed.ground_areas(), bed.triangles, bed.depth, levels)
    return Bands(number, shapes, area[number], notes)


def _along_lines(cut: Isolines) -> Edges:
    """Edges along the isolines, in both directions: deeper to the left, shallower to the left."""
    tail, head, level = cut.chained.segments()
    return np.r_[level + 1, level], np.r_[tail, head], np.r_[head, tail]


def _along_rim(cut: Isolines) -> Edges:
    """Edges of the rim, cut where isolines end, the bed to the left."""
    start, end = cut.rim.T
    here, there = cut.rank[start], cut.rank[end]
    cuts = np.abs(there - here)
    rim = np.repeat(np.arange(len(start)), cuts + 1)
    piece = np.arange(len(rim)) - np.repeat(np.cumsum(cuts + 1) - cuts - 1, cuts + 1)
    first, deeper = (np.cumsum(cuts) - cuts)[rim], (there > here)[rim]
    # the ends of isolines on an edge come from shallow to deep, whichever way the edge runs
    before = np.where(deeper, first + piece - 1, first + cuts[rim] - piece)
    after = np.where(deeper, first + piece, first + cuts[rim] - piece - 1)
    ends = np.r_[_ends_by_edge(cut), -1, -1]
    tail = np.where(piece == 0, start[rim], ends[before])
    head = np.where(piece == cuts[rim], end[rim], ends[after])
    return here[rim] + np.where(deeper, piece, -piece), tail, head


def _ends_by_edge(cut: Isolines) -> np.ndarray:
    """Nodes in which open isolines end, in the order of rim edges and then of levels."""
    lines, chained = cut.crossings, cut.chained
    first, last = lines.starts[:-1][~lines.closed], lines.starts[1:][~lines.closed] - 1
    both = np.r_[first, last]
    level = np.tile(lines.group[~lines.closed], 2)
    return chained.nodes[both[np.lexsort([level, lines.nodes[both]])]]


def _polygons(places: np.ndarray, rings: Lines) -> tuple[np.ndarray, np.ndarray]:
    """Give each hole its shell; return bands and their polygons with holes."""
    import shapely

    nodes, ring = rings.drawn()
    shapes = shapely.linearrings(places[nodes], indices=ring)
    hulls = shapely.polygons(shapes)
    shell = shapely.is_ccw(shapes)
    owner = _owners(hulls, shell, rings.group)
    order = np.lexsort([shell < 1, owner])
    _, number = np.unique(owner[order], return_inverse=True)
    filled = shapely.polygons(shapes[order], indices=number)
    group = rings.group[shell]
    order = np.argsort(group, kind="stable")
    band, number = np.unique(group[order], return_inverse=True)
    return band, shapely.multipolygons(filled[order], indices=number)


def _owners(hulls: np.ndarray, shell: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Find for each ring the shell it belongs to: the smallest of its band about it."""
    import shapely

    owner, area = np.arange(len(hulls)), shapely.area(hulls)
    holes, shells = np.flatnonzero(~shell), np.flatnonzero(shell)
    tree = shapely.STRtree(shapely.point_on_surface(hulls[holes]))
    about, inside = tree.query(hulls[shells], predicate="contains")
    about, inside = shells[about], holes[inside]
    same = (group[about] == group[inside]) & (area[about] > area[inside])
    about, inside = about[same], inside[same]
    order = np.argsort(-area[about], kind="stable")
    owner[inside[order]] = about[order]  # of several, the smallest is written last
    return owner


def _valid(band: np.ndarray, shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """Repair what rounding of coordinates has broken."""
    import shapely

    broken = ~shapely.is_valid(shapes)
    for k in np.flatnonzero(broken):
        parts = shapely.get_parts(shapely.make_valid(shapes[k], method="structure"))
        shapes[k] = shapely.multipolygons(parts[shapely.get_type_id(parts) == 3])
    count = int(broken.sum())
    note = f"repaired: {count} zones whose border crossed itself by a rounding of coordinates"
    return band, shapes, (note,) if count else ()
