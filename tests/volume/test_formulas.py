"""Formulas of lake morphometry: published figures and limits."""

import numpy as np
import pytest

from toolbox.volume.formulas import (
    dynamic_ratio,
    effective_share,
    hypsographic_exponent,
    hypsographic_form,
    regressed_share,
    relative_depth,
    volume_development,
    wave_base,
)


def test_ice_lake() -> None:
    # Water on the Web, Ice Lake, Minnesota, tables 1 and 2: 16.6 ha, 16 m, layers summing to
    # 11.627e5 m3; the figures are derived from them
    area, deepest, mean = 16.6e4, 16.0, 11.627e5 / 16.6e4
    assert mean == pytest.approx(7.004, abs=5e-4)
    assert volume_development(mean, deepest) == pytest.approx(1.313, abs=5e-4)
    assert relative_depth(deepest, area) == pytest.approx(3.480, abs=5e-4)
    assert dynamic_ratio(area, mean) == pytest.approx(0.0582, abs=5e-5)
    assert 1 / dynamic_ratio(area, mean) == pytest.approx(17.19, abs=5e-3)


@pytest.mark.parametrize(
    ("share", "exponent", "form"),
    [
        (1 / 3, 2, "slightly convex"),
        (1 / 2, 1, "concave"),
        (1, 0, "concave"),
        (0.1, 9, "very convex"),
    ],
)
def test_form_of_the_curve(share: float, exponent: float, form: str) -> None:
    # derived: cone, paraboloid, box; names: Hakanson 1981, Manual of Lake Morphometry (from memory)
    assert hypsographic_exponent(10 * share, 10) == pytest.approx(exponent)
    assert hypsographic_form(volume_development(10 * share, 10)) == form


@pytest.mark.parametrize(
    ("area", "deepest", "mean", "share"),
    [(100, 30, 10, 31.658), (1, 10, 4, 8.967), (5648, 106, 27, 65.640)],
)
def test_share_by_regression(area: float, deepest: float, mean: float, share: float) -> None:
    # Hakanson 1981, Canadian Journal of Earth Sciences 18:899, equation of the abstract, evaluated
    assert regressed_share(area * 1e6, mean, deepest) == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize(
    ("ratio", "share"), [(0.25, 15.47), (0.5, 19.66), (1, 31.36), (2, 56.00), (3.8, 100.8)]
)
def test_share_by_dynamic_ratio(ratio: float, share: float) -> None:
    # Hakanson & Jansson 1983 (from memory): 25 DR 41^(0.061 / DR); 100 % at 3.8
    assert effective_share(ratio) == pytest.approx(share, abs=0.05)


def test_the_least_share_is_where_the_formula_turns() -> None:
    # derived: d/dDR (ln DR + 0.061 ln 41 / DR) = 0; remembered: 15 % at least
    ratio = np.linspace(0.01, 1, 991)
    share = effective_share(ratio)
    assert (np.diff(share) >= 0).all()
    assert share[0] == pytest.approx(25 * 0.061 * np.log(41) * np.e)


@pytest.mark.parametrize(
    ("area", "base"), [(0.1, 0.665), (1, 2.040), (10, 5.884), (100, 14.554), (1000, 27.255)]
)
def test_wave_base(area: float, base: float) -> None:
    # Hakanson & Jansson 1983 (from memory): 45.7 sqrt(A) / (21.4 + sqrt(A)), A in km2
    assert wave_base(np.sqrt(area) * 1000) == pytest.approx(base, abs=5e-4)
