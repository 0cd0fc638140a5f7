"""Rim: the edge of a bed, what of it is shore, and the water within."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.layers import Tin, VertexKind
from toolbox.layers.geodesy import areal_scale, distances
from toolbox.layers.tin import edge_keys

__all__ = ["Rim"]

_NEAR = 1e-6


@dataclass(frozen=True, eq=False)
class Rim:
    """What the rim of a bed measures on the ground, and the water in it.

    Parameters
    ----------
    shoreline, island_shoreline, open_edge : float
        Lengths, m.
    islands : int
        How many.
    island_area : float
        m2.
    hull : float
        Length around the water, as a taut string would have it, m.
    water : MultiPolygon
        Islands as holes, on the map.
    """

    shoreline: float
    island_shoreline: float
    open_edge: float
    islands: int
    island_area: float
    hull: float
    water: Any

    @classmethod
    def of(cls, bed: Tin) -> "Rim":
        """Measure the rim of a bed."""
        import shapely

        edges = bed.boundary()
        numbers = _Numbers.of(bed, edges)
        water, islands = _faces(bed, edges, numbers)
        length = distances(bed.vertices[edges[:, 0]], bed.vertices[edges[:, 1]], bed.crs)
        is_open = (bed.kind[edges] == VertexKind.OPEN_EDGE).any(axis=1)
        in_hole = np.isin(edge_keys(edges, len(bed.depth)), _ring_keys(bed, islands, numbers))
        outer = shapely.linestrings(bed.vertices[numbers.vertex])
        string = shapely.get_coordinates(shapely.convex_hull(outer))
        return cls(
            float(length[~in_hole & ~is_open].sum()),
            float(length[in_hole].sum()),
            float(length[~in_hole & is_open].sum()),
            len(islands),
            _ground_area(bed, islands),
            float(distances(string[:-1], string[1:], bed.crs).sum()),
            _water(bed, water),
        )


def _faces(bed: Tin, edges: np.ndarray, numbers: "_Numbers") -> tuple[list[Any], list[Any]]:
    """Faces between the rim's edges: bed, which lies to the left of each edge, and islands."""
    import shapely

    faces = shapely.get_parts(shapely.polygonize(shapely.linestrings(bed.vertices[edges])))
    directed = set(map(tuple, edges.tolist()))
    kinds: tuple[list[Any], list[Any]] = ([], [])
    for face in faces:
        kinds[_first_edge(face, numbers) not in directed].append(face)
    return kinds


def _water(bed: Tin, faces: list[Any]) -> Any:
    """Return the faces as one shape; the union of all triangles where nets meet unjoined."""
    import shapely

    water, area = shapely.MultiPolygon(faces), float(bed.areas().sum())
    if abs(water.area - area) > _NEAR * area:
        return shapely.union_all(shapely.polygons(bed.vertices[bed.triangles]))
    return water


def _first_edge(face: Any, numbers: "_Numbers") -> tuple[int, int]:
    """Vertex numbers of one edge of a face, run counter-clockwise."""
    import shapely

    ring = shapely.get_coordinates(shapely.orient_polygons(face).exterior)[:2]
    start, end = numbers.at(ring)
    return int(start), int(end)


@dataclass(frozen=True, eq=False)
class _Numbers:
    """Which vertex of the rim lies at a place, to the bit."""

    vertex: np.ndarray
    place: np.ndarray

    @classmethod
    def of(cls, bed: Tin, edges: np.ndarray) -> "_Numbers":
        vertex = np.unique(edges)
        place = _complex(bed.vertices[vertex])
        order = np.argsort(place)
        return cls(vertex[order], place[order])

    def at(self, places: np.ndarray) -> np.ndarray:
        """Numbers of the vertices at places, shape (k, 2)."""
        return np.asarray(self.vertex[np.searchsorted(self.place, _complex(places))])


def _complex(places: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(places).view(np.complex128).ravel()


def _ring_keys(bed: Tin, islands: list[Any], numbers: "_Numbers") -> np.ndarray:
    import shapely

    keys = [np.empty(0, np.int64)]
    for island in islands:
        ring = numbers.at(shapely.get_coordinates(island.exterior))
        keys.append(edge_keys(np.column_stack([ring[:-1], ring[1:]]), len(bed.depth)))
    return np.concatenate(keys)


def _ground_area(bed: Tin, islands: list[Any]) -> float:
    """Area on the ground; the scale of the map is taken at each island's centroid, m2."""
    if not islands:
        return 0.0
    centres = np.array([island.centroid.coords[0] for island in islands])
    area = np.array([island.area for island in islands])
    return float((area / areal_scale(bed.crs, centres)).sum())
