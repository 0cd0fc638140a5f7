"""Points are found in their triangles: none lost between two, none found twice."""

import numba
import numpy as np
import pytest
import scipy.spatial
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.tri import Triangulation

from toolbox.bed.location import interpolated, locate
from toolbox.errors import LayerError

CORNERS = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)


def net(place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    triangles = scipy.spatial.Delaunay(place - place.mean(axis=0)).simplices
    u, v = (place[triangles[:, k]] - place[triangles[:, 0]] for k in (1, 2))
    doubled = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    triangles = np.where(doubled[:, None] < 0, triangles[:, ::-1], triangles)
    return place, triangles[np.abs(doubled) > 1e-9]


def rectangle(seed: int, count: int = 300, *, east: float = 0, north: float = 0) -> tuple:  # type: ignore[type-arg]
    inner = np.random.default_rng(seed).uniform([0, 0], [60, 40], (count, 2))
    return net(np.vstack([CORNERS, inner]) + np.array([east, north]))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-1e4, 1e4))
def test_same_triangles_as_an_independent_library(seed: int, east: float) -> None:
    # independent: the trapezoid map of matplotlib; a third of the triangles is taken out
    vertices, triangles = rectangle(seed, 80, east=east)
    chance = np.random.default_rng(seed)
    triangles = triangles[chance.random(len(triangles)) > 0.33]
    points = chance.uniform([-10, -10], [70, 50], (400, 2)) + np.array([east, 0])
    finder = Triangulation(*vertices.T, triangles).get_trifinder()
    np.testing.assert_array_equal(locate(vertices, triangles, points)[0], finder(*points.T))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-1e6, 1e6), st.floats(-1e7, 1e7))
def test_weights_give_the_point_back_and_lie_between_nothing_and_one(
    seed: int, east: float, north: float
) -> None:
    vertices, triangles = rectangle(seed, east=east, north=north)
    points = np.random.default_rng(seed).uniform([0.1, 0.1], [59.9, 39.9], (500, 2))
    points += np.array([east, north])
    located = locate(vertices, triangles, points)
    assert (located[0] >= 0).all()
    assert located[1].min() >= -1e-9
    np.testing.assert_allclose(located[1].sum(axis=1), 1, rtol=1e-15)
    np.testing.assert_allclose(
        interpolated(vertices, triangles, located), points, rtol=0, atol=2e-8
    )


@pytest.mark.parametrize("north", [0.0, 5_234_567.125])
def test_vertices_are_exact_and_belong_to_the_first_triangle_there(north: float) -> None:
    vertices, triangles = rectangle(1, north=north)
    depth = np.random.default_rng(2).normal(5, 2, len(vertices))
    located = locate(vertices, triangles, vertices)
    np.testing.assert_array_equal(interpolated(depth, triangles, located), depth)
    first = [int(np.flatnonzero((triangles == k).any(axis=1))[0]) for k in range(len(vertices))]
    np.testing.assert_array_equal(located[0], first)


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_point_on_an_edge_has_one_owner_the_lower_number(mirrored: bool) -> None:
    vertices = CORNERS
    triangles = np.array([[0, 1, 2], [0, 2, 3]])[:: -1 if mirrored else 1]
    middles = np.array([[30, 20], [15, 10], [45, 30.0]])  # on the edge between them, exactly
    found, weights = locate(vertices, triangles, middles)
    assert found.tolist() == [0, 0, 0]
    np.testing.assert_allclose(weights @ np.ones(3), 1, rtol=1e-15)


def test_every_point_on_a_net_of_half_metres_is_found_whichever_edge_it_lies_on() -> None:
    chance = np.random.default_rng(3)
    place = np.round(chance.uniform(0, [60, 40], (200, 2)) * 2) / 2
    vertices, triangles = net(np.unique(np.vstack([CORNERS, place]), axis=0))
    east, north = np.meshgrid(np.arange(0, 60.25, 0.25), np.arange(0, 40.25, 0.25))
    points = np.column_stack([east.ravel(), north.ravel()])
    found, _ = locate(vertices, triangles, points)
    assert (found >= 0).all()
    # each triangle alone: the owner is the first that holds the point
    holds = np.array([locate(vertices, one[None], points)[0] == 0 for one in triangles])
    np.testing.assert_array_equal(found, holds.argmax(axis=0))
    assert (holds.sum(axis=0) > 1).any()


def test_points_within_a_hair_of_shared_edges_are_never_lost() -> None:
    # at map coordinates, where a step of the numbers is 1e-9 m
    vertices, triangles = rectangle(4, east=500_000.3, north=5_200_000.7)
    start, end = vertices[triangles].reshape(-1, 2), vertices[np.roll(triangles, -1, 1)]
    share = np.random.default_rng(5).random((len(start), 1))
    share[::3] = 1e-12  # close to a vertex, where many edges meet
    points = start + share * (end.reshape(-1, 2) - start)
    found, weights = locate(vertices, triangles, points)
    assert (found >= 0).all()
    assert weights.min() >= -1e-9


def test_outside_in_a_hole_and_not_finite_is_minus_one() -> None:
    inner = np.array([[10, 10], [20, 10], [20, 30], [10, 30]], float)
    ring = [[0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
    points = np.array(
        [[15, 20], [-1e-3, 5], [60.001, 5], [1e300, 0], [np.nan, 5], [5, np.inf], [5, 5]]
    )
    found, weights = locate(np.vstack([CORNERS, inner]), np.array(ring), points)
    assert found.tolist()[:-1] == [-1] * 6
    assert found[-1] in (0, 1)
    assert np.isnan(weights[:-1]).all()
    assert np.isfinite(weights[-1]).all()


def test_a_long_slanting_reach_and_a_fine_corner() -> None:
    # few of the rectangle's buckets are water; and sizes a thousand to one side by side
    along = np.linspace(0, 10_000, 400)
    banks = np.vstack([np.column_stack([along, along + w]) for w in (0, 40)])
    k = np.arange(399)
    strip = np.vstack(
        [np.column_stack([k, k + 1, k + 401]), np.column_stack([k, k + 401, k + 400])]
    )
    found, _ = locate(banks, strip, banks[strip].mean(axis=1))
    np.testing.assert_array_equal(found, np.arange(len(strip)))
    fine = np.random.default_rng(6).uniform(0, 0.5, (3000, 2))
    vertices, triangles = net(np.vstack([CORNERS, fine]))
    found, _ = locate(vertices, triangles, vertices[triangles].mean(axis=1))
    np.testing.assert_array_equal(found, np.arange(len(triangles)))


def test_many_values_at_once() -> None:
    vertices, triangles = rectangle(7)
    draws = np.random.default_rng(8).normal(size=(len(vertices), 3))
    located = locate(vertices, triangles, np.array([[30, 20], [99, 99.0]]))
    both = interpolated(draws, triangles, located)
    assert both.shape == (2, 3)
    for k in range(3):
        np.testing.assert_allclose(both[:, k], interpolated(draws[:, k], triangles, located))
    assert np.isnan(both[1]).all()


def test_no_points_is_no_points() -> None:
    found, weights = locate(*rectangle(9), np.empty((0, 2)))
    assert (found.shape, weights.shape) == ((0,), (0, 3))


def test_points_that_are_no_pairs_are_refused() -> None:
    with pytest.raises(LayerError, match=r"^points must have shape \(p, 2\), got \(4, 3\)$"):
        locate(*rectangle(9), np.zeros((4, 3)))


def test_the_same_bits_whatever_the_number_of_threads() -> None:
    vertices, triangles = rectangle(10, 2000)
    points = np.random.default_rng(11).uniform(0, 40, (20_000, 2))
    before, bits = numba.get_num_threads(), []
    try:
        for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
            numba.set_num_threads(threads)
            found, weights = locate(vertices, triangles, points)
            bits.append(found.tobytes() + weights.tobytes())
    finally:
        numba.set_num_threads(before)
    assert bits[0] == bits[1]
