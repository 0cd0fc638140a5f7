"""Mesh: points and lines in, triangles that keep to the lines out."""

from typing import Any

import numpy as np
import pythoncdt

from toolbox.errors import LayerError
from toolbox.layers.tin import edge_keys

__all__ = ["Mesh", "stiffness"]

SNAP_M = 1e-3
"""A vertex nearer to a line than this is taken to lie on it (1 mm: far below any survey)."""

_SUPER = 3  # the first three vertices of an unfinished triangulation enclose all others


class Mesh:
    """A constrained Delaunay triangulation that can grow.

    Parameters
    ----------
    points : (n, 2) array
        Finite, no two alike.
    edges : (k, 2) array of int
        Lines between points that triangles must not cross. Where two cross, a vertex is added.

    Raises
    ------
    LayerError
        If lines are so tangled that no triangulation holds them.
    """

    def __init__(self, points: np.ndarray, edges: np.ndarray) -> None:
        # the triangulator never returns from a NaN, so this is checked here once more
        if not np.isfinite(points).all():
            raise LayerError("points to triangulate must be finite")
        self._net = pythoncdt.Triangulation(
            pythoncdt.VertexInsertionOrder.AUTO,
            pythoncdt.IntersectingConstraintEdges.TRY_RESOLVE,
            SNAP_M,
        )
        try:
            self._net.insert_vertices(np.ascontiguousarray(points, np.float64))
            self._net.insert_edges(np.ascontiguousarray(edges, np.uint32))
        except RuntimeError as error:
            raise LayerError(f"the lines cannot be triangulated: {_one_line(error)}") from error

    def add(self, points: np.ndarray) -> None:
        """Add vertices, shape (n, 2), none of which is there already."""
        self._net.insert_vertices(np.ascontiguousarray(points, np.float64))

    @property
    def points(self) -> np.ndarray:
        """All vertices, shape (n, 2): those given, where lines cross, and those added, in turn."""
        array = self._net.vertices_array()[_SUPER:]
        return np.column_stack([array["x"], array["y"]])

    @property
    def triangles(self) -> np.ndarray:
        """Vertex numbers of the triangles, shape (m, 3), counter-clockwise."""
        corners = self._net.triangles_array()["vertices"].astype(np.int64) - _SUPER
        return np.asarray(corners[(corners >= 0).all(axis=1)])

    def patches(self) -> np.ndarray:
        """Return the parts into which the lines cut the triangulation.

        Returns
        -------
        (m,) array of int
            For each of :attr:`triangles`, its part: triangles that share an edge without a line.
        """
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        array = self._net.triangles_array()
        corners = array["vertices"].astype(np.int64) - _SUPER
        number = np.cumsum((corners >= 0).all(axis=1)) - 1
        inner = np.flatnonzero((corners >= 0).all(axis=1))
        links = [self._across(corners, array["neighbors"], inner, side) for side in range(3)]
        one, other = (np.concatenate(ends) for ends in zip(*links, strict=True))
        shape = (len(inner), len(inner))
        graph = coo_matrix((np.ones(len(one), bool), (number[one], number[other])), shape)
        return np.asarray(connected_components(graph, directed=False)[1])

    def _across(
        self, corners: np.ndarray, neighbours: np.ndarray, inner: np.ndarray, side: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """Pairs of inner triangles that share this side, with no line on it."""
        other = neighbours[inner, side]
        pair = corners[inner][:, [side, (side + 1) % 3]]
        open_side = other != pythoncdt.NO_NEIGHBOR
        open_side[open_side] &= (corners[other[open_side]] >= 0).all(axis=1)
        count = len(self._net.vertices_array())
        open_side &= ~np.isin(edge_keys(pair, count), edge_keys(self.fixed, count))
        return inner[open_side], other[open_side].astype(np.int64)

    @property
    def fixed(self) -> np.ndarray:
        """Edges that lie on a line, shape (k, 2)."""
        pairs = [(edge.v1, edge.v2) for edge in self._net.fixed_edges_iter()]
        return np.array(pairs, np.int64).reshape(-1, 2) - _SUPER

    def crossings(self) -> dict[int, list[tuple[int, int]]]:
        """Return, for each vertex on the way of a line, the ends of the lines it lies on."""
        ends: dict[int, list[tuple[int, int]]] = {}
        for piece, originals in self._net.piece_to_originals_iter():
            lines = [(line.v1 - _SUPER, line.v2 - _SUPER) for line in originals]
            for vertex in (piece.v1 - _SUPER, piece.v2 - _SUPER):
                ends.setdefault(vertex, []).extend(line for line in lines if vertex not in line)
        return {vertex: sorted(set(lines)) for vertex, lines in ends.items() if lines}


def stiffness(points: np.ndarray, triangles: np.ndarray) -> Any:
    """Assemble the finite-element Laplacian (linear elements).

    Parameters
    ----------
    points : (n, 2) array
        Vertices, m.
    triangles : (m, 3) array of int
        Vertex numbers.

    Returns
    -------
    (n, n) sparse matrix
        Symmetric; row sums are zero.

    References
    ----------
    Lindgren, Rue & Lindstrom 2011, J. R. Stat. Soc. B 73:423, appendix A.2,
    doi:10.1111/j.1467-9868.2011.00777.x.
    """
    from scipy import sparse

    corners = points[triangles]
    opposite = np.stack([corners[:, k - 1] - corners[:, k - 2] for k in range(3)], axis=1)
    u, v = opposite[:, 0], opposite[:, 1]
    area = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    rows, cols = np.repeat(np.arange(3), 3), np.tile(np.arange(3), 3)
    values = (opposite[:, rows] * opposite[:, cols]).sum(axis=2) / (4 * area[:, None])
    place = (triangles[:, rows].ravel(), triangles[:, cols].ravel())
    return sparse.csr_matrix((values.ravel(), place), (len(points), len(points)))


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())
