"""Isolines: lines of equal value through a net of triangles, exact and never crossing."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

__all__ = ["Isolines", "Lines", "joined", "together"]


@dataclass(frozen=True, eq=False)
class Lines:
    """Lines of several groups, one after the other.

    Parameters
    ----------
    nodes : (p,) array of int
        Numbers of places along each line; a closed line does not repeat its first.
    starts : (l + 1,) array of int
        Where in `nodes` each line begins.
    group : (l,) array of int
        The group of each line.
    closed : (l,) array of bool
        Whether it is a ring.
    """

    nodes: np.ndarray
    starts: np.ndarray
    group: np.ndarray
    closed: np.ndarray

    def __len__(self) -> int:
        """Count the lines."""
        return len(self.group)

    def segments(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return from which node and to which each segment runs, and its group."""
        following = np.arange(1, len(self.nodes) + 1)
        last = self.starts[1:] - 1
        following[last] = np.where(self.closed, self.starts[:-1], -1)
        real = following >= 0
        group = np.repeat(self.group, np.diff(self.starts))
        return self.nodes[real], self.nodes[following[real]], group[real]

    def drawn(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the nodes with the first of each ring repeated, and the line of each."""
        ring = np.flatnonzero(self.closed)
        nodes = np.insert(self.nodes, self.starts[1:][ring], self.nodes[self.starts[:-1][ring]])
        return nodes, np.repeat(np.arange(len(self)), np.diff(self.starts) + self.closed)

    def taken(self, which: np.ndarray) -> "Lines":
        """Return some of the lines, chosen by (l,) bools."""
        size = np.diff(self.starts)
        starts = np.r_[0, np.cumsum(size[which])]
        return Lines(
            self.nodes[np.repeat(which, size)], starts, self.group[which], self.closed[which]
        )


def joined(group: np.ndarray, tail: np.ndarray, head: np.ndarray, places: np.ndarray) -> Lines:
    """Join directed edges to lines that touch themselves nowhere and do not cross.

    Parameters
    ----------
    group : (m,) array of int
        The group of each edge; groups know nothing of each other.
    tail, head : (m,) array of int
        Node from which and to which each edge runs.
    places : (n, 2) array
        Of the nodes.

    Returns
    -------
    Lines
        What lies to the left of the edges lies to the left of the lines.
    """
    from toolbox.isobaths.kernels.joining import join

    order = np.argsort(group, kind="stable")
    bounds = np.searchsorted(group[order], np.arange(group.max(initial=-1) + 2))
    tail, head = (np.ascontiguousarray(ends[order], np.int32) for ends in (tail, head))
    return Lines(*join(bounds, tail, head, places))


@dataclass(frozen=True, eq=False)
class Isolines:
    """Where lines of equal value cross the edges of a net.

    Parameters
    ----------
    vertices : (n, 2) array
        Easting and northing, m.
    triangles : (m, 3) array of int
        Counter-clockwise; an edge belongs to two triangles at most.
    values : (n,) array
        Depths or whatever is sought, at the vertices.
    levels : (k,) array
        Ascending.
    smooth : float
        Length over which corners are rounded, m; 0 leaves the lines exact.

    Notes
    -----
    A vertex as deep as a level counts as deeper. Every triangle is then crossed by a level once or
    not at all, and lines are closed or end at the rim.
    """

    vertices: np.ndarray
    triangles: np.ndarray
    values: np.ndarray
    levels: np.ndarray
    smooth: float = 0.0

    @cached_property
    def rank(self) -> np.ndarray:
        """How many levels are as shallow as each vertex or shallower, (n,)."""
        return np.searchsorted(self.levels, self.values, "right").astype(np.int32)

    @cached_property
    def rim(self) -> np.ndarray:
        """Edges of the rim, (r, 2): from which vertex and to which, the net to the left."""
        from toolbox.layers.kernels import find_twins

        every = np.arange(len(self.vertices), dtype=np.int32)
        halves = np.flatnonzero(find_twins(self.triangles, every) < 0)
        triangle, corner = np.divmod(halves, 3)
        ends = self.triangles[triangle, corner], self.triangles[triangle, (corner + 1) % 3]
        return np.column_stack(ends)

    @cached_property
    def crossings(self) -> Lines:
        """The half-edges that each line crosses, level by level, deeper water to the left."""
        from toolbox.isobaths.kernels.isolines import list_crossed, trace
        from toolbox.layers.kernels import find_twins

        first, crossed = list_crossed(self.triangles, self.rank, len(self.levels))
        twins = find_twins(self.triangles, self.rank)
        halves, sizes, counts = trace(self.triangles, twins, self.rank, first, crossed)
        lines, points = counts.T
        size = np.concatenate(
            [sizes[a : a + n] for a, n in zip(first, lines, strict=False)] or [[]]
        )
        parts = [halves[2 * a : 2 * a + n] for a, n in zip(first, points, strict=False)]
        starts = np.r_[0, np.cumsum(np.abs(size))].astype(np.int64)
        group = np.repeat(np.arange(len(self.levels)), lines)
        return Lines(np.concatenate(parts or [halves]), starts, group, size < 0)

    @cached_property
    def _placed(self) -> tuple[np.ndarray, np.ndarray]:
        """Places of the vertices and of the crossings after them, and each crossing's node."""
        from toolbox.isobaths.kernels.isolines import place

        lines, count = self.crossings, len(self.vertices)
        places = np.empty((count + len(lines.nodes), 2))
        places[:count] = self.vertices
        level = self.levels[np.repeat(lines.group, np.diff(lines.starts))]
        net = self.vertices, self.triangles, self.values
        on = place(*net, lines.nodes, level, self._shift, places[count:])
        return places, np.where(on < 0, np.arange(count, len(places)), on)

    @cached_property
    def _shift(self) -> np.ndarray:
        from toolbox.isobaths.kernels.isolines import slide

        lines = self.crossings
        if not self.smooth:
            return np.empty(0)
        net = self.vertices, self.triangles, self.values
        along = lines.nodes, lines.starts, lines.group, lines.closed
        return np.asarray(slide(*net, *along, self.levels, self.smooth))

    @property
    def places(self) -> np.ndarray:
        """Places of all nodes, (n + p, 2): the vertices, then the crossings in their order."""
        return self._placed[0]

    @property
    def chained(self) -> Lines:
        """The lines as nodes; one through a vertex may touch itself or run there and back."""
        lines = self.crossings
        return Lines(self._placed[1], lines.starts, lines.group, lines.closed)

    def lines(self) -> Lines:
        """Return the lines as nodes, each simple: closed where it comes back to a place."""
        chained = self.chained
        tangled = np.zeros(len(self.levels), bool)
        of_node = np.repeat(chained.group, np.diff(chained.starts))
        tangled[of_node[chained.nodes < len(self.vertices)]] = True
        if not tangled.any():
            return chained
        tail, head, group = chained.taken(tangled[chained.group]).segments()
        mended = joined(group, tail, head, self.places)
        return together(chained.taken(~tangled[chained.group]), mended)


def together(one: Lines, other: Lines) -> Lines:
    """Put two sets of lines one after the other."""
    return Lines(
        np.r_[one.nodes, other.nodes],
        np.r_[one.starts, one.starts[-1] + other.starts[1:]],
        np.r_[one.group, other.group],
        np.r_[one.closed, other.closed],
    )
