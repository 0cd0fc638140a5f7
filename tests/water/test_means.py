"""Means by volume and by bed of exact solids."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.layers import Profiles, Tin
from toolbox.water.means import profile_means

SQUARE = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
FANS = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
NAN = np.nan


def pyramid(draws: np.ndarray | None = None) -> Tin:
    depth = np.array([0.0, 0.0, 0.0, 0.0, 10.0])
    return Tin(SQUARE, depth, FANS, np.full(5, 2), None, draws=draws)


def profiles(depth: list[float], **columns: object) -> Profiles:
    time = pd.to_datetime(["2026-07-01"] * len(depth), utc=True)
    return Profiles(pd.DataFrame({"time": time, "depth_m": depth} | columns))


def test_two_layers_of_a_pyramid() -> None:
    water = profiles(
        [0, 4.9999, 5.0001, 10], temperature_c=[20, 20, 10, 10], oxygen_mg_l=[8, 8, 0, 0]
    )
    frame = profile_means(pyramid(), water).frame
    assert list(frame) == [
        "time", "station", "surface_m", "part", "top_m", "bottom_m", "volume_m3", "bed_area_m2",
        "temperature_c", "temperature_bed_c", "oxygen_mg_l", "oxygen_bed_mg_l",
    ]  # fmt: skip
    assert frame["part"].tolist() == ["whole", "above", "below"]
    # derived: an eighth of the water and a quarter of the bed lie below half the depth
    np.testing.assert_allclose(frame["volume_m3"], np.array([1, 7 / 8, 1 / 8]) * 1e5 / 3, rtol=1e-3)
    np.testing.assert_allclose(frame["bed_area_m2"], [1e4, 7.5e3, 2.5e3], rtol=1e-3)
    np.testing.assert_allclose(frame["temperature_c"], [18.75, 20, 10], atol=0.01)
    np.testing.assert_allclose(frame["temperature_bed_c"], [17.5, 20, 10], atol=0.01)
    np.testing.assert_allclose(frame["oxygen_mg_l"], [7, 8, 0], atol=0.01)
    np.testing.assert_allclose(frame["oxygen_bed_mg_l"], [6, 8, 0], atol=0.01)
    np.testing.assert_allclose(frame["top_m"], [0, 0, 5], atol=0.01)
    np.testing.assert_allclose(frame["bottom_m"], [10, 5, 10], atol=0.01)


def test_a_slope_is_weighed_at_the_centres() -> None:
    # derived: the centre of a pyramid's water lies at a quarter of its depth, of its bed at a third
    water = profiles([0, 10], oxygen_mg_l=[10, 0])
    row = profile_means(pyramid(), water).frame.iloc[0]
    assert row["oxygen_mg_l"] == pytest.approx(7.5, abs=1e-6)
    assert row["oxygen_bed_mg_l"] == pytest.approx(10 * 2 / 3, abs=2e-3)
    assert np.isnan(row["temperature_c"])


def test_only_the_whole_where_nothing_divides_it() -> None:
    mixed = profile_means(pyramid(), profiles([0, 5], temperature_c=[8, 8])).frame
    assert mixed["part"].tolist() == ["whole"]
    assert mixed["temperature_c"].tolist() == pytest.approx([8])
    oxygen = profile_means(pyramid(), profiles([0, 5], oxygen_mg_l=[8, 1])).frame
    assert oxygen["part"].tolist() == ["whole"]


def test_the_parts_make_up_the_whole() -> None:
    water = profiles(
        [0, 3, 4, 5, 9], temperature_c=[21, 20, 15, 9, 7], oxygen_mg_l=[9, NAN, 6, 2, 0.5]
    )
    frame = profile_means(pyramid(), water).frame
    whole, parts = frame.iloc[0], frame.iloc[1:]
    for weight, names in (
        ("volume_m3", ("temperature_c", "oxygen_mg_l")),
        ("bed_area_m2", ("temperature_bed_c", "oxygen_bed_mg_l")),
    ):
        assert parts[weight].sum() == pytest.approx(whole[weight])
        for name in names:
            assert parts[name] @ parts[weight] == pytest.approx(whole[name] * whole[weight])


def test_draws_make_bands_and_unread_water_is_told() -> None:
    draws = np.vstack([np.zeros((4, 41)), np.linspace(9, 11, 41)])
    table = profile_means(pyramid(draws), profiles([0, 5], oxygen_mg_l=[8, 2]))
    row = table.frame.iloc[0]
    assert row["oxygen_low_mg_l"] < row["oxygen_mg_l"] < row["oxygen_high_mg_l"]
    assert row["volume_low_m3"] == pytest.approx(9.1e4 / 3, rel=1e-6)  # derived: 5 % of 9 to 11 m
    assert row["volume_high_m3"] == pytest.approx(10.9e4 / 3, rel=1e-6)
    assert row["oxygen_bed_low_mg_l"] < row["oxygen_bed_mg_l"] < row["oxygen_bed_high_mg_l"]
    assert table.notes[1] == (
        "the deepest reading of oxygen stands for all water below it: up to 12.5% of the water "
        "(2026-07-01, deepest at 5 m)"
    )


@settings(max_examples=10)
@given(st.lists(st.floats(0, 20), min_size=1, max_size=6), st.floats(-1, 3))
def test_means_lie_between_the_readings(values: list[float], surface: float) -> None:
    depth = [1.5 * k for k in range(len(values))]
    row = profile_means(pyramid(), profiles(depth, oxygen_mg_l=values, surface_m=surface)).frame
    for name in ("oxygen_mg_l", "oxygen_bed_mg_l"):
        assert min(values) - 1e-9 <= row[name][0] <= max(values) + 1e-9


def test_light_alone_has_no_means() -> None:
    with pytest.raises(LayerError, match="means need temperature or oxygen, and the profiles hold"):
        profile_means(pyramid(), profiles([0.0], par=[900.0]))
