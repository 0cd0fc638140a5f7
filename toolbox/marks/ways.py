"""Ways of a boat between places, over water only, and a short tour along them."""

from functools import cached_property
from typing import Any

import numpy as np

from toolbox.bed.location import locate
from toolbox.errors import LayerError
from toolbox.layers import Shoreline, Tin
from toolbox.layers.tin import edge_keys
from toolbox.planning.candidates import clear_water

__all__ = ["Ways", "tour"]


_OFFING = 5.0  # m that a boat keeps clear of land
_AHEAD = 300  # places of a way that are looked at from one of them
_ASHORE = 4.0  # what a way nearer to land counts of its length


class Ways:
    """The shortest ways between some places over one water.

    Parameters
    ----------
    bed : Tin
        The lake bed: its triangles cover the water.
    shoreline : Shoreline
        The water, of one part.
    places : (n, 2) array
        Easting and northing, in the water, m.

    Notes
    -----
    A way is straight where that keeps 5 m clear of land (common practice, no source), within 10 m
    of a place 1 m. Else it runs through the middles of the edges between triangles, of which it
    passes as few as it can; nearer to land it counts four times.
    """

    def __init__(self, bed: Tin, shoreline: Shoreline, places: np.ndarray) -> None:
        import shapely

        self.places, self._bed = places, bed
        water = clear_water(shoreline)
        near = shapely.union_all(shapely.buffer(shapely.points(places), 2 * _OFFING))
        open_ = shapely.buffer(shoreline.polygons, -_OFFING)
        self._water = shapely.union(open_, shapely.intersection(near, water))
        shapely.prepare(self._water)

    @cached_property
    def _net(self) -> tuple[Any, np.ndarray]:
        return _net(self._bed, self.places, self._water)

    def lengths(self) -> np.ndarray:
        """Return how far all places are from one another by their ways, on the map, (n, n), m.

        Not less than the ways are long.

        Raises
        ------
        LayerError
            If there is no way from one to another, as the bed has a gap in the water.
        """
        from scipy.sparse import csgraph

        count = len(self.places)
        length = np.hypot(*np.moveaxis(self.places[:, None] - self.places, -1, 0))
        one, other = np.triu_indices(count, 1)
        seen = self._sees(self.places[one], self.places[other])
        if seen.all():
            return length
        hidden = np.zeros((count, count), bool)
        hidden[one[~seen], other[~seen]] = hidden[other[~seen], one[~seen]] = True
        from_ = np.flatnonzero(hidden.any(axis=1))
        net, nodes = self._net
        first = len(nodes) - count
        round_about = csgraph.dijkstra(net, directed=False, indices=first + from_)[:, first:]
        length[from_] = np.where(hidden[from_], round_about, length[from_])
        if not np.isfinite(length).all():
            raise self._no_way(*np.argwhere(~np.isfinite(length))[0])
        return length

    def way(self, one: int, other: int) -> np.ndarray:
        """Return the way between two places, (k, 2), m.

        Raises
        ------
        LayerError
            If there is none, as the bed has a gap in the water.
        """
        from scipy.sparse import csgraph

        ends = self.places[[one, other]]
        if self._sees(ends[:1], ends[1:])[0]:
            return ends
        net, nodes = self._net
        first = len(nodes) - len(self.places)
        _, before = csgraph.dijkstra(
            net, directed=False, indices=first + one, return_predecessors=True
        )
        way = [first + other]
        while before[way[-1]] >= 0:
            way.append(int(before[way[-1]]))
        if way[-1] != first + one:
            raise self._no_way(one, other)
        return self._pulled(nodes[way[::-1]])

    def _no_way(self, one: int, other: int) -> LayerError:
        ends = (f"{east:.0f} E {north:.0f} N" for east, north in self.places[[one, other]])
        return LayerError(
            f"the bed must cover the water between {' and '.join(ends)}, there is no way over it"
        )

    def _pulled(self, way: np.ndarray) -> np.ndarray:
        """Take the shortest way through some of its places, straight between those that see."""
        so_far = np.r_[0.0, np.full(len(way) - 1, np.inf)]
        before = np.zeros(len(way), int)
        for at in range(len(way) - 1):
            ahead = way[at + 1 : at + 1 + _AHEAD]
            seen = self._sees(np.broadcast_to(way[at], ahead.shape), ahead)
            seen[0] = True
            total = so_far[at] + np.where(seen, np.hypot(*(ahead - way[at]).T), np.inf)
            shorter = at + 1 + np.flatnonzero(total < so_far[at + 1 : at + 1 + len(ahead)])
            so_far[shorter], before[shorter] = total[shorter - at - 1], at
        kept = [len(way) - 1]
        while kept[-1]:
            kept.append(int(before[kept[-1]]))
        return way[kept[::-1]]

    def _sees(self, start: np.ndarray, end: np.ndarray) -> np.ndarray:
        import shapely

        lines = shapely.linestrings(np.stack([start, end], axis=1))
        return np.asarray(shapely.covers(self._water, lines))


def _net(bed: Tin, places: np.ndarray, open_water: Any) -> tuple[Any, np.ndarray]:
    """Middles of the edges inside a bed and some places, and how dear the ways between them."""
    import shapely
    from scipy.sparse import csr_array

    count = len(bed.depth)
    sides = np.stack([bed.triangles, np.roll(bed.triangles, -1, axis=1)], axis=-1)
    keys, node, used = np.unique(
        edge_keys(sides.reshape(-1, 2), count), return_inverse=True, return_counts=True
    )
    edges = np.column_stack([keys // count, keys % count])
    nodes = np.vstack([bed.vertices[edges].mean(axis=1), places])
    node = node.reshape(-1, 3)
    triangle, _ = locate(bed.vertices, bed.triangles, places)
    place = len(keys) + np.repeat(np.arange(len(places)), 3)
    one = np.r_[node.ravel(), place]
    other = np.r_[np.roll(node, -1, axis=1).ravel(), node[triangle].ravel()]
    inside = np.r_[used == 2, np.ones(len(places), bool)]
    keep = (
        inside[one] & inside[other] & np.r_[np.ones(node.size, bool), np.repeat(triangle, 3) >= 0]
    )
    one, other = (ends[keep].astype(np.int32) for ends in (one, other))
    length = np.hypot(*(nodes[one] - nodes[other]).T)
    middle = (nodes[one] + nodes[other]) / 2
    length *= np.where(shapely.contains_xy(open_water, *middle.T), 1.0, _ASHORE)
    return csr_array((length, (one, other)), shape=(len(nodes),) * 2), nodes


def tour(length: np.ndarray, *, back: bool) -> np.ndarray:
    """Order places so that going from one to the next is short.

    Parameters
    ----------
    length : (n, n) array
        Between places, finite and symmetric.
    back : bool
        Whether the tour returns to its start.

    Returns
    -------
    (n,) array of int
        Begins with place 0: the nearest next, then mended until no part of the tour becomes
        shorter turned round.

    Notes
    -----
    With both the tour is not always the shortest, but crosses itself nowhere on open water.
    """
    order = [0]
    left = set(range(1, len(length)))
    while left:
        nearest = min(left, key=lambda place: (length[order[-1], place], place))
        order.append(nearest)
        left.remove(nearest)
    way = np.array(order)
    while (turned := _turned(way, length, back)) is not None:
        way = turned
    return way


def _turned(way: np.ndarray, length: np.ndarray, back: bool) -> np.ndarray | None:
    """Turn round the part of a tour that saves most; None where none saves."""
    count = len(way)
    after = np.r_[way[1:], way[0]]
    leg = length[way, after]
    if not back:
        leg = np.r_[leg[:-1], 0.0]
    first, last = np.triu_indices(count, 1)
    first, last = first[first > 0], last[first > 0]
    if not len(first):
        return None
    new_end = length[way[first], after[last]]
    if not back:
        new_end = np.where(last == count - 1, 0.0, new_end)
    saved = leg[first - 1] + leg[last] - length[way[first - 1], way[last]] - new_end
    best = int(np.argmax(saved))
    if saved[best] <= 1e-9 * max(float(length.max()), 1e-300):
        return None
    i, j = first[best], last[best]
    return np.r_[way[:i], way[i : j + 1][::-1], way[j + 1 :]]
