"""What a person decides about a sounding stands."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Soundings, Table
from toolbox.reduction.overrides import BY_HAND, apply_overrides

HOUR = pd.Timestamp("2026-05-12T11:00", tz="UTC")


def soundings(**columns: object) -> Soundings:
    given = {
        "line": ["7", "7", "8", "8", "8"],
        "source": "track",
        "time": HOUR + pd.to_timedelta(np.arange(5), unit="min"),
    } | columns
    place = np.column_stack([np.arange(5.0), np.zeros(5)])
    return Soundings.from_arrays(place, np.arange(1.0, 6), crs=None, **given)


def table(*rows: dict[str, Any]) -> Table:
    return Table(pd.DataFrame(rows))


def reasons(found: Soundings) -> list[str]:
    return found.frame["reason"].tolist()


def test_reject_by_record_counts_from_one() -> None:
    found = apply_overrides(soundings(), table({"action": "reject", "record": 2}))
    assert reasons(found) == ["", BY_HAND, "", "", ""]
    assert found.notes == ("override 1: reject 1 sounding",)


def test_a_record_of_their_own_is_used() -> None:
    own = soundings(record=[10, 20, 30, 40, 50])
    found = apply_overrides(own, table({"action": "reject", "record": 30.0}))
    assert np.flatnonzero(found.flag).tolist() == [2]


@pytest.mark.parametrize("line", [8, "8", 8.0])
def test_reject_a_line_with_a_reason(line: object) -> None:
    found = apply_overrides(
        soundings(), table({"action": "reject", "line": line, "reason": "wrong draft"})
    )
    assert reasons(found) == ["", "", *["wrong draft"] * 3]


@pytest.mark.parametrize("zone", ["", "Z", "+00:00"])
def test_a_time_range_includes_both_ends(zone: str) -> None:
    row = {"action": "reject", "start": f"2026-05-12T11:01{zone}", "end": f"2026-05-12T11:03{zone}"}
    assert np.flatnonzero(apply_overrides(soundings(), table(row)).flag).tolist() == [1, 2, 3]
    there = {"action": "reject", "start": "2026-05-12T13:03+02:00"}
    assert np.flatnonzero(apply_overrides(soundings(), table(there)).flag).tolist() == [3, 4]


def test_all_that_a_row_names_must_hold() -> None:
    row = {"action": "reject", "line": "8", "end": "2026-05-12T11:02"}
    assert np.flatnonzero(apply_overrides(soundings(), table(row)).flag).tolist() == [2]


def test_keep_overrides_a_tool_and_a_later_row_an_earlier() -> None:
    before = soundings().reject(np.arange(5) < 2, "double echo")
    rows = (
        {"action": "keep", "record": 1},
        {"action": "reject", "line": "8"},
        {"action": "keep", "record": 5},
    )
    found = apply_overrides(before, table(*rows))
    assert reasons(found) == ["", "double echo", BY_HAND, BY_HAND, ""]
    assert found.flag.tolist() == [False, True, True, True, False]
    np.testing.assert_array_equal(found.depth, before.depth)


def test_a_person_overrides_the_reason_too() -> None:
    before = soundings().reject(np.arange(5) == 0, "double echo")
    row = {"action": "reject", "record": 1, "reason": "a fish"}
    assert reasons(apply_overrides(before, table(row)))[0] == "a fish"


def test_a_row_that_fits_nothing_is_told_of() -> None:
    found = apply_overrides(soundings(), table({"action": "reject", "line": "9"}))
    assert not found.flag.any()
    assert found.notes == ("override 1: reject 0 soundings",)


def test_empty_cells_name_nothing() -> None:
    rows = table(
        {"action": "reject", "record": 1, "line": None, "start": ""},
        {"action": "reject", "record": np.nan, "line": "8", "start": pd.NaT},
    )
    assert apply_overrides(soundings(), rows).flag.tolist() == [True, False, True, True, True]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"line": "8"}, r"^overrides need a column 'action', got \['line'\]$"),
        (
            {"action": "drop", "line": "8"},
            r"^override 1: action must be keep or reject, got 'drop'$",
        ),
        ({"action": "keep"}, r"^override 1 must name at least one of record, line, start, end$"),
        ({"action": "keep", "start": "noon-ish"}, r"^override 1: 'noon-ish' is no time$"),
    ],
)
def test_a_bad_row_is_refused(row: dict[str, Any], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        apply_overrides(soundings(), table(row))


def test_what_has_no_depth_cannot_be_kept() -> None:
    lost = Soundings.from_arrays(np.zeros((2, 2)), np.array([2.0, np.nan]), crs=None)
    message = r"^overrides keep sounding 2, which has no depth or no place$"
    with pytest.raises(LayerError, match=message):
        apply_overrides(lost, table({"action": "keep", "record": 2}))
