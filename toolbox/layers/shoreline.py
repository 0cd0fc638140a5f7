"""Shoreline: the water's edge, islands and open ends included."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected, earth, is_plane, project_shapes
from toolbox.layers.geodesy import distances
from toolbox.layers.repair import SLIVER_M2, repaired

if TYPE_CHECKING:
    from pyproj import CRS
    from shapely import MultiLineString, MultiPolygon

__all__ = ["Shoreline"]


@dataclass(frozen=True, eq=False)
class Shoreline:
    """The water as polygons with islands as holes.

    Parameters
    ----------
    polygons : MultiPolygon
        Valid, in a projected CRS in metres.
    crs : CRS or None
        Projected, in metres; None is a plane.
    depth : float
        Depth of the water's edge below the datum water level, m: 0 when mapped at the datum,
        negative when mapped at a higher water.
    open_edges : MultiLineString, optional
        Parts of the edge with water on both sides, such as the ends of a river reach.
    notes : tuple of str
        What was repaired or assumed when the layer was read.

    Raises
    ------
    LayerError
        If the polygons are empty, invalid or smaller than a sliver.
    """

    polygons: "MultiPolygon"
    crs: "CRS | None"
    depth: float = 0.0
    open_edges: "MultiLineString | None" = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_projected(self.crs, "shoreline")
        if self.polygons.is_empty or not self.polygons.is_valid:
            raise LayerError("shoreline must be valid polygons, got an empty or invalid shape")
        if self.polygons.area < SLIVER_M2:
            raise LayerError(
                f"shoreline must enclose {SLIVER_M2:g} m2 or more, got {self.polygons.area:.3g} m2;"
                " is its CRS right?"
            )
        if not np.isfinite(self.depth):
            raise LayerError(f"depth of the shoreline must be finite, got {self.depth}")

    @classmethod
    def from_shapes(
        cls, shapes: Iterable[Any], crs: "CRS | None", *, depth: float = 0.0
    ) -> "Shoreline":
        """Make a shoreline of polygons as they come, and say what was repaired.

        Parameters
        ----------
        shapes : iterable of Polygon or MultiPolygon
            Islands may be holes, or rings stacked upon the water (even-odd).
        crs : CRS or None
            Projected, in metres; None is a plane.
        depth : float
            Depth of the water's edge below the datum water level, m.

        Returns
        -------
        Shoreline
            Its `notes` name every repair.

        Raises
        ------
        LayerError
            If there is no polygon, or something else than polygons.
        """
        import shapely

        parts, notes = repaired(shapes)
        return cls(shapely.MultiPolygon(parts), crs, depth, None, notes)

    @property
    def islands(self) -> list[Any]:
        """The islands' rings."""
        return [ring for part in self.polygons.geoms for ring in part.interiors]

    def contains(self, coordinates: np.ndarray) -> np.ndarray:
        """Tell which places, shape (n, 2), lie in the water; one on its edge does not."""
        import shapely

        shapely.prepare(self.polygons)
        return np.asarray(shapely.contains_xy(self.polygons, *np.asarray(coordinates).T))

    def ground_area(self) -> float:
        """Area of the water on the ground, islands left out, m2 (geodesic; plane on a plane)."""
        import shapely

        if is_plane(self.crs):
            return float(self.polygons.area)
        assert self.crs is not None
        degrees, geod = earth(self.crs)
        shapes = project_shapes(self.polygons, self.crs, degrees, "shoreline")
        # a geodesic ring is signed by its direction: holes must run against the outside
        oriented = [shapely.geometry.polygon.orient(part) for part in shapes.geoms]
        return sum(abs(geod.geometry_area_perimeter(part)[0]) for part in oriented)

    def ground_length(self) -> float:
        """Length of the shoreline on the ground, islands included, m."""
        import shapely

        rings = shapely.get_rings(list(self.polygons.geoms))
        places = [shapely.get_coordinates(ring) for ring in rings]
        return sum(float(distances(ring[:-1], ring[1:], self.crs).sum()) for ring in places)

    def with_open_edges(self, marks: Iterable[Any], *, within: float = 5.0) -> "Shoreline":
        """Declare as open the parts of the edge that lie near some lines or inside some polygons.

        Parameters
        ----------
        marks : iterable of geometry
            In the shoreline's CRS.
        within : float
            How near, m. A line opens the edge between the points nearest to its ends, no more.

        Returns
        -------
        Shoreline
            With `open_edges`.

        Raises
        ------
        LayerError
            If no part of the edge is that near.
        """
        import shapely

        parts = [
            _open_part(shapely.LineString(ring), shapely.force_2d(mark), within)
            for ring in shapely.get_rings(list(self.polygons.geoms))
            for mark in shapely.get_parts(list(marks))
        ]
        merged = shapely.line_merge(shapely.unary_union(parts))
        lines = [part for part in shapely.get_parts(merged) if part.length > 0]
        if not lines:
            raise LayerError(f"open edges must lie within {within:g} m of the shoreline, none does")
        return replace(self, open_edges=shapely.MultiLineString(lines))

    def to_crs(self, crs: "CRS") -> "Shoreline":
        """Project to another CRS in metres."""
        if self.crs is None or self.crs == crs:
            return self
        moved = project_shapes(self.polygons, self.crs, crs, "shoreline")
        ends = self.open_edges and project_shapes(self.open_edges, self.crs, crs, "open edge")
        fresh = Shoreline.from_shapes([moved], crs, depth=self.depth)
        return replace(fresh, open_edges=ends, notes=self.notes + fresh.notes)


def _open_part(ring: Any, mark: Any, within: float) -> Any:
    """Part of a ring that a mark opens; empty where it opens none."""
    import shapely
    from shapely.ops import substring

    near = mark if mark.geom_type == "Polygon" else mark.buffer(within)
    if mark.geom_type != "LineString" or not ring.intersects(near):
        return shapely.intersection(ring, near)
    first, last = sorted(ring.project(shapely.Point(mark.coords[k])) for k in (0, -1))
    ways = (
        substring(ring, first, last),
        shapely.union(substring(ring, 0, first), substring(ring, last, ring.length)),
    )
    # of the two ways round the ring, the one that the mark follows
    way = min(ways, key=lambda way: shapely.hausdorff_distance(way, mark))
    return shapely.intersection(way, near)
