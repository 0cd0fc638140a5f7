"""Anoxic water of exact solids."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles, Tin
from toolbox.water.anoxia import anoxic_water, oxycline, share_below

SQUARE = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
FANS = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])


def pyramid(draws: np.ndarray | None = None) -> Tin:
    depth = np.array([0.0, 0.0, 0.0, 0.0, 10.0])
    return Tin(SQUARE, depth, FANS, np.full(5, 2), None, draws=draws)


def profiles(depth: list[float], oxygen: list[float], **more: object) -> Profiles:
    time = pd.to_datetime(["2026-07-01"] * len(depth), utc=True)
    return Profiles(pd.DataFrame({"time": time, "depth_m": depth, "oxygen_mg_l": oxygen} | more))


def test_share_of_a_layer() -> None:
    edges = np.array([4.0, 2.0, 0.0, 1.0, np.nan, 1.0, 3.0])
    # derived: linear between the planes; what is at the limit counts
    assert share_below(edges, 1.0).tolist() == [0, 0.5, 1, 0, 0, 0]
    assert share_below(np.array([1.0, 1.0]), 1.0).tolist() == [1]


@given(st.lists(st.floats(0, 12), min_size=2, max_size=8), st.floats(0, 12), st.floats(0, 12))
def test_more_water_lies_below_a_higher_limit(
    values: list[float], one: float, other: float
) -> None:
    low, high = (share_below(np.array(values), limit) for limit in sorted((one, other)))
    assert (low <= high + 1e-12).all()
    assert (low >= 0).all()
    assert (high <= 1).all()


def test_the_oxycline() -> None:
    depth = np.array([0.0, 2, 4, 6, 8])
    assert oxycline(depth, np.array([9, 9, 5, 0.5, 0.1]), 1.0) == pytest.approx(4 + 2 * 4 / 4.5)
    # a poor layer above better water is not the oxycline
    assert oxycline(depth, np.array([9, 0.5, 5, 3, 0.0]), 1.0) == pytest.approx(6 + 2 * 2 / 3)
    assert np.isnan(oxycline(depth, np.array([9, 0.5, 5, 3, 1.1]), 1.0))
    assert oxycline(depth, np.zeros(5), 1.0) == 0.0
    assert np.isnan(oxycline(np.array([]), np.array([]), 1.0))


def test_volume_and_bed_below_the_oxycline_of_a_pyramid() -> None:
    table = anoxic_water(pyramid(), profiles([0, 4, 6, 10], [9, 2, 0, 0]))
    assert list(table.frame) == [
        "time", "station", "surface_m", "oxycline_m", "oxygen_bottom_mg_l", "anoxic_volume_m3",
        "anoxic_volume_share", "anoxic_area_m2", "anoxic_area_share",
    ]  # fmt: skip
    row = table.frame.iloc[0]
    assert row["oxycline_m"] == pytest.approx(5.0)
    assert row["anoxic_volume_share"] == pytest.approx(1 / 8)  # derived
    assert row["anoxic_volume_m3"] == pytest.approx(1e5 / 3 / 8)
    assert row["anoxic_area_m2"] == pytest.approx(2.5e3)
    assert row["anoxic_area_share"] == pytest.approx(0.25)
    assert table.notes == ("anoxic: 1 mg/L or less",)


def test_another_limit_and_a_limit_off_the_planes() -> None:
    row = anoxic_water(pyramid(), profiles([0, 10], [9, 0]), oxygen=2.0, step=0.1).frame.iloc[0]
    up = 2 / 9  # derived: of the depth, from the bottom
    assert row["oxycline_m"] == pytest.approx(10 * (1 - up))
    assert row["anoxic_volume_share"] == pytest.approx(up**3, rel=0.01)
    assert row["anoxic_area_share"] == pytest.approx(up**2, rel=0.01)


def test_a_poor_layer_between_better_ones() -> None:
    water = profiles([0, 2, 2.001, 3, 3.001, 10], [9, 9, 0, 0, 9, 9])
    row = anoxic_water(pyramid(), water).frame.iloc[0]
    assert np.isnan(row["oxycline_m"])
    assert row["anoxic_volume_share"] == pytest.approx(0.8**3 - 0.7**3, rel=1e-2)  # derived
    assert row["anoxic_area_share"] == pytest.approx(0.8**2 - 0.7**2, rel=1e-2)


def test_bands_and_surfaces() -> None:
    draws = np.vstack([np.zeros((4, 41)), np.linspace(9, 11, 41)])
    water = profiles([0, 5, 8], [9, 0, 0], surface_m=0.5)
    row = anoxic_water(pyramid(draws), water).frame.iloc[0]
    for name in ("volume_{}m3", "volume_{}share", "area_{}m2", "area_{}share"):
        low, value, high = (row[f"anoxic_{name.format(end)}"] for end in ("low_", "", "high_"))
        assert low < value < high
    whole = anoxic_water(pyramid(), profiles([0, 5], [0.2, 0.1], surface_m=0.5)).frame.iloc[0]
    assert whole["anoxic_volume_share"] == pytest.approx(1)
    assert whole["anoxic_area_share"] == pytest.approx(1)
    assert whole["anoxic_area_m2"] == pytest.approx(1e4 * 0.95**2)  # derived


def test_what_anoxia_cannot_be_told_of() -> None:
    with pytest.raises(LayerError, match="anoxia needs oxygen in mg/L, and the profiles hold none"):
        anoxic_water(pyramid(), profiles([0.0], [np.nan], temperature_c=[8.0]))
    with pytest.raises(ParameterError, match="oxygen must be >= 0 mg/L, got -1"):
        anoxic_water(pyramid(), profiles([0.0], [9.0]), oxygen=-1.0)
