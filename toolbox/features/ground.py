"""Ground: a bed of which single places are asked, without going through all of it each time."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from toolbox.layers import Tin
from toolbox.layers.tin import plan_areas

__all__ = ["Ground", "adjacency"]

_HAIR = 1e-3  # m, by which a place may lie beyond a triangle that still holds it


def adjacency(triangles: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the neighbours of each vertex one after the other, and where each one's start."""
    from scipy.sparse import csr_array

    start = triangles.ravel()
    end = np.roll(triangles, -1, axis=1).ravel()
    both = np.concatenate([start, end]), np.concatenate([end, start])
    joined = csr_array((np.ones(len(both[0]), np.int8), both), shape=(count, count))
    joined.sum_duplicates()
    return joined.indptr.astype(np.int64), joined.indices.astype(np.int64)


@dataclass(frozen=True, eq=False)
class Ground:
    """A bed, and what of it lies where.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    """

    bed: Tin

    @cached_property
    def neighbours(self) -> tuple[np.ndarray, np.ndarray]:
        """Where the neighbours of each vertex start, and the neighbours."""
        return adjacency(self.bed.triangles, len(self.bed.depth))

    @cached_property
    def areas(self) -> np.ndarray:
        """The part of the map that each vertex stands for, (n,), m2."""
        bed = self.bed
        each = np.repeat(bed.areas() / 3, 3)
        return np.bincount(bed.triangles.ravel(), each, minlength=len(bed.depth))

    @cached_property
    def _around(self) -> tuple[np.ndarray, np.ndarray]:
        """Where the triangles about each vertex start, and the triangles."""
        from scipy.sparse import csr_array

        count = len(self.bed.triangles)
        ends = self.bed.triangles.ravel(), np.repeat(np.arange(count, dtype=np.int32), 3)
        about = csr_array((np.ones(3 * count, np.int8), ends), shape=(len(self.bed.depth), count))
        return about.indptr, about.indices

    @cached_property
    def _boxes(self) -> tuple[np.ndarray, np.ndarray]:
        """Least and greatest easting and northing of each triangle, (2, m)."""
        one, two, three = (self.bed.vertices.T[:, corner] for corner in self.bed.triangles.T)
        low, high = np.minimum(one, two), np.maximum(one, two)
        return np.minimum(low, three, out=low), np.maximum(high, three, out=high)

    def about(self, vertices: np.ndarray) -> np.ndarray:
        """Return the triangles with a corner among vertices, (t, 3), in their order."""
        starts, triangles = self._around
        first, size = starts[vertices], starts[vertices + 1] - starts[vertices]
        step = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
        return self.bed.triangles[np.unique(triangles[np.repeat(first, size) + step])]

    def near(self, bounds: tuple[float, float, float, float]) -> np.ndarray:
        """Return the triangles that reach into west, south, east, north, (t, 3), in their order."""
        west, south, east, north = bounds
        low, high = self._boxes
        inside = (high[0] >= west) & (low[0] <= east)
        inside &= (high[1] >= south) & (low[1] <= north)
        return self.bed.triangles[inside]

    def area_of(self, triangles: np.ndarray) -> float:
        """Return the area of triangles (t, 3) on the map, m2."""
        return float(plan_areas(self.bed.vertices, triangles).sum())

    def depth_at(self, places: np.ndarray) -> np.ndarray:
        """Return the depth at places (n, 2), m, positive down; NaN outside the water."""
        from toolbox.bed.location import interpolated, locate

        low, high = places.min(axis=0) - _HAIR, places.max(axis=0) + _HAIR
        triangles = self.near((*low, *high))
        if not len(triangles):
            return np.full(len(places), np.nan)
        own, triangles = np.unique(triangles, return_inverse=True)
        located = locate(self.bed.vertices[own], triangles, places)
        return interpolated(self.bed.depth[own], triangles, located)

    def mean_slope(self, triangles: np.ndarray) -> float:
        """Return the mean slope of triangles (t, 3) on the map, by their area, degrees."""
        corners, depth = self.bed.vertices[triangles], self.bed.depth[triangles]
        u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        p, q = depth[:, 1] - depth[:, 0], depth[:, 2] - depth[:, 0]
        across = np.hypot(p * v[:, 1] - q * u[:, 1], q * u[:, 0] - p * v[:, 0])
        areas = plan_areas(self.bed.vertices, triangles)
        return float(np.average(np.degrees(np.arctan(across / (2 * areas))), weights=areas))
