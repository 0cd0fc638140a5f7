"""Attenuation is recovered from exact and from noisy light profiles; one fit against scipy."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from toolbox.errors import LayerError
from toolbox.layers import Profiles
from toolbox.water.attenuation import attenuation, depth_of_light

DEPTH = np.arange(0.0, 6.0, 0.5)


def visit(light: np.ndarray, depth: np.ndarray = DEPTH, *, day: int = 1) -> pd.DataFrame:
    time = pd.Timestamp(2026, 7, day, 12, tz="UTC")
    return pd.DataFrame({"time": time, "station": "hole", "depth_m": depth, "par": light})


def fitted(light: np.ndarray, depth: np.ndarray = DEPTH, **options: bool | float) -> pd.Series:
    return attenuation(Profiles(visit(light, depth)), **options).frame.iloc[0]  # type: ignore[arg-type]


@given(st.floats(0.1, 3), st.floats(1, 3000))
def test_an_exact_profile_is_recovered(loss: float, top: float) -> None:
    # derived: par = par0 exp(-k z)
    row = fitted(top * np.exp(-loss * DEPTH))
    assert row["attenuation_per_m"] == pytest.approx(loss)
    assert row["light_at_surface"] == pytest.approx(top)
    assert row["light_depth_m"] == pytest.approx(np.log(100) / loss)
    assert row["attenuation_se_per_m"] == pytest.approx(0, abs=1e-6)
    assert row["r_squared"] == pytest.approx(1)


def test_error_and_fit_agree_with_another_regression() -> None:
    # scipy.stats.linregress as an independent program
    noise = np.random.default_rng(1).normal(0, 0.15, len(DEPTH))
    light = 800 * np.exp(-0.7 * DEPTH + noise)
    row, other = fitted(light), linregress(DEPTH, np.log(light))
    assert row["attenuation_per_m"] == pytest.approx(-other.slope)
    assert row["attenuation_se_per_m"] == pytest.approx(other.stderr)
    assert row["r_squared"] == pytest.approx(other.rvalue**2)
    assert row["light_at_surface"] == pytest.approx(np.exp(other.intercept))


def test_nine_in_ten_intervals_hold_the_truth() -> None:
    # derived: Student's t is exact for normal errors; 400 visits, binomial sd 1.5 %
    rng = np.random.default_rng(2)
    lights = 800 * np.exp(-0.7 * DEPTH + rng.normal(0, 0.2, (400, len(DEPTH))))
    time = pd.date_range("2026-05-01", periods=400, freq="h", tz="UTC")
    frame = pd.DataFrame(
        {
            "time": np.repeat(time, len(DEPTH)),
            "depth_m": np.tile(DEPTH, 400),
            "par": lights.ravel(),
        }
    )
    found = attenuation(Profiles(frame)).frame
    held = found["attenuation_low_per_m"].le(0.7) & found["attenuation_high_per_m"].ge(0.7)
    assert 0.86 <= held.mean() <= 0.94
    deep, shallow = found["light_depth_high_m"], found["light_depth_low_m"]
    truth = np.log(100) / 0.7
    assert (shallow.le(truth) & deep.ge(truth)).equals(held)


def test_readings_of_nothing_are_left_out() -> None:
    light = 500 * np.exp(-0.8 * DEPTH)
    light[-3:] = 0
    light[2] = np.nan
    row = fitted(light)
    assert row["attenuation_per_m"] == pytest.approx(0.8)
    assert row[["readings", "left_out"]].tolist() == [len(DEPTH) - 4, 3]


def test_a_sensor_in_air_reads_more() -> None:
    light = 500 * np.exp(-0.8 * DEPTH)
    light[0] *= 1.15
    assert fitted(light)["attenuation_per_m"] > 0.801
    below = fitted(light, without_surface=True)
    assert below["attenuation_per_m"] == pytest.approx(0.8)
    assert below["left_out"] == 1


def test_two_readings_give_no_error() -> None:
    row = fitted(np.array([100.0, 10.0]), np.array([1.0, 3.0]))
    assert row["attenuation_per_m"] == pytest.approx(np.log(10) / 2)
    unknown = ["attenuation_se_per_m", "light_depth_low_m", "light_depth_high_m"]
    assert row[unknown].isna().all()


def test_visits_that_cannot_be_fitted_say_why() -> None:
    dark, rising = np.zeros(len(DEPTH)), np.exp(0.2 * DEPTH)
    frame = pd.concat([visit(dark), visit(rising, day=2), visit(np.exp(-DEPTH), day=3)])
    unread = visit(np.full(len(DEPTH), np.nan), day=4).assign(temperature_c=20.0)
    table = attenuation(Profiles(pd.concat([frame, unread])), share=0.1)
    assert table.frame["reason"].tolist() == [
        "fewer than two readings of light",
        "light does not fall with depth",
        "",
    ]
    assert table.frame["attenuation_per_m"].isna().tolist() == [True, True, False]
    assert table.frame["light_depth_m"].iloc[2] == pytest.approx(np.log(10))
    assert "2 of 3 visits have no attenuation, see their reason" in table.notes


def test_profiles_without_light_are_refused() -> None:
    frame = visit(np.full(len(DEPTH), np.nan)).assign(temperature_c=20.0)
    with pytest.raises(LayerError, match=r"^profiles need light in a column 'par', no visit has"):
        attenuation(Profiles(frame))


def test_one_per_cent_depth() -> None:
    # derived: 4.60517 / k
    assert depth_of_light(1.0, 0.01) == pytest.approx(4.60517, abs=5e-6)
    assert depth_of_light(1.0, 1.0) == 0
