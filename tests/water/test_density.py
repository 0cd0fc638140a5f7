"""Density of fresh water against the publication's table and an independent equation of state."""

import gsw
import numpy as np
import pytest

from toolbox.water.density import outside_density_range, water_density


def test_the_table_of_tanaka() -> None:
    # Tanaka et al. 2001 as computed by another program (connorb.github.io/preMetabolizer,
    # calc_water_density); at 4, 5 and 25 degrees derived from the formula
    published = {
        0: 999.8428, 4: 999.9749, 5: 999.9668, 10: 999.7027, 15: 999.1026, 20: 998.2067,
        25: 997.0470, 30: 995.6488,
    }  # fmt: skip
    found = water_density(np.array(list(published), float))
    np.testing.assert_allclose(found, list(published.values()), atol=1e-4)


def test_an_independent_equation_of_state() -> None:
    # TEOS-10 through gsw, at no salt and the pressure of the surface; the two part by 0.0007 at
    # most below 30 degrees (check values), and by little more up to 40
    t = np.linspace(0.0, 40.0, 81)
    apart = np.abs(water_density(t) - gsw.rho_t_exact(0, t, 0))
    assert apart[t <= 30].max() < 0.001
    assert apart.max() < 0.005


def test_the_equation_of_1981() -> None:
    # UNESCO 1981, check values at no salt: 999.96675 at 5 and 997.04796 at 25 degrees, from memory
    found = water_density(np.array([5.0, 25.0]))
    np.testing.assert_allclose(found, [999.96675, 997.04796], atol=0.0015)


def test_differences_of_density() -> None:
    # derived with the equations of Tanaka (1.49596) and UNESCO (1.49576), and TEOS-10
    ten, twenty = water_density(np.array([10.0, 20.0]))
    assert ten - twenty == pytest.approx(1.49596, abs=1e-5)
    assert ten - twenty == pytest.approx(1.49576, rel=2e-4)
    independent = -np.diff(gsw.rho_t_exact(0, np.array([10.0, 20.0]), 0))[0]
    assert ten - twenty == pytest.approx(independent, rel=1e-3)


def test_water_is_densest_near_four_degrees() -> None:
    t = np.linspace(0, 10, 10_001)
    assert t[water_density(t).argmax()] == pytest.approx(3.983, abs=0.001)
    assert water_density(t).max() <= 999.974950


def test_temperatures_beyond_the_formula_are_told() -> None:
    assert outside_density_range(np.array([0.0, 40.0, np.nan])) == ()
    assert outside_density_range(np.array([-0.1, 12.0, 41.0])) == (
        "2 temperatures lie outside 0 to 40 C, the range of the density",
    )
