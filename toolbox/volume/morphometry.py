"""Morphometry: the figures by which lakes are compared."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.bed.uncertainty import LEAST_SUPPORT, band
from toolbox.errors import LayerError
from toolbox.layers import Table, Tin, VertexKind
from toolbox.layers.crs import areal_scale, distances
from toolbox.layers.tin import edge_keys
from toolbox.tool import Range, tool
from toolbox.volume.bands import drawn_measures, standard_deviation, unsupported_shares
from toolbox.volume.hypsography import area_and_volume

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["morphometry"]


@tool("Morphometry")
def morphometry(
    bed: Tin, *, least_support: Annotated[float, Range("", min=0, max=1)] = LEAST_SUPPORT
) -> Table:
    """Measure the water as a whole, at the level at which its edge was mapped.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    least_support : float
        Support below which a part of a fitted bed counts as unsupported. At 0.5 data have halved
        the sd that the depth would have without them.

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

        A fitted bed adds columns ``low, high``, the ends of the 90 % band of its draws (empty
        where the bed's depth has no part in a figure), and rows for the standard deviation of V
        and for the shares of A and V that rest on bed no data support.

    Notes
    -----
    A fitted bed is the mean of its draws and smoother than each: their greatest depths and slopes
    tend to be larger, so a value may lie below its own band. A triangle is unsupported where the
    mean support of its corners is too little.

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
    notes: tuple[str, ...] = ()
    if edge:
        notes += (f"measured at the mapped water's edge, depth {edge:g} m",)
    drawn = drawn_measures(bed, edge) if bed.draws is not None else {}
    if drawn:
        count = len(drawn["volume"])
        notes += (f"low and high: 90 % band of {count} beds drawn",)
        source = f"standard deviation of {count} beds drawn"
        rows.append(("volume sd", standard_deviation(drawn["volume"]), "m3", source))
    if bed.support is not None:
        source = f"bed with support below {least_support:g}"
        shares = unsupported_shares(bed, edge, least_support)
        rows += [
            (f"unsupported {name} share", share, "1", source)
            for name, share in zip(("area", "volume"), shares, strict=True)
        ]
    frame = pd.DataFrame(rows, columns=["measure", "value", "unit", "source"])
    return Table(_with_bands(frame, drawn) if drawn else frame, "Morphometry", notes)


def _with_bands(frame: "pd.DataFrame", drawn: dict[str, np.ndarray]) -> "pd.DataFrame":
    ends = {name: band(values) for name, values in drawn.items()}
    steep = frame["measure"] == "mean slope"
    frame.loc[steep, "value"] = float(np.median(drawn["mean slope"]))
    frame.loc[steep, "source"] = "area-weighted, median of the beds drawn: their mean is smoother"
    for place, end in enumerate(("low", "high")):
        values = {name: float(both[place]) for name, both in ends.items()}
        frame.insert(2 + place, end, frame["measure"].map(values))
    return frame


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
        ("island area", rim.island_area, "m2", "land inside the inner rings, on the ground"),
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
        numbers = _Numbers.of(bed, edges)
        islands = _islands(bed, edges, numbers)
        length = distances(bed.vertices[edges[:, 0]], bed.vertices[edges[:, 1]], bed.crs)
        is_open = (bed.kind[edges] == VertexKind.OPEN_EDGE).any(axis=1)
        in_hole = np.isin(edge_keys(edges, len(bed.depth)), _ring_keys(bed, islands, numbers))
        return cls(
            float(length[~in_hole & ~is_open].sum()),
            float(length[in_hole].sum()),
            float(length[~in_hole & is_open].sum()),
            len(islands),
            _ground_area(bed, islands),
        )


def _islands(bed: Tin, edges: np.ndarray, numbers: "_Numbers") -> list[Any]:
    """Faces between the rim's edges that are not bed: it lies to the left of each edge."""
    import shapely

    faces = shapely.get_parts(shapely.polygonize(shapely.linestrings(bed.vertices[edges])))
    directed = set(map(tuple, edges.tolist()))
    return [face for face in faces if _first_edge(face, numbers) not in directed]


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
