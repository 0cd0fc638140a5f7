"""Constraints: what the layers ask of a triangulation, as points and edges between them."""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Breaklines, Shoreline, VertexKind

if TYPE_CHECKING:
    from toolbox.bed.mesh import Mesh

__all__ = ["Constraints"]

MINIMUM = 3
"""Fewer measured points than this are no survey."""

_Line = tuple[np.ndarray, np.ndarray]  # vertices (k, 3) and what each is (k,)


@dataclass(frozen=True, eq=False)
class Constraints:
    """Distinct points to triangulate, each with its depth and kind, and the lines between them.

    Parameters
    ----------
    points : (n, 2) array
        Easting and northing, m, no two alike.
    depth : (n,) array
        Depth, m; NaN along open edges, where it is to be inferred.
    kind : (n,) array of int
        A VertexKind for each point.
    edges : (k, 2) array of int
        Pieces of shoreline and breaklines.
    notes : tuple of str
        What was merged.
    """

    points: np.ndarray
    depth: np.ndarray
    kind: np.ndarray
    edges: np.ndarray
    notes: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        place: np.ndarray,
        depth: np.ndarray,
        shoreline: Shoreline,
        breaklines: Breaklines | None,
        duplicates: str,
    ) -> "Constraints":
        """Gather them: soundings at `place` (n, 2) with their `depth` (n,), then the layers.

        `duplicates` says what soundings at one place become.
        """
        measured = breaklines.lines if breaklines else ()
        count = len(depth) + _inside(measured, shoreline)
        if count < MINIMUM:
            raise LayerError(
                f"the water must hold {MINIMUM} soundings or breakline vertices, got {count}"
            )
        lines = [
            *_rim(shoreline),
            *((line, _kinds(line, VertexKind.BREAKLINE)) for line in measured),
        ]
        vertices, kinds, edges = _chain(lines)
        points = np.vstack([vertices[:, :2], place])
        kind = np.r_[kinds, np.full(len(depth), VertexKind.SOUNDING, np.uint8)]
        return cls(points, np.r_[vertices[:, 2], depth], kind, edges)._distinct(duplicates)

    def _distinct(self, duplicates: str) -> "Constraints":
        """Merge points at one place: a line's vertex wins over soundings."""
        import pandas as pd

        place = np.ascontiguousarray(self.points).view(np.complex128).ravel()
        group = pd.factorize(place)[0]  # numbered in the order in which they come
        first = np.flatnonzero(np.r_[True, np.diff(np.maximum.accumulate(group)) > 0])
        if len(first) == len(place):
            return self
        lined = self.kind[first] != VertexKind.SOUNDING
        depth = np.where(lined, self.depth[first], _merged(self.depth, group, duplicates))
        edges = group[self.edges]
        edges = edges[edges[:, 0] != edges[:, 1]]
        met = np.bincount(group, self.kind == VertexKind.SOUNDING)
        merged = int(met.sum() - (met > 0).sum() + (met[lined] > 0).sum())
        notes = (f"{merged} soundings at a place already taken were merged ({duplicates})",)
        return Constraints(
            self.points[first], depth, self.kind[first], edges, notes if merged else ()
        )

    def after(self, mesh: "Mesh") -> "Constraints":
        """Add the vertices that `mesh` made where lines cross.

        The shoreline keeps its depth, an open edge takes the breakline's; between breaklines the
        mean of their depths holds.
        """
        points = mesh.points
        extra = len(points) - len(self.points)
        depth = np.r_[self.depth, np.full(extra, np.nan)]
        kind = np.r_[self.kind, np.full(extra, VertexKind.BREAKLINE)]
        for vertex, lines in mesh.crossings().items():
            rims = [line for line in lines if (self.kind[list(line)] != VertexKind.BREAKLINE).all()]
            known = [line for line in rims if np.isfinite(self.depth[list(line)]).all()]
            leading = known or [line for line in lines if line not in rims] or rims
            depth[vertex] = np.mean([self._between(line, points[vertex]) for line in leading])
            if rims:
                kind[vertex] = self.kind[list(rims[0])].max()
        return replace(self, points=points, depth=depth, kind=kind)

    def _between(self, line: tuple[int, int], place: np.ndarray) -> float:
        start, end = self.points[line[0]], self.points[line[1]]
        share = np.hypot(*(place - start)) / np.hypot(*(end - start))
        return float(self.depth[line[0]] * (1 - share) + self.depth[line[1]] * share)

    def joined(self, points: np.ndarray, depth: np.ndarray) -> "Constraints":
        """Add inferred points, shape (k, 2), with their depths, shape (k,)."""
        return replace(
            self,
            points=np.vstack([self.points, points]),
            depth=np.r_[self.depth, depth],
            kind=np.r_[self.kind, np.full(len(points), VertexKind.INFERRED)],
        )


def _inside(lines: tuple[np.ndarray, ...], shoreline: Shoreline) -> int:
    """Count the vertices of lines that lie in the water."""
    return int(shoreline.contains(np.vstack(lines)[:, :2]).sum()) if lines else 0


def _kinds(line: np.ndarray, kind: VertexKind) -> np.ndarray:
    return np.full(len(line), kind, np.uint8)


def _merged(depth: np.ndarray, group: np.ndarray, duplicates: str) -> np.ndarray:
    count = int(group.max()) + 1
    if duplicates == "mean":
        return np.asarray(np.bincount(group, depth, count) / np.bincount(group, minlength=count))
    pick, start = (np.minimum, np.inf) if duplicates == "shoalest" else (np.maximum, -np.inf)
    best = np.full(count, start)
    pick.at(best, group, depth)
    return best


def _chain(lines: list[_Line]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stack lines: vertices (n, 3), kinds (n,) and edges (k, 2) between neighbours."""
    starts = np.cumsum([0, *(len(line) for line, _ in lines)])
    edges = [
        np.column_stack([np.arange(a, b - 1), np.arange(a + 1, b)]) for a, b in pairwise(starts)
    ]
    vertices, kinds = zip(*lines, strict=True)
    return np.vstack(vertices), np.concatenate(kinds), np.vstack(edges)


def _rim(shoreline: Shoreline) -> list[_Line]:
    """Rings of the water, the closed ones at the shoreline's depth."""
    rings = []
    for part in shoreline.polygons.geoms:
        rings.append(_ring(part.exterior, VertexKind.SHORELINE, shoreline))
        rings += [_ring(hole, VertexKind.ISLAND, shoreline) for hole in part.interiors]
    return rings


def _ring(ring: Any, kind: VertexKind, shoreline: Shoreline) -> _Line:
    place = np.asarray(ring.coords)[:, :2]
    kinds = _kinds(place, kind)
    if shoreline.open_edges is not None and ring.distance(shoreline.open_edges) < 0.01:
        place, is_open = _divided(ring, shoreline.open_edges)
        kinds = np.where(is_open, VertexKind.OPEN_EDGE, kind)
    depth = np.where(kinds == VertexKind.OPEN_EDGE, np.nan, shoreline.depth)
    return np.column_stack([place, depth]), kinds


def _divided(ring: Any, open_edges: Any) -> tuple[np.ndarray, np.ndarray]:
    """Divide a ring at the ends of its open parts, and those parts into a dozen pieces.

    A straight cut has no vertices of its own between its ends; without some, the triangles along
    it would hang from the shore and the cut would be as shallow as the bank.
    """
    import shapely

    line = shapely.LineString(ring)
    open_parts = [part for part in open_edges.geoms if line.distance(part) < 0.01]
    shares = np.linspace(0, 1, 13)
    added = [shapely.line_interpolate_point(part, shares, normalized=True) for part in open_parts]
    along = shapely.line_locate_point(line, np.concatenate([*added, shapely.points(ring.coords)]))
    stations = np.unique(np.round(along[along < line.length - 1e-6], 6))
    place = shapely.get_coordinates(shapely.line_interpolate_point(line, stations))
    ends = shapely.multipoints([end for points in added for end in (points[0], points[-1])])
    points = shapely.points(place)
    is_open = (shapely.distance(points, open_edges) < 1e-3) & (
        shapely.distance(points, ends) > 1e-3
    )
    return np.vstack([place, place[:1]]), np.r_[is_open, is_open[0]]
