"""Course: which way a winding water goes, from its shore alone."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.bed.graded import Net
from toolbox.layers import Shoreline

__all__ = ["Branch", "course"]

_TO_THE_MIDDLE = 2  # power of the distance from shore by which a way near it costs more
_FINEST = 1000  # most places along a way
_LONG = 6.0  # distances from shore, from which on a way is cut at its ends by one
_ARM = 2.5  # distances from shore that an arm must reach beyond the middle of its trunk


@dataclass(frozen=True, eq=False)
class Branch:
    """The middle of a water or of an arm.

    Parameters
    ----------
    places : (k, 2) array
        Easting and northing along it, evenly spaced, m.
    away : (k,) array
        Distance from shore, m.
    """

    places: np.ndarray
    away: np.ndarray

    @property
    def length(self) -> float:
        """Along it, m."""
        return float(np.hypot(*np.diff(self.places, axis=0).T).sum())


def course(net: Net, shoreline: Shoreline) -> list[Branch]:
    """Follow a water along its middle.

    Parameters
    ----------
    net : Net
        Over the water.
    shoreline : Shoreline
        Of the water.

    Returns
    -------
    list of Branch
        For each part of the water the trunk, from one of its two ends farthest apart to the
        other, then the arms, the longest first.

    Notes
    -----
    Ways along the edges of the net, which cost their length over the square of their distance
    from shore; an arm is what lies farther from the ways so far than 2.5 times their own distance
    from shore. Ways end half a width before the end of the water, into whose corners they would
    turn.
    """
    from scipy.sparse import csgraph

    length, cost, away = _ways(net, shoreline)
    count, part = csgraph.connected_components(length, directed=False)
    branches = []
    for number in range(count):
        members = np.flatnonzero(part == number)
        tree = np.array([_farthest(length, members[:1], members)[0]])
        while True:
            far, distance, root = _farthest(length, tree, members)
            if distance <= _ARM * max(away[root], float(np.median(away[tree]))):
                break
            way = _way(cost, tree, far)
            branches.append(_smooth(net.nodes[way], away[way], len(tree) == 1))
            tree = np.union1d(tree, way)
    return branches


def _ways(net: Net, shoreline: Shoreline) -> tuple[Any, Any, np.ndarray]:
    """Lengths and costs of the net's edges, (n, n) sparse, and distance of nodes from shore."""
    import shapely
    from scipy import sparse

    sides = np.concatenate([net.triangles[:, [k, (k + 1) % 3]] for k in range(3)])
    one, other = np.unique(np.sort(sides, axis=1), axis=0).T
    edge = shapely.boundary(shoreline.polygons)
    if shoreline.open_edges is not None:
        edge = shapely.difference(edge, shapely.buffer(shoreline.open_edges, 0.5))
    away = shapely.distance(shapely.points(net.nodes), edge)
    length = np.hypot(*(net.nodes[one] - net.nodes[other]).T)
    middle = np.maximum((away[one] + away[other]) / 2, 1e-3 * away.max())
    shape = (len(net.nodes),) * 2
    return (
        sparse.csr_matrix((length, (one, other)), shape),
        sparse.csr_matrix((length / middle**_TO_THE_MIDDLE, (one, other)), shape),
        away,
    )


def _farthest(length: Any, tree: np.ndarray, members: np.ndarray) -> tuple[int, float, int]:
    """Return the node farthest from a tree, its distance, and the node of the tree next to it."""
    from scipy.sparse import csgraph

    distance, _, root = csgraph.dijkstra(
        length, directed=False, indices=tree, min_only=True, return_predecessors=True
    )
    far = int(members[np.argmax(distance[members])])
    return far, float(distance[far]), int(root[far])


def _way(cost: Any, tree: np.ndarray, far: int) -> np.ndarray:
    """Nodes along the cheapest way from a tree to a node."""
    from scipy.sparse import csgraph

    _, before, _ = csgraph.dijkstra(
        cost, directed=False, indices=tree, min_only=True, return_predecessors=True
    )
    way = [far]
    while before[way[-1]] >= 0:
        way.append(int(before[way[-1]]))
    return np.array(way[::-1])


def _smooth(places: np.ndarray, away: np.ndarray, first: bool) -> Branch:
    """Space the places of a way evenly, take its corners off, and its ends that run to a corner."""
    from scipy.ndimage import gaussian_filter1d

    passed = np.r_[0.0, np.cumsum(np.hypot(*np.diff(places, axis=0).T))]
    wide = float(np.median(away))
    cut = wide if passed[-1] > _LONG * wide else 0.0
    length = passed[-1] - cut * (1 + first)
    count = int(np.clip(2 * length / wide, 3, _FINEST))
    even = cut * first + np.linspace(0, length, count)
    columns = [np.interp(even, passed, column) for column in (*places.T, away)]
    east, north = (
        gaussian_filter1d(column, wide * (count - 1) / length, mode="nearest")
        for column in columns[:2]
    )
    return Branch(np.column_stack([east, north]), columns[2])
