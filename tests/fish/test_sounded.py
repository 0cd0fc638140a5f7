"""Pings and echoes matched: depths, periods, steps, and what is refused."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.fish.beam import Beam
from toolbox.fish.sounded import Sounded, night_hours
from toolbox.layers import Table


def pings(**columns: Any) -> Table:
    frame = {"transect": ["a", "a", "b", "b"], "ping": [1, 2, 1, 2], "bed_m": [5.0, 6, 7, 8]}
    return Table(pd.DataFrame(frame | columns))


def echoes(**columns: Any) -> Table:
    frame = {"transect": ["b", "a", "a"], "ping": [2, 1, 1], "range_m": [3.0, 2, 4]}
    return Table(pd.DataFrame(frame | columns))


def test_ranges_by_range_and_by_depth() -> None:
    sounded = Sounded.of(echoes(), pings(), draft=0.5)
    assert sounded.transects == ("a", "b")
    assert sounded.bed_range.tolist() == [4.5, 5.5, 6.5, 7.5]
    assert sounded.unit[sounded.ping].tolist() == [1, 0, 0]
    assert sounded.ping.tolist() == [3, 0, 0]
    assert sounded.range.tolist() == [3, 2, 4]
    deep = Table(echoes().frame.drop(columns="range_m").assign(depth_m=[3.5, 2.5, 4.5]))
    beds = Table(pings().frame.drop(columns="bed_m").assign(bed_range_m=[4.5, 5.5, 6.5, 7.5]))
    other = Sounded.of(deep, beds, draft=0.5)
    assert other.range.tolist() == [3, 2, 4]
    assert other.bed_range.tolist() == sounded.bed_range.tolist()


def test_transects_by_number_or_name() -> None:
    numbered = Sounded.of(echoes(transect=[7, 5, 5]), pings(transect=["5", "5", "7", "7"]))
    assert numbered.transects == ("5", "7")
    assert numbered.unit[numbered.ping].tolist() == [1, 0, 0]


def test_a_ping_without_a_bed_goes_with_its_echoes() -> None:
    sounded = Sounded.of(echoes(), pings(bed_m=[np.nan, 6, 7, 8]))
    assert sounded.bed_range.tolist() == [6, 7, 8]
    assert sounded.range.tolist() == [3]
    assert sounded.ping.tolist() == [2]
    assert sounded.notes == (
        "1 ping without a bed left out",
        "2 echoes in such pings or without a range left out",
    )


def test_steps_leave_gaps_out() -> None:
    way = np.array([0, 1, 2, 3, 30, 31, 32.0])
    table = Table(pd.DataFrame({"transect": 1, "ping": range(7), "bed_m": 5.0, "distance_m": way}))
    none = Table(pd.DataFrame({"transect": [], "ping": [], "range_m": []}))
    step = Sounded.of(none, table).step
    assert step is not None
    assert step.tolist() == [0.5, 1, 1, 1, 1, 1, 0.5]
    assert Sounded.of(echoes(), pings()).step is None


def test_periods_by_column_and_by_hour() -> None:
    by_column = Sounded.of(echoes(), pings(period=["day", "day", "night", "night"]))
    assert by_column.periods == ("day", "night")
    night = by_column.during("night")
    assert (night.transects, night.range.tolist(), night.ping.tolist()) == (("b",), [3], [1])
    assert night.bed_range.tolist() == [7, 8]
    hours = ["2026-08-12T20:00Z", "2026-08-12T22:30Z", "2026-08-13T04:59Z", "2026-08-13T05:00Z"]
    over_midnight = Sounded.of(echoes(), pings(time=hours), night=(22, 5))
    assert over_midnight.period.tolist() == ["day", "night", "night", "day"]
    before_midnight = Sounded.of(echoes(), pings(time=hours), night=(20, 22))
    assert before_midnight.period.tolist() == ["night", "day", "day", "day"]
    with pytest.raises(ParameterError, match="period must be one of 'day', 'night', got 'dusk'"):
        by_column.during("dusk")


def test_where_the_beam_tells_fish() -> None:
    sounded = Sounded.of(echoes(range_m=[7.9, 0.9, 1.0]), pings())
    beam = Beam(20.0, pulse=2e-4, blind=1.0)
    # derived: the dead zone over 8 m is 8 (1 / cos 10 - 1) + 0.145 = 0.268 m
    assert sounded.told(beam).tolist() == [False, False, True]


def test_night_hours() -> None:
    assert night_hours(None, None) is None
    assert night_hours(22, 5) == (22, 5)
    with pytest.raises(ParameterError, match="must be two hours, got 22 and None"):
        night_hours(22, None)


@pytest.mark.parametrize(
    ("fish", "beds", "message"),
    [
        (echoes(), Table(pings().frame.drop(columns="ping")), "pings must have the column 'ping'"),
        (Table(echoes().frame.drop(columns="transect")), pings(), "echoes must have the column"),
        (Table(echoes().frame.drop(columns="range_m")), pings(), "needs a column 'range_m'"),
        (echoes(), pings(ping=[1, 1, 1, 2]), "got ping 1 of transect a twice"),
        (echoes(ping=[2, 1, 9]), pings(), r"1 echo has no row in pings.* ping 9 of transect a"),
        (echoes(), Table(pings().frame[:0]), "pings must have at least one row"),
    ],
)
def test_what_does_not_fit_is_refused(fish: Table, beds: Table, message: str) -> None:
    with pytest.raises(LayerError, match=message):
        Sounded.of(fish, beds)


def test_night_needs_times() -> None:
    with pytest.raises(LayerError, match="need a column 'time'"):
        Sounded.of(echoes(), pings(), night=(22, 5))
