"""Morphometry: the figures by which lakes are compared."""

import math
from dataclasses import dataclass

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table, Tin, VertexKind
from toolbox.tool import tool
from toolbox.volume.hypsography import area_and_volume

__all__ = ["morphometry"]


@tool("Morphometry")
def morphometry(bed: Tin) -> Table:
    """Measure the water as a whole, at the level at which its edge was mapped.

    Parameters
    ----------
    bed : Tin
        The lake bed.

    Returns
    -------
    Table
        Columns ``measure, value, unit, source``. With A the area of the water, L the length of
        its outer shoreline, V its volume, z_max its greatest and z_mean its mean depth:

        - water area A, islands left out, and the islands' number and area, on the ground;
        - shoreline length L without islands, islands' shoreline, open edge, on the ground;
        - volume V, greatest depth z_max, mean depth z_mean = V / A;
        - shoreline development D_L = L / (2 sqrt(pi A)), 1 for a circle; left out where part of
          the edge is open;
        - volume development V_d = 3 z_mean / z_max, 1 for a cone;
        - relative depth Z_r = 50 z_max sqrt(pi) / sqrt(A), per cent;
        - mean slope of the bed: the mean steepness of its triangles, weighed by plan area.

    Notes
    -----
    Shoreline length, and with it D_L, grows with the detail of the map: compare lakes mapped at
    one scale only. Where the edge was not mapped at the datum, a note says at which depth.

    References
    ----------
    Hutchinson 1957, A Treatise on Limnology I, chapter 2; Wetzel & Likens 2000, Limnological
    Analyses, 3rd ed., chapter 1 (both from memory).
    """
    import pandas as pd

    edge = 0.0 if bed.shore_depth is None else bed.shore_depth
    rows = _rows(bed, edge)
    notes = (f"measured at the mapped water's edge, depth {edge:g} m",) if edge else ()
    return Table(
        pd.DataFrame(rows, columns=["measure", "value", "unit", "source"]), "Morphometry", notes
    )


_Row = tuple[str, float, str, str]


def _rows(bed: Tin, edge: float) -> list[_Row]:
    (area,), (volume,) = area_and_volume(bed, np.array([edge]))
    rim = _Rim.of(bed)
    deepest = float(bed.depth.max()) - edge
    if deepest <= 0:
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    mean = volume / area
    tangent = float(np.average(bed.gradients(), weights=bed.areas()))
    rows = [
        ("water area", area, "m2", "plan area of the bed on the ground"),
        ("islands", rim.islands, "1", "inner rings of the shoreline"),
        ("island area", rim.island_area, "m2", "inside the inner rings, on the ground"),
        ("shoreline length", rim.shoreline, "m", "outer shoreline L, islands left out"),
        ("island shoreline length", rim.island_shoreline, "m", "inner rings"),
        ("open edge length", rim.open_edge, "m", "edge with water on both sides"),
        ("volume", volume, "m3", "exact for the triangulated bed"),
        ("greatest depth", deepest, "m", "deepest vertex of the bed"),
        ("mean depth", mean, "m", "V / A"),
        ("volume development", 3 * mean / deepest, "1", "3 z_mean / z_max"),
        (
            "relative depth",
            50 * deepest * math.sqrt(math.pi / area),
            "%",
            "50 z_max sqrt(pi) / sqrt(A)",
        ),
        ("mean slope", math.degrees(math.atan(tangent)), "degree", "area-weighted over the bed"),
    ]
    if not rim.open_edge:
        development = rim.shoreline / (2 * math.sqrt(math.pi * area))
        rows.insert(9, ("shoreline development", development, "1", "L / (2 sqrt(pi A))"))
    return rows


@dataclass(frozen=True)
class _Rim:
    """What the rim of a bed measures on the ground."""

    shoreline: float
    island_shoreline: float
    open_edge: float
    islands: int
    island_area: float

    @classmethod
    def of(cls, bed: Tin) -> "_Rim":
        edges = bed.boundary()
        length = _ground_lengths(bed, edges)
        is_open = (bed.kind[edges] == VertexKind.OPEN_EDGE).any(axis=1)
        ring = _rings(edges)
        # the bed lies to the left, so holes run clockwise and their area comes out negative
        hole_area = _ring_areas(bed, edges, ring)
        in_hole = hole_area[ring] < 0
        return cls(
            float(length[~in_hole & ~is_open].sum()),
            float(length[in_hole].sum()),
            float(length[~in_hole & is_open].sum()),
            int((hole_area < 0).sum()),
            float(-hole_area[hole_area < 0].sum()),
        )


def _ground_lengths(bed: Tin, edges: np.ndarray) -> np.ndarray:
    start, end = bed.vertices[edges[:, 0]], bed.vertices[edges[:, 1]]
    if bed.crs is None:
        return np.asarray(np.hypot(*(end - start).T))
    from toolbox.layers.crs import project

    geodetic, geod = bed.crs.geodetic_crs, bed.crs.get_geod()
    assert geodetic is not None
    assert geod is not None
    start, end = project(start, bed.crs, geodetic), project(end, bed.crs, geodetic)
    return np.asarray(geod.inv(*start.T, *end.T)[2])


def _ring_areas(bed: Tin, edges: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Signed area inside each ring on the ground, m2 (counter-clockwise is positive)."""
    from toolbox.layers.crs import areal_scale

    size = np.bincount(ring)
    start, end = bed.vertices[edges[:, 0]], bed.vertices[edges[:, 1]]
    centre = np.column_stack([np.bincount(ring, start[:, k]) / size for k in range(2)])
    start, end = start - centre[ring], end - centre[ring]
    cross = (start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]) / 2
    return np.asarray(np.bincount(ring, cross) / areal_scale(bed.crs, centre))


def _rings(edges: np.ndarray) -> np.ndarray:
    """Tell which ring each rim edge belongs to, shape (k,)."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    vertices, local = np.unique(edges, return_inverse=True)
    local = local.reshape(-1, 2)
    links = coo_matrix((np.ones(len(local)), (local[:, 0], local[:, 1])), (len(vertices),) * 2)
    return np.asarray(connected_components(links, directed=False)[1][local[:, 0]])
