"""Columns bend where readings are, and are the series everywhere between."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.habitat.water_column import ColumnSeries, column_on, moment, moments
from toolbox.layers import Profiles
from toolbox.water.series import ProfileSeries


def days(*numbers: float) -> pd.DatetimeIndex:
    return pd.Timestamp("2026-06-01", tz="UTC") + pd.to_timedelta(list(numbers), unit="D")


def profiles(rows: list[tuple[float, str, float, float, float]]) -> Profiles:
    """Day, station, depth, temperature and oxygen of each reading."""
    names = ["day", "station", "depth_m", "temperature_c", "oxygen_mg_l"]
    frame = pd.DataFrame(rows, columns=names)
    return Profiles(frame.assign(time=days(*frame.pop("day"))))


TWO = profiles(
    [
        (0, "a", 0.5, 20, 10), (0, "a", 4, 12, 8), (0, "a", 9, 6, 2),
        (20, "a", 0, 24, 9), (20, "a", 5, 14, np.nan), (20, "a", 8, 8, 1),
    ]
)  # fmt: skip


def test_column_of_a_visit_is_its_readings() -> None:
    column = ColumnSeries.of(TWO).at(days(0)[0], 12.0)
    assert column.depth[0] == 0.0
    assert column.depth[-1] == 12.0
    at = np.isin(column.depth, [0.0, 0.5, 4.0, 9.0])
    assert at.sum() == 4
    assert column.measured["temperature_c"][at].tolist() == [20.0, 20.0, 12.0, 6.0]
    assert column.measured["oxygen_mg_l"][at].tolist() == [10.0, 10.0, 8.0, 2.0]
    assert np.isnan(column.measured["temperature_c"][column.depth > 9.0]).all()


def test_column_between_visits_bends_at_the_depths_of_both() -> None:
    column = ColumnSeries.of(TWO).at(days(5)[0], 12.0)
    for depth in (0.5, 4.0, 5.0, 8.0):
        assert depth in column.depth
    at = int(np.flatnonzero(column.depth == 4.0)[0])
    # by hand: 12 of the first visit and 24 - 4 x 2 = 16 of the second, a quarter of the way
    assert column.measured["temperature_c"][at] == pytest.approx(13.0)
    # below the shallower of the two deepest readings nobody knows
    assert np.isnan(column.measured["temperature_c"][column.depth > 8.0]).all()


def test_deepest_reading_is_carried_down_when_asked() -> None:
    column = ColumnSeries.of(TWO, carry_down=True).at(days(0)[0], 12.0)
    assert column.measured["temperature_c"][-1] == 6.0


def test_surface_moves_between_visits() -> None:
    frame = TWO.frame.assign(surface_m=np.where(TWO.frame["time"] == days(0)[0], 0.2, 0.6))
    column = ColumnSeries.of(Profiles(frame)).at(days(5)[0], 12.0)
    assert column.surface == pytest.approx(0.3)
    assert column.depth[-1] == pytest.approx(11.7)


def test_surface_is_known_where_only_one_measure_was_read() -> None:
    late = TWO.frame["time"] == days(20)[0]
    frame = TWO.frame.assign(surface_m=np.where(late, 0.6, 0.2))
    columns = ColumnSeries.of(
        Profiles(frame.assign(temperature_c=frame["temperature_c"].mask(late)))
    )
    assert columns.times.equals(days(0, 20))
    assert columns.at(days(20)[0], 12.0).surface == pytest.approx(0.6)
    assert columns.at(days(5)[0], 12.0).surface == pytest.approx(0.3)


def test_measure_that_nobody_read_at_a_station_is_unknown() -> None:
    rows = [(0.0, "a", 0.0, 20.0, np.nan), (0.0, "b", 0.0, 22.0, 9.0)]
    only = ColumnSeries.of(profiles(rows), stations=("a",))
    assert list(only.series) == ["temperature_c"]
    with pytest.raises(ParameterError, match="stations must be of 'a', 'b', got 'c'"):
        ColumnSeries.of(profiles(rows), stations=("a", "c"))
    with pytest.raises(ParameterError, match="stations must be of 'a', 'b', got 'c'"):
        ColumnSeries.of(profiles(rows), stations=("c",))


def test_measure_that_nobody_read_is_unknown() -> None:
    frame = TWO.frame.drop(columns="oxygen_mg_l")
    column = ColumnSeries.of(Profiles(frame)).at(days(0)[0], 12.0)
    assert np.isnan(column.measured["oxygen_mg_l"]).all()
    light = Profiles(frame.drop(columns="temperature_c").assign(par=1.0))
    with pytest.raises(LayerError, match="the profiles hold no reading of temperature_c"):
        ColumnSeries.of(light)


@st.composite
def several_stations(draw: st.DrawFn) -> Profiles:
    rows: list[tuple[float, str, float, float, float]] = []
    for station in "ab"[: draw(st.integers(1, 2))]:
        for day in draw(st.sets(st.sampled_from([0, 3, 10, 20]), min_size=1)):
            depths = draw(st.sets(st.integers(0, 24), min_size=1, max_size=6))
            for depth in depths:
                warmth, oxygen = draw(st.integers(0, 30)), draw(st.integers(0, 14))
                rows.append((day, station, depth / 2, warmth, oxygen))
    return profiles(rows)


@given(several_stations(), st.floats(0, 20), st.booleans())
@settings(max_examples=25, deadline=None)
def test_lines_between_bends_are_the_series(some: Profiles, day: float, carry_down: bool) -> None:
    """However stations begin and end, nothing happens between two bends but a straight line."""
    columns = ColumnSeries.of(some, carry_down=carry_down)
    time = days(day)
    column = columns.at(time[0], 13.0)
    shares = np.array([0.01, 0.3, 0.77, 0.99])
    start, height = column.depth[:-1], np.diff(column.depth)
    depth = (start[:, None] + shares * height[:, None]).ravel()
    for measure in ("temperature_c", "oxygen_mg_l"):
        series = ProfileSeries.of(some, measure)
        wanted = series.at(time, depth, carry_down=carry_down)[0]
        at = column.measured[measure]
        lines = (at[:-1, None] * (1 - shares) + at[1:, None] * shares).ravel()
        # the mean of stations passes the end of one within a hair
        plain = np.repeat(height > 2e-6, len(shares))
        np.testing.assert_allclose(lines[plain], wanted[plain], atol=1e-9)


def test_moments_are_visits_and_steps_between() -> None:
    visits = days(0, 10, 13)
    assert moments(visits, None, None, None).equals(visits)
    assert moments(visits, None, None, 4).equals(days(0, 4, 8, 10, 12, 13))
    assert moments(visits, "2026-06-03", "2026-06-12", None).equals(days(2, 10, 11))
    assert moments(days(3), None, None, 1).equals(days(3))
    assert moments(visits, "2020-01-01", "2030-01-01", None).equals(visits)


def test_a_day_stands_for_the_visits_on_it() -> None:
    visits = days(0.25, 0.75, 5.5)
    assert moment("date", "2026-06-01", visits) == visits[0]
    assert moment("end", "2026-06-01", visits, last=True) == visits[1]
    assert moment("date", "2026-06-02", visits) == days(1)[0]
    assert moment("date", "2026-06-01T18:00+02:00", visits) == pd.Timestamp("2026-06-01T16:00Z")


def test_dates_that_cannot_be() -> None:
    visits = days(0, 10)
    with pytest.raises(ParameterError, match="start must be a date such as 2026-07-15, got 'soon'"):
        moments(visits, "soon", None, None)
    with pytest.raises(
        ParameterError,
        match="start and end must overlap the visits, 2026-06-01 to 2026-06-11, got 2027-01-01",
    ):
        moments(visits, "2027-01-01", None, None)
    with pytest.raises(
        ParameterError, match="date is needed, there are several visits: 2026-06-01"
    ):
        column_on(TWO, None, 12.0, stations=None, carry_down=False)
    with pytest.raises(
        ParameterError, match=r"date must lie within the visits, .*, got 2026-05-01"
    ):
        column_on(TWO, "2026-05-01", 12.0, stations=None, carry_down=False)


def test_day_without_profiles_knows_depth_alone() -> None:
    column, read = column_on(None, None, 7.0, stations=None, carry_down=False)
    assert read == ()
    assert column.depth.tolist() == [0.0, 7.0]
    assert column.surface == 0.0
    assert np.isnan(column.measured["temperature_c"]).all()
