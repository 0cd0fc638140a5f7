"""Erosion, transport and accumulation: published figures, and a cone."""

from dataclasses import replace

import numpy as np
import pytest
from affine import Affine

from toolbox.errors import LayerError
from toolbox.layers import Grid, Tin
from toolbox.volume.bottom_dynamics import bottom_dynamics, wave_base_grid


def pyramid(side: float, depth: float) -> Tin:
    """Make a bed with one sounding in the middle of a square: its mean depth is a third."""
    vertices = side * np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0.5, 0.5]])
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    return Tin(vertices, np.array([0, 0, 0, 0, depth]), triangles, np.array([0, 0, 0, 0, 2]), None)


def told(bed: Tin, column: str = "value") -> dict[str, object]:
    frame = bottom_dynamics(bed).frame
    return dict(zip(frame["measure"], frame[column], strict=True))


def test_a_lake_within_what_the_formulas_were_made_for() -> None:
    # Hakanson 1981, Canadian Journal of Earth Sciences 18:899, abstract: A = 100 km2, z_max = 30,
    # z_mean = 10 gives 31.658 %; its wave base 14.554 m, and 25 DR 41^(0.061 / DR) = 31.36 % at a
    # dynamic ratio of 1, from memory
    found = told(pyramid(10_000, 30))
    assert found["share by regression"] == pytest.approx(31.658, abs=0.01)
    assert found["share by dynamic ratio"] == pytest.approx(31.36, abs=0.01)
    assert found["wave base"] == pytest.approx(14.554, abs=0.001)
    assert found["dynamic ratio"] == pytest.approx(1)
    # derived: of a pyramid what is deeper than z is (1 - z / z_max)^2 of it
    assert found["share above the wave base"] == pytest.approx(
        100 * (1 - (1 - 14.554 / 30) ** 2), abs=0.01
    )
    validity = told(pyramid(10_000, 30), "validity")
    assert validity.pop("dynamic ratio") == "above 0.8: waves stir up the whole bed at times"
    assert set(validity.values()) == {""}


def test_a_small_deep_pond_is_outside() -> None:
    bed = pyramid(100, 9)
    found, validity = told(bed), told(bed, "validity")
    assert found["share by dynamic ratio"] == pytest.approx(15.39, abs=0.01)
    assert validity["share by dynamic ratio"] == "dynamic ratio below 0.2265, held at 15.4 %"
    assert validity["dynamic ratio"] == "below 0.25: slopes move more than waves do"
    assert "by the formula, held within 0 and 100 %" in str(validity["share by regression"])
    assert found["share by regression"] == 0
    assert f"share by regression: {validity['share by regression']}" in bottom_dynamics(bed).notes


def test_a_large_flat_water_is_all_stirred() -> None:
    bed = pyramid(20_000, 6)
    found, validity = told(bed), told(bed, "validity")
    assert found["share by dynamic ratio"] == 100
    assert validity["share by dynamic ratio"] == "dynamic ratio 10 above 3.8, held at 100 %"
    assert found["share above the wave base"] == 100


def test_smaller_and_deeper_than_the_regression_was_made_on() -> None:
    # Hakanson 1981 as above: A = 1 km2, z_max = 10: sqrt(A) / z_max is 0.1
    validity = told(pyramid(1000, 10), "validity")["share by regression"]
    assert (
        validity == "sqrt(A [km2]) / z_max below 0.2: smaller and deeper than the formula's lakes"
    )


def test_the_band_of_the_draws() -> None:
    # derived: draws 0.9 to 1.1 times as deep
    factor = np.linspace(0.9, 1.1, 101)
    bed = pyramid(10_000, 30)
    table = bottom_dynamics(replace(bed, draws=bed.depth[:, None] * factor))
    assert list(table.frame) == ["measure", "value", "low", "high", "unit", "source", "validity"]
    row = table.frame.set_index("measure").loc["dynamic ratio"]
    assert row["low"] == pytest.approx(1 / factor[95], rel=1e-3)
    assert row["high"] == pytest.approx(1 / factor[5], rel=1e-3)
    assert table.notes[0] == "low and high: 90 % band of 101 beds drawn"


def test_no_water() -> None:
    with pytest.raises(LayerError, match=r"^the bed is nowhere deeper than the water's edge"):
        bottom_dynamics(pyramid(10, 0))


def test_depth_above_the_wave_base() -> None:
    # Hakanson & Jansson 1983 (from memory): 1 km of effective fetch moves sediment down to 2.040 m
    cells = Affine(10, 0, 0, 0, -10, 10)
    depth = Grid(np.array([[1.0, 2.040, 5.0, np.nan]]), cells, None, "depth", "m")
    fetch = Grid(np.full((1, 4), 1000.0), cells, None, "fetch_b", "m")
    over = wave_base_grid(depth, fetch)
    np.testing.assert_allclose(over.values, [[-1.040, 0, 2.960, np.nan]], atol=5e-4)
    assert (over.name, over.unit) == ("depth_above_wave_base", "m")
    other = Grid(np.full((1, 3), 1000.0), cells, None, "fetch_b", "m")
    with pytest.raises(
        LayerError, match=r"^depth and fetch must lie on the same cells, got \(1, 4\)"
    ):
        wave_base_grid(depth, other)
    with pytest.raises(
        LayerError, match=r"^a fetch must be 0 m or more, got -2\.5: is it the fetch"
    ):
        wave_base_grid(depth, Grid(np.array([[1.0, -2.5, 0, np.nan]]), cells, None, "fetch_b", "m"))
