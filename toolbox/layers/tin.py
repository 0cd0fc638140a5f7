"""Tin: the lake bed as a net of triangles, whichever way it was made."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected, is_plane
from toolbox.layers.geodesy import scale_polynomial

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["Tin", "VertexKind", "edge_keys", "plan_areas"]

_TOGETHER = 32  # draws: work for all threads, and little memory


def edge_keys(pairs: np.ndarray, count: int) -> np.ndarray:
    """Give each undirected edge a number: `pairs` (k, 2) of vertex numbers below `count`."""
    pairs = pairs.astype(np.int64)
    start, end = pairs.T
    return np.asarray(np.minimum(start, end) * count + np.maximum(start, end))


def plan_areas(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Return the areas of triangles (m, 3) between points (n, 2), positive counter-clockwise."""
    from toolbox.layers.kernels import fill_areas

    areas = np.empty(len(triangles))
    fill_areas(points, triangles, areas)
    return areas


class VertexKind(IntEnum):
    """What a vertex of the bed stands for."""

    SHORELINE = 0
    ISLAND = 1
    SOUNDING = 2
    BREAKLINE = 3
    INFERRED = 4
    OPEN_EDGE = 5


@dataclass(frozen=True, eq=False)
class Tin:
    """A lake bed: depth at vertices, linear over triangles.

    Parameters
    ----------
    vertices : (n, 2) array
        Easting and northing, m.
    depth : (n,) array
        Metres below the datum water level, positive down.
    triangles : (m, 3) array of int
        Vertex numbers, counter-clockwise.
    kind : (n,) array of int
        A :class:`VertexKind` for each vertex.
    crs : CRS or None
        Projected, in metres; None is a plane.
    sd : (n,) array, optional
        One standard deviation of the depth, m.
    draws : (n, k) array, optional
        Equally likely beds, 32-bit or 64-bit floats.
    notes : tuple of str
        What was assumed, merged or inferred when the bed was made.
    support : (n,) array, optional
        How far data tell the depth, 0 not at all, to 1: 1 less its sd over the one it would have
        were no sounding near, and all others known; or, if that is more, the correlation of the
        bed with the nearest sounding.

    Raises
    ------
    LayerError
        If shapes disagree, a number is not finite or outside its range, or a triangle is flat or
        clockwise.
    """

    vertices: np.ndarray
    depth: np.ndarray
    triangles: np.ndarray
    kind: np.ndarray
    crs: "CRS | None"
    sd: np.ndarray | None = None
    draws: np.ndarray | None = None
    notes: tuple[str, ...] = ()
    support: np.ndarray | None = None

    def __post_init__(self) -> None:
        check_projected(self.crs, "bed")
        for name, kind in (("vertices", float), ("depth", float), ("triangles", np.int32)):
            object.__setattr__(self, name, np.ascontiguousarray(getattr(self, name), kind))
        object.__setattr__(self, "kind", np.asarray(self.kind, np.uint8))
        for name in ("sd", "support"):
            if (values := getattr(self, name)) is not None:
                object.__setattr__(self, name, np.ascontiguousarray(values, float))
        if self.draws is not None and self.draws.dtype not in (np.float32, np.float64):
            object.__setattr__(self, "draws", np.asarray(self.draws, float))
        self._check_shapes()
        self._check_values()
        self._check_spread()

    def _check_shapes(self) -> None:
        count = len(self.depth)
        wanted = {"vertices": (count, 2), "kind": (count,), "triangles": (len(self.triangles), 3)}
        wanted |= {name: (count,) for name in ("sd", "support") if getattr(self, name) is not None}
        for name, shape in wanted.items():
            if getattr(self, name).shape != shape:
                raise LayerError(
                    f"bed {name} must have shape {shape}, got {getattr(self, name).shape}"
                )
        draws = self.draws
        if draws is not None and (draws.ndim != 2 or len(draws) != count or not draws.size):
            raise LayerError(f"bed draws must have shape ({count}, k), got {draws.shape}")
        if not len(self.triangles):
            raise LayerError("a bed needs at least one triangle")

    def _check_values(self) -> None:
        if not (np.isfinite(self.vertices).all() and np.isfinite(self.depth).all()):
            raise LayerError("bed vertices and depths must be finite")
        low, high = int(self.triangles.min()), int(self.triangles.max())
        if low < 0 or high >= len(self.depth):
            raise LayerError(
                f"triangles must name vertices 0 to {len(self.depth) - 1}, got {low} to {high}"
            )
        areas = self.areas()
        if not (areas > 0).all():
            worst = int(areas.argmin())
            raise LayerError(f"triangle {worst} must be counter-clockwise, got area {areas[worst]}")

    def _check_spread(self) -> None:
        limits = {"sd": (np.finfo(float).max, "finite and >= 0"), "support": (1.0, "0 to 1")}
        for name, (most, allowed) in limits.items():
            if (values := getattr(self, name)) is None:
                continue
            good = (values >= 0) & (values <= most)
            if not good.all():
                worst = int(good.argmin())
                raise LayerError(
                    f"bed {name} must be {allowed}, got {values[worst]:g} at vertex {worst}"
                )
        if self.draws is not None and not np.isfinite(self.draws).all():
            raise LayerError("bed draws must be finite")

    def areas(self) -> np.ndarray:
        """Plan area of each triangle on the map, shape (m,), m2."""
        return plan_areas(self.vertices, self.triangles)

    def ground_areas(self) -> np.ndarray:
        """Plan area of each triangle on the ground, shape (m,), m2.

        Notes
        -----
        The map area over the areal scale of the CRS, integrated by the quadrature that weighs the
        centroid 3/4 and each corner 1/12 (exact for quadratics).
        """
        return self._ground_areas

    @cached_property
    def _ground_areas(self) -> np.ndarray:
        if is_plane(self.crs):
            return self.areas()
        assert self.crs is not None
        from toolbox.layers.kernels import fill_ground_areas

        areas = np.empty(len(self.triangles))
        scale = scale_polynomial(self.crs, self.vertices)
        fill_ground_areas(self.vertices, self.triangles, *scale, areas)
        return areas

    def gradients(self) -> np.ndarray:
        """Steepness of each triangle, rise over run on the map, shape (m,)."""
        corners, depth = self.vertices[self.triangles], self.depth[self.triangles]
        u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        p, q = depth[:, 1] - depth[:, 0], depth[:, 2] - depth[:, 0]
        across = np.hypot(p * v[:, 1] - q * u[:, 1], q * u[:, 0] - p * v[:, 0])
        return np.asarray(across / (2 * self.areas()))

    def boundary(self) -> np.ndarray:
        """Directed edges of the rim, shape (k, 2), the bed to the left of each."""
        from toolbox.layers.kernels import find_twins

        every = np.arange(len(self.vertices), dtype=np.int32)
        corner, triangle = np.nonzero(find_twins(self.triangles, every).reshape(-1, 3).T < 0)
        ends = self.triangles[triangle, corner], self.triangles[triangle, (corner + 1) % 3]
        return np.column_stack(ends).astype(np.int64)

    @property
    def shore_depth(self) -> float | None:
        """Depth at which the shoreline was mapped, m; None where no vertex lies on one."""
        shore = self.kind <= VertexKind.ISLAND
        return float(self.depth[shore].min()) if shore.any() else None

    def drawn(self) -> Iterator[np.ndarray]:
        """Give the depths of the draws, several at a time, shape (<= 32, n), in their order.

        Nowhere above the shore's depth: that is no water.

        Raises
        ------
        LayerError
            If there are none.
        """
        if (draws := self.draws) is None:
            raise LayerError("the bed has no draws: only a fitted bed tells its own error")
        top = -np.inf if self.shore_depth is None else self.shore_depth
        starts = range(0, draws.shape[1], _TOGETHER)
        parts = (draws[:, start : start + _TOGETHER].T for start in starts)
        return (np.maximum(part, top, dtype=float, order="C") for part in parts)
