"""Rays over water and the greatest lines of a lake: shapes worked by hand, and another library."""

import numpy as np
import pyproj
import pytest
import shapely
import shapely.affinity

from toolbox.errors import LayerError
from toolbox.volume.open_water import OpenWater, ground_vectors, lake_lines


def test_rays_end_where_shapely_says() -> None:
    # an independent way: the part of a long line within the water that begins at the place
    chance = np.random.default_rng(4)
    water = shapely.Point(0, 0).buffer(300, quad_segs=9)
    for _ in range(6):
        spot = chance.uniform(-250, 250, 2)
        water = water.difference(shapely.Point(spot).buffer(chance.uniform(10, 40), quad_segs=3))
    places = chance.uniform(-290, 290, (60, 2))
    places = places[shapely.contains_xy(water, *places.T)]
    turn = chance.uniform(0, 2 * np.pi, 40)
    ways = np.column_stack([np.sin(turn), np.cos(turn)])
    found = OpenWater.of(water).around(places, ways)
    for place, reaches in zip(places, found, strict=True):
        for way, reach in zip(ways, reaches, strict=True):
            inside = shapely.intersection(shapely.LineString([place, place + 2000 * way]), water)
            first = min(
                shapely.get_parts(inside), key=lambda part: part.distance(shapely.Point(place))
            )
            assert reach == pytest.approx(first.length, abs=1e-6)


def test_between_places_goes_on_beyond_them() -> None:
    water = shapely.box(0, 0, 100, 60)
    reach = OpenWater.of(water).between(np.array([[10.0, 30], [40, 30], [10, 50]]))
    np.testing.assert_allclose(reach[0], [0, 90, 30], atol=1e-9)
    np.testing.assert_allclose(reach[:, 0], [0, 40, 50], atol=1e-9)


def test_lines_of_a_circle() -> None:
    found = lake_lines(shapely.Point(7, 9).buffer(500, quad_segs=60), None)
    for size in (found.length, found.effective_length, found.breadth):
        assert size == pytest.approx(1000, rel=1e-4)
    assert found.simplified == 0


def test_a_lake_with_a_bend() -> None:
    # derived: from one end over the inner corner to the other; straight only past that corner
    lake = shapely.box(0, 0, 1000, 100).union(shapely.box(0, 0, 100, 1000))
    found = lake_lines(lake, None)
    assert found.length == pytest.approx(2 * np.hypot(900, 100), rel=1e-6)
    assert found.effective_length == pytest.approx(np.hypot(1000, 1000 / 9), rel=1e-6)


def test_a_line_over_water_goes_around_an_island() -> None:
    # derived: an island across the channel but for 10 m on either side. The way from corner to
    # corner passes below the island and bends at its far corner; the longest straight line runs
    # from a corner of the water past that corner to the far end
    water = shapely.box(0, 0, 1000, 100).difference(shapely.box(480, 10, 520, 90))
    found = lake_lines(water, None)
    assert found.length == pytest.approx(np.hypot(520, 10) + np.hypot(480, 90), rel=1e-6)
    assert found.effective_length == pytest.approx(np.hypot(1000, 1000 * 10 / 520), rel=1e-6)


def ragged(seed: int) -> shapely.Polygon:
    """Make a lake with bays, capes and perhaps an island."""
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.random(rng.integers(8, 40))) * 2 * np.pi
    reach = 200 * (1 + 0.6 * rng.normal(size=len(turn)).clip(-1, 1))
    ring = reach[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    water = max(shapely.get_parts(shapely.make_valid(shapely.Polygon(ring))), key=shapely.area)
    spot = water.representative_point()
    island = spot.buffer(0.7 * min(60, water.exterior.distance(spot)), quad_segs=4)
    return water.difference(island) if rng.random() < 0.6 else water


def longest_chord(water: shapely.Polygon) -> float:
    """Return the longest line over water between points strewn along its shore."""
    shore = shapely.get_coordinates(shapely.segmentize(water, water.length / 150))
    i, j = np.triu_indices(len(shore), 1)
    lines = shapely.linestrings(np.stack([shore[i], shore[j]], axis=1))
    wet = water.buffer(1e-5)
    shapely.prepare(wet)
    return float((shapely.length(lines) * shapely.covers(wet, lines)).max())


def longest_run(water: shapely.Polygon, bearing: float) -> float:
    """Return the longest run over water among parallel lines."""
    turned = shapely.affinity.rotate(water, bearing, origin=(0, 0))  # the bearing is north now
    left, bottom, right, top = turned.bounds
    east = np.linspace(left, right, 6002)[1:-1]
    ends = [np.column_stack([east, np.full(len(east), north)]) for north in (bottom - 1, top + 1)]
    runs = shapely.intersection(shapely.linestrings(np.stack(ends, axis=1)), turned)
    return float(shapely.length(shapely.get_parts(runs)).max())


@pytest.mark.parametrize("seed", range(10))
def test_greatest_lines_are_those_that_a_search_finds(seed: int) -> None:
    """The search knows nothing of corners: it tries chords and parallels, with shapely alone."""
    water = ragged(seed)
    found = lake_lines(water, None)
    chord = longest_chord(water)
    assert chord <= found.effective_length * (1 + 1e-6) <= chord * 1.05
    # where it is said to lie, a line as long is there to within the spacing of the parallels
    assert longest_run(water, found.bearing) == pytest.approx(found.effective_length, rel=3e-3)
    across = longest_run(water, found.bearing + 90)
    assert across <= found.breadth * (1 + 1e-6) <= across * 1.005
    assert found.effective_length <= found.length * (1 + 1e-9)


def test_lines_of_an_ellipse_and_a_rectangle() -> None:
    # derived: the axes; the diagonal, and at right angles to it what the sides allow
    ellipse = shapely.affinity.scale(shapely.Point(0, 0).buffer(1, quad_segs=64), 200, 70)
    found = lake_lines(ellipse, None)
    assert found.effective_length == pytest.approx(400, rel=1e-6)
    assert found.bearing == pytest.approx(90)
    assert found.breadth == pytest.approx(140, rel=1e-3)
    found = lake_lines(shapely.box(0, 0, 300, 100), None)
    assert found.effective_length == pytest.approx(np.hypot(300, 100), rel=1e-6)
    assert found.breadth == pytest.approx(100 * np.hypot(300, 100) / 300, rel=1e-6)


def test_a_shore_of_many_corners_is_simplified_and_says_so() -> None:
    turn = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    rough = 300 + 2 * np.random.default_rng(2).normal(size=2000)
    ring = rough[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    found = lake_lines(shapely.Polygon(ring).buffer(0), None)
    assert 0 < found.simplified < 10
    assert found.effective_length == pytest.approx(610, abs=12)


def test_waters_that_do_not_meet_are_measured_one_by_one() -> None:
    found = lake_lines(
        shapely.MultiPolygon([shapely.box(0, 0, 30, 40), shapely.box(90, 0, 95, 5)]), None
    )
    assert found.length == pytest.approx(50, rel=1e-6)


def test_no_water() -> None:
    with pytest.raises(LayerError, match=r"^there is no water to measure$"):
        lake_lines(shapely.MultiPolygon(), None)


@pytest.mark.parametrize("code", [32633, 3857, 6933, 3035], ids=["utm", "web", "world", "europe"])
def test_lengths_and_bearings_are_those_of_the_ground(code: int) -> None:
    # a strip of 3000 m by 20 m laid out by geodesics on a true bearing of 50 degrees
    geod, crs = pyproj.Geod(ellps="WGS84"), pyproj.CRS(code)
    place, ends = (14.9, 47.1), []
    for along, across in ((0, 0), (3000, 0), (3000, 20), (0, 20)):
        lon, lat, back = geod.fwd(*place, 50, along)
        lon, lat, _ = geod.fwd(lon, lat, (back - 90) if along else 140, across)
        ends.append((lon, lat))
    move = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    strip = shapely.Polygon(np.column_stack(move.transform(*np.transpose(ends))))
    found = lake_lines(strip, crs)
    assert found.effective_length == pytest.approx(np.hypot(3000, 20), rel=2e-4)
    assert found.bearing == pytest.approx(50, abs=0.45)  # a diagonal of the strip is 0.38 off
    assert found.breadth == pytest.approx(20, rel=0.01)


def test_ground_vectors_on_a_plane_are_the_bearings() -> None:
    ways = ground_vectors(np.array([0.0, 90, 225]), None, np.array([5.0, 5]))
    half = np.sqrt(0.5)
    np.testing.assert_allclose(ways, [[0, 1], [1, 0], [-half, -half]], atol=1e-12)
