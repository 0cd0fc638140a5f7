"""Loads: by weight, tank water and the loading rate that holds for the way."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.stocking.haul import haul
from toolbox.stocking.transport import Transport

ROWS = [
    {"rate": "0.12 kg/L", "max_temperature": 10, "max_hours": "2 h", "source": "cold and near"},
    {"rate": "0.06 kg/L", "max_temperature": 20, "max_hours": "8 h", "source": "all"},
    {
        "rate": "0.01 kg/L",
        "max_temperature": 20,
        "max_hours": "8 h",
        "source": "fry",
        "fish": "fry",
    },
]


def truck(**changes: Any) -> Transport:
    base = {"tank": "1000 L", "haul": "90 min", "hatchery_temperature": 9.0, "loading": ROWS}
    return Transport.model_validate(base | changes)


@pytest.mark.parametrize(
    ("changes", "fish", "source"),
    [
        ({}, "pike", "cold and near"),
        ({"haul": "3 h"}, "pike", "all"),
        ({"hatchery_temperature": 11.0}, "pike", "all"),
        ({}, "fry", "fry"),
    ],
)
def test_the_best_rate_that_holds(changes: dict[str, Any], fish: str, source: str) -> None:
    row = truck(**changes).loading_for(fish)
    assert row is not None
    assert row.source == source


@given(st.floats(0, 1e5), st.integers(1, 6))
def test_loads_carry_all_and_no_more_than_needed(weight: float, tanks: int) -> None:
    found = haul(truck(tanks=tanks, price_per_load=10, price_source="offer"), "pike", weight, 9.0)
    assert found.capacity == pytest.approx(120 * tanks)
    assert found.loads * found.capacity >= weight * (1 - 1e-6) - 1e-6
    assert (found.loads - 1) * found.capacity < weight or found.loads == 0
    assert found.cost == 10 * found.loads


def test_a_load_that_is_just_full_is_one() -> None:
    assert haul(truck(), "pike", 120.0, 9.0).loads == 1
    assert haul(truck(), "pike", 120.01, 9.0).loads == 2


@pytest.mark.parametrize(("receiving", "warned"), [(14.0, False), (14.1, True), (3.9, True)])
def test_difference_of_temperature(receiving: float, warned: bool) -> None:
    warnings = haul(truck(), "pike", 1.0, receiving).warnings
    assert bool(warnings) == warned
    if warned:
        assert "5.1 °C apart, more than 5 °C, temper the fish (common practice" in warnings[0]


def test_what_is_not_known_is_said() -> None:
    assert haul(truck(), "pike", 1.0, math.nan).warnings == (
        "temperature of the receiving water not known: measure it on the day",
    )
    far = haul(truck(haul="9 h"), "pike", 1.0, 9.0)
    assert far.warnings == ("no loading rate for 9 °C and 9 h: loads not reckoned",)
    assert math.isnan(far.loads)
    assert "mean weight not known" in haul(truck(), "pike", math.nan, 9.0).warnings[0]


@pytest.mark.parametrize(
    ("ends", "told"),
    [
        ((6.0, 12.0), ""),
        ((6.0, 15.5), "receiving water 6 to 15.5 °C: up to 6.5 °C apart, more than 5 °C"),
        ((2.0, 12.0), "receiving water 2 to 12 °C: up to 7 °C apart, more than 5 °C"),
    ],
)
def test_the_worst_day_of_a_season_counts(ends: tuple[float, float], told: str) -> None:
    warnings = haul(truck(), "pike", 1.0, *ends).warnings
    assert bool(warnings) == bool(told)
    assert all(told in warning for warning in warnings)
