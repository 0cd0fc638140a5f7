"""A track log is checked when it is made, and knows what it holds."""

import numpy as np
import pandas as pd
import pyproj
import pytest

from toolbox.errors import LayerError
from toolbox.layers.track import TrackLog

TIMES = pd.date_range("2026-05-12T11:00", periods=3, freq="s", tz="UTC")


def fixes(**changed: object) -> pd.DataFrame:
    columns = {"time": TIMES, "longitude": [-34.6, -34.6, -34.6], "latitude": [46.1, 46.2, 46.3]}
    return pd.DataFrame(columns | changed)


def depths(**changed: object) -> pd.DataFrame:
    return pd.DataFrame({"time": TIMES, "depth": [1.0, np.nan, 3.0]} | changed)


def test_missing_columns_are_filled() -> None:
    log = TrackLog(fixes(), depths())
    assert log.fixes["valid"].tolist() == [True, True, True]
    assert log.depths["measured_from"].tolist() == ["transducer"] * 3
    assert log.fixes["run"].tolist() == log.depths["run"].tolist() == [0, 0, 0]
    assert log.temperatures is not None
    assert list(log.temperatures.columns) == ["time", "temperature", "run"]
    assert len(log.temperatures) == 0
    assert (dict(log.counts), log.notes) == ({}, ())


def test_missing_depths_count_as_readings() -> None:
    assert len(TrackLog(fixes(), depths())) == 3


def test_further_columns_stay() -> None:
    log = TrackLog(fixes(), depths(depth_read=[0.9, np.nan, 2.9]))
    assert log.depths["depth_read"].tolist()[::2] == [0.9, 2.9]


def test_times_of_another_zone_become_utc() -> None:
    local = TIMES.tz_convert("Asia/Kolkata")
    log = TrackLog(fixes(time=local), depths(time=local))
    assert str(log.depths["time"].dtype) == "datetime64[us, UTC]"
    assert (log.fixes["time"] == TIMES).all()


def test_depth_without_time_is_allowed() -> None:
    late = pd.DatetimeIndex([TIMES[0], pd.NaT, TIMES[2]])
    assert TrackLog(fixes(), depths(time=late)).depths["time"].isna().tolist() == [0, 1, 0]


def test_invalid_fix_needs_no_place_and_no_time() -> None:
    late = pd.DatetimeIndex([TIMES[0], pd.NaT, TIMES[2]])
    valid = [True, False, True]
    log = TrackLog(fixes(time=late, latitude=[46.1, np.nan, 46.3], valid=valid), depths())
    assert log.fixes["valid"].tolist() == valid


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"latitude": [46.1, 91.0, 46.3]}, r"fix 1: latitude must be within 90 degrees, got 91"),
        ({"latitude": [np.nan, 46.0, 46.3]}, r"fix 0: latitude must be within 90 degrees, got nan"),
        ({"longitude": [0.0, 1.0, -400.0]}, r"fix 2: longitude must be within 360 degrees"),
        ({"time": pd.DatetimeIndex([TIMES[0], pd.NaT, TIMES[2]])}, r"fix 1 has no time"),
        ({"time": TIMES.tz_localize(None)}, r"times of fixes must be in UTC, got datetime64"),
    ],
    ids=["latitude", "missing", "longitude", "timeless", "no zone"],
)
def test_fix_that_cannot_be_is_refused(changed: dict[str, object], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        TrackLog(fixes(**changed), depths())


def test_frame_without_a_column_is_refused() -> None:
    with pytest.raises(LayerError, match=r"fixes need columns \['latitude'\], got"):
        TrackLog(fixes().drop(columns="latitude"), depths())
    with pytest.raises(LayerError, match=r"depths need columns \['depth'\], got"):
        TrackLog(fixes(), depths().drop(columns="depth"))


def test_unknown_reference_is_refused() -> None:
    with pytest.raises(LayerError, match="surface, transducer, keel, got 'deck'"):
        TrackLog(fixes(), depths(measured_from=["surface", "deck", "keel"]))


def test_degrees_and_feet_are_no_crs_to_work_in() -> None:
    # EPSG:2264 counts in US survey feet (EPSG registry)
    for code, name in ((4326, "WGS 84"), (2264, "NAD83 / North Carolina")):
        with pytest.raises(LayerError, match=f"^the track must be in a projected .* '{name}"):
            TrackLog(fixes(), depths(), crs=pyproj.CRS(code))


def test_the_crs_to_work_in_leaves_the_fixes_as_they_are() -> None:
    log = TrackLog(fixes(), depths(), notes=("a",))
    moved = log.to_crs(pyproj.CRS(32625))
    assert (log.crs, moved.crs, moved.notes) == (None, pyproj.CRS(32625), ("a",))
    pd.testing.assert_frame_equal(moved.fixes, log.fixes)
