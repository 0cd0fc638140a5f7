"""Flats: what is inferred where a triangulation knows only the line around it."""

import numpy as np
import pytest
import scipy.spatial
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.bed.flats import (
    DistanceProfile,
    false_level_edges,
    flat_triangles,
    infer_between,
    within_isobaths,
)
from toolbox.bed.mesh import Mesh
from toolbox.layers import Breaklines, Shoreline


def ring(left: float, bottom: float, right: float, top: float, depth: float) -> np.ndarray:
    place = np.array(shapely.box(left, bottom, right, top).exterior.coords)
    return np.column_stack([place, np.full(len(place), depth)])


# ---- which triangles and edges are flat ----


def test_flat_triangles_have_all_corners_on_lines_of_one_depth() -> None:
    level = np.array([0.0, 0.0, 0.0, 2.0, np.nan])
    triangles = np.array([[0, 1, 2], [0, 1, 3], [0, 1, 4], [3, 3, 3]])
    assert flat_triangles(triangles, level).tolist() == [True, False, False, True]


def test_false_level_edges_are_inner_edges_between_vertices_of_one_level() -> None:
    # a square shore cut by one diagonal: the sides are lines, the diagonal is false
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    sides = np.array([[0, 1], [2, 1], [2, 3], [3, 0]])
    assert false_level_edges(triangles, sides, np.zeros(4)).tolist() == [[0, 2]]
    assert false_level_edges(triangles, sides[:3], np.zeros(4)).tolist() == [[0, 2], [0, 3]]
    assert false_level_edges(triangles, sides, np.array([0, 0, np.nan, 0])).tolist() == []
    assert false_level_edges(triangles, sides, np.array([0, 0, 1.0, 0])).tolist() == []


# ---- depth by distance from shore ----

SQUARE = Shoreline.from_shapes([shapely.box(0, 0, 200, 200)], None)


def test_profile_recovers_a_bank_of_constant_slope() -> None:
    # derived: depth a tenth of the distance from shore, never decreasing, so the fit is exact
    place = np.random.default_rng(1).uniform(1, 199, (400, 2))
    away = np.minimum(place, 200 - place).min(axis=1)
    profile = DistanceProfile.learn(place, away / 10, SQUARE)
    spots = np.array([[5, 100], [100, 20], [100, 90], [0, 50]], float)
    np.testing.assert_allclose(profile.at(spots, SQUARE), [0.5, 2, 9, 0], atol=1e-9)
    # beyond the farthest sounding nothing is known but its depth
    assert profile.at(np.array([[100.0, 100]]), SQUARE) == pytest.approx(away.max() / 10)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-2, 2), st.integers(1, 60))
def test_profile_never_gets_shallower_and_stays_between_shore_and_deepest(
    seed: int, edge: float, count: int
) -> None:
    shore = Shoreline.from_shapes([shapely.box(0, 0, 200, 200)], None, depth=edge)
    random = np.random.default_rng(seed)
    place, depth = random.uniform(1, 199, (count, 2)), random.uniform(-1, 9, count)
    profile = DistanceProfile.learn(place, depth, shore)
    across = np.column_stack([np.linspace(0, 100, 60), np.full(60, 100)])
    found = profile.at(across, shore)
    assert (np.diff(found) >= 0).all()
    assert found[0] == edge
    assert edge <= found[-1] <= max(edge, depth.max()) + 1e-12


def test_profile_is_isotonic_least_squares() -> None:
    # derived: pooled adjacent violators of 1, 3, 2, 6 are 1, 2.5, 2.5, 6
    place = np.array([[10, 100], [20, 100], [30, 100], [40, 100]], float)
    profile = DistanceProfile.learn(place, np.array([1, 3, 2, 6.0]), SQUARE)
    np.testing.assert_allclose(profile.at(place, SQUARE), [1, 2.5, 2.5, 6])
    np.testing.assert_allclose(profile.at(np.array([[15.0, 100], [90, 100]]), SQUARE), [1.75, 6])


def test_distance_is_not_reckoned_from_an_open_edge() -> None:
    river = SQUARE.with_open_edges([shapely.LineString([(0, 0), (0, 200)])], within=0.01)
    place = np.array([[100, 20], [100, 50], [100, 90]], float)
    profile = DistanceProfile.learn(place, np.array([2, 5, 9.0]), river)
    assert profile.at(np.array([[1.0, 90]]), river) == pytest.approx(9)


def test_a_large_survey_is_thinned_evenly() -> None:
    place = np.random.default_rng(2).uniform(1, 199, (70_000, 2))
    away = np.minimum(place, 200 - place).min(axis=1)
    profile = DistanceProfile.learn(place, away / 10, SQUARE)
    assert len(profile.distance) == 5_000 + 1
    assert profile.at(np.array([[50.0, 100]]), SQUARE) == pytest.approx(5, abs=0.05)


# ---- harmonic depths ----


def meshed(seed: int, count: int = 300) -> tuple[np.ndarray, np.ndarray]:
    points = np.random.default_rng(seed).uniform(0, 100, (count, 2))
    return points, Mesh(points, np.empty((0, 2), int)).triangles


def test_harmonic_depths_continue_a_plane() -> None:
    # derived: planes are harmonic, and linear elements reproduce them
    points, triangles = meshed(3)
    plane = 0.2 * points[:, 0] - 0.1 * points[:, 1] + 20
    hull = np.zeros(len(points), bool)
    hull[scipy.spatial.ConvexHull(points).vertices] = True
    unknown = ~hull & (np.random.default_rng(4).random(len(points)) < 0.6)
    filled = infer_between(points, triangles, np.where(unknown, np.nan, plane), unknown)
    np.testing.assert_allclose(filled, plane, rtol=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_harmonic_depths_stay_within_the_known_ones(seed: int) -> None:
    points, triangles = meshed(seed, 80)
    random = np.random.default_rng(seed)
    depth = random.uniform(0, 30, len(points))
    unknown = random.random(len(points)) < 0.5
    unknown[triangles[0]] = [False, True, False]
    filled = infer_between(points, triangles, np.where(unknown, np.nan, depth), unknown)
    np.testing.assert_array_equal(filled[~unknown], depth[~unknown])
    assert (filled[unknown] >= depth[~unknown].min()).all()
    assert (filled[unknown] <= depth[~unknown].max()).all()


def test_nothing_unknown_changes_nothing() -> None:
    points, triangles = meshed(5, 20)
    depth = np.arange(20.0)
    assert infer_between(points, triangles, depth, np.zeros(20, bool)) is depth


# ---- between isobaths ----

NESTED = Breaklines(
    (
        ring(0, 0, 100, 100, 2),
        ring(10, 10, 90, 90, 4),
        ring(20, 20, 60, 80, 6),
        ring(30, 30, 50, 50, 6),  # within the ring of its own depth: a hump
        ring(65, 20, 85, 80, 4),  # within the basin of 4 m: a rise shallower than that
    ),
    None,
)
PLACES = {
    "outside all": (-5, 50, 0.0, 2.0),
    "between 2 and 4": (5, 50, 2.0, 4.0),
    "between 4 and 6": (15, 50, 4.0, 6.0),
    "in the hole": (25, 25, 6.0, np.inf),
    "on the hump": (40, 40, 4.0, 6.0),
    "on the rise": (75, 50, 2.0, 4.0),
}


@pytest.mark.parametrize("where", PLACES)
def test_depths_are_held_between_the_isobaths_that_enclose_them(where: str) -> None:
    easting, northing, low, high = PLACES[where]
    place = np.array([[easting, northing]], float)
    quarter = (high - low) / 4 if np.isfinite(high) else 0.5  # of the last step, 4 to 6

    def held(depth: float) -> float:
        return float(within_isobaths(place, np.array([depth]), NESTED, 0.0)[0])

    assert held(low) == pytest.approx(low + quarter)
    assert held(low - 3) == pytest.approx(low + quarter)
    between = low + 0.3
    assert held(between) == between
    if np.isfinite(high):
        assert held(high) == pytest.approx(high - quarter)
        assert held(high + 50) == pytest.approx(high - quarter)
    else:
        assert held(40.0) == 40


def test_depths_not_known_yet_stay_unknown() -> None:
    found = within_isobaths(np.array([[15.0, 50]]), np.array([np.nan]), NESTED, 0.0)
    assert np.isnan(found).all()


def test_rounding_at_an_isobath_counts_as_on_it() -> None:
    found = within_isobaths(np.array([[15.0, 50]]), np.array([4 + 1e-12]), NESTED, 0.0)
    assert found == pytest.approx(4.5)


def test_open_or_sloping_lines_are_no_isobaths() -> None:
    sloping = ring(0, 0, 100, 100, 5)
    sloping[0, 2] = sloping[-1, 2] = 4
    passed_over = Breaklines((ring(0, 0, 100, 100, 5)[:-1], sloping), None)
    depth = np.array([0.25])
    found = within_isobaths(np.array([[50.0, 50]]), depth, passed_over, 0.0)
    assert found == depth


def test_the_deeper_of_two_contradicting_isobaths_is_believed() -> None:
    # the ring of 6 m lies outside that of 4 m: there the bed is deeper than 6 m
    contradiction = Breaklines((ring(0, 0, 20, 20, 4), ring(10, 0, 40, 20, 6)), None)
    found = within_isobaths(np.array([[30.0, 10]]), np.array([1.0]), contradiction, 0.0)
    assert found == pytest.approx(6.5)


def test_a_shore_above_the_datum_is_the_shallowest_limit() -> None:
    one = Breaklines((ring(0, 0, 100, 100, 2),), None)
    found = within_isobaths(np.array([[-5.0, 0]]), np.array([-3.0]), one, -1.0)
    assert found == pytest.approx(-1 + 3 / 4)
