"""Profiles are read as people write them."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.delimited import write_delimited
from toolbox.formats.profiles_file import read_profiles
from toolbox.formats.times import TAKEN_AS_UTC
from toolbox.layers import Profiles
from toolbox.water.interpolation import interpolated_profiles

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
HEAD = "date,station,depth_m,temperature_c,oxygen_mg_l\n"


def read(folder: Path, text: str, **options: Any) -> Profiles:
    path = folder / "profile.csv"
    path.write_text(text, encoding=options.get("encoding", "utf-8"))
    return read_profiles(path, **options)


def test_the_sample() -> None:
    profiles = read_profiles(SAMPLE / "profile.csv")
    assert profiles.stations == ("hole",)
    assert profiles.frame["depth_m"].max() == 11
    assert (profiles.frame["time"].dt.hour == 12).all()
    assert not profiles.frame[["temperature_c", "oxygen_mg_l"]].isna().any(axis=None)
    assert "dates without a time of day were taken as noon, UTC" in profiles.notes


def test_feet_fahrenheit_and_parts_per_million(tmp_path: Path) -> None:
    text = (
        "Date,Site ID,Depth (ft),Temp (°F),DO (ppm)\n2026-05-14,7,0,68,9.1\n2026-05-14,7,10,50,\n"
    )
    profiles = read(tmp_path, text, encoding="cp1252")
    frame = profiles.frame
    assert frame["station"].tolist() == ["7", "7"]
    assert frame["depth_m"].tolist() == pytest.approx([0, 3.048])
    assert frame["temperature_c"].tolist() == pytest.approx([20, 10])
    assert frame["oxygen_mg_l"].tolist() == pytest.approx([9.1, np.nan], nan_ok=True)
    assert "depths read in ft" in profiles.notes


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.floats(0, 50), st.floats(0, 35)), min_size=1, max_size=5))
def test_customary_units_say_the_same(tmp_path: Path, rows: list[tuple[float, float]]) -> None:
    depths = np.cumsum([depth + 0.1 for depth, _ in rows])
    si = "date,depth_m,temp_c\n" + "".join(
        f"2026-05-14,{d},{t}\n" for d, (_, t) in zip(depths, rows, strict=True)
    )
    us = "date,depth_ft,temp_f\n" + "".join(
        f"2026-05-14,{d / 0.3048},{t * 9 / 5 + 32}\n"
        for d, (_, t) in zip(depths, rows, strict=True)
    )
    names = ["depth_m", "temperature_c"]
    first, second = (read(tmp_path, text).frame[names].to_numpy() for text in (si, us))
    np.testing.assert_allclose(first, second, rtol=1e-9, atol=1e-9)


def test_many_stations_and_other_columns(tmp_path: Path) -> None:
    text = (
        "station;date;time;depth;temperature;do;do_percent;par;observer\n"
        "b;2026-05-14;10:00;0,5;13,2;10,1;97;800;kw\n"
        "a;2026-05-14;09:00;0,5;13,0;;;;kw\n"
        "a;2026-05-14;15:00;0,5;14,1;-;;;kw\n"
    )
    profiles = read(tmp_path, text)
    assert profiles.stations == ("a", "b")
    assert [f"{time:%H}" for time in profiles.frame["time"]] == ["09", "15", "10"]
    assert profiles.frame["temperature_c"].tolist() == [13.0, 14.1, 13.2]
    assert profiles.frame["par"].tolist() == pytest.approx([np.nan, np.nan, 800], nan_ok=True)
    assert profiles.frame["observer"].tolist() == ["kw"] * 3
    assert profiles.notes == (
        TAKEN_AS_UTC,
        "each day's surface taken at the datum",
        "column 'temperature' taken as degrees Celsius",
        "column 'do' taken as mg/L",
        "columns kept and not used: do_percent, observer",
    )


def test_blanks_between_columns(tmp_path: Path) -> None:
    text = "# sonde 4\ndate depth_m temperature_c\n2026-05-14 0 13.2\n2026-05-14 1.5 12.0\n"
    assert read(tmp_path, text).frame["depth_m"].tolist() == [0, 1.5]


def test_levels_and_the_datum(tmp_path: Path) -> None:
    text = "date,depth,temp_c,level_m\n2026-05-14,0,13,212.30\n2026-06-14,0,17,212.10\n"
    with_datum = read(tmp_path, text, datum=212.4)
    assert with_datum.frame["surface_m"].tolist() == pytest.approx([0.1, 0.3])
    without = read(tmp_path, text)
    assert without.frame["surface_m"].tolist() == [0, 0]
    assert "column 'level_m' was not used: give datum, the elevation of the datum" in without.notes
    direct = read(tmp_path, "date,depth,temp_c,surface_m\n2026-05-14,0,13,0.2\n")
    assert direct.frame["surface_m"].tolist() == [0.2]
    with pytest.raises(ParameterError, match="levels need the datum's elevation: give datum"):
        read(tmp_path, text, level="level_m")
    neither = read(tmp_path, HEAD + "2026-05-14,a,0,13,9\n", datum=212.4)
    assert "each day's surface taken at the datum" in neither.notes
    with pytest.raises(InputFileError, match="has no column 'stage', only"):
        read(tmp_path, HEAD + "2026-05-14,a,0,13,9\n", datum=212.4, level="stage")
    gap = text.replace("212.10", "")
    with pytest.raises(InputFileError, match="line 3: column 'level_m' must hold the level of"):
        read(tmp_path, gap, datum=212.4)


def test_a_mesh_that_was_written_is_read_again(tmp_path: Path) -> None:
    mesh = interpolated_profiles(read_profiles(SAMPLE / "profile.csv"), step_m=3, step_days=40)
    write_delimited(mesh.frame, tmp_path / "mesh.csv")
    again = read_profiles(tmp_path / "mesh.csv")
    pd.testing.assert_frame_equal(again.frame, mesh.frame, check_dtype=False, check_like=True)


def test_named_columns(tmp_path: Path) -> None:
    text = "d,z,t_probe,temperature_c,lux\n2026-05-14,0,13,99,7000\n"
    named = {"date": "d", "depth": "z", "temperature": "t_probe", "light": "lux"}
    frame = read(tmp_path, text, **named).frame
    assert frame[["temperature_c", "par", "temperature_c (file)"]].iloc[0].tolist() == [
        13,
        7000,
        99,
    ]


def test_a_worn_sonde_reads_a_little_below_nothing(tmp_path: Path) -> None:
    profiles = read(tmp_path, HEAD + "2026-05-14,a,0,13,9\n2026-05-14,a,9,6,-0.08\n")
    assert profiles.frame["oxygen_mg_l"].tolist() == [9, 0]
    assert "1 readings of oxygen a little below 0 taken as 0" in profiles.notes


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "2026-05-14,a,,13,9\n",
            "line 2: column 'depth_m' must hold a depth below the surface, 0 t",
        ),
        ("2026-05-14,a,-1,13,9\n", "line 2: column 'depth_m' must hold .* got '-1'"),
        (
            "2026-05-14,a,0,13,9\n2026-05-14,a,1,99,9\n",
            "line 3: column 'temperature_c' must hold a",
        ),
        ("2026-05-14,a,0,13,88\n", r"line 2: column 'oxygen_mg_l' must hold .*\(not per cent\)"),
        ("2026-05-14,a,0,warm,9\n", "line 2: column 'temperature_c' must hold a number or empty"),
        (
            "2026-05-14,a,2,13,9\n2026-05-14,b,2,13,9\n2026-05-14,a,2.0,12,9\n",
            "line 4: 2 m at station 'a' on 2026-05-14 12:00 UTC stands in line 2 already; two prof",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, rows: str, message: str) -> None:
    with pytest.raises(InputFileError, match=f"profile.csv, {message}"):
        read(tmp_path, HEAD + rows)


def test_what_a_file_must_have(tmp_path: Path) -> None:
    with pytest.raises(
        InputFileError, match="no column that is plainly the temperature, oxygen or"
    ):
        read(tmp_path, "date,depth_m,ph\n2026-05-14,0,7\n")
    with pytest.raises(InputFileError, match="no column that is plainly the depth; name one of"):
        read(tmp_path, "date,temp_c\n2026-05-14,7\n")
    with pytest.raises(InputFileError, match="has no column 'o2', only date, depth, temp_c"):
        read(tmp_path, "date,depth,temp_c\n2026-05-14,0,7\n", oxygen="o2")


def test_fahrenheit_is_not_taken_for_celsius(tmp_path: Path) -> None:
    text = "date,depth,temp\n2026-05-14,0,58\n"
    with pytest.raises(
        InputFileError, match="line 2: column 'temp' does not say whether it is in C"
    ):
        read(tmp_path, text)
    frame = read(tmp_path, text, temperature_unit="F").frame
    assert frame["temperature_c"].tolist() == pytest.approx([26 / 1.8])


@pytest.mark.parametrize("column", ["oxygen_percent", "DO (% sat)", "do_sat", "Oxygen saturation"])
def test_oxygen_in_per_cent_is_said_not_to_be_read(tmp_path: Path, column: str) -> None:
    text = f'date,depth_m,temperature_c,"{column}"\n2026-05-14,0,20,98\n'
    profiles = read(tmp_path, text)
    assert profiles.frame["oxygen_mg_l"].isna().all()
    told = [note for note in profiles.notes if "was not read: oxygen is read in mg/L" in note]
    assert len(told) == 1


def test_an_evening_belongs_to_its_day_by_its_zone(tmp_path: Path) -> None:
    text = HEAD + "2026-07-01 20:30,a,0.5,21,9\n"
    profiles = read(tmp_path, text, timezone="America/Chicago")
    # in July five hours behind UTC (IANA time zone database, from memory)
    assert profiles.frame["time"].tolist() == [pd.Timestamp("2026-07-02T01:30Z")]
    assert TAKEN_AS_UTC not in profiles.notes
    assert TAKEN_AS_UTC in read(tmp_path, text).notes
    alone = read(tmp_path, HEAD + "2026-07-01,a,0.5,21,9\n").notes
    assert alone[0] == "dates without a time of day were taken as noon, UTC"
    assert TAKEN_AS_UTC not in alone
