"""The workbook says what the tables say, to programs and to people, and no text can harm it.

Read back with another library than the one it is written with.
"""

import datetime
import functools
import shutil
import subprocess
import zipfile
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest
from pyproj import CRS

from toolbox.errors import ParameterError
from toolbox.layers import Soundings, Table, Tin
from toolbox.report.workbook import write_workbook
from toolbox.volume.hypsography import hypsography
from toolbox.volume.method_comparison import compare_methods
from toolbox.volume.morphometry import morphometry
from toolbox.volume.stage import stage_table

ORIGIN = {"by": "Angling club", "date": "2026-05-01 to 2026-05-03", "remarks": "calm"}
DATUM = {"elevation": 100.8, "name": "staff gauge"}
MADE = datetime.date(2026, 5, 20)
HOSTILE = {
    "formula": '=HYPERLINK("http://a.invalid","x")',
    "plus": "+1+1",
    "at": "@SUM(A1)",
    "minus": "-2+3",
    "command": "=cmd|' /C calc'!A0",
    "number": "12345",
    "link": "http://a.invalid/",
    "quotes": '"O\'Brien" & <sons>',
    "picture": "A&G&[Picture]",
    "escape": "_x0041_ Mere",
    "newline": "Mere\r\n\x07Cautions\x00",
    "long": "Loch " * 60,
    "emoji": "\U0001f3a3 \U0001f468\u200d\U0001f469\u200d\U0001f467 Mere",
    "arabic": "\u0628\u062d\u064a\u0631\u0629",
    "turned": "\u202eereM",
    "surrogate": "Mere \ud800",
    "empty": "",
}


@functools.cache
def bed(*, fitted: bool = False) -> Tin:
    """Return a pyramid 9 m deep on a square kilometre; fitted, it is known to a tenth."""
    corners = np.array([[0, 0], [1000, 0], [1000, 1000], [0, 1000], [500, 500]], float)
    corners += (400_000, 5_000_000)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    depth, kind = np.array([0, 0, 0, 0, 9.0]), np.array([0, 0, 0, 0, 2])
    if not fitted:
        return Tin(corners, depth, triangles, kind, CRS("EPSG:32631"))
    draws = depth[:, None] * np.linspace(0.9, 1.1, 101)
    sd, support = np.array([0, 0, 0, 0, 0.5]), np.array([1, 1, 1, 1, 0.2])
    return Tin(corners, depth, triangles, kind, CRS("EPSG:32631"), sd, draws, (), support)


@functools.cache
def measured(water: Tin) -> Table:
    return morphometry(water)


@functools.cache
def tabulated(water: Tin) -> Table:
    return hypsography(water, step=1.0, datum=100.8)


def soundings() -> Soundings:
    place = np.array([[400_500, 5_000_500], [400_200, 5_000_200], [400_300, 5_000_300]], float)
    made = Soundings.from_arrays(place, np.array([9, 3, 5.0]), crs=CRS("EPSG:32631"))
    return made.reject(np.array([False, False, True]), "double echo")


def write(folder: Path, water: Tin | None = None, **changes: Any) -> Path:
    water = bed(fitted=True) if water is None else water
    parts: dict[str, Any] = {
        "title": "Figment Mere",
        "origin": ORIGIN,
        "datum": DATUM,
        "made": MADE,
        "bed": water,
        "soundings": soundings(),
        "hypsography": tabulated(water),
        "morphometry": measured(water),
    }
    path = folder / "areas.xlsx"
    write_workbook(path, **(parts | changes))
    return path


def read(folder: Path, water: Tin | None = None, **changes: Any) -> openpyxl.Workbook:
    return openpyxl.load_workbook(write(folder, water, **changes))


def about(book: openpyxl.Workbook) -> dict[str, Any]:
    """Return the title block; of lines with one label the last."""
    return {label.value: told.value for label, told in book["About"].iter_rows(max_col=2)}


def sheet_as_frame(path: Path, name: str, count: int) -> pd.DataFrame:
    """Read a sheet as a person with a script would."""
    return pd.read_excel(path, sheet_name=name, nrows=count, engine="openpyxl")


def test_cells_hold_the_table_in_full(tmp_path: Path) -> None:
    table = tabulated(bed(fitted=True))
    read_back = sheet_as_frame(write(tmp_path), "Areas and volumes", len(table.frame))
    columns = {
        "Depth, m": "depth_m",
        "Elevation, m": "elevation_m",
        "Area, m\u00b2": "area_m2",
        "Area, low, m\u00b2": "area_low_m2",
        "Volume below, m\u00b3": "volume_below_m3",
        "Volume below, high, m\u00b3": "volume_below_high_m3",
        "Volume, share": "volume_share",
    }
    for header, name in columns.items():
        # 1e-15: sixteen digits are written
        np.testing.assert_allclose(read_back[header], table.column(name), rtol=1e-14, atol=0)


# feet: Federal Register document 2020-21902 (2020); acres and acre-feet of 43,560 square and cubic
# feet of either, derived
@pytest.mark.parametrize(
    ("foot", "acre", "acre_foot", "length", "told"),
    [
        ("international", 4046.8564224, 1233.48183754752, 0.3048, "0.3048 m"),
        ("survey", 4046.872610, 1233.489238, 1200 / 3937, "1200/3937 m"),
    ],
)
def test_us_units_stand_beside(
    tmp_path: Path, foot: str, acre: float, acre_foot: float, length: float, told: str
) -> None:
    path = write(tmp_path, foot=foot)
    frame = sheet_as_frame(path, "Areas and volumes", 10)
    for us, metric, size in [
        ("Area, acres", "Area, m\u00b2", acre),
        ("Volume below, acre-ft", "Volume below, m\u00b3", acre_foot),
        ("Elevation, ft", "Elevation, m", length),
    ]:
        np.testing.assert_allclose(frame[us] * size, frame[metric], rtol=1e-9)
    assert told in about(openpyxl.load_workbook(path))["Units"]


def test_stage_table_of_another_foot_is_refused(tmp_path: Path) -> None:
    stage = stage_table(bed(), datum=100.8, step=1.0, dead=95.0, foot="survey")
    sheet = read(tmp_path, stage=stage, foot="survey")["Stage"]
    headers = [cell.value for cell in sheet[1]]
    assert "Active, acre-ft" in headers
    assert headers.count("Storage, acre-ft") == 1
    with pytest.raises(ParameterError, match=r"foot must be that of the table's column '\w+', got"):
        write(tmp_path, stage=stage, foot="international")


def test_no_cell_is_a_formula_or_merged(tmp_path: Path) -> None:
    book = read(tmp_path, title="=1+1", checks={"Methods": compare_methods(bed(), layers=(3,))})
    for sheet in book:
        assert not sheet.merged_cells.ranges
        kinds = {cell.data_type for row in sheet.iter_rows() for cell in row}
        assert kinds <= {"s", "n", "d", "b"}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_what_people_type_stays_text(tmp_path: Path, text: str) -> None:
    origin = {"by": text, "date": text, "remarks": text}
    cell = text.encode(errors="ignore").decode()  # tables hold no half characters
    checks = {text: Table(pd.DataFrame({cell: [cell, "b"], "n": [1, 2]}), text, (text,))}
    path = write(tmp_path, title=text, origin=origin, checks=checks, why=text, notes=[text])
    book = openpyxl.load_workbook(path)
    wanted = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if wanted:
        told = book["About"]["B2"]
        # the reader leaves the writer's escape of what looks like an escape as it is
        assert told.value.replace("_x005F_", "_") == wanted
        assert told.data_type == "s"
        assert told.quotePrefix
    with zipfile.ZipFile(path) as parts:
        sheets = [parts.read(name) for name in parts.namelist() if "worksheets/sheet" in name]
    assert not any(tag in sheet for sheet in sheets for tag in (b"<f>", b"<f ", b"<hyperlink"))
    for sheet in book:
        assert 0 < len(sheet.title) <= 31
        assert not set("[]:*?/\\'") & set(sheet.title)


def test_sheets_may_be_named_alike(tmp_path: Path) -> None:
    table = Table(pd.DataFrame({"a": [1.0], "A": [2.0]}))
    book = read(tmp_path, checks={"history": table, "a/b": table, "A:B": table, "about": table})
    assert len({sheet.title.lower() for sheet in book}) == len(book.sheetnames) == 7
    assert "history" not in {sheet.title.lower() for sheet in book}
    assert [cell.value for cell in book.worksheets[-1][1]] == ["A", "A (2)"]


def test_tables_are_found_by_programs_and_printed_whole(tmp_path: Path) -> None:
    for sheet in read(tmp_path, paper="Letter", notes=["mended"]).worksheets[1:]:
        table = next(iter(sheet.tables.values()))
        assert table.ref.startswith("A1:")
        assert [column.name for column in table.tableColumns] == [c.value for c in sheet[1]]
        assert sheet.freeze_panes == "B2"
        assert sheet.print_title_rows == "$1:$1"
        assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.paperSize == 1
        assert "navigation" in sheet.oddFooter.left.text


def test_notes_stand_under_the_table(tmp_path: Path) -> None:
    sheet = read(tmp_path)["Areas and volumes"]
    assert sheet.tables["table_Areas_and_volumes"].ref == "A1:R11"
    notes = [row[0].value for row in sheet.iter_rows(min_row=12) if row[0].value]
    assert any("90 % band of 101 beds drawn" in note for note in notes)
    assert any("international foot" in note for note in notes)
    assert not any("volume above" in note for note in notes)


def test_digits_follow_the_band(tmp_path: Path) -> None:
    """Half the band of the volumes is some 100 acre-feet, that of the areas some 9 acres."""
    sheet = read(tmp_path)["Areas and volumes"]
    formats = {cell.value: below.number_format for cell, below in zip(sheet[1], sheet[3], strict=1)}
    assert formats["Volume below, m\u00b3"] == "#,##0"
    assert formats["Area, acres"] == "#,##0.0"
    assert formats["Volume below, acre-ft"] == "#,##0"
    assert formats["Depth, m"] == "#,##0.00"
    assert formats["Area, share"] == "0.0%"
    tied = read(tmp_path, bed())["Areas and volumes"]
    assert tied["A2"].number_format == "#,##0.00"


def test_title_block_answers_what_a_client_asks(tmp_path: Path) -> None:
    told = about(read(tmp_path, why="it was nearer at lines left out"))
    assert told["Water"] == "Figment Mere"
    assert told["Surveyed by"] == "Angling club"
    assert told["Surveyed from"] == datetime.datetime(2026, 5, 1)
    assert told["Surveyed to"] == datetime.datetime(2026, 5, 3)
    assert told["Datum elevation, m"] == 100.8
    assert told["Coordinates"] == "WGS 84 / UTM zone 31N (EPSG:32631)"
    assert told["Soundings"] == "3 taken, 2 used (2 by point)"
    assert told["Rejected"] == "1: double echo"
    assert told["Bed chosen"] == "it was nearer at lines left out"
    assert told["Made on"] == datetime.datetime(2026, 5, 20)
    # of each of four equal triangles the mean support is (1 + 1 + 0.2) / 3: above a half
    assert told["Share of the area unsurveyed"] == 0
    assert told["Counted as unsurveyed"].startswith("bed with support below 0.5")
    # a pyramid on 1 km2 (less what the map's scale makes of it) and 9 m deep: V = A h / 3, derived
    assert told["Volume"].startswith("3,00")
    assert "m\u00b3 (2," in told["Volume"]
    assert told["Greatest depth"].startswith("9.00 m (8.19 to 9.81)")


def test_a_bed_without_a_band_says_so(tmp_path: Path) -> None:
    book = read(tmp_path, bed(), datum={"elevation": None, "name": ""}, soundings=None)
    told = about(book)
    assert told["Band"].startswith("none")
    assert told["Share unsurveyed"] == "not known for such a bed"
    assert told["Datum water level"] == "not given"
    assert "Low" not in [cell.value for cell in book["Morphometry"][1]]


@pytest.mark.parametrize("day", ["spring of 2026", "2026-02-30", "2026-05-01 or so", ""])
def test_a_date_that_is_none_stays_text(tmp_path: Path, day: str) -> None:
    told = about(read(tmp_path, origin=ORIGIN | {"date": day}))
    assert told.get("Surveyed on", "") == day


def test_a_day_before_the_spreadsheets_calendar_is_text(tmp_path: Path) -> None:
    told = about(read(tmp_path, origin=ORIGIN | {"date": "1897-08-02"}))
    assert told["Surveyed on"] == "1897-08-02"


def test_morphometry_keeps_values_and_adds_us_units(tmp_path: Path) -> None:
    table = measured(bed(fitted=True))
    path = write(tmp_path)
    frame = sheet_as_frame(path, "Morphometry", len(table.frame)).set_index("Measure")
    np.testing.assert_allclose(frame["Value"], table.column("value"), rtol=1e-14)
    depth = frame.loc["greatest depth"]
    assert depth["US value"] * 0.3048 == pytest.approx(9.0, rel=1e-14)
    assert depth["US unit"] == "ft"
    assert np.isnan(frame.loc["centroid easting", "US value"])
    assert np.isnan(frame.loc["islands", "US value"])


def test_missing_figures_and_times_keep_what_they_are(tmp_path: Path) -> None:
    times = pd.to_datetime(["2026-05-01T12:00", None], utc=True)
    frame = pd.DataFrame({"time": times, "off_m": [np.nan, 0.25], "good": [True, False]})
    empty = Table(frame.iloc[:0])
    book = read(tmp_path, checks={"Times": Table(frame), "Empty": empty})
    rows = list(book["Times"].iter_rows(min_row=2, max_row=3, values_only=True))
    assert rows == [(datetime.datetime(2026, 5, 1, 12), None, True), (None, 0.25, False)]
    assert [cell.value for cell in book["Empty"][1]] == ["Time", "Off, m", "Good"]


def test_a_table_too_long_for_print_says_what_it_leaves_out(tmp_path: Path) -> None:
    long = Table(pd.DataFrame({"depth_m": np.arange(25_001) / 1000}))
    sheet = read(tmp_path, checks={"Long": long})["Long"]
    depth = [value for (value,) in sheet.iter_rows(min_row=2, max_col=1, values_only=True)]
    shown = [value for value in depth if isinstance(value, float | int)]
    assert len(shown) <= 10_000
    assert (shown[0], shown[-1]) == (0, 25)
    assert max(b - a for a, b in pairwise(shown)) == pytest.approx(0.003)
    assert f"Shown are {len(shown):,} of 25,001 rows, one in 3 and the last." in depth


def test_curve_is_drawn_of_the_cells(tmp_path: Path) -> None:
    with zipfile.ZipFile(write(tmp_path)) as parts:
        chart = parts.read("xl/charts/chart1.xml").decode()
    assert chart.count("<c:ser>") == 3
    assert "'Areas and volumes'!$C$2:$C$" in chart
    assert 'orientation val="maxMin"' in chart


def test_same_input_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = write(tmp_path).read_bytes()
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    assert write(tmp_path).read_bytes() == first
    properties = openpyxl.load_workbook(tmp_path / "areas.xlsx").properties
    assert properties.created == datetime.datetime(2026, 5, 20)
    assert properties.modified == datetime.datetime(2026, 5, 20)


def test_a_folder_that_is_not_there_is_an_ordinary_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="none"):
        write(tmp_path / "none")


# ---- as it is printed ----


def heights(sheet: Any) -> dict[int, float]:
    """Return the heights of those rows that have one of their own, in points."""
    told = {row: dimension.height for row, dimension in sheet.row_dimensions.items()}
    return {row: height for row, height in told.items() if height}


def test_rows_are_as_high_as_their_text(tmp_path: Path) -> None:
    why = "it was nearer at lines left out " * 8  # 256 characters, columns of 70 and 105
    book = read(tmp_path, why=why, notes=["short", why])
    lines = {row[0].value: row[0].row for row in book["About"].iter_rows(max_col=1)}
    assert heights(book["About"])[lines["Bed chosen"]] == 4 * 15
    assert lines["Bed"] + 1 not in set(heights(book["About"])) - {lines["Bed chosen"]}
    assert heights(book["Assumptions"])[3] == 3 * 15
    assert 2 not in heights(book["Assumptions"])


def test_counts_with_gaps_are_whole(tmp_path: Path) -> None:
    methods = compare_methods(bed(), cells=(5.0, 10.0, 20.0, 40.0), layers=(3,))
    sheet = read(tmp_path, checks={"Methods": methods})["Methods"]
    place = [cell.value for cell in sheet[1]].index("Size")
    assert sheet.cell(2, place + 1).value is None
    assert {sheet.cell(row, place + 1).number_format for row in (3, 11)} == {"#,##0"}
    assert 2 * 15 < heights(sheet)[1] < 4 * 15  # of the longest header, not of any


def test_how_often_a_band_holds_is_a_share(tmp_path: Path) -> None:
    table = Table(pd.DataFrame({"method": ["fitted"], "coverage_90": [0.9379]}))
    head, row = read(tmp_path, checks={"Left out": table})["Left out"].iter_rows(max_row=2)
    assert head[1].value == "Share within the 90 % band"
    assert (row[1].value, row[1].number_format) == (0.9379, "0.0%")


def test_a_page_with_a_table_says_of_when_and_below_what(tmp_path: Path) -> None:
    sheet = read(tmp_path)["Areas and volumes"]
    told = "Surveyed 2026-05-01 to 2026-05-03. Datum water level: 100.800 m, staff gauge"
    assert sheet.oddFooter.center.text == told
    none = read(tmp_path, origin=ORIGIN | {"date": ""}, datum={"elevation": None, "name": ""})
    assert none["Morphometry"].oddFooter.center.text == "Datum water level: not given"
    long = read(tmp_path, datum=DATUM | {"name": "&" * 500})["Morphometry"].oddFooter
    assert len(long.center.text) == 100
    assert "+++" in long.center.text  # an ampersand begins an order there


def test_what_is_in_no_band_is_told(tmp_path: Path) -> None:
    assert about(read(tmp_path))["In no band"].startswith("an error of the shoreline")
    assert "In no band" not in about(read(tmp_path, bed()))


def printed(path: Path, kind: str) -> None:
    """Let the office suite convert a file, in a profile of its own."""
    profile = f"-env:UserInstallation={(path.parent / 'profile').as_uri()}"
    command = ["soffice", profile, "--headless", "--convert-to", kind, "--outdir"]
    subprocess.run([*command, path.parent, path], check=True, capture_output=True, timeout=120)


@pytest.mark.skipif(shutil.which("soffice") is None, reason="no office suite to print with")
def test_an_office_suite_prints_it(tmp_path: Path) -> None:
    path = write(tmp_path, notes=["mended"])
    printed(path, "pdf")
    told = (tmp_path / "areas.pdf").read_bytes()
    assert told.startswith(b"%PDF")
    assert told.count(b"/Type/Page/") == 4  # each sheet fits on one


@pytest.mark.skipif(shutil.which("soffice") is None, reason="no office suite to read with")
def test_an_office_suite_shows_the_figures(tmp_path: Path) -> None:
    """All sheets as text, with the digits that are shown: independent of the writing library."""
    printed(
        write(tmp_path),
        "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,true,false,false,-1",
    )
    shown = pd.read_csv(tmp_path / "areas-Areas and volumes.csv", dtype=str, nrows=10)
    table = tabulated(bed(fitted=True)).frame
    assert shown["Depth, m"].tolist() == [f"{depth:.2f}" for depth in table["depth_m"]]
    assert shown["Area, m\u00b2"].tolist() == [f"{area:,.0f}" for area in table["area_m2"]]
    assert shown["Volume, share"].tolist() == [f"{v:.1%}" for v in table["volume_share"]]
    block = (tmp_path / "areas-About.csv").read_text(encoding="utf-8")
    assert '"Datum elevation, m",100.800' in block
    assert "Made on,2026-05-20" in block
    assert "###" not in block + shown.to_csv()  # a column too narrow
