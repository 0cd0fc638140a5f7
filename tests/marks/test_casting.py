"""Casting: over the bank and the water only."""

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.layers import Shoreline, Vectors
from toolbox.marks.casting import casts_to, open_spots
from toolbox.marks.pegs import Pegs

WATER = shapely.box(0, 0, 100, 60) - shapely.box(40, 20, 50, 40)
SHORE = Shoreline(shapely.MultiPolygon([WATER]), None)


def peg(*at: float, reach: float = 80.0, sector: tuple[float, float] = (np.nan, np.nan)) -> Pegs:
    return Pegs(["A"], np.array([at]), np.array([reach]), *np.array([[sector[0]], [sector[1]]]))


def reached(at: tuple[float, float], one: Pegs, exclusions: Vectors | None = None) -> bool:
    found = casts_to(np.array([at]), one, SHORE, exclusions, clearance=5.0)
    return len(found) == 1


@pytest.mark.parametrize(
    ("at", "given", "within"),
    [
        ((30, 30), (-5, 30), True),
        ((60, 30), (-5, 30), False),  # behind the island
        ((45, 30), (-5, 30), False),  # on it
        ((39.5, 30), (-5, 30), False),  # within a metre of it
        ((0.5, 30), (-5, 30), False),  # on the margin before the peg
        ((60, 10), (-5, 10), True),
        ((60, 10), (-9, 10), True),
        ((60, 10), (-9.5, 10), False),  # 10.5 m of bank and margin
        ((60, 10), (20, 10), True),  # from a stage in the water
        ((99.5, 30), (60, 30), False),
        ((110, 30), (60, 30), False),
        ((38, 30), (45, 30), True),  # from the island, over 6 m of it
        ((45, 15), (-5, 63), False),  # through the island's corner
    ],
)
def test_casts_cross_the_bank_before_them_and_no_other_land(
    at: tuple[float, float], given: tuple[float, float], within: bool
) -> None:
    assert reached(at, peg(*given)) is within


def test_reach_and_sector() -> None:
    assert reached((30, 10), peg(-5, 10, reach=35.0))
    assert not reached((30, 10), peg(-5, 10, reach=34.9))
    assert reached((30, 10), peg(-5, 10, sector=(45, 90)))
    assert not reached((30, 10), peg(-5, 10, sector=(95, 80 + 5)))
    found = casts_to(np.array([[30.0, 10.0]]), peg(-5, 10), SHORE, None, clearance=5.0)
    assert (found.bearing[0], found.distance[0]) == pytest.approx((90, 35))


def test_closed_areas_and_wires() -> None:
    def with_(*shapes: object) -> Vectors:
        return Vectors(geopandas.GeoDataFrame(geometry=list(shapes)), "exclusions")

    at, one = (30, 10), peg(-5, 10)
    assert not reached(at, one, with_(shapely.box(10, 0, 12, 60)))
    assert not reached(at, one, with_(shapely.box(-6, 0, -4, 60)))
    assert reached(at, one, with_(shapely.box(31, 0, 40, 60)))
    assert not reached(at, one, with_(shapely.LineString([(0, 14.9), (20, 14.9)])))
    assert reached(at, one, with_(shapely.LineString([(0, 15), (20, 15)])))
    assert not reached(at, one, with_(shapely.Point(33, 10)))
    assert not reached(at, one, with_(shapely.LineString([(-9.9, 0), (-9.9, 60)])))
    assert not reached(at, one, with_(shapely.Point(90, 50), shapely.Point(15, 10)))


def test_places_a_boat_may_lie_at() -> None:
    closed = Vectors(
        geopandas.GeoDataFrame(geometry=[shapely.box(0, 0, 10, 60), shapely.Point(80, 30)]), "no"
    )
    places = np.array([(20, 30), (45, 30), (99.5, 30), (5, 30), (84, 30), (85, 30)], float)
    free = open_spots(places, SHORE, closed, clearance=5.0)
    assert free.tolist() == [True, False, False, False, False, True]
    assert open_spots(places, SHORE, None, clearance=5.0).sum() == 4
