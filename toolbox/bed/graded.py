"""Graded net: nodes close together where something was measured, and far apart in open water."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from toolbox.bed.constraints import Constraints
from toolbox.bed.location import locate
from toolbox.bed.mesh import Mesh, stiffness
from toolbox.layers import Shoreline, VertexKind
from toolbox.layers.tin import edge_keys, plan_areas

__all__ = ["Net", "graded_net"]

GROWTH = 0.35
"""Growth of the spacing of nodes with distance from shore and soundings, 1: neighbours differ by
a third at most, which keeps triangles well shaped."""

CLEAR = 0.7
"""Share of the wanted spacing that stays free of lattice nodes along the shore."""

RING = 0.25
"""Distance of a ring of nodes from the shore, in spacings: it lets a bed fall off steeply there,
as in pits and along quays."""


@dataclass(frozen=True, eq=False)
class Net:
    """Nodes and triangles of finite elements over a water.

    Parameters
    ----------
    nodes : (n, 2) array
        Easting and northing, m.
    triangles : (m, 3) array of int
        Node numbers, counter-clockwise.
    kind : (n,) array of int
        A VertexKind for each node: shore, island, open edge, or inferred.
    """

    nodes: np.ndarray
    triangles: np.ndarray
    kind: np.ndarray

    @cached_property
    def areas(self) -> np.ndarray:
        """Area of each triangle, shape (m,), m2."""
        return plan_areas(self.nodes, self.triangles)

    @cached_property
    def mass(self) -> np.ndarray:
        """Area that each node stands for, shape (n,), m2 (lumped mass)."""
        weights = np.repeat(self.areas / 3, 3)
        return np.bincount(self.triangles.ravel(), weights, len(self.nodes))

    @cached_property
    def on_shore(self) -> np.ndarray:
        """Which nodes lie on a closed shore, shape (n,)."""
        return np.asarray(self.kind <= VertexKind.ISLAND)

    @cached_property
    def shore_distance(self) -> np.ndarray:
        """Distance of each node from the nearest closed shore, (n,), m; 0 where there is none."""
        import shapely

        start = self.triangles.T.ravel()
        end = np.roll(self.triangles, -1, axis=1).T.ravel()
        _, first, met = np.unique(
            edge_keys(np.column_stack([start, end]), len(self.nodes)),
            return_index=True,
            return_counts=True,
        )
        rim = first[met == 1]
        edge = rim[self.on_shore[start[rim]] & self.on_shore[end[rim]]]
        if not len(edge):
            return np.zeros(len(self.nodes))
        pieces = self.nodes[np.column_stack([start[edge], end[edge]])]
        tree = shapely.STRtree(shapely.linestrings(pieces))
        _, away = tree.query_nearest(
            shapely.points(self.nodes), return_distance=True, all_matches=False
        )
        return np.asarray(away)

    @cached_property
    def laplacian(self) -> Any:
        """Finite-element Laplacian, (n, n) sparse."""
        return self.stiffness()

    def stiffness(self, tensor: np.ndarray | None = None) -> Any:
        """Finite-element Laplacian, (n, n) sparse, with a diffusion tensor (m, 2, 2) if given."""
        return stiffness(self.nodes, self.triangles, tensor)

    def weights(self, points: np.ndarray) -> Any:
        """Interpolation from nodes to points (p, 2), (p, n) sparse; empty rows outside."""
        from scipy import sparse

        triangle, weights = locate(self.nodes, self.triangles, points)
        rows = np.flatnonzero(triangle >= 0)
        corners = self.triangles[triangle[rows]]
        place = (np.repeat(rows, 3), corners.ravel())
        shape = (len(points), len(self.nodes))
        return sparse.csr_matrix((weights[rows].ravel(), place), shape)

    def gradients(self, values: np.ndarray) -> np.ndarray:
        """Gradient of nodal values (n,) on each triangle, shape (m, 2), per m."""
        corners, z = self.nodes[self.triangles], values[self.triangles]
        u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        p, q = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
        east = p * v[:, 1] - q * u[:, 1]
        north = q * u[:, 0] - p * v[:, 0]
        return np.column_stack([east, north]) / (2 * self.areas[:, None])

    def to_nodes(self, values: np.ndarray) -> np.ndarray:
        """Average values of triangles, (m,) or (m, k), to nodes, weighted by area."""
        columns = np.atleast_2d(values.T)
        corners = self.triangles.ravel()
        summed = [
            np.bincount(corners, np.repeat(column * self.areas / 3, 3), len(self.nodes))
            for column in columns
        ]
        mean = np.array(summed) / self.mass
        return mean[0] if values.ndim == 1 else mean.T


def graded_net(shoreline: Shoreline, places: np.ndarray, *, fine: float, coarse: float) -> Net:
    """Lay nodes over a water and join them.

    Parameters
    ----------
    shoreline : Shoreline
        The water; all its vertices become nodes.
    places : (p, 2) array
        Where something was measured.
    fine : float
        Spacing of nodes on the shore and at `places`, m.
    coarse : float
        Greatest spacing, m.

    Returns
    -------
    Net
        Nodes at the centres of the leaves of a quadtree anchored to the water's south-western
        corner, and along the shore.
    """
    import shapely
    from scipy.spatial import KDTree

    parts = shapely.segmentize(list(shoreline.polygons.geoms), fine)
    rim = replace(shoreline, polygons=shapely.MultiPolygon(list(parts)))
    shore = shapely.get_coordinates(rim.polygons)
    dense = KDTree(np.vstack([shore, places]))
    centres, size = _leaves(shoreline.polygons.bounds, dense, fine, coarse)
    clear = KDTree(shore).query(centres, distance_upper_bound=CLEAR * coarse)[0] > CLEAR * size
    centres = centres[clear]
    centres = np.vstack([centres[shoreline.contains(centres)], _ring(shoreline, fine)])
    plan = Constraints.of(centres, np.full(len(centres), np.nan), rim, None, "mean")
    mesh = Mesh(plan.points, plan.edges)
    inner = plan.kind == VertexKind.SOUNDING
    triangles = mesh.wet(rim, np.r_[inner, np.zeros(len(mesh.points) - len(inner), bool)])
    return _net(mesh.points, triangles, np.where(inner, VertexKind.INFERRED, plan.kind))


def _ring(shoreline: Shoreline, fine: float) -> np.ndarray:
    """Return nodes along the shore, a quarter of a spacing off it, (k, 2)."""
    import shapely

    inner = shapely.get_parts(shapely.buffer(shoreline.polygons, -RING * fine, quad_segs=2))
    rings = shapely.get_rings(inner)
    lengths = shapely.length(rings)
    count = np.maximum(3, np.round(lengths / fine)).astype(int)
    share = (np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)) / np.repeat(
        count, count
    )
    return shapely.get_coordinates(
        shapely.line_interpolate_point(np.repeat(rings, count), share, normalized=True)
    )


def _leaves(
    bounds: tuple[float, ...], dense: Any, fine: float, coarse: float
) -> tuple[np.ndarray, np.ndarray]:
    """Split squares until each is as small as wanted at its centre; centres (k, 2), widths (k,)."""
    left, bottom, right, top = bounds
    levels = max(0, round(np.log2(coarse / fine)))
    width = fine * 2**levels
    east = np.arange(left + width / 2, right + width / 2, width)
    north = np.arange(bottom + width / 2, top + width / 2, width)
    squares = np.stack(np.meshgrid(east, north), axis=-1).reshape(-1, 2)
    found, widths = [], []
    for level in range(levels + 1):
        away = dense.query(squares, distance_upper_bound=width / GROWTH + width)[0]
        # the nearest corner of a square decides
        split = (fine + GROWTH * np.maximum(away - width / 2, 0) < width * 0.99) & (level < levels)
        found.append(squares[~split])
        widths.append(np.full(len(found[-1]), width))
        width /= 2
        corner = np.array([(-1, -1), (1, -1), (-1, 1), (1, 1)]) * width / 2
        squares = (squares[split][:, None] + corner).reshape(-1, 2)
    return np.vstack(found), np.concatenate(widths)


def _net(points: np.ndarray, triangles: np.ndarray, kind: np.ndarray) -> Net:
    """Keep what the triangles use; flat needles hold no area and would spoil the elements."""
    triangles = triangles[plan_areas(points, triangles) > 0]
    used, renumbered = np.unique(triangles, return_inverse=True)
    kinds = np.r_[kind, np.full(len(points) - len(kind), VertexKind.INFERRED)]
    return Net(points[used], renumbered.reshape(-1, 3).astype(np.int32), kinds[used])
