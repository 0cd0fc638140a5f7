"""Rows of measures from a table of suitable water; on a bed they are tried in test_measures.py."""

import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.suitable import LEFT_OUT, UNREAD, suitable_rows, within_days


def test_days_of_a_table() -> None:
    times = pd.to_datetime(["2026-01-10", "2026-06-01", "2026-09-15", "2026-12-20"], utc=True)
    frame = pd.DataFrame({"time": times, "k": range(4)})
    assert within_days(frame, "06-01", "09-15")["k"].tolist() == [1, 2]
    assert within_days(frame, "12-01", "02-28")["k"].tolist() == [0, 3]
    assert within_days(frame, None, "06-01")["k"].tolist() == [0, 1]
    with pytest.raises(ParameterError, match="no row of the suitable water lies between 02-01"):
        within_days(frame, "02-01", "03-01")


def test_a_table_without_times_has_no_days() -> None:
    with pytest.raises(LayerError, match="suitable_first and suitable_last need a column 'time'"):
        within_days(pd.DataFrame({"k": [1]}), "06-01", None)


def test_notes_tell_what_was_left_out_and_what_nobody_read() -> None:
    frame = pd.DataFrame(
        {
            "species": "tench",
            "suitable_volume_m3": [100.0, 90.0],
            "bed_area_m2": [30.0, 20.0],
            "bed_note": "limits on plants left out",
            "unknown_volume_m3": [0.0, 5.0],
        }
    )
    volume, bed = suitable_rows(Table(frame))
    assert volume[2] == 90
    assert UNREAD in volume[-1]  # 5 of 90 m3 are more than a trifle
    assert LEFT_OUT not in volume[-1]
    assert LEFT_OUT in bed[-1]
    few = suitable_rows(Table(frame.assign(unknown_volume_m3=4.0)))
    assert UNREAD not in few[0][-1]
