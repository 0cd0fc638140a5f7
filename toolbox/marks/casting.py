"""Casting: which spots a cast can be put to, over water only and clear of what is excluded."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.layers import Shoreline, Vectors
from toolbox.layers.geodesy import areal_scale, bearings, distances
from toolbox.marks.pegs import Pegs, geometries, keeps_clear, within_sector
from toolbox.planning.candidates import BANK, clear_water

__all__ = ["Casts", "casts_to", "open_spots"]

_WIDER = 1.1  # than a reach is searched first: a map is not as wide everywhere


@dataclass(frozen=True, eq=False)
class Casts:
    """Casts that can be made.

    Parameters
    ----------
    peg, spot : (n,) array of int
        Their numbers.
    bearing : (n,) array
        Degrees clockwise from true north.
    distance : (n,) array
        On the ground, m.
    """

    peg: np.ndarray
    spot: np.ndarray
    bearing: np.ndarray
    distance: np.ndarray

    def __len__(self) -> int:
        """Count them."""
        return len(self.peg)

    def select(self, which: np.ndarray) -> "Casts":
        """Return some of them."""
        return Casts(self.peg[which], self.spot[which], self.bearing[which], self.distance[which])


def casts_to(
    places: np.ndarray,
    pegs: Pegs,
    shoreline: Shoreline,
    exclusions: Vectors | None,
    *,
    clearance: float,
) -> Casts:
    """Find the casts from pegs to places that can be made.

    Parameters
    ----------
    places : (n, 2) array
        Easting and northing, m.
    pegs : Pegs
        With their reaches and sectors.
    shoreline : Shoreline
        The water.
    exclusions : Vectors or None
        Polygons that no cast may cross, lines and points to keep clear of.
    clearance : float
        From lines and points, on the ground, m.

    Returns
    -------
    Casts
        Peg by peg. Each begins at its peg, has at most 10 m of bank before the water, and then
        keeps 1 m clear of land as far as its end.
    """
    casts = _within_reach(places, pegs, shoreline)
    casts = casts.select(within_sector(casts.bearing, pegs.start[casts.peg], pegs.end[casts.peg]))
    ways = _ways(casts, pegs, places)
    over = np.zeros(len(casts), bool)
    water = clear_water(shoreline)
    for peg in np.unique(casts.peg):
        own = casts.peg == peg
        over[own] = _over_water(ways[own], water)
    over &= _is_allowed(ways, exclusions, clearance, shoreline)
    return casts.select(over)


def open_spots(
    places: np.ndarray, shoreline: Shoreline, exclusions: Vectors | None, *, clearance: float
) -> np.ndarray:
    """Tell which places (n, 2) a boat may lie at: 1 m clear of land, and not excluded."""
    import shapely

    points, water = shapely.points(places), clear_water(shoreline)
    shapely.prepare(water)
    free = _is_allowed(points, exclusions, clearance, shoreline)
    return np.asarray(shapely.covers(water, points) & free)


def _within_reach(places: np.ndarray, pegs: Pegs, shoreline: Shoreline) -> Casts:
    from scipy.spatial import KDTree

    if not len(places):
        none = np.empty(0, int)
        return Casts(none, none, none.astype(float), none.astype(float))
    widest = float(np.sqrt(areal_scale(shoreline.crs, np.vstack([places, pegs.places]))).max())
    near = KDTree(places).query_ball_point(pegs.places, _WIDER * widest * pegs.reach)
    peg = np.repeat(np.arange(len(pegs)), [len(found) for found in near])
    spot = np.concatenate([np.sort(np.array(found, int)) for found in near])
    distance = distances(pegs.places[peg], places[spot], shoreline.crs)
    bearing = bearings(pegs.places[peg], places[spot], shoreline.crs)
    within = (distance <= pegs.reach[peg]) & (distance > 0)
    return Casts(peg, spot, bearing, distance).select(within)


def _ways(casts: Casts, pegs: Pegs, places: np.ndarray) -> np.ndarray:
    import shapely

    return shapely.linestrings(np.stack([pegs.places[casts.peg], places[casts.spot]], axis=1))


def _over_water(ways: np.ndarray, water: Any) -> np.ndarray:
    """Tell which ways from one peg cross no land but the bank before it."""
    import shapely

    left, bottom, right, top = shapely.total_bounds(ways)
    around = left - 1, bottom - 1, right + 1, top + 1
    near = shapely.clip_by_rect(water, *around)
    if not near.is_valid:  # quick, but where the water touches the rectangle not always right
        near = shapely.intersection(water, shapely.box(*around))
    dry = shapely.difference(ways, near)
    one = shapely.get_num_geometries(dry) == 1
    bank = one & shapely.equals(shapely.get_point(dry, 0), shapely.get_point(ways, 0))
    whole = shapely.equals(shapely.get_point(dry, -1), shapely.get_point(ways, -1))
    ashore = bank & (shapely.length(dry) <= BANK) & ~whole
    return np.asarray(shapely.is_empty(dry) | ashore)


def _is_allowed(
    shapes: np.ndarray, exclusions: Vectors | None, clearance: float, shoreline: Shoreline
) -> np.ndarray:
    import shapely

    free = np.ones(len(shapes), bool)
    if exclusions is None or not len(shapes):
        return free
    areas, wires = geometries(exclusions)
    free &= ~shapely.intersects(shapes, areas)
    for wire in wires:
        free[free] = keeps_clear(shapes[free], wire, clearance, shoreline.crs)
    return free
