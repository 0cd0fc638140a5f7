"""Where the fish stand: layers, weights by the beam's section, day and night."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.fish.beam import Beam
from toolbox.fish.depth_of_fish import depth_of_fish
from toolbox.layers import Table

COLUMNS = [
    "period", "layer", "top_m", "bottom_m", "echoes", "share", "mean_depth_m", "mean_depth_low_m",
    "mean_depth_high_m", "quarter_depth_m", "median_depth_m", "three_quarter_depth_m",
    "above_bed_m",
]  # fmt: skip
STEEP = Beam(20.0).steepness


def standing(ranges: np.ndarray, transects: int = 4, **columns: Any) -> tuple[Table, Table]:
    """Put each fish into a ping of its own, over 10 m of water."""
    number = np.arange(len(ranges))
    frame = pd.DataFrame({"transect": number % transects, "ping": number, "bed_m": 10.0} | columns)
    echoes = frame[["transect", "ping"]].assign(range_m=ranges)
    return Table(echoes), Table(frame)


def test_an_even_lake_comes_out_even() -> None:
    # derived: fish spread evenly over depth answer as range squared; the weights undo it
    rng = np.random.default_rng(1)
    last = Beam(20.0).last(np.array([10.0]))[0]
    ranges = rng.uniform(1.0, last**3, 40_000) ** (1 / 3)
    table = depth_of_fish(*standing(ranges), beam_angle=20, strata=(0.0, 5.0, 10.0))
    assert list(table.frame) == COLUMNS
    whole, upper, lower = (row for _, row in table.frame.iterrows())
    top, bottom = STEEP, STEEP * last
    middle = (top + bottom) / 2
    assert whole["mean_depth_m"] == pytest.approx(middle, abs=0.08)
    assert whole["median_depth_m"] == pytest.approx(middle, abs=0.15)
    assert whole["quarter_depth_m"] == pytest.approx((3 * top + bottom) / 4, abs=0.15)
    assert whole["three_quarter_depth_m"] == pytest.approx((top + 3 * bottom) / 4, abs=0.15)
    assert whole["above_bed_m"] == pytest.approx(10 - whole["mean_depth_m"])
    assert whole["mean_depth_low_m"] < middle < whole["mean_depth_high_m"]
    assert upper["share"] == pytest.approx((5 - top) / (bottom - top), abs=0.02)
    assert upper["share"] + lower["share"] == pytest.approx(1)
    assert upper["echoes"] < lower["echoes"] / 4
    assert np.isnan(lower["mean_depth_low_m"])


def test_two_fish() -> None:
    # derived: weights 1 / 4 and 1 / 16
    frame = depth_of_fish(*standing(np.array([2.0, 4.0])), beam_angle=20, step=3.0, draft=0.5).frame
    whole = frame.iloc[0]
    assert whole["mean_depth_m"] == pytest.approx(0.5 + STEEP * (2 * 4 + 4) / 5)
    assert whole["median_depth_m"] == pytest.approx(0.5 + 2 * STEEP)
    assert frame["share"].tolist() == pytest.approx([1, 0.8, 0.2, 0, 0])
    assert frame["layer"].tolist()[:3] == ["whole", "0 to 3 m", "3 to 6 m"]
    assert np.isnan(frame["mean_depth_m"].iloc[-1])


def test_day_and_night() -> None:
    ranges = np.array([6.0, 6, 6, 3, 3])
    period = ["day"] * 3 + ["night"] * 2
    by_column = depth_of_fish(*standing(ranges, period=period), beam_angle=20, step=5.0).frame
    assert by_column["period"].tolist() == ["day"] * 3 + ["night"] * 3
    whole = by_column[by_column["layer"] == "whole"].set_index("period")
    assert whole["mean_depth_m"].tolist() == pytest.approx([6 * STEEP, 3 * STEEP])
    assert whole["mean_depth_low_m"].tolist() == pytest.approx([6 * STEEP, 3 * STEEP])
    assert whole["echoes"].tolist() == [3, 2]
    times = ["2026-08-12T15:00Z"] * 3 + ["2026-08-12T23:30Z"] * 2
    by_hour = depth_of_fish(
        *standing(ranges, time=times), beam_angle=20, step=5.0, night_start=21.5, night_end=7.0
    ).frame
    pd.testing.assert_frame_equal(by_hour, by_column)


def test_a_period_without_fish() -> None:
    echoes, pings = standing(np.array([3.0, 4.0, 5.0]), period=["day", "day", "night"])
    table = depth_of_fish(Table(echoes.frame[:2]), pings, beam_angle=20, step=5.0)
    night = table.frame[table.frame["period"] == "night"]
    assert night["echoes"].tolist() == [0, 0, 0]
    assert night[["share", "mean_depth_m", "mean_depth_low_m"]].isna().all(axis=None)


def test_one_transect_has_no_interval() -> None:
    frame = depth_of_fish(*standing(np.array([3.0, 4.0]), transects=1), beam_angle=20).frame
    assert frame["mean_depth_m"][0] > 3
    assert np.isnan(frame["mean_depth_low_m"][0])


def test_what_the_beam_cannot_tell_is_in_no_mean() -> None:
    table = depth_of_fish(*standing(np.array([0.5, 3.0, 9.95])), beam_angle=20)
    assert table.frame["echoes"][0] == 1
    assert any("not seen: they are in no mean" in note for note in table.notes)
