"""Seasons are held against profiles and suitable water."""

import math

import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Profiles, Table
from toolbox.stocking.lots import Season
from toolbox.stocking.season import check_season
from toolbox.water.series import ProfileSeries


def season(first: str, last: str, low: float | None = None, high: float | None = None) -> Season:
    return Season(first=first, last=last, min_temperature=low, max_temperature=high, source="told")


def series(**temperatures: float) -> ProfileSeries:
    """Make visits at noon: ``_0401=5.0``."""
    frame = pd.DataFrame(
        {
            "time": [pd.Timestamp(f"2026-{day[1:3]}-{day[3:]}T12:00Z") for day in temperatures],
            "depth_m": 1.0,
            "temperature_c": list(temperatures.values()),
        }
    )
    return ProfileSeries.of(Profiles(frame), "temperature_c")


def suitable(*volumes: float) -> Table:
    times = pd.date_range("2026-06-01", periods=len(volumes), freq="10D", tz="UTC")
    return Table(pd.DataFrame({"species": "pike", "time": times, "suitable_volume_m3": volumes}))


def test_a_season_within_its_limits() -> None:
    found = check_season(season("04-01", "04-11", 5, 15), "pike", series(_0401=5.0, _0411=15.0))
    assert found.text == "04-01 to 04-11, from 5 to 15 °C; 5.0 to 15.0 °C at 1 m in 2026"
    assert (found.coldest, found.warmest) == (5.0, 15.0)
    assert found.warnings == ()


def test_days_outside_the_limits_are_counted() -> None:
    found = check_season(season("04-01", "04-11", 6.5, 13), "pike", series(_0401=5.0, _0411=15.0))
    # derived: 5, 6, ..., 15 degrees on 11 days; 7 to 13 hold
    assert found.warnings == (
        "temperature outside the limits on 4 of 11 days, within them 04-03 to 04-09",
    )
    # fish come on those days only: the water they meet is that of those days
    assert (found.coldest, found.warmest) == (7.0, 13.0)
    never = check_season(season("04-01", "04-11", 30), "pike", series(_0401=5.0, _0411=15.0))
    assert never.warnings == ("temperature outside the limits on 11 of 11 days",)


def test_one_visit_stands_for_its_day_only() -> None:
    found = check_season(season("03-01", "05-01", 4), "pike", series(_0401=5.0))
    assert (found.coldest, found.warmest, found.warnings) == (5.0, 5.0, ())


@pytest.mark.parametrize(
    ("checked", "told"),
    [
        (check_season(None, "pike"), "no season given: say when to stock"),
        (
            check_season(season("04-01", "05-01"), "pike"),
            "season not checked: no profiles of temperature",
        ),
        (
            check_season(season("10-01", "11-01"), "pike", series(_0401=5.0, _0411=6.0)),
            "season not checked: no profile between its days",
        ),
        (
            check_season(season("10-01", "11-01"), "pike", None, suitable(1.0)),
            "season not checked: suitable water told at no time in it",
        ),
        (
            check_season(season("06-01", "07-01"), "eel", None, suitable(1.0)),
            "season not checked: no suitable water told of 'eel'",
        ),
        (
            check_season(season("06-01", "06-30"), "pike", None, suitable(9.0, 0.0, 5.0)),
            "no suitable water on 2026-06-11",
        ),
    ],
)
def test_what_could_not_be_checked_is_said(checked: object, told: str) -> None:
    warnings = getattr(checked, "warnings", ())
    assert told in warnings
    assert math.isnan(getattr(checked, "warmest", 0.0))


def test_room_in_the_season() -> None:
    found = check_season(season("06-05", "06-30"), "pike", None, suitable(0.0, 700.0, 900.0))
    assert found.text == "06-05 to 06-30; suitable water 700 to 900 m3"
    great = check_season(season("06-05", "06-30"), "pike", None, suitable(0.0, 503_412.0, 1.2e6))
    assert great.text.endswith("suitable water 503,400 to 1,200,000 m3")


def test_suitable_water_needs_its_columns() -> None:
    bare = Table(suitable(1.0).frame.drop(columns="time"))
    with pytest.raises(LayerError, match="suitable water needs a column 'time', got"):
        check_season(season("06-05", "06-30"), "pike", None, bare)


def test_water_that_nobody_read_is_not_told_to_be_unfit() -> None:
    table = suitable(0.0, 0.0, 900.0)
    unread = Table(table.frame.assign(unknown_volume_m3=[700.0, 0.0, 0.0]))
    found = check_season(season("06-01", "06-30"), "pike", None, unread)
    assert "nobody knows of suitable water on 2026-06-01: not all was read" in found.warnings
    assert "no suitable water on 2026-06-11" in found.warnings
