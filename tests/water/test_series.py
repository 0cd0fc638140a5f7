"""Series give back what was read, and nothing where nothing was."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles
from toolbox.water.series import ProfileSeries, at_depths

DAYS = pd.to_datetime(["2026-05-01", "2026-05-11", "2026-05-21"], utc=True)


def profiles(*visits: tuple[int, str, list[float], list[float]], surface: float = 0.0) -> Profiles:
    """Make profiles of (day, station, depths, temperatures)."""
    parts = [
        pd.DataFrame(
            {
                "time": DAYS[day],
                "station": station,
                "depth_m": depth,
                "temperature_c": temperature,
                "surface_m": surface + 0.1 * day,
            }
        )
        for day, station, depth, temperature in visits
    ]
    return Profiles(pd.concat(parts, ignore_index=True))


def series(*visits: tuple[int, str, list[float], list[float]]) -> ProfileSeries:
    return ProfileSeries.of(profiles(*visits), "temperature_c")


def test_linear_in_depth_and_time() -> None:
    found = series((0, "a", [0, 10], [10, 6]), (1, "a", [0, 10], [20, 6]))
    times = DAYS[:2].insert(1, pd.Timestamp("2026-05-06", tz="UTC"))
    values = found.at(times, np.array([0.0, 5.0, 10.0]))
    np.testing.assert_allclose(values, np.array([[10, 8, 6], [15, 10.5, 6], [20, 13, 6]]))
    assert (found.first, found.last) == (DAYS[0], DAYS[1])


def test_nothing_outside_what_was_read() -> None:
    found = series((0, "a", [0.5, 4], [10, 6]), (1, "a", [2, 8], [20, 8]))
    depths = np.array([-0.1, 0.0, 0.4, 3.0, 6.0, 9.0])
    before, first, between, last = found.at(
        pd.to_datetime(["2026-04-30", "2026-05-01", "2026-05-06", "2026-05-11"], utc=True), depths
    )
    assert np.isnan(before).all()
    # the shallowest reading, half a metre down, stands for the water above it; two metres do not
    np.testing.assert_allclose(first, [np.nan, 10, 10, 10 - 4 * 2.5 / 3.5, np.nan, np.nan])
    np.testing.assert_allclose(last, [np.nan, np.nan, np.nan, 18, 12, np.nan])
    np.testing.assert_allclose(between, (first + last) / 2)


def test_the_deepest_reading_is_carried_down_when_asked() -> None:
    found = series((0, "a", [0, 4], [10, 6]), (1, "a", [0, 8], [20, 8]))
    middle = pd.DatetimeIndex([pd.Timestamp("2026-05-06", tz="UTC")])
    assert np.isnan(found.at(middle, np.array([6.0]))).all()
    assert found.at(middle, np.array([6.0, 9.0]), carry_down=True) == pytest.approx(
        np.array([[(6 + 11) / 2, (6 + 8) / 2]])
    )


def test_stations_are_interpolated_each_and_then_averaged() -> None:
    found = series(
        (0, "a", [0, 10], [10, 6]), (2, "a", [0, 10], [20, 6]), (1, "b", [0, 4], [25, 17])
    )
    assert found.stations == ("a", "b")
    assert found.times.tolist() == DAYS.tolist()
    values = found.at(DAYS, np.array([0.0, 4.0, 8.0, 12.0]))
    np.testing.assert_allclose(values[1], [(15 + 25) / 2, (11.4 + 17) / 2, 7.8, np.nan])
    np.testing.assert_allclose(values[2], [20, 14.4, 8.8, np.nan])


def test_a_station_in_shallow_water_does_not_speak_for_the_depths() -> None:
    found = series((0, "deep", [0, 10], [20, 6]), (0, "bay", [0, 2], [22, 21]))
    values = found.at(DAYS[:1], np.array([2.0, 5.0, 12.0]), carry_down=True)
    np.testing.assert_allclose(values, [[(17.2 + 21) / 2, 13, 6]])


def test_depths_may_differ_from_time_to_time() -> None:
    found = series((0, "a", [0, 10], [10, 6]), (1, "a", [0, 10], [20, 6]))
    values = found.at(DAYS[:2], np.array([[0.0, 10.0], [5.0, 11.0]]))
    np.testing.assert_allclose(values, np.array([[10, 6], [13, np.nan]]))


def test_the_surface_moves_between_visits_and_stays_beyond_them() -> None:
    made = profiles((0, "a", [0], [10]), (2, "a", [0], [12]), surface=1.0)
    found = ProfileSeries.of(made, "temperature_c")
    times = pd.to_datetime(["2026-01-01", "2026-05-11", "2027-01-01"], utc=True)
    np.testing.assert_allclose(found.surface_at(times), [1.0, 1.1, 1.2])


def test_visits_without_the_measure_are_passed_over() -> None:
    made = profiles((0, "a", [0, 5], [10, np.nan]), (1, "a", [0, 5], [np.nan, np.nan]))
    found = ProfileSeries.of(made, "temperature_c", stations=("a",))
    assert len(found.times) == 1
    np.testing.assert_allclose(found.at(DAYS[:1], np.array([0.0, 5.0])), [[10, np.nan]])


def test_what_a_series_cannot_be_made_of() -> None:
    made = profiles((0, "a", [0], [10]))
    with pytest.raises(ParameterError, match=r"measure must be one of temperature_c.* got 'ph'"):
        ProfileSeries.of(made, "ph")
    with pytest.raises(ParameterError, match="stations must be of 'a', got 'b'"):
        ProfileSeries.of(made, "temperature_c", stations=("b",))
    with pytest.raises(LayerError, match="hold no reading of par at a"):
        ProfileSeries.of(made, "par", stations=("a",))
    with pytest.raises(ParameterError, match="times must be UTC, got datetime64"):
        series((0, "a", [0], [10])).at(DAYS.tz_localize(None), np.array([0.0]))


@given(
    st.lists(st.floats(0, 30), min_size=2, max_size=6),
    st.lists(st.floats(0, 40), min_size=1, max_size=8),
)
def test_values_stay_between_those_read(values: list[float], wanted: list[float]) -> None:
    depth = np.arange(len(values)) * 2.0
    found = at_depths(depth, np.array(values), np.array(wanted), carry_down=True)
    assert (found >= min(values) - 1e-9).all()
    assert (found <= max(values) + 1e-9).all()
    np.testing.assert_allclose(at_depths(depth, np.array(values), depth), values)
