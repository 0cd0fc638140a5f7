"""Mesh: points and lines in, triangles that keep to the lines out."""

from typing import Any

import numpy as np
import pythoncdt

from toolbox.errors import LayerError
from toolbox.faults import said_by
from toolbox.layers import Shoreline
from toolbox.layers.tin import edge_keys, plan_areas

__all__ = ["Mesh", "stiffness"]

SNAP_M = 1e-3
"""A vertex nearer to a line than this is taken to lie on it (1 mm: far below any survey)."""

NOTHING_M2 = 1e-6
"""A part of the triangulation below this is rounding between points on one line."""

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
            raise LayerError(f"the lines cannot be triangulated: {said_by(error)}") from error

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
        corners = self._corners()
        return np.asarray(corners[(corners >= 0).all(axis=1)])

    def _corners(self) -> np.ndarray:
        """All triangles, those about the three enclosing vertices with negative corners there."""
        return self._net.triangles_array(copy=False)["vertices"].astype(np.int32) - _SUPER

    def wet(self, shoreline: Shoreline, inner: np.ndarray) -> np.ndarray:
        """Return the triangles that lie in the water.

        Parameters
        ----------
        shoreline : Shoreline
            Its rings are among the lines.
        inner : (n,) array of bool
            Vertices known to lie in the water, on no line.

        Returns
        -------
        (m, 3) array of int
            Vertex numbers, counter-clockwise; a needle's area may come out zero by rounding.

        Notes
        -----
        All triangles at an inner vertex are wet, and what hangs together with them without a line
        between. The rest falls into parts, each judged by its largest triangle: the centroid of a
        sliver between vertices on one line may fall on either side by rounding.
        """
        corners, fixed = self._corners(), self.fixed
        inner = np.r_[inner, np.zeros(_SUPER, bool)]  # negative numbers count from the end
        inner[fixed] = False  # what has come to lie on a line
        wet = inner[corners[:, 0]] | inner[corners[:, 1]] | inner[corners[:, 2]]
        rest = np.flatnonzero(~wet)
        rest = rest[(corners[rest] >= 0).all(axis=1)]
        part, seeded = self._parts(rest, wet, corners[rest], edge_keys(fixed, len(inner)))
        wet[rest] = self._judged(corners[rest], part, seeded, shoreline)
        return np.asarray(corners[wet])

    def _parts(
        self, rest: np.ndarray, wet: np.ndarray, corners: np.ndarray, lines: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return the part between lines each triangle belongs to, and which touch wet ones."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        beside = self._net.triangles_array(copy=False)["neighbors"][rest]
        sides = np.stack([corners, np.roll(corners, -1, axis=1)], axis=-1).reshape(-1, 2)
        count = len(self._net.vertices_array(copy=False))
        passable = ~np.isin(edge_keys(sides, count), lines).reshape(-1, 3)
        one, side = np.nonzero(passable & (beside < len(wet)))
        other = beside[one, side]
        seeded = np.zeros(len(rest), bool)
        seeded[one[wet[other]]] = True
        place = np.minimum(np.searchsorted(rest, other), len(rest) - 1)
        within = rest[place] == other  # else it is wet, or lies about an enclosing vertex
        ends = (one[within], place[within])
        links = coo_matrix((np.ones(len(ends[0]), bool), ends), (len(rest),) * 2)
        return connected_components(links, directed=False)[1], seeded

    def _judged(
        self, corners: np.ndarray, part: np.ndarray, seeded: np.ndarray, shoreline: Shoreline
    ) -> np.ndarray:
        """Tell which triangles lie in the water, part by part."""
        if not len(part):
            return np.zeros(0, bool)
        used, local = np.unique(corners, return_inverse=True)
        vertices = self._net.vertices_array(copy=False)[used + _SUPER]
        points, local = np.column_stack([vertices["x"], vertices["y"]]), local.reshape(-1, 3)
        areas = plan_areas(points, local)
        by_size = np.argsort(areas, kind="stable")
        largest = np.empty(part.max() + 1, np.int64)
        largest[part[by_size]] = by_size
        found = shoreline.contains(points[local[largest]].mean(axis=1))
        found &= areas[largest] > NOTHING_M2
        found[part[seeded]] = True
        return np.asarray(found[part])

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


def stiffness(points: np.ndarray, triangles: np.ndarray, tensor: np.ndarray | None = None) -> Any:
    """Assemble the finite-element Laplacian (linear elements).

    Parameters
    ----------
    points : (n, 2) array
        Vertices, m.
    triangles : (m, 3) array of int
        Vertex numbers.
    tensor : (m, 2, 2) array, optional
        Symmetric diffusion tensor of each triangle; the identity if left out.

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
    flux = opposite if tensor is None else _turned(opposite, tensor)
    values = (opposite[:, rows] * flux[:, cols]).sum(axis=2) / (4 * area[:, None])
    place = (triangles[:, rows].ravel(), triangles[:, cols].ravel())
    return sparse.csr_matrix((values.ravel(), place), (len(points), len(points)))


def _turned(opposite: np.ndarray, tensor: np.ndarray) -> np.ndarray:
    """Turn edges by a quarter, apply the tensor, and turn back: gradients are normal to edges."""
    adjugate = np.stack(
        [
            np.stack([tensor[:, 1, 1], -tensor[:, 0, 1]], axis=-1),
            np.stack([-tensor[:, 1, 0], tensor[:, 0, 0]], axis=-1),
        ],
        axis=1,
    )
    return np.einsum("mij,mkj->mki", adjugate, opposite)
