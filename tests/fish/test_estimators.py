"""Estimators: closed forms of the jackknife, and intervals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from toolbox.errors import LayerError
from toolbox.fish.estimators import (
    densities,
    effective_freedom,
    effective_units,
    jackknife,
    log_interval,
    raised,
    variance_of,
)

COUNTS = arrays(float, (5, 3), elements=st.integers(0, 50).map(float))
VOLUMES = arrays(float, (5, 3), elements=st.floats(0.5, 20))


def test_equal_transects_give_the_plain_variance() -> None:
    # derived: with equal volumes, one layer, the jackknife is N^2 s^2 / n exactly
    counts = np.array([[3.0], [8], [1], [12], [6]])
    volumes = np.full((5, 1), 4.0)
    water = np.array([1000.0])
    total = float(raised(densities(counts, volumes), water).sum())
    assert total == pytest.approx(1000 * 6 / 4)
    variance = variance_of(jackknife(counts, volumes, water).sum(axis=1), total)
    assert variance == pytest.approx((1000 / 4) ** 2 * counts.var(ddof=1) / 5)


def test_unequal_transects_come_near_the_ratio_form() -> None:
    # Cochran 1977, chapter 6 (from memory): N^2 / (n vbar^2) sum (y - d v)^2 / (n - 1)
    rng = np.random.default_rng(3)
    volumes = rng.uniform(8, 12, (60, 1))
    counts = rng.poisson(3 * volumes).astype(float)
    density = float(densities(counts, volumes)[0])
    formula = ((counts - density * volumes) ** 2).sum() / 59 / 60 / volumes.mean() ** 2
    left = jackknife(counts, volumes, np.array([1.0])).sum(axis=1)
    assert variance_of(left, density) == pytest.approx(formula, rel=0.05)


def test_layers_of_one_transect_vary_together() -> None:
    # derived: two layers with the same counts have four times the variance of one, not twice
    one = np.array([[3.0], [8], [1], [12]])
    volumes = np.array([[2.0], [4], [1], [5]])
    alone = jackknife(one, volumes, np.array([100.0])).sum(axis=1)
    both = jackknife(np.hstack([one, one]), np.hstack([volumes] * 2), np.array([100.0, 100]))
    total = float(densities(one, volumes)[0] * 100)
    variance = variance_of(alone, total)
    assert variance_of(both.sum(axis=1), 2 * total) == pytest.approx(4 * variance)


def test_a_layer_only_one_transect_searched() -> None:
    counts, volumes = np.array([[4.0, 9], [6, 0]]), np.array([[2.0, 3], [2, 0]])
    left = jackknife(counts, volumes, np.array([10.0, 10]))
    assert left[0].tolist() == pytest.approx([30, 30])  # the density of the layer above
    assert left[1].tolist() == pytest.approx([20, 30])
    above = jackknife(counts[:, ::-1], volumes[:, ::-1], np.array([10.0, 10]))
    assert above[0].tolist() == pytest.approx([30, 30])  # or below, where none is above


@given(COUNTS, VOLUMES)
def test_a_layer_nobody_searched_is_unknown_and_adds_nothing(
    counts: np.ndarray, volumes: np.ndarray
) -> None:
    volumes = volumes.copy()
    volumes[:, 1] = 0
    density = densities(counts, volumes)
    assert np.isnan(density).tolist() == [False, True, False]
    left = jackknife(counts, volumes, np.full(3, 7.0))
    assert (left[:, 1] == 0).all()
    assert (left >= 0).all()


@given(COUNTS, VOLUMES, st.floats(0.1, 10))
def test_twice_the_fish_twice_the_number(
    counts: np.ndarray, volumes: np.ndarray, factor: float
) -> None:
    water = np.array([5.0, 6, 7])
    left = jackknife(counts, volumes, water)
    np.testing.assert_allclose(jackknife(factor * counts, volumes, water), factor * left)
    np.testing.assert_allclose(jackknife(counts, factor * volumes, water) * factor, left)


@given(VOLUMES)
def test_effective_units(volumes: np.ndarray) -> None:
    found = effective_units(volumes, np.array([1.0, 2, 3]))
    assert 1 <= found <= 5 + 1e-9
    assert effective_units(np.ones((5, 3)), np.array([1.0, 2, 3])) == pytest.approx(5)
    assert effective_units(np.zeros((5, 3)), np.array([1.0, 2, 3])) == 0


def test_freedom_of_a_sum() -> None:
    # Satterthwaite 1946; derived: equal variances of 5 and 5 degrees have 10
    assert effective_freedom((2.0, 2.0), (5, 5)) == pytest.approx(10)
    assert effective_freedom((2.0, 0.0), (5, 99)) == pytest.approx(5)
    assert np.isnan(effective_freedom((0.0,), (5,)))


def test_welch_of_an_independent_library() -> None:
    one, two = np.array([1.0, 4, 2, 8, 5]), np.array([2.0, 2, 3, 9])
    freedom = stats.ttest_ind(one, two, equal_var=False).df
    parts = (one.var(ddof=1) / 5, two.var(ddof=1) / 4)
    assert effective_freedom(parts, (4, 3)) == pytest.approx(freedom)


def test_interval_of_a_figure_that_cannot_be_negative() -> None:
    figure = log_interval(100.0, 2500.0, 6.0)
    assert figure.low * figure.high == pytest.approx(100.0**2)
    # derived: t(0.95, 6) = 1.943, sqrt(ln 1.25) = 0.4724
    assert figure.high / 100 == pytest.approx(np.exp(1.9432 * 0.47238), rel=1e-4)
    assert log_interval(100.0, 1e6, 2.0).low > 0
    certain = log_interval(100.0, 0.0, np.nan)
    assert (certain.low, certain.high) == (100, 100)
    for unknown in (log_interval(0.0, 1.0, 3.0), log_interval(5.0, np.nan, 3.0)):
        assert np.isnan([unknown.low, unknown.high]).all()
    with pytest.raises(LayerError, match=r"variance must be >= 0, got -1"):
        log_interval(1.0, -1.0, 3.0)
