"""Readings that say of themselves that they are no depth, or say it twice."""

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from toolbox.errors import ParameterError
from toolbox.layers import Soundings
from toolbox.reduction.readings import (
    reject_duplicates,
    reject_no_bottom,
    reject_out_of_range,
)

Floats = NDArray[np.float64]


def line(depth: Floats, **columns: object) -> Soundings:
    place = np.column_stack([np.arange(len(depth)) * 2.5, np.zeros(len(depth))])
    given = {"line": "a", "source": "track"} | columns
    return Soundings.from_arrays(place, depth, crs=None, **given)


def bed(count: int = 200) -> Floats:
    at = np.arange(count)
    noise = np.random.default_rng(5).normal(0, 0.05, count)
    return np.asarray(np.round(9 + 4 * np.sin(at / 30) + noise, 2))


def test_zero_and_missing_depths_have_no_bottom() -> None:
    depth = bed()
    depth[[10, 90]], depth[40] = 0.0, np.nan
    found = reject_no_bottom(line(depth))
    assert found.rejections() == {"no bottom": 2, "no depth": 1}
    assert np.flatnonzero(found.flag).tolist() == [10, 40, 90]


def test_a_list_of_points_may_give_the_shore_as_zero() -> None:
    depth = np.array([0.0, 2.0, 0.0])
    for source in ("point", "plummet"):
        assert not reject_no_bottom(line(depth, line="", source=source)).flag.any()
    assert reject_no_bottom(line(depth, line="7", source="point")).flag.sum() == 2


def test_readings_count_where_they_are_kept_beside_the_depths() -> None:
    depth = bed()
    read = depth - 0.38
    read[[30, 31]], depth[[30, 31]] = [0.0, -1.0], [0.38, -0.62]
    found = reject_no_bottom(line(depth, depth_read=read))
    assert np.flatnonzero(found.flag).tolist() == [30, 31]
    above = bed() - 8  # dry at the datum, and nothing is known of the readings
    assert (above < 0).any()
    assert not reject_no_bottom(line(above)).flag.any()


@pytest.mark.parametrize("value", [0.4, 99.9, 0.38])
def test_a_value_that_turns_up_again_and_again_stands_for_none(value: float) -> None:
    depth = bed()
    depth[[20, 60, 61, 62, 140]] = value
    found = reject_no_bottom(line(depth))
    assert np.flatnonzero(found.flag).tolist() == [20, 60, 61, 62, 140]


def test_twice_is_not_again_and_again() -> None:
    depth = bed()
    depth[[20, 140]] = 0.4
    assert not reject_no_bottom(line(depth)).flag.any()


def test_a_flat_bed_repeats_its_depth() -> None:
    steps = np.tile(np.r_[np.full(10, 34.5), np.full(5, 34.4), np.full(5, 34.6)], 10)
    assert not reject_no_bottom(line(steps)).flag.any()


def test_a_shelf_between_cliffs_is_no_stand_in() -> None:
    # every way onto the shelf is a leap, but it is read at three depths a centimetre apart
    shelf = np.round(2 + 0.01 * np.random.default_rng(2).integers(-1, 2, 12), 2)
    depth = np.concatenate([np.r_[bed(30) + 8, shelf] for _ in range(6)])
    assert not reject_no_bottom(line(depth)).flag.any()


def test_multiples_of_a_flat_bed_are_left_to_the_double_echoes() -> None:
    depth = np.tile(np.r_[np.full(10, 34.5), np.full(5, 34.4)], 10)
    depth[[25, 70, 100, 130]] = 69.0
    assert not reject_no_bottom(line(depth)).flag.any()


def test_what_the_instrument_calls_invalid_has_no_bottom() -> None:
    status = np.where(np.arange(200) % 50 == 7, "V", "A")
    found = reject_no_bottom(line(bed(), status=status), status="status")
    assert np.flatnonzero(found.flag).tolist() == [7, 57, 107, 157]
    quality = np.where(np.arange(200) < 3, 0, 2)
    found = reject_no_bottom(line(bed(), quality=quality), status="quality", valid="2")
    assert np.flatnonzero(found.flag).tolist() == [0, 1, 2]


def test_an_absent_status_column_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"^status must be a column, got 'state': \["):
        reject_no_bottom(line(bed()), status="state")


def test_range() -> None:
    soundings = line(np.array([0.5, 1.0, 30.0, 30.1, np.nan]))
    found = reject_out_of_range(soundings, min_depth=1, max_depth=30)
    assert found.frame["reason"].tolist() == ["out of range", "", "", "out of range", "no depth"]
    assert reject_out_of_range(soundings, max_depth=20).flag.tolist() == [False] * 2 + [True] * 3
    assert reject_out_of_range(soundings).flag.sum() == 1


def test_a_range_without_depths_is_refused() -> None:
    message = r"^min_depth must be at most max_depth, got 3 and 2$"
    with pytest.raises(ParameterError, match=message):
        reject_out_of_range(line(bed()), min_depth=3, max_depth=2)


def test_duplicates_agree_in_place_time_and_depth() -> None:
    place = np.array([[0, 0], [0, 0], [0, 0], [5, 0], [0.0002, 0], [0, 0.0]])
    depth = np.array([2, 2, 2.1, 2, 2, 2.0])
    hour = pd.Timestamp("2026-05-12T11:00", tz="UTC")
    time = [hour, hour, hour, hour, hour, hour + pd.Timedelta(1, "s")]
    soundings = Soundings.from_arrays(
        place, depth, crs=None, line=["a", "b", "a", "a", "a", "a"], time=pd.DatetimeIndex(time)
    )
    found = reject_duplicates(soundings)
    assert found.flag.tolist() == [False, True, False, False, True, False]
    assert found.rejections() == {"duplicate": 2}


def test_without_times_place_and_depth_decide() -> None:
    soundings = Soundings.from_arrays(np.zeros((3, 2)), np.array([2, 2, 3.0]), crs=None)
    assert reject_duplicates(soundings).flag.tolist() == [False, True, False]


def test_a_rejected_sounding_has_no_duplicate() -> None:
    soundings = Soundings.from_arrays(np.zeros((2, 2)), np.array([2, 2.0]), crs=None)
    rejected = soundings.reject(np.array([True, False]), "spike along the line")
    assert reject_duplicates(rejected).flag.tolist() == [True, False]
