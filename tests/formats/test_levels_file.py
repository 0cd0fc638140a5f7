"""Water levels as read off a gauge."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.levels_file import read_levels
from toolbox.notes import Assumption


def written(folder: Path, text: str) -> Path:
    path = folder / "gauge.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_date_and_time_of_a_zone_and_centimetres_above_a_zero(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "# staff at the dam\nDate,Time,Gauge (cm)\n09.06.2026,07:00,197\n,,\n09.06.2026,11:00,\n"
        "10.06.2026,04:00,159\n",
    )
    record = read_levels(path, timezone="America/Chicago", date_format="%d.%m.%Y", zero=255.0)
    # in June five hours behind UTC (IANA time zone database, zone America/Chicago, from memory)
    expected = pd.to_datetime(["2026-06-09T12:00Z", "2026-06-10T09:00Z"])
    assert record.frame["time"].tolist() == expected.tolist()
    np.testing.assert_allclose(record.column("level_m"), [256.97, 256.59])
    assert record.notes == ("column 'Gauge (cm)' read in cm, as its name says",)


def test_times_without_an_offset_are_told(tmp_path: Path) -> None:
    record = read_levels(written(tmp_path, "time,level_m\n2026-06-09 07:00,1.5\n"))
    assert record.frame["time"][0] == pd.Timestamp("2026-06-09T07:00Z")
    assert [type(note) for note in record.notes] == [Assumption]
    assert record.notes[0].startswith("times without an offset taken as UTC")


@pytest.mark.parametrize(
    "text",
    [
        "time,level_m\n2026-06-09T07:00Z,1.5\n2026-06-09T09:00+02:00,1.5\n",
        "time_utc,level\n2026-06-09 07:00,1.5\n",
        "Time (UTC),water level\n2026-06-09 07:00,1.5\n",
    ],
)
def test_nothing_is_assumed_where_the_zone_is_said(tmp_path: Path, text: str) -> None:
    record = read_levels(written(tmp_path, text))
    assert (record.frame["time"] == pd.Timestamp("2026-06-09T07:00Z")).all()
    assert record.notes == ()


def test_a_date_in_another_form_names_file_line_and_cell(tmp_path: Path) -> None:
    path = written(tmp_path, "time,level_m\n2026-06-09 07:00,1\n09.06.2026 11:00,1\n")
    with pytest.raises(InputFileError, match=r"gauge.csv, line 3: .*date_format.*09.06.2026 11:00"):
        read_levels(path)


def test_a_table_without_levels_says_what_it_has(tmp_path: Path) -> None:
    path = written(tmp_path, "time,rain_mm\n2026-06-09 07:00,1\n")
    with pytest.raises(
        InputFileError,
        match=r"gauge.csv has no column that is plainly the water level, only time, rain_mm: call",
    ):
        read_levels(path)


def test_a_zone_must_exist(tmp_path: Path) -> None:
    path = written(tmp_path, "time,level_m\n2026-06-09 07:00,1\n")
    with pytest.raises(ParameterError, match=r"timezone must be the name of a zone, .*'Moon'"):
        read_levels(path, timezone="Moon")


def test_dates_alone_need_no_zone(tmp_path: Path) -> None:
    record = read_levels(written(tmp_path, "Datum;Tag;Date;Pegel (cm)\n1;1;2026-06-09;197\n"))
    assert record.notes[0] == "dates without a time of day were taken as noon, UTC"
    assert not any("offset" in note for note in record.notes)
    assert record.column("level_m").tolist() == [1.97]
