"""Flats: where a triangulation knows nothing but the line around it, a depth is inferred.

Between two vertices of one shoreline a triangulation draws a level edge, and over a bay, a neck
or a narrow arm level triangles: dry land where there is water. The same happens between vertices
of one isobath. Each such edge gets a vertex at its middle; together they lie along the medial
line of the flat part. A flat triangle all of whose edges are pieces of lines has no such edge and
gets a vertex at its centroid. Inserting a vertex makes no new edge between old ones, so one pass
leaves no flat triangle.
"""

from dataclasses import dataclass

import numpy as np

from toolbox.bed.mesh import stiffness
from toolbox.layers import Breaklines, Shoreline
from toolbox.layers.tin import edge_keys

__all__ = [
    "DistanceProfile",
    "carried_to",
    "enclosed_triangles",
    "false_level_edges",
    "flat_triangles",
    "infer_between",
    "within_isobaths",
]

_SAMPLE = 5_000


def flat_triangles(triangles: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Tell which triangles have all corners on lines of one depth.

    Parameters
    ----------
    triangles : (m, 3) array of int
        Of the bed.
    level : (n,) array
        Depth of the vertices that lie on a line, m; NaN for all others.

    Returns
    -------
    (m,) array of bool
        The flat ones.
    """
    a, b, c = level[triangles].T
    return np.asarray((a == b) & (b == c))  # NaN equals nothing


def false_level_edges(triangles: np.ndarray, fixed: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Find the inner edges that join two vertices of one level line, though no line runs there.

    Parameters
    ----------
    triangles : (m, 3) array of int
        Of the bed.
    fixed : (k, 2) array of int
        Edges that are part of a line.
    level : (n,) array
        Depth of the vertices that lie on a line, m; NaN for all others.

    Returns
    -------
    (e, 2) array of int
        Each edge once, in ascending order.
    """
    count = len(level)
    sides = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    sides = sides[level[sides[:, 0]] == level[sides[:, 1]]]  # NaN equals nothing
    keys = np.unique(edge_keys(sides, count))
    keys = keys[~np.isin(keys, edge_keys(fixed, count))]
    return np.column_stack([keys // count, keys % count])


def enclosed_triangles(triangles: np.ndarray, fixed: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Find the flat triangles whose three edges all are pieces of lines.

    Parameters
    ----------
    triangles, fixed, level : arrays
        As for :func:`false_level_edges`.

    Returns
    -------
    (t, 3) array of int
        Their corners.
    """
    flat = triangles[flat_triangles(triangles, level)]
    sides = np.stack([flat[:, [0, 1]], flat[:, [1, 2]], flat[:, [2, 0]]], axis=1)
    keys = edge_keys(sides.reshape(-1, 2), len(level)).reshape(-1, 3)
    return np.asarray(flat[np.isin(keys, edge_keys(fixed, len(level))).all(axis=1)])


@dataclass(frozen=True, eq=False)
class DistanceProfile:
    """How this water deepens away from its shore, learnt from its own soundings.

    Parameters
    ----------
    distance : (k,) array
        Distance from the shore, m, ascending from 0.
    depth : (k,) array
        Depth below the datum at that distance, m, never decreasing.
    """

    distance: np.ndarray
    depth: np.ndarray

    @classmethod
    def learn(
        cls, coordinates: np.ndarray, depth: np.ndarray, shoreline: Shoreline
    ) -> "DistanceProfile":
        """Fit the profile to measured depths.

        Parameters
        ----------
        coordinates : (n, 2) array
            Measured places inside the water, m.
        depth : (n,) array
            Their depth, m.
        shoreline : Shoreline
            The water.

        Returns
        -------
        DistanceProfile
            Least squares among the profiles that never get shallower away from the shore
            (isotonic regression), starting at the shoreline's own depth.

        Notes
        -----
        At most 5,000 places, evenly picked, are looked at.
        """
        from scipy.optimize import isotonic_regression

        step = max(1, -(-len(depth) // _SAMPLE))
        away = _distance_to_edge(coordinates[::step], shoreline)
        order = np.argsort(away, kind="stable")
        sample = np.maximum(depth[::step][order], shoreline.depth)
        fitted = isotonic_regression(sample).x
        return cls(np.r_[0.0, away[order]], np.r_[shoreline.depth, fitted])

    def at(self, coordinates: np.ndarray, shoreline: Shoreline) -> np.ndarray:
        """Return the depth it gives at places, shape (n, 2), m."""
        away = _distance_to_edge(coordinates, shoreline)
        return np.asarray(np.interp(away, self.distance, self.depth))


def carried_to(
    places: np.ndarray, coordinates: np.ndarray, depth: np.ndarray, shoreline: Shoreline
) -> np.ndarray:
    """Carry the bed on to places where nothing was measured, such as an open edge.

    Parameters
    ----------
    places : (n, 2) array
        Where to, m.
    coordinates : (k, 2) array
        Measured places, m.
    depth : (k,) array
        Their depth, m.
    shoreline : Shoreline
        The water.

    Returns
    -------
    (n,) array
        The water's profile of depth against distance from shore, scaled to the median of the
        eight nearest measured places, and nowhere deeper than the deepest of those.
    """
    from scipy.spatial import cKDTree

    profile = DistanceProfile.learn(coordinates, depth, shoreline)
    near = cKDTree(coordinates).query(places, k=min(8, len(depth)))[1].reshape(len(places), -1)
    usual = profile.at(coordinates[near].reshape(-1, 2), shoreline).reshape(near.shape)
    usual, found = usual - shoreline.depth, depth[near] - shoreline.depth
    ratio = np.median(np.where(usual > 0, found / np.where(usual > 0, usual, 1), 1), axis=1)
    carried = shoreline.depth + ratio * (profile.at(places, shoreline) - shoreline.depth)
    return np.minimum(carried, depth[near].max(axis=1))


def _distance_to_edge(coordinates: np.ndarray, shoreline: Shoreline) -> np.ndarray:
    """Return the distance from places, shape (n, 2), to the closed part of the water's edge, m."""
    import shapely

    edge = shoreline.polygons.boundary
    if shoreline.open_edges is not None:
        edge = edge.difference(shoreline.open_edges.buffer(1e-6))
    place, line = shapely.get_coordinates(shapely.get_parts(edge), return_index=True)
    joined = line[1:] == line[:-1]
    pieces = shapely.linestrings(np.stack([place[:-1], place[1:]], axis=1)[joined])
    tree = shapely.STRtree(pieces)
    found = tree.query_nearest(shapely.points(coordinates), all_matches=False, return_distance=True)
    return np.asarray(found[1])


def infer_between(
    points: np.ndarray, triangles: np.ndarray, depth: np.ndarray, unknown: np.ndarray
) -> np.ndarray:
    """Fill in unknown depths as smoothly as the known ones around them allow.

    Parameters
    ----------
    points : (n, 2) array
        Vertices, m.
    triangles : (m, 3) array of int
        Vertex numbers.
    depth : (n,) array
        Depths, m; any value where unknown.
    unknown : (n,) array of bool
        Which to find; each must be joined to known ones by triangles.

    Returns
    -------
    (n,) array
        The harmonic depths: no flow through the rim, none deeper or shallower than the known.
    """
    from scipy.sparse.linalg import spsolve

    if not unknown.any():
        return depth
    touched = triangles[unknown[triangles].any(axis=1)]
    near = np.unique(touched)
    solve, hold = unknown[near], depth[near]
    laplacian = stiffness(points[near], np.searchsorted(near, touched))[solve]
    inside, outside = laplacian[:, solve].tocsc(), laplacian[:, ~solve]
    found = spsolve(inside, -(outside @ hold[~solve]))
    filled = depth.copy()
    filled[near[solve]] = np.clip(found, hold[~solve].min(), hold[~solve].max())
    return filled


def within_isobaths(
    places: np.ndarray, depth: np.ndarray, breaklines: Breaklines, shore_depth: float
) -> np.ndarray:
    """Hold inferred depths between the isobaths that enclose them.

    Parameters
    ----------
    places : (n, 2) array
        Inferred places, m.
    depth : (n,) array
        Depth inferred so far, m; NaN where there is none yet.
    breaklines : Breaklines
        Closed lines of one depth are isobaths; others are passed over.
    shore_depth : float
        Depth of the water's edge, m.

    Returns
    -------
    (n,) array
        Inside an odd number of an isobath's rings the bed is deeper than it, elsewhere shallower
        (rings stack: a ring within a ring is a rise). A depth that is not between those limits is
        moved a quarter of the way into them; past the last isobath by a quarter of its step.
        Where isobaths contradict each other, the deeper one is believed.
    """
    low, high = np.full(len(depth), shore_depth), np.full(len(depth), np.inf)
    levels = _isobaths(breaklines)
    for isobath, rings in sorted(levels.items()):
        deeper = _inside_odd(places, rings)
        low = np.where(deeper, np.maximum(low, isobath), low)
        high = np.where(deeper, high, np.minimum(high, isobath))
    high[high <= low] = np.inf
    step = np.diff(sorted({shore_depth, *levels}))[-1:].sum()
    quarter = np.where(np.isfinite(high), high - low, step) / 4
    # a depth solved for may miss its isobath by rounding, so limits are met with a hair to spare
    hair = 1e-9
    moved = np.where(depth <= low + hair, low + quarter, depth)
    return np.where(depth >= high - hair, high - quarter, moved)


def _isobaths(breaklines: Breaklines) -> dict[float, list[np.ndarray]]:
    """Group the closed lines of one depth by that depth."""
    rings: dict[float, list[np.ndarray]] = {}
    for line in breaklines.lines:
        if len(line) > 3 and np.ptp(line[:, 2]) == 0 and (line[0] == line[-1]).all():
            rings.setdefault(float(line[0, 2]), []).append(line[:, :2])
    return rings


def _inside_odd(places: np.ndarray, rings: list[np.ndarray]) -> np.ndarray:
    import shapely

    inside = np.zeros(len(places), int)
    for ring in rings:
        shape = shapely.Polygon(ring)
        shapely.prepare(shape)
        inside += shapely.contains_xy(shape, places[:, 0], places[:, 1])
    return np.asarray(inside % 2 == 1)
