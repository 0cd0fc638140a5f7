"""Times in ISO 8601 are read in UTC, each by its own offset."""

from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.moments import in_utc

# equal moments by ISO 8601-1:2019, 5.3.4: local time less its offset
NOON = [
    "2026-05-12T12:00:00Z",
    "2026-05-12T14:00:00+02:00",
    "2026-05-12T12:00:00",
    "2026-05-12 02:30-09:30",
    "20260512T140000+0200",
    "20260512T120000",
    "2026-05-12T14+02",
    "2026-05-12 12:00",
]


@given(st.permutations(NOON))
def test_order_does_not_matter(texts: list[str]) -> None:
    found = in_utc(texts)
    assert (found == pd.Timestamp("2026-05-12T12:00:00Z")).all()
    assert str(found.dtype).endswith("UTC]")


@given(
    st.lists(
        st.tuples(
            st.datetimes(datetime(1900, 1, 1), datetime(2100, 1, 1)),
            st.integers(-840, 840) | st.none(),
        ),
        max_size=12,
    )
)
def test_each_is_read_by_its_own_offset(moments: list[tuple[datetime, int | None]]) -> None:
    texts = [
        moment.isoformat()
        + (
            ""
            if offset is None
            else f"{'+-'[offset < 0]}{abs(offset) // 60:02}:{abs(offset) % 60:02}"
        )
        for moment, offset in moments
    ]
    # an independent library: the standard library's own reader
    naive = [datetime.fromisoformat(text) for text in texts]
    wanted = [when.replace(tzinfo=None) - (when.utcoffset() or when - when) for when in naive]
    found = in_utc(texts).dt.tz_localize(None)
    assert [when.to_pydatetime() for when in found] == wanted


def test_index_and_missing_times_stay() -> None:
    texts = pd.Series(["noon", NOON[1], None, NOON[2], ""], index=[7, 7, 3, 1, 0])
    found = in_utc(texts)
    assert found.index.tolist() == [7, 7, 3, 1, 0]
    assert found.isna().tolist() == [True, False, True, False, True]


def test_dates_alone_begin_at_midnight_in_utc() -> None:
    assert in_utc([NOON[1], "2026-05-12"]).dt.hour.tolist() == [12, 0]


def test_times_stay_as_they_are() -> None:
    times = pd.Series(pd.date_range("2026-05-12 14:00", periods=3, tz="Europe/Berlin"))
    assert in_utc(times).dt.hour.tolist() == [12] * 3
    naive = np.array(["2026-05-12T12", "NaT"], "M8[s]")
    assert in_utc(naive).dt.hour.tolist()[0] == 12
    assert in_utc([]).empty


@pytest.mark.parametrize("texts", [["noon"], [NOON[1], "noon", NOON[2]]])
def test_what_is_no_time_is_refused_on_request(texts: list[str]) -> None:
    with pytest.raises(ValueError, match="noon"):
        in_utc(texts, errors="raise")
