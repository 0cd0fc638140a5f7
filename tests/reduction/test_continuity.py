"""What the soundings beside a run lead one to expect in it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import siegelslopes

from toolbox.layers import Soundings
from toolbox.reduction.continuity import SIDE, expected, jumps, resolution, roughness
from toolbox.reduction.kernels import carried_on, carried_on_few
from toolbox.reduction.stretches import Stretches, along_lines

Floats = NDArray[np.float64]


def line(depth: Floats, easting: Floats | None = None) -> Stretches:
    easting = np.arange(len(depth)) * 2.5 if easting is None else easting
    place = np.column_stack([easting, np.zeros(len(depth))])
    return along_lines(
        Soundings.from_arrays(place, depth, crs=None, line="a", source="track"), max_step=25
    )


def test_a_straight_bed_is_carried_on() -> None:
    depth = 5 + 0.2 * np.arange(20)
    for length in (1, 2, 3):
        found = expected(line(depth), length)
        first = np.arange(2, 20 - length - 1)
        np.testing.assert_allclose(found.before[first], depth[first])
        np.testing.assert_allclose(found.after[first], depth[first + length - 1])


def test_it_is_the_line_of_repeated_median_slope_through_four_soundings() -> None:
    # independent: scipy's estimator of Siegel
    random = np.random.default_rng(3)
    depth, easting = random.normal(8, 1, 30), np.cumsum(random.uniform(1, 3, 30))
    found = expected(line(depth, easting)).before
    for at in range(4, 30):
        slope = siegelslopes(depth[at - 4 : at], easting[at - 4 : at])[0]
        reach = easting[at - 1] - easting[at - 4]
        level = np.median(depth[at - 4 : at] - slope * (easting[at - 4 : at] - easting[at - 1]))
        on = min(easting[at] - easting[at - 1], reach)
        assert found[at] == pytest.approx(level + slope * on)


def test_one_wrong_sounding_of_four_does_little() -> None:
    depth = np.full(20, 6.0)
    depth[8] = 30
    found = expected(line(depth))
    np.testing.assert_allclose(found.before[9:13], 6)
    np.testing.assert_allclose(found.after[4:8], 6)


def test_it_is_not_carried_farther_than_it_reaches() -> None:
    easting = np.r_[np.arange(4) * 1.0, 20 + np.arange(4) * 1.0]
    found = expected(line(np.r_[[1.0, 2, 3, 4], [9.0, 9, 9, 9]], easting))
    assert found.before[4] == pytest.approx(4 + 3)


def test_too_few_soundings_and_other_stretches_tell_nothing() -> None:
    found = expected(line(np.full(10, 4.0), np.r_[np.arange(5), 100 + np.arange(5)]), 2)
    assert np.isnan(found.before).tolist() == [True] * 2 + [False] * 2 + [True] * 3 + [
        False
    ] * 2 + [True]
    assert np.isnan(found.after).tolist() == [False] * 2 + [True] * 3 + [False] * 2 + [True] * 3


def test_miss_is_signed_and_zero_between_the_two_sides() -> None:
    found = expected(line(np.r_[np.full(6, 4.0), np.full(6, 9.0)]))
    at = 6
    reading = np.full(12, 0.0)
    for depth, miss in ((3.0, -1.0), (4.0, 0.0), (6.5, 0.0), (9.0, 0.0), (9.5, 0.5)):
        reading[at] = depth
        assert found.miss(reading, reading)[at] == pytest.approx(miss)


def test_roughness_follows_the_noise_of_the_line() -> None:
    random = np.random.default_rng(6)
    quiet, loud = (roughness(line(20 + random.normal(0, sd, 2000))) for sd in (0.1, 0.4))
    assert np.median(loud) / np.median(quiet) == pytest.approx(4, rel=0.15)
    # the nearer of two expectations, each with the noise of four soundings: about one noise
    assert 0.07 < np.median(quiet) < 0.13


def test_roughness_is_no_less_than_what_is_noted() -> None:
    coarse = roughness(line(np.repeat([4.0, 4.5, 4.0, 4.5], 30)))
    assert np.median(coarse) == pytest.approx(0.25)
    assert np.median(roughness(line(np.full(60, 50.0)))) == pytest.approx(0.15)  # 0.3 %


def test_a_few_blunders_do_not_roughen_a_line() -> None:
    random = np.random.default_rng(6)
    depth = 20 + random.normal(0, 0.1, 600)
    before = roughness(line(depth))
    depth[random.choice(600, 30, replace=False)] *= 2
    assert np.median(roughness(line(depth))) < 1.5 * np.median(before)


def test_many_soundings_are_dealt_with_as_few_are() -> None:
    random = np.random.default_rng(5)
    depth, along = random.normal(8, 1, 3000), np.cumsum(random.uniform(0, 3, 3000))
    first = np.repeat(np.arange(0, 3000, 100), 100)
    many, few = np.full((2, 2, 3000), 99.0)
    carried_on(depth, along, first, first + 100, SIDE, *many)
    carried_on_few(depth, along, first, first + 100, SIDE, *few)
    np.testing.assert_array_equal(many, few)
    assert np.isnan(few).sum() == 2 * 2 * 30  # two at the beginning and the end of each stretch


def test_resolution() -> None:
    assert resolution(np.array([1.1, 1.4, 1.2, 9.0])) == pytest.approx(0.1)
    assert resolution(np.array([3.0, 3.0])) == 0


def test_a_cliff_is_a_jump_and_a_slope_is_none() -> None:
    random = np.random.default_rng(1)
    noise = random.normal(0, 0.05, 80)
    cliff = np.where(np.arange(80) < 40, 5.0, 12.0) + noise
    assert np.flatnonzero(jumps(line(cliff))).tolist() == [39]
    slope = 5 + 0.8 * np.arange(80) + noise
    assert not jumps(line(slope)).any()


def test_across_a_gap_the_bed_may_run_on() -> None:
    random = np.random.default_rng(2)
    easting = np.r_[np.arange(40) * 2.5, 115 + np.arange(40) * 2.5]
    depth = 3 + 0.25 * easting + random.normal(0, 0.02, 80)
    assert not jumps(line(depth, easting)).any()
    depth[40:] += 15
    assert np.flatnonzero(jumps(line(depth, easting))).tolist() == [39]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-50, 50), st.floats(0.2, 20))
def test_shifting_and_scaling_a_line_shifts_and_scales_what_is_expected(
    seed: int, shift: float, scale: float
) -> None:
    depth = np.random.default_rng(seed).normal(0, 1, 25)
    one, other = expected(line(depth)), expected(line(shift + scale * depth))
    np.testing.assert_allclose(other.before, shift + scale * one.before, atol=1e-7)
    np.testing.assert_allclose(other.after, shift + scale * one.after, atol=1e-7)
