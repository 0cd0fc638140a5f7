"""Bearings, distances and areas are those on the ground."""

import numpy as np
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.layers.geodesy import areal_scale, bearings, distances, travel

LOCAL = 'LOCAL_CS["harbour grid",UNIT["metre",1]]'

# ---- the areal scale ----


def small_squares(crs: pyproj.CRS, place: np.ndarray, half: float = 50.0) -> np.ndarray:
    """Map area over geodesic area of a small square (Karney 2013), whatever the projection."""
    corners = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    geodetic, geod = crs.geodetic_crs, crs.get_geod()
    assert geodetic is not None
    assert geod is not None
    move = pyproj.Transformer.from_crs(crs, geodetic, always_xy=True)
    degree = np.degrees(geodetic.axis_info[0].unit_conversion_factor)  # grads in some
    found = []
    for spot in place:
        longitude, latitude = move.transform(*(spot + corners).T)
        area = geod.polygon_area_perimeter(longitude * degree, latitude * degree)[0]
        found.append(4 * half**2 / abs(area))
    return np.array(found)


CASES = {
    32633: (14.9, 47.1),
    32632: (14.9, 47.1),
    25832: (10.0, 50.0),
    3035: (10.0, 60.0),
    2154: (2.5, 46.9),
    3978: (-95.0, 50.0),
    5070: (-90.0, 44.0),
    3413: (-40.0, 72.0),
    6933: (30.0, -20.0),
    3395: (30.0, 55.0),
    3857: (30.0, 55.0),
    27572: (2.5, 46.9),
}


def around(code: int, width: float = 20_000) -> tuple[pyproj.CRS, np.ndarray]:
    crs = pyproj.CRS(code)
    move = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    middle = np.array(move.transform(*CASES[code]))
    offsets = np.random.default_rng(code).uniform(-width / 2, width / 2, (12, 2))
    return crs, middle + offsets


@pytest.mark.parametrize("code", CASES)
def test_areal_scale_is_that_of_small_squares(code: int) -> None:
    crs, place = around(code)
    np.testing.assert_allclose(areal_scale(crs, place), small_squares(crs, place), rtol=1e-6)


@pytest.mark.parametrize("code", [32633, 3035, 2154, 3978, 5070, 3413])
def test_areal_scale_over_a_lake_of_100_km_is_that_of_an_independent_library(code: int) -> None:
    # PROJ's own factors (not its Web Mercator, whose factors are those of the sphere)
    crs, place = around(code, 100_000)
    to_degrees = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    factors = pyproj.Proj(crs).get_factors(*to_degrees.transform(*place.T))
    np.testing.assert_allclose(areal_scale(crs, place), factors.areal_scale, rtol=1e-8)


def test_equal_area_maps_have_scale_one() -> None:
    for code in (3035, 5070, 6933):
        np.testing.assert_allclose(areal_scale(*around(code)), 1, atol=1e-7)


def test_scale_on_the_central_meridian_of_utm() -> None:
    # Snyder 1987, Map Projections, USGS Prof. Paper 1395, p. 57: scale factor 0.9996
    place = np.array([[500_000, 5_000_000.0], [500_000, 5_000_100]])
    np.testing.assert_allclose(areal_scale(pyproj.CRS(32633), place), 0.9996**2, rtol=1e-9)


def test_a_plane_has_scale_one_and_nothing_has_none() -> None:
    place = np.array([[0, 0], [100, 200.0]])
    for crs in (None, pyproj.CRS(LOCAL)):
        assert areal_scale(crs, place).tolist() == [1, 1]
    assert areal_scale(pyproj.CRS(32633), np.empty((0, 2))).tolist() == []


@pytest.mark.parametrize("code", [32633, 3857, 3978, 3413])
def test_areal_scale_of_many_places_is_that_of_few_at_a_time(code: int) -> None:
    middle, rng = around(code, 100_000)[1].mean(axis=0), np.random.default_rng(code)
    place, crs = middle + rng.uniform(-50_000, 50_000, (600, 2)), pyproj.CRS(code)
    few = [areal_scale(crs, place[k : k + 50]) for k in range(0, len(place), 50)]
    np.testing.assert_allclose(areal_scale(crs, place), np.concatenate(few), rtol=2e-10)


# ---- bearings, distances and travel ----


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 360, exclude_max=True), st.floats(0.1, 5000), st.sampled_from([32633, 3857]))
def test_travel_is_the_geodesic_and_bearings_undo_it(
    bearing: float, distance: float, code: int
) -> None:
    crs = pyproj.CRS(code)
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    start = np.array([to_degrees.transform(14.0, 47.0, direction="INVERSE")])
    end = travel(start, np.array([bearing]), np.array([distance]), crs)
    geod = pyproj.Geod(ellps="WGS84")
    forward, _, length = geod.inv(14.0, 47.0, *to_degrees.transform(*end[0]))
    assert length == pytest.approx(distance, abs=1e-6)
    turned = (forward - bearing + 180) % 360 - 180
    assert turned * distance == pytest.approx(0, abs=1e-3)
    back = (bearings(start, end, crs)[0] - bearing + 180) % 360 - 180
    assert back * distance == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    ("bearing", "east", "north"), [(0, 0, 10), (90, 10, 0), (180, 0, -10), (270, -10, 0)]
)
def test_travel_on_a_plane(bearing: float, east: float, north: float) -> None:
    start = np.array([[100.0, 200.0]])
    end = travel(start, np.array([bearing]), np.array([10.0]), None)
    np.testing.assert_allclose(end, [[100 + east, 200 + north]], atol=1e-12)
    assert bearings(start, end, None)[0] == pytest.approx(bearing)


def test_travel_in_a_crs_of_grads() -> None:
    crs = pyproj.CRS(27572)
    start = np.array([[600_000.0, 2_200_000.0]])
    end = travel(start, np.array([90.0]), np.array([1000.0]), crs)
    # Lambert's zone II is conformal with a scale of 1 to a few parts in ten thousand
    assert np.hypot(*(end - start)[0]) == pytest.approx(1000, rel=1e-3)
    assert bearings(start, end, crs)[0] == pytest.approx(90, abs=0.01)


@pytest.mark.parametrize("code", [32633, 3857, 3413, 27572])
def test_distances_are_geodesic(code: int) -> None:
    crs = pyproj.CRS(code)
    longitude, latitude = (2.5, 46.9) if code == 27572 else (13.0, 62.0)
    bearing, away = np.array([0.0, 77, 200]), np.array([10.0, 500, 3000])
    move = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    geod = pyproj.Geod(ellps="WGS84")
    ends = geod.fwd(np.full(3, longitude), np.full(3, latitude), bearing, away)[:2]
    start = np.tile(move.transform(longitude, latitude), (3, 1))
    found = distances(start, np.column_stack(move.transform(*ends)), crs)
    np.testing.assert_allclose(found, away, rtol=1e-4 if code == 27572 else 1e-6)


def test_distances_on_a_plane() -> None:
    start, end = np.array([[0.0, 0], [1, 1]]), np.array([[3.0, 4], [1, 1]])
    for crs in (None, pyproj.CRS(LOCAL)):
        assert distances(start, end, crs).tolist() == [5, 0]


def test_a_local_grid_takes_its_own_north_for_true() -> None:
    end = travel(np.zeros((1, 2)), np.array([90.0]), np.array([10.0]), pyproj.CRS(LOCAL))
    np.testing.assert_allclose(end, [[10, 0]], atol=1e-12)
