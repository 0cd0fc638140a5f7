"""Candidates: casts and boat lines that one might sound next, over water only."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Shoreline
from toolbox.layers.geodesy import bearings, distances, travel

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS

__all__ = [
    "BANK",
    "CLEAR",
    "Candidates",
    "between",
    "casts_from",
    "clear_water",
    "lines_over",
    "pegs_along",
]

CLEAR = 1.0
"""What a cast or a line keeps clear of land, m."""

BANK = 10.0
"""Most land or margin between a peg and the water it casts into, m."""


@dataclass(frozen=True, eq=False)
class Candidates:
    """Straight ways over water.

    Parameters
    ----------
    start, end : (n, 2) array
        Easting and northing, m; a cast starts at its peg.
    bearing : (n,) array
        From start to end, degrees clockwise from true north.
    length : (n,) array
        From start to end on the ground, m.
    ashore : (n,) array
        Of it before the water begins, m.
    peg : (n,) array of int
        Number of the peg, -1 of boat lines.
    """

    start: np.ndarray
    end: np.ndarray
    bearing: np.ndarray
    length: np.ndarray
    ashore: np.ndarray
    peg: np.ndarray

    def __len__(self) -> int:
        """Count them."""
        return len(self.length)

    def select(self, which: np.ndarray) -> "Candidates":
        """Return some of them."""
        parts = (self.start, self.end, self.bearing, self.length, self.ashore, self.peg)
        return Candidates(*(part[which] for part in parts))

    def features(self, crs: "CRS | None") -> "GeoDataFrame":
        """Make a line of each; tell where it starts and ends, its bearing and length."""
        import geopandas
        import shapely

        start, end = self.start, self.end
        lines = shapely.linestrings(np.stack([start, end], axis=1))
        columns = {
            "start_easting_m": start[:, 0],
            "start_northing_m": start[:, 1],
            "end_easting_m": end[:, 0],
            "end_northing_m": end[:, 1],
            "bearing_deg": self.bearing,
            "distance_m": self.length,
        }
        return geopandas.GeoDataFrame(columns, geometry=lines, crs=crs)


def pegs_along(shoreline: Shoreline, spacing: float) -> np.ndarray:
    """Return places along the outer shores, (p, 2), m; open ends of a water have none."""
    import shapely

    rings = shapely.get_exterior_ring(list(shoreline.polygons.geoms))
    if shoreline.open_edges is not None:
        rings = shapely.difference(rings, shapely.buffer(shoreline.open_edges, 0.5))
    shores = shapely.get_parts(shapely.line_merge(rings))
    places = []
    for shore in shores:
        count = max(1, round(shore.length / spacing))
        places.append(shapely.line_interpolate_point(shore, _middles(count), normalized=True))
    return shapely.get_coordinates(np.concatenate(places))


def casts_from(
    pegs: np.ndarray, shoreline: Shoreline, *, reach: float, bearing_step: float
) -> Candidates:
    """Aim casts from pegs in all directions, each as far as the first land or its reach.

    Parameters
    ----------
    pegs : (p, 2) array
        Easting and northing, m.
    shoreline : Shoreline
        The water.
    reach : float
        Of a cast, on the ground, m.
    bearing_step : float
        Between bearings, degrees.

    Returns
    -------
    Candidates
        Peg by peg, each from north clockwise.

    Raises
    ------
    LayerError
        If a peg has no water within reach, or it begins more than 10 m away.
    """
    water = clear_water(shoreline)
    bearing = np.arange(0.0, 360.0 - 1e-9, bearing_step)
    way = np.tile(bearing, (len(pegs), 1))
    starts = np.repeat(pegs[:, None], len(bearing), axis=1)
    ends = travel(
        starts.reshape(-1, 2), way.ravel(), np.full(way.size, reach), shoreline.crs
    ).reshape(starts.shape)
    spans = [_first_water(*rays, water) for rays in zip(starts, ends, strict=True)]
    first, last = reach * np.moveaxis(np.array(spans), 1, 0)
    over = first <= min(BANK, reach)
    if not over.any(axis=1).all():
        number = int(np.argmin(over.any(axis=1)))
        east, north = pegs[number]
        raise LayerError(
            f"peg {number + 1} at {east:.1f}, {north:.1f} must have water within {BANK:g} m and "
            f"within its reach of {reach:g} m"
        )
    peg, aim = np.nonzero(over)
    length = last[over]
    end = travel(pegs[peg], bearing[aim], length, shoreline.crs)
    return Candidates(pegs[peg], end, bearing[aim], length, first[over], peg)


def lines_over(
    shoreline: Shoreline, *, spacing: float, headings: np.ndarray, shortest: float
) -> Candidates:
    """Lay parallel lines over the water at several headings; land divides a line.

    Parameters
    ----------
    shoreline : Shoreline
        The water.
    spacing : float
        Between parallels, m.
    headings : (k,) array
        Degrees clockwise from grid north, 0 to 180.
    shortest : float
        Length below which a line is not worth its turns, m.

    Returns
    -------
    Candidates
        Heading by heading.

    Raises
    ------
    LayerError
        If no line is that long.
    """
    import shapely

    water = clear_water(shoreline)
    left, bottom, right, top = water.bounds
    middle, half = np.array([left + right, bottom + top]) / 2, np.hypot(right - left, top - bottom)
    offset = spacing * np.arange(-np.ceil(half / 2 / spacing), np.ceil(half / 2 / spacing) + 1)
    turn = np.radians(headings)[:, None, None]
    ahead = np.concatenate([np.sin(turn), np.cos(turn)], axis=-1)
    aside = np.concatenate([np.cos(turn), -np.sin(turn)], axis=-1)
    through = middle + aside * offset[:, None]
    lines = np.stack([through - half * ahead, through + half * ahead], axis=-2).reshape(-1, 2, 2)
    pieces = shapely.get_parts(shapely.intersection(shapely.linestrings(lines), water))
    pieces = pieces[shapely.length(pieces) >= shortest]
    if not len(pieces):
        raise LayerError(f"no line of {shortest:g} m fits into the water")
    ends = shapely.get_coordinates(pieces).reshape(-1, 2, 2)
    return between(ends[:, 0], ends[:, 1], shoreline)


def between(start: np.ndarray, end: np.ndarray, shoreline: Shoreline) -> Candidates:
    """Make boat lines of their ends, both (n, 2), m."""
    crs, none = shoreline.crs, np.zeros(len(start))
    length, bearing = distances(start, end, crs), bearings(start, end, crs)
    return Candidates(start, end, bearing, length, none, none.astype(int) - 1)


def _middles(count: int) -> np.ndarray:
    return (np.arange(count) + 0.5) / count


def clear_water(shoreline: Shoreline) -> Any:
    """Return the water that keeps clear of land, a polygon or several."""
    import shapely

    water = shapely.buffer(shoreline.polygons, -CLEAR)
    if water.is_empty:
        raise LayerError(f"no water is {2 * CLEAR:g} m wide")
    return water


def _first_water(starts: np.ndarray, ends: np.ndarray, water: Any) -> np.ndarray:
    """Shares of rays from one peg at which the first water begins and ends, (2, n), else inf."""
    import shapely

    rays = shapely.linestrings(np.stack([starts, ends], axis=1))
    corners = np.vstack([starts, ends])
    near = shapely.clip_by_rect(water, *(corners.min(axis=0) - 1), *(corners.max(axis=0) + 1))
    pieces, ray = shapely.get_parts(shapely.intersection(rays, near), return_index=True)
    wet = shapely.get_type_id(pieces) == 1  # a touch is no water
    pieces, ray = pieces[wet], ray[wet]
    first, last = (
        shapely.line_locate_point(rays[ray], shapely.get_point(pieces, k), normalized=True)
        for k in (0, -1)
    )
    order = np.lexsort([first, ray])
    nearest = order[np.r_[True, np.diff(ray[order]) > 0][: len(ray)]]
    spans = np.full((2, len(rays)), np.inf)
    spans[:, ray[nearest]] = first[nearest], last[nearest]
    return spans
