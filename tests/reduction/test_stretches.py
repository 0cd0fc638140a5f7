"""Soundings come in the order in which a line was run, cut where it pauses."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.layers import Soundings
from toolbox.reduction.stretches import (
    along_lines,
    bounds_between,
    own_lines,
    registered_step,
)


def lined(easting: list[float], **columns: object) -> Soundings:
    place = np.column_stack([easting, np.zeros(len(easting))])
    given = {"line": "a", "source": "track"} | columns
    return Soundings.from_arrays(place, np.ones(len(easting)), crs=None, **given)


def times(*seconds: float) -> pd.DatetimeIndex:
    return pd.Timestamp("2026-05-12", tz="UTC") + pd.to_timedelta(seconds, unit="s")


def test_lines_come_as_they_first_appear_and_each_in_the_order_of_the_layer() -> None:
    lines = along_lines(lined([0, 1, 2, 3], line=["b", "a", "b", "a"]))
    assert lines.names == ("b", "a")
    assert lines.index.tolist() == [0, 2, 1, 3]
    assert lines.line.tolist() == [0, 0, 1, 1]


def test_times_order_a_line_unless_one_is_missing() -> None:
    shuffled = [3.0, 1.0, 2.0]
    assert along_lines(lined([3, 1, 2], time=times(*shuffled))).index.tolist() == [1, 2, 0]
    gappy = times(*shuffled).insert(1, pd.NaT)
    assert along_lines(lined([3, 9, 1, 2], time=gappy)).index.tolist() == [0, 1, 2, 3]


def test_a_clock_that_stands_still_leaves_the_order_of_the_layer() -> None:
    assert along_lines(lined([5, 1, 3], time=times(7, 7, 7))).index.tolist() == [0, 1, 2]


def test_a_line_is_cut_where_neighbours_lie_too_far_apart() -> None:
    lines = along_lines(lined([0, 10, 35.1, 45]), max_step=25)
    assert lines.stretch.tolist() == [0, 0, 1, 1]
    assert lines.pieces().tolist() == [0, 2]
    assert [end.tolist() for end in lines.ends()] == [[0, 2], [2, 4]]
    assert along_lines(lined([0, 10, 35, 45]), max_step=25).stretch.tolist() == [0, 0, 0, 0]


def test_rejected_soundings_are_passed_over() -> None:
    lines = along_lines(lined([0, 1, 2]).reject(np.array([False, True, False]), "spike"))
    assert lines.index.tolist() == [0, 2]


def test_points_of_no_line_have_no_order_but_a_track_without_a_name_is_a_line() -> None:
    soundings = lined([0, 1, 2, 3], line="", source=["point", "track", "point", "track"])
    lines = along_lines(soundings)
    assert lines.index.tolist() == [1, 3]
    assert lines.names == ("track",)


def test_lines_of_one_name_and_two_sources_are_told_apart() -> None:
    lines = along_lines(lined([0, 1, 2], line=["7", "7", "8"], source=["cast", "track", "track"]))
    assert lines.names == ("cast 7", "track 7", "8")


def test_a_neighbour_beyond_the_end_is_the_end() -> None:
    lines = along_lines(lined([0, 1, 2, 40, 41]), max_step=25)
    assert lines.neighbour(2).tolist() == [2, 2, 2, 4, 4]
    assert lines.neighbour(-1).tolist() == [0, 0, 1, 3, 3]
    assert lines.neighbour(-1, np.array([4, 1])).tolist() == [3, 0]


def test_course_made_good() -> None:
    place = np.column_stack([np.arange(6) * 3.0, np.arange(6) * -4.0])
    soundings = Soundings.from_arrays(
        place, np.ones(6), crs=None, line="a", source="track", time=times(*range(0, 12, 2))
    )
    heading, speed = along_lines(soundings).course()
    np.testing.assert_allclose(heading, 180 - np.degrees(np.arctan(3 / 4)))  # derived
    np.testing.assert_allclose(speed, 2.5)
    some = along_lines(soundings).course(np.array([5, 0]))
    np.testing.assert_array_equal(some, [heading[[5, 0]], speed[[5, 0]]])
    still = along_lines(lined([5, 5, 5]))
    assert np.isnan(still.course()[0]).all()
    assert np.isnan(still.course()[1]).all()


def test_steps() -> None:
    # IHO S-44 edition 6, section 3.5.2: the greater of 3 times the mean depth or 25 m
    shallow, deep = lined([0, 1]), Soundings.from_arrays(np.eye(2), np.array([10, 30]), crs=None)
    assert registered_step(shallow) == 25
    assert registered_step(deep) == pytest.approx(60)
    assert own_lines(lined([0, 2, 4, 6]))[1] == 25
    assert own_lines(lined([0, 50, 100, 150]))[1] == pytest.approx(500)
    assert own_lines(lined([]))[1] == 25


def test_own_lines_are_cut_at_their_own_step() -> None:
    soundings = lined([0, 50, 100, 150, 700, 750])
    lines, step = own_lines(soundings)
    assert lines.stretch.tolist() == along_lines(soundings, max_step=step).stretch.tolist()
    assert lines.stretch.tolist() == [0, 0, 0, 0, 1, 1]
    assert lines.steps.tolist() == [0, 50, 50, 50, 550, 50]
    assert lines.only(np.array([0, 2, 5])).steps.tolist() == [0, 100, 650]


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 60))
def test_bounds_of_ranges_are_those_of_all_their_places(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    place = random.normal(size=(count, 2))
    first, last = np.sort(random.integers(0, count, (2, 20)), axis=0)
    low, high = bounds_between(place, first, last)
    for k in range(20):
        part = place[first[k] : last[k] + 1]
        np.testing.assert_array_equal(low[k], part.min(axis=0))
        np.testing.assert_array_equal(high[k], part.max(axis=0))
