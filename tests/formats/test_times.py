"""Times are read in the zone and the manner they were noted in."""

from pathlib import Path

import pytest

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.delimited import read_delimited
from toolbox.formats.times import read_times


def times(folder: Path, text: str, **options: str) -> tuple[list[str], tuple[str, ...], list[str]]:
    path = folder / "table.csv"
    path.write_text(text, encoding="utf-8")
    found, used, notes = read_times(read_delimited(path), path, **options)
    return [f"{time:%Y-%m-%d %H:%M}" for time in found], used, notes


def test_a_date_alone_is_noon(tmp_path: Path) -> None:
    found = times(tmp_path, "date,depth\n2026-05-14,0\n20260515,1\n")
    assert found == (
        ["2026-05-14 12:00", "2026-05-15 12:00"],
        ("date",),
        ["dates without a time of day were taken as noon, UTC"],
    )


def test_whole_times_with_and_without_an_offset(tmp_path: Path) -> None:
    text = (
        "timestamp,depth\n2026-05-14T09:30,0\n2026-05-14 09:30:20Z,1\n"
        "2026-05-14T09:30+02:00,2\n2026-05-14,3\n"
    )
    assert times(tmp_path, text)[0] == [
        "2026-05-14 09:30", "2026-05-14 09:30", "2026-05-14 07:30", "2026-05-14 12:00",
    ]  # fmt: skip
    # an offset that is written counts, whatever the zone of the others
    assert times(tmp_path, text, timezone="Europe/Berlin")[0] == [
        "2026-05-14 07:30", "2026-05-14 09:30", "2026-05-14 07:30", "2026-05-14 10:00",
    ]  # fmt: skip


def test_date_and_time_of_day(tmp_path: Path) -> None:
    text = "Date,Time,depth\n2026-05-14,9:05,0\n2026-05-14,14:30:30,1\n2026-05-14,,2\n"
    found, used, notes = times(tmp_path, text)
    assert found == ["2026-05-14 09:05", "2026-05-14 14:30", "2026-05-14 12:00"]
    assert used == ("Date", "Time")
    assert [note.partition(" ")[0] for note in notes] == ["dates", "times"]


def test_other_ways_to_write_a_date(tmp_path: Path) -> None:
    text = "tag;uhr;depth\n14.05.2026;9:05;0\n14.05.2026;;1\n"
    options = {"date": "tag", "time": "uhr", "date_format": "%d.%m.%Y", "timezone": "Europe/Berlin"}
    assert times(tmp_path, text, **options)[0] == ["2026-05-14 07:05", "2026-05-14 10:00"]
    whole = "date,depth\n5/14/2026 14:30,0\n5/15/2026,1\n"
    assert times(tmp_path, whole, date_format="%m/%d/%Y")[0] == [
        "2026-05-14 14:30", "2026-05-15 12:00",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "date,depth\n2026-05-14,0\n14.05.2026,1\n",
            r"line 3: column 'date' must hold a time \(ISO",
        ),
        ("date,depth\n2026-05-14,0\n,1\n", r"line 3: column 'date' must hold .* got ''"),
        ("date,depth\n2026-02-30,0\n", "line 2: column 'date' must hold .* got '2026-02-30'"),
        ("date,time,depth\n2026-05-14,9:30,0\n2026-05-14,9 am,1\n", "line 3: column 'time' must"),
        ("date,time,depth\n2026-05-14,25:30,0\n", "line 2: column 'date' must hold a time"),
        (
            "depth,temp\n0,9\n",
            "no column that is plainly the date or time; name one of depth, temp",
        ),
    ],
)
def test_what_is_no_time(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputFileError, match=message):
        times(tmp_path, text)


def test_hours_that_a_zone_skips_or_has_twice(tmp_path: Path) -> None:
    for clock in ("2026-03-29T02:30", "2026-10-25T02:30"):
        with pytest.raises(
            InputFileError, match=r"a time .* that comes once in Europe/Berlin, got"
        ):
            times(tmp_path, f"time,depth\n{clock},0\n", timezone="Europe/Berlin")


def test_no_such_zone_or_column(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match=r"timezone must be the name of a zone, .* got 'Mars'"):
        times(tmp_path, "date,depth\n2026-05-14,0\n", timezone="Mars")
    with pytest.raises(InputFileError, match="has no column 'day', only date, depth"):
        times(tmp_path, "date,depth\n2026-05-14,0\n", date="day")


def test_dates_written_otherwise_are_told_how_to_be_read(tmp_path: Path) -> None:
    text = "date,depth\n09.04.2026,0\n"
    with pytest.raises(InputFileError, match=r"for others name date_format\) that .* '09.04.2026'"):
        times(tmp_path, text)
    assert times(tmp_path, text, date_format="%d.%m.%Y")[0] == ["2026-04-09 12:00"]
