"""Stability, heat and means of exact solids and of a published lake."""

from collections.abc import Callable

import gsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.water.density import water_density
from toolbox.water.water_layers import WaterLayers
from toolbox.water.weighing import (
    HEAT_CAPACITY,
    bed_mean,
    heat_content,
    schmidt_stability,
    volume_mean,
)

AREA = 1e4
POWERS = {"box": 0, "paraboloid": 1, "cone": 2}
# derived: g (rho(10) - rho(20)) times 12.5, 25/6 and 1.5625 m2 for 10 m of water with 20 degrees
# above 5 m and 10 degrees below it
STABILITY = {"box": 183.442, "paraboloid": 61.147, "cone": 22.930}


def solid(name: str, edges: np.ndarray) -> WaterLayers:
    """Cut a solid of 10 m depth whose area falls with a power of the height above its bottom."""
    power, up = POWERS[name], 1 - np.minimum(edges, 10) / 10
    below = AREA * 10 / (power + 1) * up ** (power + 1)
    return WaterLayers(edges, AREA * up**power, -np.diff(below))


def two_layers(edges: np.ndarray) -> np.ndarray:
    return np.where(edges < 5, 20.0, 10.0)


@pytest.mark.parametrize("name", POWERS)
def test_two_layers_with_planes_on_either_side_of_the_jump(name: str) -> None:
    edges = np.r_[0.0, 5 - 1e-7, 5 + 1e-7, 10.0]
    found = schmidt_stability(solid(name, edges), two_layers(edges))
    assert found.value == pytest.approx(STABILITY[name], abs=6e-4)
    assert np.isnan(found.low)


@pytest.mark.parametrize("name", POWERS)
def test_two_layers_read_every_tenth_of_a_metre(name: str) -> None:
    edges = np.r_[0.0, np.arange(0.05, 10, 0.1), 10.0]
    found = schmidt_stability(solid(name, edges), two_layers(edges))
    assert found.value == pytest.approx(STABILITY[name], rel=1e-3)


@pytest.mark.parametrize("name", POWERS)
def test_a_slope_of_density_does_not_depend_on_the_layers(name: str) -> None:
    """Compare with the integral by the midpoint rule, and the density of TEOS-10."""
    fine = (np.arange(100_000) + 0.5) / 1e4
    temperature = 20 - 1.5 * fine
    area = (1 - fine / 10) ** POWERS[name]
    density, centre = gsw.rho_t_exact(0, temperature, 0), (fine * area).sum() / area.sum()
    excess = density - (density * area).sum() / area.sum()
    exact = 9.81 * ((fine - centre) * excess * area).sum() * 1e-4
    for step in (0.1, 0.5):
        edges = np.arange(0, 10 + step / 2, step)
        found = schmidt_stability(solid(name, edges), 20 - 1.5 * edges)
        assert found.value == pytest.approx(exact, rel=1e-3)


@given(st.floats(0, 35), st.sampled_from(sorted(POWERS)))
def test_water_of_one_temperature_has_no_stability(temperature: float, name: str) -> None:
    edges = np.linspace(0, 10, 21)
    found = schmidt_stability(solid(name, edges), np.full(21, temperature))
    assert found.value == pytest.approx(0.0, abs=1e-8)


@given(st.lists(st.floats(4, 30), min_size=2, max_size=11), st.sampled_from(sorted(POWERS)))
def test_water_warmer_above_is_stable(values: list[float], name: str) -> None:
    edges = np.linspace(0, 10, len(values))
    found = schmidt_stability(solid(name, edges), np.sort(values)[::-1])
    assert found.value >= -1e-8


def test_colder_water_above_is_stable_below_four_degrees() -> None:
    edges = np.linspace(0, 10, 21)
    assert schmidt_stability(solid("cone", edges), np.linspace(0, 4, 21)).value > 0
    assert schmidt_stability(solid("cone", edges), np.linspace(4, 0, 21)).value < 0


def test_heat_of_two_layers() -> None:
    edges = np.r_[0.0, 5 - 1e-7, 5 + 1e-7, 10.0]
    water = solid("box", edges)
    # derived: 5 m of water of each, per m2
    expected = 5 * HEAT_CAPACITY * (water_density(np.array([20.0, 10.0])) @ [20.0, 10.0])
    found = heat_content(water, two_layers(edges), 0.0)
    assert found.value == pytest.approx(AREA * expected, rel=1e-6)
    each = heat_content(water, two_layers(edges), 0.0, per_area=True)
    assert each.value == pytest.approx(expected, rel=1e-6)
    assert heat_content(water, np.full(4, 4.0), 4.0).value == 0


def test_the_heat_capacity_of_an_independent_library() -> None:
    t = np.linspace(0, 35, 36)
    assert gsw.cp_t_exact(0, t, 0) == pytest.approx(np.full(36, HEAT_CAPACITY), rel=0.008)
    # heat from 4 to 20 degrees by TEOS-10, through the change of enthalpy
    gained = float(np.diff(gsw.enthalpy_t_exact(0, np.array([4.0, 20.0]), 0))[0])
    assert gained == pytest.approx(HEAT_CAPACITY * 16, rel=0.003)


def test_the_worked_mean_of_ice_lake() -> None:
    # volumes of 2 m layers: waterontheweb.org, data/icelake/context/morphometry.html, Table 2;
    # oxygen assumed layer by layer, mean derived: 7.2577 with the volumes as printed
    volume = np.array([3.081, 2.606, 2.134, 1.660, 1.186, 0.713, 0.242, 0.005]) * 1e5
    area = np.array([16.6, 14.2, 11.8, 9.49, 7.11, 4.75, 2.38, 0.060, 0.0]) * 1e4
    water = WaterLayers(np.arange(0.0, 17.0, 2.0), area, volume)
    oxygen = np.array([9.0, 9, 8, 6, 4, 2, 0, 0])
    assert volume_mean(water, oxygen).value == pytest.approx(7.2577, abs=1e-4)
    assert oxygen.mean() == 4.75  # which a plain mean would tell


MEANS: dict[str, tuple[Callable[..., object], float]] = {
    "by the water of a cone": (volume_mean, 20 - 10 * 0.25),
    "by its bed": (bed_mean, 20 - 10 * 1 / 3),
}


@pytest.mark.parametrize("way", MEANS)
def test_means_of_a_slope_are_those_at_the_centre(way: str) -> None:
    # derived: the centre of a cone's water lies at a quarter, that of its bed at a third of 10 m
    mean, expected = MEANS[way]
    edges = np.linspace(0, 10, 101)
    found = mean(solid("cone", edges), 20 - edges)
    assert found.value == pytest.approx(expected, abs=1e-3)  # type: ignore[attr-defined]


def test_a_part_of_the_water() -> None:
    edges = np.r_[0.0, 5 - 1e-7, 5 + 1e-7, 10.0]
    water = solid("cone", edges)
    upper = water.middle < 5 - 1e-7
    assert volume_mean(water, two_layers(edges), upper).value == 20
    assert bed_mean(water, np.array([20.0, 15.0, 10.0]), ~upper).value == pytest.approx(
        10, abs=1e-5
    )
    assert np.isnan(volume_mean(water, two_layers(edges), np.zeros(3, bool)).value)


def test_missing_values_count_only_where_there_is_water() -> None:
    edges = np.array([0.0, 5.0, 10.0, 12.0])
    water = solid("cone", edges)
    assert volume_mean(water, np.array([9.0, 9.0, np.nan])).value == 9
    assert np.isnan(volume_mean(water, np.array([np.nan, 9.0, 9.0])).value)


def test_draws_make_a_band() -> None:
    edges = np.array([0.0, 5.0, 10.0])
    volume = np.array([4.0, 1.0])
    drawn = np.column_stack([np.full(101, 4.0), np.linspace(0, 2, 101)])
    area = np.array([1.0, 0.5, 0.0])
    water = WaterLayers(edges, area, volume, np.tile(area, (101, 1)), drawn)
    found = volume_mean(water, np.array([10.0, 0.0]))
    assert found.value == 8
    # derived: 5 % and 95 % of 40 / (4 + v), which falls with v
    assert (found.low, found.high) == pytest.approx((40 / 5.9, 40 / 4.1), abs=1e-3)
