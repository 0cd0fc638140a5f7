"""Profiles on a mesh."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import ParameterError
from toolbox.layers import Profiles
from toolbox.water.interpolation import interpolated_profiles

DAYS = pd.to_datetime(["2026-06-01", "2026-06-01", "2026-06-11", "2026-06-11"], utc=True)


def profiles(**more: object) -> Profiles:
    columns = {"depth_m": [0.0, 2.0] * 2, "temperature_c": [10.0, 6.0, 20.0, 8.0]}
    return Profiles(pd.DataFrame({"time": DAYS} | columns | more))


def test_the_mesh() -> None:
    table = interpolated_profiles(profiles(surface_m=[0.0, 0.0, 0.4, 0.4]), step_m=1, step_days=5)
    frame = table.frame
    assert list(frame) == [
        "time", "station", "depth_m", "surface_m", "temperature_c", "oxygen_mg_l", "par",
    ]  # fmt: skip
    assert frame["depth_m"].tolist() == [0, 1, 2] * 3
    # derived: linear in depth and time
    assert frame["temperature_c"].tolist() == pytest.approx([10, 8, 6, 15, 11, 7, 20, 14, 8])
    assert frame["surface_m"].unique().tolist() == pytest.approx([0, 0.2, 0.4])
    assert frame[["oxygen_mg_l", "par"]].isna().all(axis=None)


def test_a_mesh_holds_what_was_read() -> None:
    again = Profiles(interpolated_profiles(profiles(), step_m=2, step_days=10).frame)
    pd.testing.assert_frame_equal(
        again.frame[["time", "depth_m", "temperature_c"]],
        profiles().frame[["time", "depth_m", "temperature_c"]],
        check_dtype=False,
    )


def test_stations_and_a_single_visit() -> None:
    two = profiles(station=["a", "a", "b", "b"])
    assert set(interpolated_profiles(two).frame["station"]) == {"all"}
    one = interpolated_profiles(two, stations=("b",), step_m=0.5).frame
    assert set(one["station"]) == {"b"}
    assert len(one) == 5
    assert one["temperature_c"].tolist() == pytest.approx([20, 17, 14, 11, 8])


def test_steps_that_do_not_divide_the_span() -> None:
    frame = interpolated_profiles(profiles(), step_m=0.7, step_days=7).frame
    assert frame["depth_m"].unique().tolist() == [0, 0.7, 1.4]
    assert frame["time"].nunique() == 2
    assert not np.isnan(frame["temperature_c"]).any()


def test_a_mesh_too_fine() -> None:
    with pytest.raises(ParameterError, match="must give at most 5,000,000 rows, got 200,030,001"):
        interpolated_profiles(profiles(), step_m=1e-4, step_days=1e-3)
