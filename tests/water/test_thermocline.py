"""The thermocline is found where a profile was made to have it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.water.density import water_density
from toolbox.water.thermocline import find_layering

WARM = np.linspace(4.0, 30.0, 5000)


def of_density(density: np.ndarray) -> np.ndarray:
    """Return the temperatures above 4 degrees at which water has given densities."""
    return np.interp(-density, -water_density(WARM), WARM)


def tanh_profile(depth: np.ndarray, centre: float, thickness: float) -> np.ndarray:
    upper, lower = water_density(np.array([22.0, 7.0]))
    return of_density(
        (upper + lower) / 2 + (lower - upper) / 2 * np.tanh((depth - centre) / thickness)
    )


@given(st.floats(4.0, 9.0), st.floats(0.3, 2.5), st.sampled_from([0.5, 1.0, 2.0]))
def test_the_centre_of_a_tanh_is_recovered_within_half_a_step(
    centre: float, thickness: float, step: float
) -> None:
    depth = np.arange(0.0, 14.1, step)
    found = find_layering(depth, tanh_profile(depth, centre, thickness))
    assert found.state == "stratified"
    assert abs(found.thermocline - centre) <= step / 2 + 0.005


def test_the_refinement_is_better_than_half_a_step() -> None:
    depth = np.arange(0.0, 14.1)
    centres = np.linspace(5.5, 6.5, 11)
    off = [find_layering(depth, tanh_profile(depth, c, 1.5)).thermocline - c for c in centres]
    assert np.abs(off).max() < 0.15


def test_the_metalimnion_of_a_tanh() -> None:
    # derived: D/(2 w) sech^2(x/w) = threshold at x = w acosh(sqrt(D / (2 w threshold)))
    depth = np.arange(0.0, 20.01, 0.5)
    jump = float(np.diff(water_density(np.array([22.0, 7.0])))[0])
    half = 1.5 * np.arccosh(np.sqrt(jump / (2 * 1.5 * 0.1)))
    found = find_layering(depth, tanh_profile(depth, 8.0, 1.5), threshold=0.1)
    assert found.gradient == pytest.approx(jump * np.tanh(0.5 / 1.5), rel=1e-3)  # over 0.5 m
    assert found.top == pytest.approx(8 - half, abs=0.05)
    assert found.bottom == pytest.approx(8 + half, abs=0.05)


def test_the_mixed_layer_ends_where_water_is_a_tenth_denser() -> None:
    depth = np.array([0.0, 2.0, 4.0, 6.0])
    density = water_density(np.array([20.0]))[0] + np.array([0.0, 0.0, 0.4, 1.0])
    found = find_layering(depth, of_density(density))
    assert found.mixed == pytest.approx(2.5, abs=0.01)  # derived
    assert find_layering(depth, np.full(4, 12.0)).mixed == 6.0


def test_mixed_inverse_and_single() -> None:
    depth = np.arange(6.0)
    mixed = find_layering(depth, np.array([8.1, 8.0, 8.0, 8.0, 7.9, 7.9]))
    assert mixed.state == "mixed"
    assert np.isnan([mixed.thermocline, mixed.top, mixed.bottom]).all()
    assert 0 < mixed.gradient < 0.1
    weak = find_layering(depth, np.array([0.4, 1.5, 2.4, 3.0, 3.4, 3.6]))
    assert weak.state == "inverse"
    assert np.isnan(weak.thermocline)
    steep = find_layering(depth, np.array([0.0, 3.5, 3.7, 3.8, 3.9, 4.0]))
    assert steep.state == "inverse"
    assert steep.thermocline == 0.5
    assert find_layering(np.array([1.0]), np.array([8.0])).state == "one depth"
    assert find_layering(np.array([]), np.array([])).state == "one depth"


def test_the_ends_of_a_profile_bound_the_metalimnion() -> None:
    found = find_layering(np.array([0.0, 1.0, 2.0]), np.array([24.0, 18.0, 12.0]))
    assert (found.top, found.bottom) == (0.0, 2.0)
    assert found.thermocline == pytest.approx(0.5)


def test_readings_close_together_are_taken_over_a_span() -> None:
    depth = np.arange(0.0, 14.001, 0.05)
    noise = np.random.default_rng(7).normal(0, 0.05, len(depth))
    noisy = tanh_profile(depth, 6.0, 1.5) + noise
    found = find_layering(depth, noisy)
    assert found.thermocline == pytest.approx(6.0, abs=0.6)
    raw = find_layering(depth, noisy, span=0.01)
    assert raw.gradient > 1.5 * found.gradient


def test_readings_as_uneven_as_they_come() -> None:
    """An observer reads every 2 m, and densely where the line gets cold."""
    depth = np.array([0.0, 2, 4, 4.9999, 5.0001, 6, 8, 10])
    found = find_layering(depth, np.where(depth < 5, 20.0, 10.0))
    assert found.thermocline == pytest.approx(5.0, abs=1e-3)
    assert found.gradient == pytest.approx(1.49596 / 0.5, abs=1e-3)  # over the span of half a metre
    assert (found.top, found.bottom) == pytest.approx((5.0, 5.0), abs=1e-3)
    wide = find_layering(np.array([0.0, 4, 5, 8]), np.array([20.0, 20, 10, 10]))
    assert wide.thermocline == pytest.approx(4.5)


@given(
    st.lists(st.tuples(st.floats(0.05, 5), st.floats(0, 40)), min_size=2, max_size=12),
    st.floats(0.001, 2),
)
def test_the_thermocline_lies_in_the_metalimnion(
    steps: list[tuple[float, float]], threshold: float
) -> None:
    depth = np.cumsum([height for height, _ in steps])
    found = find_layering(depth, np.array([t for _, t in steps]), threshold=threshold)
    if np.isnan(found.thermocline):
        assert found.state in ("mixed", "inverse", "one depth")
    else:
        assert depth[0] <= found.top <= found.thermocline <= found.bottom <= depth[-1]
        assert found.gradient >= threshold
