"""NMEA 0183 logs: each reading once, with its time, and everything skipped is counted."""

import functools
import operator
import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats import nmea
from toolbox.formats.nmea import read_nmea
from toolbox.formats.nmea_sentences import read_sentences
from toolbox.layers.track import TrackLog

ROOT = Path(__file__).resolve().parents[2]
LOGS = ROOT.parent / "shared" / "data" / "depth_sentences"
needs_logs = pytest.mark.skipif(not LOGS.is_dir(), reason="../shared/data is absent")

FILES = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def proved(body: str) -> str:
    """Return a sentence with its checksum: the exclusive or of the bytes between $ and *."""
    return f"${body}*{functools.reduce(operator.xor, body.encode(), 0):02X}"


def put(folder: Path, *lines: str | bytes) -> Path:
    path = folder / "log.nmea"
    raw = [line.encode() if isinstance(line, str) else line for line in lines]
    path.write_bytes(b"".join(line + b"\r\n" for line in raw))
    return path


def log_of(folder: Path, *bodies: str, **options: object) -> TrackLog:
    return read_nmea(put(folder, *map(proved, bodies)), **options)  # type: ignore[arg-type]


def gga(clock: str, minutes: float = 7.038, quality: int = 1) -> str:
    return f"GPGGA,{clock},48{minutes:06.3f},N,01131.000,E,{quality},08,0.9,545.4,M,46.9,M,,"


def clock_of(seconds: float) -> str:
    whole = int(seconds)
    minutes = whole // 60
    return f"{minutes // 60:02d}{minutes % 60:02d}{whole % 60 + seconds % 1:05.2f}"


def depth(metres: float) -> str:
    return f"SDDBT,,f,{metres:.2f},M,,F"


def seconds_of(log: TrackLog) -> list[float]:
    since = log.depths["time"] - log.depths["time"].iloc[0].normalize()
    return since.dt.total_seconds().tolist()


# ---- sentences whose checksums were recomputed (check-values section 3) ----

ROWS = [
    # NOAA NCEI format-dpt.txt, file format scs_dpt, dataset 0086548
    ("$SDDPT,0006.29,002.40*6C", 8.69, 6.29, "surface", 1e-9),
    # public repository text (second hand); the DBS agrees with the DPT and its offset to 0.01 m
    ("$SDDPT,3079.80,6.14*61", 3085.94, 3079.80, "surface", 1e-9),
    ("$SDDBS,10124.50,f,3085.95,M,1687.42,F*3E", 3085.95, 3085.95, "surface", 0.01),
    ("$SDDBT,10104.34,f,3079.80,M,1684.06,F*3D", 3079.8028, 3079.8028, "transducer", 1e-4),
    # second hand: 7.8 ft = 2.377 m, written as 2.4 m; 17.0 ft = 5.18 m, cut to 5.1 m
    ("$SDDBT,7.8,f,2.4,M,1.3,F*0D", 2.377, 2.377, "transducer", 5e-4),
    ("$SDDBT,17.0,f,5.1,M,2.8,F*3E", 5.18, 5.18, "transducer", 2e-3),
    # second hand: the offset of the keel, a trailing empty range, offsets of zero
    ("$SDDPT,10.1,-1.5,*62", 10.1, 10.1, "transducer", 1e-9),
    ("$SDDPT,25.1,0.0,*4D", 25.1, 25.1, "transducer", 1e-9),
    ("$SDDPT,14.39,0.00*68", 14.39, 14.39, "transducer", 1e-9),
]


@pytest.mark.parametrize(("line", "wanted", "read", "reference", "tolerance"), ROWS)
def test_depth_sentence(
    line: str, wanted: float, read: float, reference: str, tolerance: float, tmp_path: Path
) -> None:
    log = read_nmea(put(tmp_path, line))
    row = log.depths.iloc[0]
    assert len(log) == 1
    assert row["depth"] == pytest.approx(wanted, abs=tolerance)
    assert row["depth_read"] == pytest.approx(read, abs=tolerance)
    assert row["measured_from"] == reference
    assert pd.isna(row["time"])


def test_empty_fields_are_missing_not_zero(tmp_path: Path) -> None:
    # second hand, check-values section 3
    log = read_nmea(put(tmp_path, "$SDDPT,,*57"))
    assert len(log) == 1
    assert np.isnan(log.depths["depth"].iloc[0])


def test_wrong_checksums_are_counted_and_skipped(tmp_path: Path) -> None:
    # check-values section 3, negative cases: the right ones are 1E, 50, 09 and 28
    wrong = [
        "$YXMTW,18.5,C*1D",
        "$SDDPT,5.20,0.00*5B",
        "$SDDBT,50.0,f,15.24,M,8.33,F*2A",
        "$SDDPT,111,666,T*2A",
    ]
    log = read_nmea(put(tmp_path, *wrong, "$SDDPT,14.39,0.00*68"))
    assert log.depths["depth"].tolist() == [14.39]
    assert log.counts["bad checksum"] == 4
    assert log.temperatures is not None
    assert len(log.temperatures) == 0


def test_temperatures(tmp_path: Path) -> None:
    # second hand, check-values section 3; the last two really share a checksum
    lines = ["$YXMTW,25.6,C*13", "$YXMTW,24.9,C*1D", "$YXMTW,17.9,C*1D"]
    log = read_nmea(put(tmp_path, proved(gga("110000")), proved(depth(3)), *lines))
    assert log.temperatures is not None
    assert log.temperatures["temperature"].tolist() == [25.6, 24.9, 17.9]


def test_temperature_in_fahrenheit_is_converted_and_an_empty_one_is_none(tmp_path: Path) -> None:
    log = log_of(tmp_path, gga("110000"), depth(3), "YXMTW,68.0,F", "YXMTW,,C")
    assert log.temperatures is not None
    assert log.temperatures["temperature"].tolist() == [pytest.approx(20.0)]


POSITIONS = [
    # second hand, check-values section 3: 48.1173 N, 11.516667 E; 22.4 kn = 11.5235 m/s
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
]


@pytest.mark.parametrize(
    "lines", [POSITIONS[:1], POSITIONS[1:], POSITIONS], ids=["GGA", "RMC", "both"]
)
def test_position(lines: list[str], tmp_path: Path) -> None:
    log = read_nmea(put(tmp_path, *lines, proved(depth(3))))
    assert len(log.fixes) == 1
    fix = log.fixes.iloc[0]
    assert fix["latitude"] == pytest.approx(48.1173, abs=1e-6)
    assert fix["longitude"] == pytest.approx(11.516667, abs=1e-6)
    assert fix["valid"]
    assert log.depths["time"].iloc[0] == fix["time"]
    assert (fix["time"] - fix["time"].normalize()) == pd.Timedelta("12:35:19")


def test_date_and_speed_of_rmc(tmp_path: Path) -> None:
    fix = read_nmea(put(tmp_path, POSITIONS[1], proved(depth(3)))).fixes.iloc[0]
    assert fix["time"] == pd.Timestamp("1994-03-23T12:35:19Z")
    assert fix["speed"] == pytest.approx(11.5235, abs=1e-4)
    assert fix["course"] == 84.4


def test_speed_of_vtg(tmp_path: Path) -> None:
    # second hand, check-values section 3: 5.5 kn = 10.186 km/h
    vtg = "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"
    fix = read_nmea(put(tmp_path, POSITIONS[0], vtg, proved(depth(3)))).fixes.iloc[0]
    assert fix["speed"] * 3.6 == pytest.approx(10.186, abs=1e-3)
    assert fix["course"] == 54.7


def test_south_and_west_are_negative(tmp_path: Path) -> None:
    fix = log_of(tmp_path, "GNGLL,3330.000,S,07015.000,W,120000,A,A", depth(3)).fixes.iloc[0]
    assert (fix["latitude"], fix["longitude"]) == (-33.5, -70.25)


# ---- checksums ----


def test_lower_case_checksum_is_good(tmp_path: Path) -> None:
    log = read_nmea(put(tmp_path, "$SDDPT,0006.29,002.40*6c"))
    assert log.depths["depth"].tolist() == [pytest.approx(8.69)]


def test_missing_checksum_is_taken_only_on_request(tmp_path: Path) -> None:
    path = put(tmp_path, "$SDDPT,5.20,0.00", "$SDDPT,14.39,0.00*68", "$SDDPT,5.20,0.00*5B")
    strict, lenient = read_nmea(path), read_nmea(path, lenient_checksum=True)
    assert strict.depths["depth"].tolist() == [14.39]
    assert lenient.depths["depth"].tolist() == [5.20, 14.39]
    assert strict.counts["no checksum"] == lenient.counts["no checksum"] == 1
    assert strict.counts["bad checksum"] == lenient.counts["bad checksum"] == 1
    assert lenient.notes[-1] == "1 sentence taken without a checksum"


def test_lenient_reading_takes_no_sentence_that_was_cut_short(tmp_path: Path) -> None:
    path = put(tmp_path, "$GPGGA,1100$SDDBT,1.4", "$SDDBT,7.8,f,2.4,M,1.3,F")
    log = read_nmea(path, lenient_checksum=True)
    assert log.depths["depth"].dropna().tolist() == [pytest.approx(2.377, abs=5e-4)]
    assert log.counts["not a sentence"] == 1


@pytest.mark.parametrize("tail", ["*6", "*", "*6C7", "*G0"])
def test_checksum_that_is_cut_or_too_long_is_bad(tail: str, tmp_path: Path) -> None:
    path = put(tmp_path, f"$SDDPT,0006.29,002.40{tail}", "$SDDPT,14.39,0.00*68")
    log = read_nmea(path, lenient_checksum=True)
    assert (len(log), log.counts["bad checksum"]) == (1, 1)


def test_what_a_logger_writes_around_a_sentence_does_no_harm(tmp_path: Path) -> None:
    log = read_nmea(
        put(
            tmp_path,
            "2026-05-12T11:00:00Z $SDDPT,14.39,0.00*68",
            "$SDDPT,0006.29,002.40*6C 11:00:01",
        )
    )
    assert log.depths["depth"].tolist() == [14.39, pytest.approx(8.69)]
    assert log.counts["not a sentence"] == 0


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n", b"\n\r\n"], ids=repr)
def test_line_ends(end: bytes, tmp_path: Path) -> None:
    path = tmp_path / "log.nmea"
    path.write_bytes(end.join([b"$SDDPT,14.39,0.00*68", b"$SDDPT,25.1,0.0,*4D"]))
    log = read_nmea(path)
    assert log.depths["depth"].tolist() == [14.39, 25.1]
    assert log.counts["not a sentence"] == 0


# ---- which field, and which sentence ----


@pytest.mark.parametrize(
    ("body", "wanted", "step"),
    [
        ("SDDBT,17.0,f,5.18,M,2.8,F", 5.18, 0.01),
        ("SDDBT,17.0,f,5.1,M,2.8,F", 17.0 * 0.3048, 0.1 * 0.3048),
        ("SDDBT,17,f,5,M,2.833,F", 2.833 * 1.8288, 0.001 * 1.8288),
        ("SDDBT,,f,5.1,M,,F", 5.1, 0.1),
        ("SDDBT,,,,,2.8,F", 2.8 * 1.8288, 0.1 * 1.8288),
        ("SDDBT,17.0,f", 17.0 * 0.3048, 0.1 * 0.3048),
        ("SDDBT, 17.0 ,f,  5.1,M,2.8,F", 17.0 * 0.3048, 0.1 * 0.3048),
        ("SDDPT,+5.1,0.0", 5.1, 0.1),
    ],
    ids=["metres", "feet", "fathoms", "only metres", "only fathoms", "short", "blanks", "plus"],
)
def test_field_with_the_smallest_step_counts(
    body: str, wanted: float, step: float, tmp_path: Path
) -> None:
    # 1 ft = 0.3048 m, 1 fathom = 1.8288 m, exact (check-values 10.6)
    row = log_of(tmp_path, body).depths.iloc[0]
    assert row["depth"] == pytest.approx(wanted, abs=1e-12)
    assert row["resolution"] == pytest.approx(step)


def test_depth_whose_unit_is_not_what_it_should_be_is_missing(tmp_path: Path) -> None:
    log = log_of(tmp_path, "SDDBT,17.0,M,5.1,f,2.8,x", depth(3))
    assert np.isnan(log.depths["depth"].iloc[0])


@pytest.mark.parametrize("field", ["1.2.3", "abc", "--1", "1-", "1e3", "nan", ".", "5" * 30])
def test_field_that_is_no_number_is_counted_and_missing(field: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, f"SDDPT,{field},0.0", "SDDPT,3.0,0.0")
    assert log.depths["depth"].isna().tolist() == [True, False]
    assert log.counts["unreadable field"] == 1


@FILES
@given(text=st.from_regex(r"[+-]?([0-9]{1,9}[.]?[0-9]{0,6}|[.][0-9]{1,6})", fullmatch=True))
def test_numbers_are_read_as_exactly_as_python_does(text: str, tmp_path: Path) -> None:
    assert log_of(tmp_path, f"SDDPT,{text},0.0").depths["depth"].tolist() == [float(text)]


ONE_READING = [
    "SDDBT,10.0,f,3.0,M,1.6,F",
    "SDDBS,11.0,f,3.3,M,1.8,F",
    "SDDPT,3.05,0.30",
    "SDDBK,,f,2.5,M,,F",
]


@pytest.mark.parametrize("turn", range(4))
def test_one_reading_told_four_times_is_one_sounding(turn: int, tmp_path: Path) -> None:
    cycle = ONE_READING[turn:] + ONE_READING[:turn]
    bodies = [body for second in range(5) for body in (gga(f"11000{second}"), *cycle)]
    log = log_of(tmp_path, *bodies)
    assert log.depths["sentence"].tolist() == ["DPT"] * 5
    assert log.depths["depth"].tolist() == [pytest.approx(3.35)] * 5
    assert log.counts["repeated reading"] == 15


@pytest.mark.parametrize(
    ("bodies", "sentence", "reference"),
    [
        (ONE_READING, "DPT", "surface"),
        (ONE_READING[:2], "DBS", "surface"),
        ([ONE_READING[0], "SDDPT,3.0,0.0"], "DBT", "transducer"),
        ([ONE_READING[0], "SDDPT,3.05,0.0"], "DPT", "transducer"),
        ([ONE_READING[0], "SDDPT,3.05,-0.5"], "DPT", "transducer"),
        ([ONE_READING[3], ONE_READING[0]], "DBT", "transducer"),
        ([ONE_READING[3]], "DBK", "keel"),
        (["SDDBS,,f,,M,,F", ONE_READING[0]], "DBT", "transducer"),
    ],
    ids=["DPT", "DBS", "feet", "centimetres", "keel offset", "DBT", "DBK", "empty"],
)
def test_the_best_sentence_of_a_reading_counts(
    bodies: list[str], sentence: str, reference: str, tmp_path: Path
) -> None:
    log = log_of(tmp_path, gga("110000"), *bodies)
    row = log.depths.iloc[0]
    assert len(log) == 1
    assert (row["sentence"], row["measured_from"]) == (sentence, reference)


def test_kind_that_is_named_is_the_only_one(tmp_path: Path) -> None:
    path = put(tmp_path, *map(proved, [gga("110000"), *ONE_READING, gga("110001"), ONE_READING[1]]))
    log = read_nmea(path, depth_of="DBT")
    assert log.depths["sentence"].tolist() == ["DBT"]
    assert log.counts["repeated reading"] == 0
    assert log.counts["other sentence"] == 4


def test_kind_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"holds no sentence that tells a depth \(DBK\)"):
        log_of(tmp_path, depth(3), depth_of="DBK")
    with pytest.raises(ParameterError, match="depth_of must be one of 'DPT', 'DBS', 'DBT', 'DBK'"):
        log_of(tmp_path, depth(3), depth_of="GGA")


@pytest.mark.parametrize("rate", [1, 2, 10], ids=lambda rate: f"{rate} Hz")
def test_reading_into_which_a_fix_falls_is_one_sounding(rate: int, tmp_path: Path) -> None:
    bodies = []
    for tick in range(6 * rate):
        bodies.append(gga(clock_of(39600 + tick / rate)))
        if tick % rate == 0:
            bodies.append(depth(tick / rate + 2))
        if tick % rate == (1 if rate > 1 else 0) and tick:
            bodies.insert(
                -1 if rate == 1 else len(bodies), f"SDDPT,{tick // rate + 2 - (rate == 1)}.0,0.0"
            )
    log = log_of(tmp_path, *bodies)
    assert log.depths["depth"].tolist() == [2, 3, 4, 5, 6, 7]


@FILES
@given(
    cycles=st.lists(
        st.lists(st.sampled_from(["DBT", "DPT", "DBS"]), unique=True, max_size=3), min_size=1
    ),
    order=st.permutations(["DBT", "DPT", "DBS"]),
)
@example(cycles=[["DPT"], ["DBT"], ["DPT", "DBT"]], order=["DBT", "DPT", "DBS"])
def test_sentences_lost_on_the_way_lose_no_reading_and_double_none(
    cycles: list[list[str]], order: list[str], tmp_path: Path
) -> None:
    bodies, wanted = [gga("105959")], []
    for number, kept in enumerate([["DBT", "DPT", "DBS"], *cycles]):
        told = 2 + 0.5 * number + 0.37 * (number % 3)
        texts = {
            "DBT": f"SDDBT,,f,{told:.2f},M,,F",
            "DPT": f"SDDPT,{told:.2f},0.0",
            "DBS": f"SDDBS,,f,{told + 0.3:.2f},M,,F",
        }
        bodies += [gga(clock_of(39600 + number)), *(texts[kind] for kind in order if kind in kept)]
        wanted += [told] if kept else []
    log = log_of(tmp_path, *bodies)
    from_transducer = log.depths["depth"] - 0.3 * (log.depths["measured_from"] == "surface")
    assert from_transducer.tolist() == pytest.approx(wanted)


# ---- times ----


def test_depth_has_the_time_last_told(tmp_path: Path) -> None:
    log = log_of(
        tmp_path, depth(1), gga("110000"), depth(2), "GPZDA,110002.50,12,05,2026,00,00", depth(3)
    )
    assert log.depths["time"].isna().tolist() == [True, False, False]
    assert log.depths["time"].iloc[1] == pd.Timestamp("2026-05-12T11:00:00Z")
    assert log.depths["time"].iloc[2] == pd.Timestamp("2026-05-12T11:00:02.5Z")


def test_readings_between_two_times_follow_at_an_even_pace(tmp_path: Path) -> None:
    bodies = [
        b for s in range(4) for b in (gga(f"11000{s}"), *(depth(s + k / 5) for k in range(5)))
    ]
    log = log_of(tmp_path, *bodies)
    wanted = 39600 + np.arange(20) / 5
    assert seconds_of(log) == pytest.approx(wanted.tolist())
    assert log.depths["depth"].tolist() == pytest.approx((wanted - 39600).tolist())


def test_readings_go_on_at_their_pace_while_the_receiver_is_silent(tmp_path: Path) -> None:
    clocks = [*range(5), *range(25, 30)]
    bodies = []
    for second in clocks:
        bodies += [gga(clock_of(39600 + second)), depth(2)]
        bodies += [depth(2)] * (20 if second == 4 else 0)
    assert seconds_of(log_of(tmp_path, *bodies)) == pytest.approx(
        [39600 + second for second in range(30)]
    )


def test_readings_before_a_pause_of_the_log_are_not_spread_over_it(tmp_path: Path) -> None:
    bodies = []
    for second in (0, 1, 2, 3, 600, 601):
        bodies += [gga(clock_of(39600 + second)), depth(2), depth(2.1)]
    found = seconds_of(log_of(tmp_path, *bodies))
    assert found == pytest.approx([39600 + s + h for s in (0, 1, 2, 3, 600, 601) for h in (0, 0.5)])


def test_log_without_a_date_says_so(tmp_path: Path) -> None:
    log = log_of(tmp_path, gga("110000"), depth(2))
    assert log.depths["time"].iloc[0] == pd.Timestamp("2000-01-01T11:00:00Z")
    assert log.notes == ("the log tells no date: its first sentence was taken as of 2000-01-01",)


def test_date_that_is_given_is_that_of_the_first_sentence(tmp_path: Path) -> None:
    log = log_of(tmp_path, gga("235959"), depth(2), gga("000001"), depth(3), date="2024-02-28")
    assert log.depths["time"].tolist() == [
        pd.Timestamp("2024-02-28T23:59:59Z"),
        pd.Timestamp("2024-02-29T00:00:01Z"),
    ]
    assert log.notes == ()
    assert log.counts["time running backward"] == 0


def test_date_that_is_not_needed_is_named(tmp_path: Path) -> None:
    log = log_of(tmp_path, "GPZDA,110002,12,05,2026,00,00", depth(3), date="2024-02-28")
    assert log.depths["time"].iloc[0] == pd.Timestamp("2026-05-12T11:00:02Z")
    assert log.notes == ("the log tells its own dates: date 2024-02-28 was not needed",)


@pytest.mark.parametrize("date", ["2023-02-29", "12.5.2026", "", "2026-13-01", "today"])
def test_date_that_cannot_be_is_refused(date: str, tmp_path: Path) -> None:
    if not date:
        date = "-"
    with pytest.raises(ParameterError, match=r"date must be a day such as '2026-05-12', got"):
        log_of(tmp_path, depth(3), date=date)


def rmc(clock: str, date: str, status: str = "A") -> str:
    return f"GPRMC,{clock},{status},4807.038,N,01131.000,E,022.4,084.4,{date},003.1,W"


def test_midnight_between_dated_and_undated_sentences(tmp_path: Path) -> None:
    log = log_of(
        tmp_path,
        *(gga("235958"), depth(1)),
        *(gga("235959"), rmc("235959", "311225"), depth(2)),
        *(gga("000000"), depth(3), rmc("000000", "010126")),
        *(gga("000001"), depth(4)),
    )
    assert log.depths["time"].tolist() == list(
        pd.date_range("2025-12-31T23:59:58Z", periods=4, freq="s")
    )


def test_two_midnights_without_a_date(tmp_path: Path) -> None:
    clocks = ["200000", "040000", "120000", "200000", "040000"]
    log = log_of(tmp_path, *(b for clock in clocks for b in (gga(clock), depth(2))))
    hours = log.depths["time"].diff().dropna().dt.total_seconds() / 3600
    assert hours.tolist() == [8, 8, 8, 8]


def test_date_of_a_receiver_without_fix_is_not_believed(tmp_path: Path) -> None:
    log = log_of(
        tmp_path, rmc("110000", "060180", "V"), depth(2), rmc("110001", "120526"), depth(3)
    )
    assert log.depths["time"].iloc[0] == pd.Timestamp("2026-05-12T11:00:00Z")


@pytest.mark.parametrize("clock", ["240000", "116000", "110061", "1100", "95559", "-10000"])
def test_time_that_cannot_be_is_counted(clock: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, gga("110000"), gga(clock), depth(2))
    assert log.counts["unreadable field"] == 1
    assert seconds_of(log) == [39600]


def test_leap_second_is_the_second_after_it(tmp_path: Path) -> None:
    log = log_of(tmp_path, gga("235960"), depth(2), gga("000001"), depth(3), date="2016-12-31")
    assert log.depths["time"].tolist() == [
        pd.Timestamp("2017-01-01T00:00:00Z"),
        pd.Timestamp("2017-01-01T00:00:01Z"),
    ]


def test_time_running_backward_is_counted_and_stays_in_order(tmp_path: Path) -> None:
    clocks = ["110000", "110001", "110003", "110002", "110004", "110000", "110001"]
    log = log_of(tmp_path, *(b for i, clock in enumerate(clocks) for b in (gga(clock), depth(i))))
    assert log.depths["depth"].tolist() == [0, 1, 2, 3, 4, 5, 6]
    assert log.counts["time running backward"] == 2
    # a second late is a late sentence; four seconds may be one
    assert log.depths["run"].tolist() == [0] * 7
    assert "time runs backward 2 times; runs of the clock: 1" in log.notes


def test_clock_that_is_set_back_starts_a_new_run(tmp_path: Path) -> None:
    clocks = ["110000", "110018", "110002", "110003"]  # as by leap seconds learnt late
    log = log_of(tmp_path, *(b for clock in clocks for b in (gga(clock), depth(2))))
    assert log.depths["run"].tolist() == log.fixes["run"].tolist() == [0, 0, 1, 1]


# ---- fixes ----


@pytest.mark.parametrize(
    ("body", "valid"),
    [
        (gga("110000", quality=0), False),
        (gga("110000", quality=2), True),
        (rmc("110000", "120526", "V"), False),
        (rmc("110000", "120526"), True),
        (rmc("110000", "120526") + ",N", False),
        (rmc("110000", "120526") + ",D", True),
        ("GPGLL,4807.038,N,01131.000,E,110000,V", False),
        ("GPGLL,4807.038,N,01131.000,E,110000,A,N", False),
        ("GPGLL,4807.038,N,01131.000,E,110000,A", True),
    ],
)
def test_receiver_says_whether_it_has_a_fix(body: str, valid: bool, tmp_path: Path) -> None:
    log = log_of(tmp_path, body, depth(2))
    assert log.fixes["valid"].tolist() == [valid]
    assert log.counts["receiver without fix"] == (not valid)


def test_old_gll_without_time_is_a_fix_of_the_moment_last_told(tmp_path: Path) -> None:
    log = log_of(
        tmp_path, "GPZDA,110002,12,05,2026,00,00", "GPGLL,4807.038,N,01131.000,E", depth(3)
    )
    assert log.fixes["valid"].tolist() == [True]
    assert log.fixes["time"].iloc[0] == pd.Timestamp("2026-05-12T11:00:02Z")


def test_fix_with_empty_fields_is_none(tmp_path: Path) -> None:
    log = log_of(tmp_path, "GPGGA,110000,,,,,0,,,,M,,M,,", "GPRMC,,V,,,,,,,,,,N", depth(2))
    assert len(log.fixes) == 0
    assert log.counts["receiver without fix"] == 2
    assert log.counts["unreadable field"] == 0


def test_fix_that_is_valid_beats_one_that_is_not(tmp_path: Path) -> None:
    log = log_of(tmp_path, gga("110000", quality=0), rmc("110000", "120526"), depth(2))
    assert log.fixes["valid"].tolist() == [True]


@pytest.mark.parametrize(
    "position",
    ["9100.000,N,01131.000,E", "4860.000,N,01131.000,E", "4807.038,X,01131.000,E",
     "4807.038,,01131.000,E", "4807.038,N,18100.000,E", "48o7.038,N,01131.000,E"],
)  # fmt: skip
def test_position_that_cannot_be_is_counted(position: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, f"GPGGA,110000,{position},1,08,0.9,,M,,M,,", depth(2))
    assert len(log.fixes) == 0
    assert log.counts["unreadable field"] == 1


def test_any_talker_speaks_but_makers_own_sentences_do_not(tmp_path: Path) -> None:
    log = log_of(
        tmp_path, "GLGGA" + gga("110000")[5:], "IIDPT,2.5,0.0", "XXDPT,2.5,0.0", "PXDPT,9.9,0.0",
        "PGRMZ,246,f,3", ",,DPT,9.9,0.0",
    )  # fmt: skip
    assert log.depths["depth"].tolist() == [2.5]
    assert len(log.fixes) == 1
    assert log.counts["other sentence"] == 3


# ---- hostile logs ----


def test_hostile_lines_are_counted(tmp_path: Path) -> None:
    hostile: list[str | bytes] = [
        "$",
        "$$$",
        "# a remark",
        bytes(range(128, 256)),
        b"\x00\x01\x02",
        "$" + "A" * 5000,
        "$GPGGA,1100" + proved("SDDPT,2.5,0.0"),
        "",
        "   ",
    ]
    log = read_nmea(put(tmp_path, *hostile))
    assert log.depths["depth"].tolist() == [2.5]
    # one lone $, three, a remark, two of bytes, one too long, one cut short by the next
    assert log.counts["not a sentence"] == 1 + 3 + 1 + 2 + 1 + 1
    assert log.counts["bad checksum"] == log.counts["no checksum"] == 0


def test_line_of_ten_megabytes_is_one_line(tmp_path: Path) -> None:
    path = put(
        tmp_path, proved(depth(1)), "$" + "9" * 10_000_000, "x" * 10_000_000, proved(depth(2))
    )
    tracemalloc.start()
    log = read_nmea(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert log.depths["depth"].tolist() == [1, 2]
    assert log.counts["not a sentence"] == 2
    assert peak < 15e6


def test_memory_does_not_grow_with_the_log(tmp_path: Path) -> None:
    read_nmea(put(tmp_path, proved(depth(1))))  # what is loaded once does not count
    peaks = []
    for times in (50_000, 150_000):
        other = (proved("IIVHW,,T,,M,06.11,N,11.31,K") + "\r\n").encode()
        path = tmp_path / "long.nmea"
        path.write_bytes(other * times + proved(depth(2)).encode() + b"\r\n" + other * times)
        tracemalloc.start()
        assert read_nmea(path).counts["other sentence"] == 2 * times
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0]


SOME_LOG = [
    *("GPZDA,095559,12,05,2026,00,00", "SDDBT,34.25,f,10.44,M,5.64,F", "SDDPT,10.44,0.30"),
    *(gga("095600"), depth(3), "YXMTW,13.9,C", rmc("095601", "120526"), depth(4), "GPGSV,,,"),
]


@pytest.mark.parametrize("block", [1, 7, 60, 61, 1000])
def test_log_reads_the_same_in_blocks_of_any_size(
    block: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [proved(body) for body in SOME_LOG * 3]
    hostile = ["$", "x" * 3000, "$" + "y" * 3000, "$SDDBT,1.0,f,0.3,M,0.1,F*00", "$GPGGA,09$$", "#"]
    path = put(tmp_path, *lines, *hostile, *lines)
    whole = read_nmea(path)
    monkeypatch.setattr(nmea, "read_sentences", functools.partial(read_sentences, block=block))
    parts = read_nmea(path)
    for name in ("fixes", "depths", "temperatures"):
        pd.testing.assert_frame_equal(getattr(parts, name), getattr(whole, name))
    assert (parts.counts, parts.notes) == (whole.counts, whole.notes)


@FILES
@given(
    junk=st.lists(st.binary(max_size=200), max_size=20),
    depths=st.lists(st.integers(1, 9999), min_size=1, max_size=20),
    seed=st.integers(0, 2**16),
)
def test_junk_between_lines_loses_no_reading(
    junk: list[bytes], depths: list[int], seed: int, tmp_path: Path
) -> None:
    lines: list[bytes] = [proved(f"SDDPT,{d / 100:.2f},0.0").encode() for d in depths]
    rng = np.random.default_rng(seed)
    for piece in junk:
        lines.insert(int(rng.integers(len(lines) + 1)), piece)
    log = read_nmea(put(tmp_path, *lines))
    found = log.depths["depth"].tolist()
    assert [d / 100 for d in depths] == pytest.approx(found)


@FILES
@given(
    raw=st.binary(max_size=2000)
    | st.text("$,*.-0123456789GADPTBRMCZLNEWSVTfF\r\n ", max_size=2000).map(str.encode)
)
@example(raw=b"$GPGGA,,,,,,,,,,,,,,*56\r\n$SDDBT,,,,,,*6C")
def test_bytes_of_any_kind_never_break_the_reader(raw: bytes, tmp_path: Path) -> None:
    path = tmp_path / "log.nmea"
    path.write_bytes(raw + b"\n" + proved(depth(2)).encode())
    assert 2 in read_nmea(path, lenient_checksum=True).depths["depth"].tolist()


def test_log_without_depths_is_refused_with_what_it_holds(tmp_path: Path) -> None:
    path = put(tmp_path, proved(gga("110000")), "$SDDPT,5.20,0.00", "$SDDPT,5.20,0.00*5B")
    with pytest.raises(
        InputFileError,
        match=r"no sentence that tells a depth \(DPT, DBS, DBT, DBK\): 1 x bad checksum, 1 x no "
        r"checksum.*allow missing checksums with lenient_checksum",
    ):
        read_nmea(path)


def test_file_that_is_not_there_or_empty_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="does not exist"):
        read_nmea(tmp_path / "none.nmea")
    (tmp_path / "empty.nmea").touch()
    with pytest.raises(InputFileError, match="is empty"):
        read_nmea(tmp_path / "empty.nmea")


# ---- whole logs ----


def test_sample_log_has_the_faults_that_its_readme_tells() -> None:
    log = read_nmea(ROOT / "sample_layers" / "track.nmea")
    seconds, empty, zeros, garbled = 4728, 15, 5, 6
    assert log.counts["bad checksum"] == garbled
    assert log.counts["sentences"] == 4 * seconds - garbled
    # the bad checksums are RMC and DBT in turn; the fix of that second comes from the GGA
    assert len(log) == seconds - garbled // 2
    assert len(log.fixes) == seconds
    assert log.depths["depth"].isna().sum() == empty
    assert (log.depths["depth"] == 0).sum() == zeros
    assert log.notes == ()
    assert log.depths["time"].iloc[0] == pd.Timestamp("2026-05-12T11:00:00Z")


@needs_logs
def test_coastal_log_loses_no_depth() -> None:
    # sample of signalk-server (npm, Apache-2.0); counts and range from the README of the data
    log = read_nmea(LOGS / "coastal_track.log")
    assert len(log) == len(log.fixes) == 7250
    assert log.depths["depth"].min() == pytest.approx(1.43, abs=0.005)
    assert log.depths["depth"].max() == pytest.approx(38.05, abs=0.005)
    assert log.counts["bad checksum"] == log.counts["not a sentence"] == 0
    assert log.counts["sentences"] == 116_000
    assert "tells no date" in log.notes[0]


@needs_logs
def test_moored_log() -> None:
    # test data of gpsd (BSD-2); counts and range from the README of the data
    log = read_nmea(LOGS / "moored.log")
    assert len(log) == 122
    assert log.depths["depth"].between(2.25, 2.55).all()
    assert log.counts["not a sentence"] == 3
    assert log.depths["time"].isna().sum() == 1  # the first reading comes before any time
