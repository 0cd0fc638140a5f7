"""Local slope: planes exactly, and nothing more than the neighbours tell."""

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.layers import Grid, Soundings
from toolbox.layers.crs import parse_crs
from toolbox.reduction.local_slope import local_slope, slope_at


def layer(place: np.ndarray, depth: np.ndarray) -> Soundings:
    return Soundings.from_arrays(place, depth, crs=None)


def plane(place: np.ndarray, slope: float, bearing: float) -> np.ndarray:
    away = np.radians(bearing)
    return 20 + np.tan(np.radians(slope)) * (place @ [np.sin(away), np.cos(away)])


def lines(count: int = 6, apart: float = 40.0, every: float = 2.0) -> np.ndarray:
    """Parallel lines to the north, a little off course."""
    rng = np.random.default_rng(5)
    east = np.repeat(apart * np.arange(count), 150) + rng.normal(0, 0.3, 150 * count)
    return np.column_stack([east, np.tile(every * np.arange(150), count)])


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 60), st.floats(0, 360), st.floats(0.5, 20), st.integers(0, 2**32 - 1))
def test_exact_on_a_plane(slope: float, bearing: float, width: float, seed: int) -> None:
    place = np.random.default_rng(seed).uniform(-100, 100, (300, 2))
    found = local_slope(layer(place, plane(place, slope, bearing)), width=width)
    # derived; a corner of the hull may see its neighbours along one line only
    assert np.median(found) == pytest.approx(slope, abs=1e-6)
    assert found.max() <= slope + 1e-6


@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0])
def test_lines_look_to_the_lines_beside_them(bearing: float) -> None:
    place = lines()
    found = local_slope(layer(place, plane(place, 10, bearing)), width=4.0)
    assert np.percentile(found, 5) == pytest.approx(10, abs=0.01)


def test_along_one_line_only_its_own_slope_is_told() -> None:
    straight = np.column_stack([np.zeros(50), np.arange(50) * 3.0])
    for bearing, told in ((0.0, 10.0), (90.0, 0.0), (60.0, 5.0385)):
        # derived: tan(told) = tan(10) cos(bearing)
        found = local_slope(layer(straight, plane(straight, 10, bearing)), width=2.0)
        np.testing.assert_allclose(found, told, atol=1e-3)


def test_noise_of_the_readings_makes_no_slope() -> None:
    rng = np.random.default_rng(6)
    place = lines(every=0.5)
    for slope, least, most in ((0.0, 0.0, 1.5), (10.0, 9.0, 11.0)):
        depth = plane(place, slope, 30) + rng.normal(0, 0.05, len(place))
        found = local_slope(layer(place, depth), width=4.0)
        assert least <= np.percentile(found, 5)
        assert np.percentile(found, 95) <= most


def test_a_rejected_sounding_tells_nothing_and_gets_what_others_tell() -> None:
    place = lines()
    depth = plane(place, 5, 0)
    wrong = np.arange(len(place)) % 7 == 3
    spoilt = layer(place, np.where(wrong, 90, depth)).reject(wrong, "spike")
    found = local_slope(spoilt, width=4.0)
    assert np.percentile(found, 5) == pytest.approx(5, abs=0.01)
    assert found.max() == pytest.approx(5, abs=0.01)


def test_too_few_neighbours_are_level_and_no_place_is_unknown() -> None:
    place = np.array([[5, 5.0], [np.nan, 0]])
    np.testing.assert_array_equal(local_slope(layer(place, np.ones(2)), width=1.0), [0, np.nan])
    near = layer(np.array([[5, 5.0], [5.1, 5]]), np.array([1, 9.0]))
    np.testing.assert_array_equal(local_slope(near, width=1.0), 0)
    none = layer(np.array([[5, 5.0]]), np.array([np.nan]))
    np.testing.assert_array_equal(local_slope(none, width=1.0), 0)
    assert local_slope(layer(np.empty((0, 2)), np.empty(0)), width=1.0).shape == (0,)


def grid(values: list[list[float]], unit: str, epsg: int | None = None) -> Grid:
    crs = parse_crs(f"EPSG:{epsg}") if epsg else None
    return Grid(np.array(values, np.float32), Affine(10, 0, 100, 0, -10, 220), crs, "slope", unit)


@pytest.mark.parametrize(
    ("unit", "values"),
    [
        ("degree", [[10, 20], [30, np.nan]]),
        ("%", [[17.6327, 36.3970], [57.7350, np.nan]]),
        ("1", [[0.176327, 0.363970], [0.577350, np.nan]]),
    ],
)
def test_a_grid_is_taken_at_the_cell_and_the_plane_elsewhere(
    unit: str, values: list[list[float]]
) -> None:
    place = np.array([[101, 219.0], [119, 211], [101, 201], [119, 201], [99, 219], [140, 205]])
    found = slope_at(layer(place, plane(place, 40, 70)), grid(values, unit), width=1.0)
    np.testing.assert_allclose(found[:3], [10, 20, 30], atol=1e-4)
    np.testing.assert_allclose(found[3:], 40, atol=1e-6)


def test_refusals_of_grids() -> None:
    one = layer(np.array([[101, 219.0]]), np.ones(1))
    with pytest.raises(LayerError, match=r"^a grid of slope must be in degree, % or 1, got 'm'$"):
        slope_at(one, grid([[1]], "m"), width=1.0)
    with pytest.raises(LayerError, match=r"^soundings must be in the CRS of the slope, project"):
        slope_at(one, grid([[1]], "degree", 32633), width=1.0)
