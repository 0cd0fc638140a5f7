"""Depths read on one day's water are brought to the datum."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Soundings, Table
from toolbox.notes import Assumption
from toolbox.reduction.water_level import UNKNOWN_LEVEL, level_at, reduce_to_datum


def soundings(*depth: float, **columns: object) -> Soundings:
    place = np.column_stack([np.arange(len(depth)), np.zeros(len(depth))]).astype(float)
    return Soundings.from_arrays(place, np.array(depth, float), crs=None, **columns)


def times(*hours: float) -> np.ndarray:
    start = np.datetime64("2026-05-01T00:00:00", "ns")
    return start + (np.array(hours) * 3600e9).astype("timedelta64[ns]")


# ---- one level ----


def test_worked_example() -> None:
    # derived: stage 101.30, datum 100.80, depth 4.20 -> bed 97.10, depth at the datum 3.70
    found = reduce_to_datum(soundings(4.20), water_level=101.30, datum=100.80)
    assert found.depth[0] == pytest.approx(3.70)
    assert 100.80 - found.depth[0] == pytest.approx(97.10)
    assert found.frame["level_correction"].tolist() == pytest.approx([-0.5])


@settings(max_examples=50, deadline=None)
@given(st.floats(-100, 100), st.floats(-500, 4000), st.floats(-5, 5), st.floats(-5, 5))
def test_the_bed_does_not_move(depth: float, datum: float, rise: float, fall: float) -> None:
    # derived: bed elevation = level - depth, whatever level it is reckoned from
    once = reduce_to_datum(soundings(depth), water_level=datum + rise, datum=datum)
    assert datum - once.depth[0] == pytest.approx(datum + rise - depth, abs=1e-9)
    twice = reduce_to_datum(once, water_level=datum, datum=datum + fall)
    at_once = reduce_to_datum(soundings(depth), water_level=datum + rise, datum=datum + fall)
    assert twice.depth[0] == pytest.approx(at_once.depth[0], abs=1e-9)


def test_depth_to_the_top_of_plants_moves_with_the_depth() -> None:
    # both are depths below one and the same water surface
    found = reduce_to_datum(soundings(4.2, canopy=np.array([2.0])), water_level=101.3, datum=100.8)
    assert found.frame["canopy"].tolist() == pytest.approx([1.5])


def test_flagged_soundings_and_missing_depths_keep_their_row_and_reason() -> None:
    before = soundings(4, np.nan, 5).reject(np.array([False, False, True]), "echo")
    found = reduce_to_datum(before, water_level=1.0, datum=0.0)
    assert found.frame["reason"].tolist() == ["", "no depth", "echo"]
    np.testing.assert_array_equal(found.depth, [3, np.nan, 4])


def test_the_notes_tell_the_shift() -> None:
    before = Soundings(soundings(4.2).frame, ("read",))
    found = reduce_to_datum(before, water_level=101.30, datum=100.80)
    assert found.notes[0] == "read"
    assert found.notes[1] == ("depths reduced to the datum by water level 101.3 m: -0.500 m")


# ---- a level noted with each, a record ----


def test_levels_noted_with_each_sounding() -> None:
    found = reduce_to_datum(soundings(4, 4, water_level=np.array([101.0, 102.0])), datum=100.0)
    assert found.depth.tolist() == [3, 2]


RECORD = Table(
    pd.DataFrame(
        {
            "time": ["2026-05-01T06:00Z", "2026-05-01T00:00Z", "2026-05-01T12:00Z"],
            "level_m": [101.0, 100.0, 100.4],
        }
    )
)


def test_a_record_is_interpolated_in_whatever_order_it_comes() -> None:
    # derived: halfway up, a quarter of the way down
    level = level_at(RECORD, times(0, 3, 6, 7.5, 12))
    np.testing.assert_allclose(level, [100, 100.5, 101, 100.85, 100.4])


def test_beyond_the_record_and_without_a_time_no_level_is_known() -> None:
    level = level_at(RECORD, np.r_[times(-0.01, 12.01), np.datetime64("NaT", "ns")])
    assert np.isnan(level).all()


def test_soundings_without_a_known_level_are_flagged() -> None:
    made = soundings(4, 4, 4, time=np.r_[times(3, 20), np.datetime64("NaT", "ns")])
    found = reduce_to_datum(made, RECORD, datum=100.0)
    assert found.depth[0] == pytest.approx(3.5)
    assert found.frame["reason"].tolist() == ["", UNKNOWN_LEVEL, UNKNOWN_LEVEL]


def test_zoned_times_are_read_in_utc() -> None:
    zoned = pd.to_datetime(["2026-05-01T05:00+02:00"], utc=True).to_numpy()
    found = reduce_to_datum(soundings(4, time=zoned), RECORD, datum=100.0)
    assert found.depth[0] == pytest.approx(3.5)


# ---- refusals ----


@pytest.mark.parametrize(
    ("record", "message"),
    [
        ({"time": ["2026-05-01T00:00Z"]}, r"^the table has no column 'level_m', only \['time'\]$"),
        ({"level_m": [1.0]}, r"^a record needs a column 'time', got \['level_m'\]$"),
        (
            {"time": ["yesterday"], "level_m": [1.0]},
            r"^a record needs one time in ISO 8601 with a level, got none$",
        ),
    ],
)
def test_records_that_are_refused(record: dict[str, list[object]], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        reduce_to_datum(soundings(1, time=times(0)), Table(pd.DataFrame(record)), datum=0.0)


def test_a_record_and_a_level_are_refused() -> None:
    with pytest.raises(ParameterError, match=r"^give a record or a water_level, not both$"):
        reduce_to_datum(soundings(1), RECORD, water_level=1.0, datum=0.0)


def test_no_level_at_all_is_refused() -> None:
    message = r"^water_level must be given: a number, a record, or a column of that name$"
    with pytest.raises(ParameterError, match=message):
        reduce_to_datum(soundings(1), datum=0.0)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_levels_that_are_not_finite_are_refused(bad: float) -> None:
    with pytest.raises(ParameterError, match=rf"^water_level must be finite m, got {bad}$"):
        reduce_to_datum(soundings(1), water_level=bad, datum=0.0)


def test_readings_of_the_level_far_apart_are_told() -> None:
    record = Table(pd.DataFrame({"time": times(0, 24, 24 * 11), "level_m": [1.0, 1.2, 1.1]}))
    daily = reduce_to_datum(soundings(4, 4, time=times(6, 24)), record, datum=1.0)
    assert not any(isinstance(note, Assumption) for note in daily.notes)
    # derived: from the second reading to the third are ten days
    seldom = reduce_to_datum(soundings(4, 4, time=times(6, 48)), record, datum=1.0)
    assert isinstance(seldom.notes[-1], Assumption)
    assert "between readings up to 10 days apart" in seldom.notes[-1]
    # one right at a reading needs no other
    exact = reduce_to_datum(soundings(4, time=times(24 * 11)), record, datum=1.0)
    assert not any(isinstance(note, Assumption) for note in exact.notes)
