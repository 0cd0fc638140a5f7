"""Open water: how far one sees over it from places on it, and the lines that measure a lake."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.geodesy import travel

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["LakeLines", "OpenWater", "ground_vectors", "lake_lines"]

_MOST_CORNERS = 300
"""Of a shoreline whose greatest lines are sought: the work grows with the cube of it."""

_HAIR = 1e-8
"""Of the water's extent, by which land is drawn back so that a line may graze a cape."""


@dataclass(frozen=True, eq=False)
class OpenWater:
    """The edges of a water, sorted so that rays over it find them quickly.

    Parameters
    ----------
    edges : (e, 4) array
        Easting and northing of both ends, m.
    start, member : arrays of int
        Which edges lie in which bucket.
    net : tuple
        Left and bottom of the buckets, their width, rows and columns.
    """

    edges: np.ndarray
    start: np.ndarray
    member: np.ndarray
    net: tuple[float, float, float, int, int]

    @classmethod
    def of(cls, polygons: Any) -> "OpenWater":
        """Sort the edges of polygons."""
        import shapely

        from toolbox.volume.kernels.rays import sort_edges

        left, bottom, right, top = polygons.bounds
        count = len(shapely.get_coordinates(polygons))
        # about as many buckets along the shore as there are edges
        width = max(polygons.length / count, max(right - left, top - bottom) / 500)
        rings = shapely.get_rings(shapely.get_parts(shapely.segmentize(polygons, width)))
        ends = [shapely.get_coordinates(ring) for ring in rings]
        edges = np.vstack([np.column_stack([ring[:-1], ring[1:]]) for ring in ends])
        rows, cols = (math.floor(size / width) + 1 for size in (top - bottom, right - left))
        net = (left, bottom, width, rows, cols)
        start, member = sort_edges(edges, *net)
        return cls(edges, start, member, net)

    def around(self, places: np.ndarray, ways: np.ndarray) -> np.ndarray:
        """Go from places (n, 2) in the water along vectors (k, 2) until land.

        Returns
        -------
        (n, k) array
            How many times the vector one goes.
        """
        from toolbox.volume.kernels.rays import cast_around

        places, ways = (np.ascontiguousarray(values, float) for values in (places, ways))
        return np.asarray(cast_around(self.edges, self.start, self.member, self.net, places, ways))

    def between(self, places: np.ndarray) -> np.ndarray:
        """Go from places (n, 2) towards each other and beyond until land: (n, n), m on the map."""
        from toolbox.volume.kernels.rays import cast_between

        places = np.ascontiguousarray(places, float)
        return np.asarray(cast_between(self.edges, self.start, self.member, self.net, places))


def ground_vectors(bearing: np.ndarray, crs: "CRS | None", centre: np.ndarray) -> np.ndarray:
    """Return what one metre on the ground is on the map.

    Parameters
    ----------
    bearing : (k,) array
        Degrees clockwise from true north.
    crs : CRS or None
        Of the map.
    centre : (2,) array
        Easting and northing for which it holds, m.

    Returns
    -------
    (k, 2) array
        Easting and northing, m.
    """
    reach = 100.0
    start = np.tile(centre, (len(bearing), 1))
    there = travel(start, np.asarray(bearing, float), np.full(len(bearing), reach), crs)
    return np.asarray((there - start) / reach)


@dataclass(frozen=True)
class LakeLines:
    """The greatest lines over a water, m on the ground.

    Parameters
    ----------
    length : float
        The shortest way over the water between the two places on its shore that lie farthest
        apart by water; it goes around land and islands.
    effective_length : float
        The longest straight line over the water.
    bearing : float
        Of that line, degrees clockwise from true north, 0 to 180.
    breadth : float
        The longest straight line over the water at right angles to that line.
    simplified : float
        By how much the shoreline was simplified, m; 0 where it was not.
    """

    length: float
    effective_length: float
    bearing: float
    breadth: float
    simplified: float


def lake_lines(water: Any, crs: "CRS | None") -> LakeLines:
    """Find the greatest lines over a water.

    Parameters
    ----------
    water : Polygon or MultiPolygon
        Islands as holes.
    crs : CRS or None
        Of the water.

    Returns
    -------
    LakeLines
        Exact for the shoreline as simplified to at most 300 corners.

    Raises
    ------
    LayerError
        If there is no water.

    Notes
    -----
    The longest straight line passes through two corners of the shore, and the shortest way between
    two places bends at corners only: both are found among the lines between corners that see each
    other, the ways by the algorithm of Floyd and Warshall. A line may touch land. Lengths and
    directions are those of the ground at the middle of the water; along a water of 50 km they are
    off by less than a thousandth in the zones of the Universal Transverse Mercator.
    """
    import shapely
    from scipy.sparse.csgraph import floyd_warshall

    if water.is_empty:
        raise LayerError("there is no water to measure")
    simple, by = _simplified(_on_ground(water, crs))
    corners = np.unique(shapely.get_coordinates(simple), axis=0)
    drawn_back = shapely.buffer(simple, _HAIR * _extent(simple), join_style="mitre")
    open_water = OpenWater.of(drawn_back)
    reach = open_water.between(corners)
    apart = np.hypot(*(corners[:, None] - corners).transpose(2, 0, 1))
    seen = (reach >= apart) & (apart > 0)
    ways = floyd_warshall(np.where(seen, apart, 0.0), directed=False)
    straight = np.where(seen & seen.T, reach + reach.T - apart, 0.0)
    i, j = np.unravel_index(straight.argmax(), straight.shape)
    along = (corners[j] - corners[i]) / apart[i, j]
    across = np.array([[-along[1], along[0]], [along[1], -along[0]]])
    longest = float(straight.max())
    return LakeLines(
        # a straight line may end between corners and so be longer than all ways between them
        max(longest, float(ways[np.isfinite(ways)].max())),
        longest,
        math.degrees(math.atan2(*along)) % 180,
        float(open_water.around(corners, across).sum(axis=1).max()),
        by,
    )


def _on_ground(water: Any, crs: "CRS | None") -> Any:
    """Return the water on a plane of its own: metres on the ground east and north of its middle."""
    import shapely

    centre = np.array(water.centroid.coords[0])
    to_map = ground_vectors(np.array([90.0, 0.0]), crs, centre)
    to_ground = np.linalg.inv(to_map)
    return shapely.transform(water, lambda places: (places - centre) @ to_ground)


def _extent(shape: Any) -> float:
    left, bottom, right, top = shape.bounds
    return max(right - left, top - bottom)


def _simplified(water: Any) -> tuple[Any, float]:
    """Return the water with at most so many corners, and the tolerance that this took, m."""
    import shapely

    simple, by = shapely.simplify(water, 0), 0.0
    while len(shapely.get_coordinates(simple)) > _MOST_CORNERS:
        by = 1.5 * by or 2.0**-14 * _extent(water)
        simple = shapely.simplify(water, by)
    return simple, by
