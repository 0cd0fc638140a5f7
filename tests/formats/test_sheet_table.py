"""Tables of workbooks that two other programs wrote: XlsxWriter 3 and openpyxl 3."""

import copy
import zipfile
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest
import xlsxwriter

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.casts_file import read_casts
from toolbox.formats.delimited import line_of, notes_of, numbers, place_of, read_delimited
from toolbox.formats.doors import read_table
from toolbox.formats.levels_file import read_levels
from toolbox.formats.places import read_places
from toolbox.formats.profiles_file import read_profiles
from toolbox.formats.sheet_table import sheet_names, sheet_table
from toolbox.formats.sounding_portions import sounding_portions
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.times import read_times
from toolbox.formats.vectors_file import read_vectors
from toolbox.formats.xyz import thin_xyz
from toolbox.notes import Assumption, Caution

Sheets = dict[str, list[list[Any]]]

UTM = "EPSG:32633"
DEPTHS = [
    ["easting", "northing", "depth", "line"],
    [500_000.125, 5_200_000, 1.1, "a"],
    [500_010.1, 5_200_007.3, 1 / 3, 7],
    [500_020, 5_200_000.7, 0.1 + 0.2, "b"],
]


def by_openpyxl(path: Path, sheets: Sheets) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def by_xlsxwriter(path: Path, sheets: Sheets) -> Path:
    with xlsxwriter.Workbook(path, {"default_date_format": "dd.mm.yyyy hh:mm"}) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                sheet.write_row(number, 0, row)
    return path


def edit(path: Path, old: bytes, new: bytes) -> None:
    """Change what stands in the first sheet."""
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    name = "xl/worksheets/sheet1.xml"
    assert old in parts[name]
    parts[name] = parts[name].replace(old, new)
    with zipfile.ZipFile(path, "w") as book:
        for name, content in parts.items():
            book.writestr(name, content)


BOTH = pytest.mark.parametrize("write", [by_openpyxl, by_xlsxwriter])


@BOTH
def test_numbers_are_those_that_were_written(write: Any, tmp_path: Path) -> None:
    """Both programs write 16 digits."""
    path = write(tmp_path / "a.xlsx", {"depths": DEPTHS})
    frame = read_delimited(path)
    assert list(frame.columns) == DEPTHS[0]
    for k, name in enumerate(DEPTHS[0][:3]):
        wanted = [float(f"{row[k]:.16g}") for row in DEPTHS[1:]]
        assert numbers(frame, name, path).tolist() == wanted
    assert frame["line"].tolist() == ["a", "7", "b"]
    assert notes_of(frame) == ()


@pytest.mark.parametrize("beside", [6, None])
def test_a_number_of_17_digits_stays_as_it_is(beside: int | None, tmp_path: Path) -> None:
    """So many tell every double apart (IEEE 754-2019, 5.12.2), as spreadsheets store them."""
    rows = [["a", "b"], [1, 0.3], [2, beside]]
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": rows})
    edit(path, b"<v>0.3</v>", b"<v>0.30000000000000004</v>")
    assert numbers(read_delimited(path), "b", path)[0] == 0.1 + 0.2 != 0.3


@BOTH
def test_a_workbook_is_read_as_its_text_is(write: Any, tmp_path: Path) -> None:
    """Pandas writes the same table as text; empty cells in a column of numbers stand in both."""
    rows = [[f"p{k}", 4 if k % 3 else None, k / 4, None if k == 5 else k + 0.5] for k in range(9)]
    head = ["peg", "count", "depth", "width"]
    path = write(tmp_path / "a.xlsx", {"x": [head, *rows]})
    pd.DataFrame(rows, columns=head).astype({"count": "Int64"}).to_csv(
        tmp_path / "a.csv", index=False
    )
    found, wanted = read_delimited(path), read_delimited(tmp_path / "a.csv")
    pd.testing.assert_frame_equal(found, wanted)


def test_what_stands_around_a_table_is_passed_over(tmp_path: Path) -> None:
    rows: list[list[Any]] = [
        [None, "Depths of the mere"],
        [],
        [None, "Level", 412.3],
        [None, "easting", "northing", "depth", None, "note"],
        [None, 1, 2, 3.5],
        [None, None, "  ", None],
        [None, "# new battery"],
        [None, 4, 5, "wrong", None, "reeds"],
    ]
    path = by_openpyxl(tmp_path / "a.xlsx", {"2026": rows})
    frame = read_delimited(path)
    assert list(frame.columns) == ["easting", "northing", "depth", "note"]
    assert frame["note"].tolist() == ["", "reeds"]
    assert [line_of(frame, row, path) for row in (0, 1)] == [5, 8]
    assert notes_of(frame) == ("sheet '2026': what stands above row 4 was not read",)
    words = r"a\.xlsx, sheet '2026', row 8: column 'depth' must hold a number or empty, got 'wrong'"
    with pytest.raises(InputFileError, match=words):
        numbers(frame, "depth", path)


def test_where_rows_stand_is_kept_as_a_table_is_worked_on(tmp_path: Path) -> None:
    path = by_openpyxl(tmp_path / "a.xlsx", {"depths": DEPTHS})
    frame = read_delimited(path)
    later = copy.deepcopy(frame).drop(columns="line").assign(more=1)
    assert pd.concat([later, later]).shape == (6, 4)
    assert place_of(later, 2, path) == "sheet 'depths', row 4"


def test_the_first_sheet_with_figures_is_read_and_told(tmp_path: Path) -> None:
    cover = [["Water", "Invented Mere"], ["Surveyor", "nobody"]]
    sheets = {"cover": cover, "empty": [], "depths": DEPTHS, "pegs": [["peg", "x"], ["a", 1]]}
    path = by_openpyxl(tmp_path / "a.xlsx", sheets)
    frame = read_delimited(path)
    assert frame.attrs["sheet"].name == "depths"
    (note,) = notes_of(frame)
    assert note == "sheet 'depths' was read, of 3 that hold something"
    assert isinstance(note, Assumption)
    assert sheet_names(path) == ("cover", "depths", "pegs")
    assert list(read_delimited(path, sheet="pegs")) == ["peg", "x"]
    assert notes_of(read_delimited(path, sheet="pegs")) == ()
    with pytest.raises(InputFileError, match=r"has no sheet 'Pegs', only cover, empty, depths, pe"):
        read_delimited(path, sheet="Pegs")
    with pytest.raises(InputFileError, match=r"a\.xlsx, sheet 'empty' holds no table: a header"):
        read_delimited(path, sheet="empty")


def test_a_hidden_sheet_is_not_the_first(tmp_path: Path) -> None:
    path = by_openpyxl(tmp_path / "a.xlsx", {"lists": [["a", "b"], [1, 2]], "depths": DEPTHS})
    book = openpyxl.load_workbook(path)
    book["lists"].sheet_state = "hidden"
    book.save(path)
    frame = read_delimited(path)
    assert (frame.attrs["sheet"].name, notes_of(frame)) == ("depths", ())
    assert list(read_delimited(path, sheet="lists")) == ["a", "b"]


@pytest.mark.parametrize("rows", [[], [["depth"], [1.5]], [["easting", "northing", "depth"]]])
def test_a_workbook_without_a_table_is_refused(rows: list[list[Any]], tmp_path: Path) -> None:
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": rows})
    with pytest.raises(InputFileError, match=r"a\.xlsx has no sheet that holds a table: a header"):
        read_delimited(path)


def test_figures_without_a_header_are_told_by_number(tmp_path: Path) -> None:
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": [["Mere"], [1, 2, 3.5], [4, 5, 6]]})
    frame = read_delimited(path)
    assert (list(frame.columns), frame.attrs["header"]) == (["1", "2", "3"], False)
    assert place_of(frame, 0, path) == "sheet 'x', row 2"


def test_two_columns_of_one_name_are_refused(tmp_path: Path) -> None:
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": [["a", "depth", "depth "], [1, 2, 3]]})
    with pytest.raises(InputFileError, match=r"sheet 'x' has two columns named 'depth'"):
        read_delimited(path)


@BOTH
def test_dates_and_times_are_what_the_columns_of_times_expect(write: Any, tmp_path: Path) -> None:
    moments = [datetime(2026, 5, 14), datetime(2026, 5, 14, 9, 30), datetime(2026, 5, 14, 9, 30, 1)]
    rows = [[datetime(2026, 5, 14), time(9, k), moment] for k, moment in enumerate(moments)]
    path = write(tmp_path / "a.xlsx", {"x": [["date", "clock", "moment"], *rows]})
    frame = read_delimited(path)
    assert frame["date"].tolist() == ["2026-05-14"] * 3
    assert frame["clock"].tolist() == ["09:00:00", "09:01:00", "09:02:00"]
    assert frame["moment"].tolist() == [moment.isoformat() for moment in moments]
    found, _, _ = read_times(frame, path, time="clock", date="date", timezone="Europe/Vienna")
    assert found[2] == pd.Timestamp("2026-05-14T07:02Z")
    found, _, notes = read_times(frame, path, date="date")
    assert found[0] == pd.Timestamp("2026-05-14T12:00Z")
    assert notes == ["dates without a time of day were taken as noon, UTC"]


def test_hours_that_run_and_days_from_1904(tmp_path: Path) -> None:
    """The older calendar of workbooks counts days from 1904-01-01 (ECMA-376-1:2016, 18.17.4.1)."""
    path = tmp_path / "a.xlsx"
    with xlsxwriter.Workbook(path, {"date_1904": True}) as book:
        hours = book.add_format({"num_format": "[h]:mm"})
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["date", "clock"])
        sheet.write_number(1, 0, 1, day)
        sheet.write_number(1, 1, 0.75, hours)
    frame = read_delimited(path)
    assert frame.to_numpy().tolist() == [["1904-01-02", "18:00:00"]]
    assert timedelta(days=0.75) == timedelta(hours=18)


def test_decimal_commas_typed_as_text_are_numbers(tmp_path: Path) -> None:
    rows = [["x", "depth"], [1, "3,5"], [2, 4.25], [3, "-"]]
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": rows})
    frame = read_delimited(path)
    assert numbers(frame, "depth", path)[:2].tolist() == [3.5, 4.25]
    assert np.isnan(numbers(frame, "depth", path)[2])


def test_formulas_are_what_they_gave_and_those_without_are_told(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("x")
        sheet.write_row(0, 0, ["x", "depth", "remark"])
        for row, (value, said) in enumerate([(2.5, "a"), ("#N/A", ""), (3, "b")], start=1):
            sheet.write(row, 0, row)
            sheet.write_formula(row, 1, "=A1+1", None, value)
            sheet.write_formula(row, 2, '=IF(A1,"a","")', None, said)
    frame = read_delimited(path)
    assert frame["depth"].tolist() == ["2.5", "", "3"]
    assert frame["remark"].tolist() == ["a", "", "b"]
    fault = "sheet 'x': 1 error value such as #N/A taken as empty"
    lost = "sheet 'x': 1 formula without a stored value taken as empty; open the workbook in a "
    assert list(notes_of(frame)) == [fault, f"{lost}spreadsheet and save it"]
    # a type without a value is an empty text that was stored (ECMA-376-1:2016, 18.18.11)
    edit(path, b'<c r="C3">', b'<c r="C3" t="str">')
    assert list(notes_of(read_delimited(path))) == [fault]
    bare = by_openpyxl(tmp_path / "b.xlsx", {"x": [["x", "depth"], [1, "=A1"], [2, "=A2*2"]]})
    assert numbers(read_delimited(bare), "depth", bare).tolist() != [1, 4]
    (note,) = notes_of(read_delimited(bare))
    assert note.startswith("sheet 'x': 2 formulas without a stored value taken as empty; open")
    assert isinstance(note, Caution)


def test_merged_cells_hold_their_text_once(tmp_path: Path) -> None:
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": [["line", "depth"], ["a", 1], [None, 2]]})
    book = openpyxl.load_workbook(path)
    book["x"].merge_cells("A2:A3")
    book.save(path)
    assert read_delimited(path)["line"].tolist() == ["a", ""]


def test_soundings_and_places_of_a_named_sheet(tmp_path: Path) -> None:
    pegs = [["peg", "easting", "northing"], ["A", 500_000, 5_200_000], ["B", 500_050, 5_200_000]]
    path = by_openpyxl(tmp_path / "a.xlsx", {"depths": DEPTHS, "pegs": pegs})
    soundings = read_soundings(path, crs=UTM)
    assert soundings.depth.tolist() == [1.1, 0.3333333333333333, 0.3]
    assert soundings.frame["line"].tolist() == ["a", "7", "b"]
    assert "sheet 'depths' was read, of 2 that hold something" in soundings.notes
    assert read_places(path, crs=UTM, layer="pegs").frame["peg"].tolist() == ["A", "B"]
    (whole,) = sounding_portions(path, rows=1, crs=UTM)
    assert whole.depth.tolist() == soundings.depth.tolist()
    with pytest.raises(ParameterError, match=r"where is for vector files, not for text: a\.xlsx"):
        read_soundings(path, crs=UTM, where="a = 1")


def test_readings_from_pegs_tell_their_sheet(tmp_path: Path) -> None:
    (tmp_path / "pegs.csv").write_text("peg,easting,northing\nA,500000,5200000\n", encoding="utf-8")
    rows = [["peg", "bearing", "distance", "depth"], ["A", 90, 10, 2.5]]
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": rows, "y": [["a", "b"]]})
    found = read_places(path, crs=UTM, pegs=tmp_path / "pegs.csv")
    assert found.coordinates[0] == pytest.approx([500_010, 5_200_000], abs=0.01)
    assert "sheet 'x' was read, of 2 that hold something" in found.notes


def test_every_table_may_be_a_workbook(tmp_path: Path) -> None:
    day = datetime(2026, 5, 14, 9)
    levels = by_openpyxl(tmp_path / "l.xlsm", {"g": [["time", "level_m"], [day, 410.25]]})
    assert read_levels(levels).frame["level_m"].tolist() == [410.25]
    profile = [["time", "depth_m", "temperature_c"], [day, 0, 18.5], [day, 0, 18]]
    path = by_openpyxl(tmp_path / "p.xlsx", {"p": profile[:2], "q": profile[:1]})
    assert "sheet 'p' was read, of 2 that hold something" in read_profiles(path).notes
    path = by_openpyxl(tmp_path / "p.xlsx", {"p": profile})
    with pytest.raises(InputFileError, match=r"sheet 'p', row 3: 0 m .* stands in sheet 'p', row "):
        read_profiles(path)
    assert read_table(levels, encoding="cp1252").column("level_m").tolist() == [410.25]
    shapes = [["name", "wkt"], ["a", "POINT (500000 5200000)"]]
    vectors = read_vectors(by_openpyxl(tmp_path / "v.xlsx", {"s": shapes}), crs=UTM)
    assert (len(vectors), vectors.name) == (1, "v")


def test_casts_of_workbooks(tmp_path: Path) -> None:
    log = [
        ["cast", "easting", "northing", "bearing", "line_out_m"],
        [1, 500_000, 5_200_000, 90, 40],
    ]
    pings = [["cast", "seconds", "depth"], [1, 0, 2.5], [1, 1.5, 2]]
    casts = read_casts(
        by_openpyxl(tmp_path / "c.xlsx", {"log": log}),
        pings=by_openpyxl(tmp_path / "r.xlsx", {"r": pings, "s": pings}),
        crs=UTM,
    )
    assert casts.casts["line_out"].tolist() == [40]
    assert casts.pings["depth"].tolist() == [2.5, 2]
    assert "sheet 'r' was read, of 2 that hold something" in casts.notes


def test_an_angle_that_is_none_is_told_by_sheet_and_row(tmp_path: Path) -> None:
    rows = [["longitude", "latitude", "depth"], ["15° 2' E", "46.9", 1], ["15° 99' E", "46.9", 1]]
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": rows})
    with pytest.raises(InputFileError, match=r"sheet 'x', row 3: column 'longitude' must hold deg"):
        read_soundings(path)


def test_text_has_no_sheet_and_large_readers_take_no_workbook(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(ParameterError, match=r"a sheet is of workbooks, not of text: a\.csv"):
        read_delimited(tmp_path / "a.csv", sheet="x")
    path = by_openpyxl(tmp_path / "a.xlsx", {"depths": DEPTHS})
    with pytest.raises(InputFileError, match=r"a\.xlsx is a workbook: save its sheet as CSV"):
        thin_xyz(path, cell=1.0, crs=UTM)
    with pytest.raises(ParameterError, match="decimal must be"):
        read_delimited(path, decimal=";")


def test_what_a_sheet_says_of_its_size_is_not_believed(tmp_path: Path) -> None:
    path = by_openpyxl(tmp_path / "a.xlsx", {"x": [["a", "b"], [1, 2], [3, 4]]})
    edit(path, b'ref="A1:B3"', b'ref="A1"')
    assert sheet_table(path).to_numpy().tolist() == [[1, 2], [3, 4]]
