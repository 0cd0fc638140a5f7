"""Times in ISO 8601 are read in UTC, each by its own offset."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.moments import check_zone, in_utc, names_offset, zone_unsaid

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


def test_times_of_a_zone_are_read_by_it_unless_they_name_an_offset() -> None:
    texts = pd.Series(["2026-07-01 14:00", "2026-01-01T13:00", "2026-07-01T12:00Z", "", None])
    found = in_utc(texts, timezone="Europe/Berlin")
    # two hours ahead of UTC in summer, one in winter (IANA time zone database, from memory)
    assert found.dt.hour.tolist()[:3] == [12, 12, 12]
    assert found.isna().tolist() == [False, False, False, True, True]
    assert str(found.dtype).endswith("UTC]")
    # an independent library: the standard library's own zones
    own = datetime(2026, 7, 1, 14, tzinfo=ZoneInfo("Europe/Berlin")).astimezone(UTC)
    assert found[0].to_pydatetime() == own


@pytest.mark.parametrize("text", ["2026-03-29 02:30", "2026-10-25 02:30"])
def test_times_that_a_zone_skips_or_has_twice_are_none(text: str) -> None:
    # summer time runs from the last Sunday of March to that of October, each at 1 h UTC
    # (Directive 2000/84/EC, articles 2 and 3, from memory)
    assert in_utc([text], timezone="Europe/Berlin").isna().all()
    assert in_utc([text]).notna().all()


def test_times_held_as_times_are_read_by_the_zone_too() -> None:
    naive = pd.Series(pd.to_datetime(["2026-07-01 14:00", None]))
    assert in_utc(naive, timezone="Europe/Berlin").dt.hour.tolist()[0] == 12
    aware = naive.dt.tz_localize("Asia/Tokyo")
    assert in_utc(aware, timezone="Europe/Berlin").dt.hour.tolist()[0] == 5
    assert in_utc([], timezone="Europe/Berlin").empty


@pytest.mark.parametrize(
    ("name", "texts", "unsaid"),
    [
        ("time", ["2026-05-12 12:00"], True),
        ("time", ["2026-05-12T12:00Z", "2026-05-12 12:00"], True),
        ("time", ["2026-05-12T12:00Z", "2026-05-12 12:00+02:00", "2026-05-12 12+02"], False),
        ("time_utc", ["2026-05-12 12:00"], False),
        ("GPS time", ["2026-05-12 12:00"], False),
        ("time", ["", None], False),
    ],
)
def test_a_zone_is_said_by_the_name_or_by_all_texts(
    name: str, texts: list[str | None], unsaid: bool
) -> None:
    assert zone_unsaid(pd.Series(texts, name=name)) is unsaid


@pytest.mark.parametrize("text", NOON)
def test_what_names_an_offset_is_no_other_time_in_a_zone(text: str) -> None:
    moved = in_utc([text], timezone="Asia/Tokyo")[0] != in_utc([text])[0]
    assert moved != names_offset(pd.Series([text]))[0]  # derived: Tokyo is never on UTC


@pytest.mark.parametrize("zone", ["Moon", "", "../etc/passwd"])
def test_a_zone_must_be_known(zone: str) -> None:
    with pytest.raises(ParameterError, match=r"^timezone must be the name of a zone, such as "):
        check_zone(zone)
