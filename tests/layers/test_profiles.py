"""Profiles keep to their contract, and say what is wrong with what does not."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Profiles

DAYS = pd.to_datetime(["2026-05-14", "2026-05-14", "2026-06-14"], utc=True)


def frame(**changed: object) -> pd.DataFrame:
    columns = {"time": DAYS, "depth_m": [2.0, 0.0, 0.0], "temperature_c": [11.0, 13.0, 18.0]}
    return pd.DataFrame(columns | changed)


def test_what_is_missing_is_filled_in_and_rows_go_down_the_water() -> None:
    profiles = Profiles(frame())
    assert profiles.frame["depth_m"].tolist() == [0.0, 2.0, 0.0]
    assert profiles.frame["temperature_c"].tolist() == [13.0, 11.0, 18.0]
    assert profiles.stations == ("",)
    assert (profiles.frame["surface_m"] == 0).all()
    assert profiles.frame[["oxygen_mg_l", "par"]].isna().all(axis=None)


def test_visits_are_told_station_by_station() -> None:
    profiles = Profiles(frame(station=["b", "a", "a"]))
    found = [(station, time.month, len(rows)) for station, time, rows in profiles.visits()]
    assert found == [("a", 5, 1), ("a", 6, 1), ("b", 5, 1)]


def test_the_frame_given_is_left_as_it_was() -> None:
    given = frame()
    Profiles(given)
    pd.testing.assert_frame_equal(given, frame())


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"depth_m": [2.0, 0.0, np.nan]}, "row 3 of the profiles: depth_m must be 0 to 2000"),
        ({"depth_m": [2.0, -1.0, 0.0]}, "row 2 of the profiles: depth_m must be 0 to 2000, got -1"),
        ({"temperature_c": [11.0, 99.0, 18.0]}, "temperature_c must be -2 to 60, got 99"),
        ({"oxygen_mg_l": [11.0, -1.0, 18.0]}, "oxygen_mg_l must be 0 to 40, got -1"),
        ({"depth_m": [0.0, 0.0, 0.0]}, "of 2026-05-14 00:00 at station '' must hold each depth"),
        ({"time": DAYS.tz_localize(None)}, "profile times must be UTC, got datetime64"),
        ({"time": DAYS.tz_convert("Etc/GMT+3")}, "profile times must be UTC"),
        ({"time": [DAYS[0], pd.NaT, DAYS[2]]}, "row 2 of the profiles has no time"),
    ],
)
def test_what_is_wrong_is_told(changed: dict[str, object], told: str) -> None:
    with pytest.raises(LayerError, match=told):
        Profiles(frame(**changed))


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        (["time", "temperature_c"], "need a column 'depth_m'"),
        (["time", "depth_m"], "need one of temperature_c, oxygen_mg_l, par"),
    ],
)
def test_what_is_lacking_is_told(columns: list[str], told: str) -> None:
    with pytest.raises(LayerError, match=told):
        Profiles(frame()[columns])
