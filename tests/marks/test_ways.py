"""Ways of a boat: straight where they can be, round islands, and a tour without detours."""

from itertools import permutations

import numpy as np
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.layers import Shoreline, Tin
from toolbox.marks.ways import Ways, tour

BOX = shapely.box(140, 60, 160, 140)


def water(first: int = 6, top: int = 14) -> tuple[Tin, Shoreline]:
    """Make a water of 300 x 200 m in cells of 10 m, with land between two rows of them."""
    x, y = np.meshgrid(np.arange(31) * 10.0, np.arange(21) * 10.0)
    vertices = np.column_stack([x.ravel(), y.ravel()])
    a = np.array(
        [
            row * 31 + col
            for row in range(20)
            for col in range(30)
            if not (14 <= col < 16 and first <= row < top)
        ]
    )
    triangles = np.vstack([np.c_[a, a + 1, a + 32], np.c_[a, a + 32, a + 31]])
    keep = np.unique(triangles)
    number = np.zeros(len(vertices), int)
    number[keep] = np.arange(len(keep))
    bed = Tin(vertices[keep], np.ones(len(keep)), number[triangles], np.full(len(keep), 2), None)
    land = shapely.box(140, 10 * first, 160, 10 * top)
    return bed, Shoreline(shapely.MultiPolygon([shapely.box(0, 0, 300, 200) - land]), None)


def test_ways_are_straight_on_open_water_and_lead_round_an_island() -> None:
    places = np.array([[100.0, 110.0], [200.0, 110.0], [60.0, 30.0], [150.0, 57.0]])
    ways = Ways(*water(), places)
    length = ways.lengths()
    np.testing.assert_allclose(length, length.T)
    for one, other in ((0, 2), (2, 3)):
        assert length[one, other] == pytest.approx(np.hypot(*(places[one] - places[other])))
    way = ways.way(0, 1)
    assert way[[0, -1]].tolist() == places[[0, 1]].tolist()
    line = shapely.LineString(way)
    # derived: no way is shorter than the one that touches the island's northern corners
    shortest = 2 * np.hypot(40, 30) + 20
    assert shortest < line.length < 1.2 * shortest
    assert line.length <= length[0, 1]
    assert line.distance(BOX) >= 4.5  # the net is 10 m wide


@pytest.mark.parametrize("first", [1, 6])
def test_a_way_round_a_spit_through_a_narrow(first: int) -> None:
    # one cell of water is 10 m wide: nowhere in it more than 5 m from land
    bed, shore = water(first, 20)
    way = shapely.LineString(Ways(bed, shore, np.array([[100.0, 150], [200.0, 150]])).way(0, 1))
    # derived: by the corners of the spit
    shortest = 2 * np.hypot(40, 150 - 10 * first) + 20
    # of ways that are equally short in the net, versions of scipy take different ones
    assert shortest < way.length < 1.12 * shortest
    assert shore.polygons.contains(way)


def test_a_tour_of_places_on_a_ring_is_the_ring() -> None:
    # derived: the shortest round of places in convex position follows their hull
    turn = np.random.default_rng(5).permutation(np.arange(15)) * 2 * np.pi / 15
    at = 100 * np.column_stack([np.cos(turn), np.sin(turn)])
    length = np.hypot(*np.moveaxis(at[:, None] - at, -1, 0))
    order = tour(length, back=True)
    assert order[0] == 0
    assert sorted(order) == list(range(15))
    total = length[order, np.roll(order, -1)].sum()
    assert total == pytest.approx(15 * 200 * np.sin(np.pi / 15))


@pytest.mark.parametrize("back", [True, False])
@pytest.mark.parametrize("seed", range(8))
def test_a_tour_is_near_the_best_of_all(seed: int, back: bool) -> None:
    at = np.random.default_rng(seed).uniform(0, 100, (7, 2))
    length = np.hypot(*np.moveaxis(at[:, None] - at, -1, 0))

    def total(order: np.ndarray) -> float:
        return length[order[:-1], order[1:]].sum() + back * length[order[-1], order[0]]

    order = tour(length, back=back)
    every = [total(np.r_[0, rest]) for rest in permutations(range(1, 7))]
    assert min(every) - 1e-9 <= total(order) <= 1.15 * min(every)
    for i in range(1, 7):
        for j in range(i, 7):
            turned = np.r_[order[:i], order[i : j + 1][::-1], order[j + 1 :]]
            assert total(turned) >= total(order) - 1e-6


def test_tours_of_none_and_few() -> None:
    assert tour(np.zeros((1, 1)), back=True).tolist() == [0]
    assert tour(np.array([[0.0, 3], [3, 0]]), back=False).tolist() == [0, 1]
    assert tour(np.zeros((3, 3)), back=True).tolist() == [0, 1, 2]


def test_a_bed_with_a_gap_in_the_water_is_refused() -> None:
    bed, _ = water(1, 20)
    middle = bed.vertices[bed.triangles].mean(axis=1)
    halves = Tin(
        bed.vertices, bed.depth, bed.triangles[abs(middle[:, 0] - 150) > 10], bed.kind, None
    )
    narrow = shapely.MultiPolygon([shapely.box(0, 0, 300, 200) - shapely.box(140, 1, 160, 199)])
    ways = Ways(halves, Shoreline(narrow, None), np.array([[100.0, 150], [50, 50], [200, 150]]))
    assert len(ways.way(0, 1)) == 2
    message = "the bed must cover the water between 100 E 150 N and 200 E 150 N"
    with pytest.raises(LayerError, match=message):
        ways.lengths()
    with pytest.raises(LayerError, match=message):
        ways.way(0, 2)
