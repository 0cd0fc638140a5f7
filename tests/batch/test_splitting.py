"""Which water a point lies in."""

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from toolbox.batch.splitting import NOWHERE, owners


def test_islands_lakes_in_islands_and_places_outside() -> None:
    island = shapely.box(2, 2, 8, 8)
    outer = shapely.Polygon(shapely.box(0, 0, 10, 10).exterior, [island.exterior])
    inner = shapely.box(4, 4, 6, 6)
    points = np.array([[1.0, 1], [3, 3], [5, 5], [11, 5], [np.nan, np.nan]])
    found = owners(points, np.array([outer, inner]))
    assert_array_equal(found, [0, NOWHERE, 1, NOWHERE, NOWHERE])


def test_a_point_on_a_shared_border_goes_to_the_first_only() -> None:
    west, east = shapely.box(0, 0, 2, 2), shapely.box(2, 0, 4, 2)
    border = np.array([[2.0, 0.5], [2, 1.5], [2, 0]])
    assert_array_equal(owners(border, np.array([west, east])), [0, 0, 0])
    assert_array_equal(owners(border, np.array([east, west])), [0, 0, 0])


def test_a_water_of_several_parts_or_crossed_by_itself_holds_what_lies_in_it() -> None:
    parts = shapely.union_all([shapely.box(0, 0, 1, 1), shapely.box(5, 0, 6, 1)])
    crossed = shapely.Polygon([(10, 0), (12, 2), (12, 0), (10, 2)])  # a bow tie
    points = np.array([[0.5, 0.5], [5.5, 0.5], [3, 0.5], [10.2, 1], [11, 0.2], [11.8, 1]])
    found = owners(points, np.array([parts, crossed]))
    assert_array_equal(found, [0, 0, NOWHERE, 1, NOWHERE, 1])


def test_no_polygon_holds_nothing() -> None:
    waters = np.array([None, shapely.Polygon(), shapely.box(0, 0, 1, 1)], object)
    assert_array_equal(owners(np.array([[0.5, 0.5]]), waters), [2])


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_agrees_with_crossings_of_a_ray(seed: int) -> None:
    # derived: a point is inside where a ray from it crosses the rings an odd number of times
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 12))
    rings = [
        middle
        + rng.uniform(0.5, 1.4, 12)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        for middle in ((0.0, 0.0), (3.0, 0.5), (0.5, 3.2))
    ]
    points = rng.uniform(-2, 5, (400, 2))
    inside = np.array([[_crossings(point, ring) % 2 for ring in rings] for point in points], bool)
    expected = np.where(inside.any(axis=1), inside.argmax(axis=1), NOWHERE)
    found = owners(points, np.array([shapely.Polygon(ring) for ring in rings]))
    assert_array_equal(found, expected)


def _crossings(point: np.ndarray, ring: np.ndarray) -> int:
    x, y = point
    ends = np.roll(ring, -1, axis=0)
    rising = (ring[:, 1] > y) != (ends[:, 1] > y)
    start, end = ring[rising], ends[rising]
    at = start[:, 0] + (y - start[:, 1]) / (end[:, 1] - start[:, 1]) * (end[:, 0] - start[:, 0])
    return int((at > x).sum())
