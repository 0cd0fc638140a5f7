"""Text tables: however they are divided, the same figures come out."""

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.delimited import line_of, numbers, read_delimited, write_delimited
from toolbox.formats.layout import WINDOWS, text_encoding

DELIMITERS = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
    "bar": "|",
    "blank": " ",
    "blanks": "   ",
}
EASTINGS = [500020.5, 500050.25, -7.0]
DEPTHS = [3.125, 0.0, 12.0]


def put(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "figures.txt"
    path.write_bytes(text.encode(encoding))
    return path


def table(mark: str, *, header: bool = True, decimal: str = ".") -> str:
    rows = [f"{east}{mark}{depth}" for east, depth in zip(EASTINGS, DEPTHS, strict=True)]
    figures = "\n".join(rows).replace(".", decimal)
    return (f"easting{mark}depth\n" if header else "") + figures + "\n"


def check_figures(path: Path, columns: tuple[str, str] = ("easting", "depth")) -> None:
    frame = read_delimited(path)
    assert list(frame.columns)[:2] == list(columns)
    for column, wanted in zip(columns, (EASTINGS, DEPTHS), strict=True):
        assert numbers(frame, column, path).tolist() == wanted


# ---- how columns are divided ----


@pytest.mark.parametrize("mark", DELIMITERS.values(), ids=DELIMITERS.keys())
def test_delimiter_is_found_out(mark: str, tmp_path: Path) -> None:
    check_figures(put(tmp_path, table(mark)))


@pytest.mark.parametrize("mark", DELIMITERS.values(), ids=DELIMITERS.keys())
def test_columns_without_header_are_numbered(mark: str, tmp_path: Path) -> None:
    path = put(tmp_path, table(mark, header=False))
    assert read_delimited(path).attrs["header"] is False
    check_figures(path, ("1", "2"))


@pytest.mark.parametrize("name", ["semicolon", "tab", "bar", "blank", "blanks"])
@pytest.mark.parametrize("header", [True, False], ids=["header", "no header"])
def test_decimal_comma_is_found_out(name: str, header: bool, tmp_path: Path) -> None:
    path = put(tmp_path, table(DELIMITERS[name], header=header, decimal=","))
    assert read_delimited(path).attrs["decimal"] == ","
    check_figures(path, ("easting", "depth") if header else ("1", "2"))


def test_decimal_mark_that_is_named_holds(tmp_path: Path) -> None:
    path = put(tmp_path, "easting;depth\n1;2\n3;4\n5;6,5\n")
    assert numbers(read_delimited(path, decimal=","), "depth", path).tolist() == [2, 4, 6.5]


def test_decimal_comma_that_comes_late_is_found_out(tmp_path: Path) -> None:
    path = put(tmp_path, "easting;depth\n" + "1;2\n" * 200 + "3;4,5\n")
    assert numbers(read_delimited(path), "depth", path)[-1] == 4.5


def test_delimiter_that_is_named_holds(tmp_path: Path) -> None:
    path = put(tmp_path, "easting,depth;note\n1;a\n")
    assert list(read_delimited(path, delimiter=";").columns) == ["easting,depth", "note"]


def test_a_note_with_commas_does_not_hide_the_semicolons(tmp_path: Path) -> None:
    path = put(tmp_path, "easting;depth;note\n1,5;2,5;reeds, lilies\n2,5;3,5;clear\n")
    frame = read_delimited(path)
    assert numbers(frame, "easting", path).tolist() == [1.5, 2.5]
    assert frame["note"].tolist() == ["reeds, lilies", "clear"]


@pytest.mark.parametrize("first", ["easting,depth,", "easting,depth"], ids=["all lines", "figures"])
def test_delimiter_at_the_end_of_lines_adds_nothing(first: str, tmp_path: Path) -> None:
    path = put(tmp_path, f"{first}\n500020.5,3.125,\n500050.25,0,\n-7,12,\n")
    check_figures(path)


def test_delimiter_at_the_end_of_lines_is_no_loss_where_it_is_named(tmp_path: Path) -> None:
    path = put(tmp_path, "easting,depth\n1,2,\n3,4,\n")
    frame = read_delimited(path, delimiter=",")
    assert numbers(frame, "easting", path).tolist() == [1, 3]
    assert numbers(frame, "depth", path).tolist() == [2, 4]


def test_figures_beyond_the_header_are_never_lost(tmp_path: Path) -> None:
    path = put(tmp_path, "easting,depth\n1,2,9\n3,4,8\n")
    with pytest.raises(InputFileError, match=r"line 2|equally many columns"):
        read_delimited(path, delimiter=",")


@pytest.mark.parametrize("mark", ["ab", "", "\n"])
def test_delimiter_must_be_one_character(mark: str, tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match="delimiter must be one character"):
        read_delimited(put(tmp_path, table(",")), delimiter=mark)


def test_decimal_mark_must_be_a_point_or_a_comma(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match=r"decimal must be '\.' or ',', got ';'"):
        read_delimited(put(tmp_path, table(",")), decimal=";")


# ---- what else lines hold ----


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
@pytest.mark.parametrize("last", [True, False], ids=["ended", "unended"])
def test_line_ends_of_all_systems(ending: str, last: bool, tmp_path: Path) -> None:
    text = table(";").replace("\n", ending)
    check_figures(put(tmp_path, text if last else text.removesuffix(ending)))


def test_byte_order_mark_is_no_part_of_the_first_name(tmp_path: Path) -> None:
    path = put(tmp_path, table(","), "utf-8-sig")
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    check_figures(path)


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16", "latin-1", "mac-roman"])
def test_encoding_that_is_named(encoding: str, tmp_path: Path) -> None:
    path = put(tmp_path, "depth,note\n3,M\u00fchlgraben\n", encoding)
    assert read_delimited(path, encoding=encoding)["note"].tolist() == ["M\u00fchlgraben"]


def test_remarks_above_and_blank_lines_are_passed_over(tmp_path: Path) -> None:
    text = table(",").replace("\n", "\n\n  \n")
    check_figures(put(tmp_path, f"# made by hand\n\n#1,2,3,4\n  # more\n{text}"))


def test_quotes_hold_delimiters_quotes_and_line_ends(tmp_path: Path) -> None:
    rows = [["a, b", 'the "stump"'], ["x\ny", ""]]
    path = tmp_path / "figures.txt"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["place", "note"], *rows])  # the standard library's own dialect
    for delimiter in (",", None):
        assert read_delimited(path, delimiter=delimiter).to_numpy().tolist() == rows


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_cells_of_several_lines_do_not_hide_the_delimiter(mark: str, tmp_path: Path) -> None:
    path = tmp_path / "figures.txt"
    note = f"reeds{mark} lilies\n\nand a, b; c"
    rows = [[f"{k}.5", "easy", note if k % 3 else "clear"] for k in range(80)]
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, delimiter=mark).writerows([["depth", "a\nnote", "what"], *rows])
    frame = read_delimited(path)
    assert list(frame) == ["depth", "a note", "what"]
    assert numbers(frame, "depth", path).tolist() == [float(row[0]) for row in rows]
    assert frame["what"].tolist() == [row[2] for row in rows]


def test_a_cell_cut_by_the_end_of_what_is_looked_at_hides_nothing(tmp_path: Path) -> None:
    note = "\n".join(["a long, long note"] * 900)  # five of them are more than is looked at
    path = tmp_path / "figures.txt"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["depth", "note"], *[[k, note] for k in range(9)]])
    assert read_delimited(path)["depth"].tolist() == list(range(9))


def test_quotes_after_a_blank_hold_delimiters(tmp_path: Path) -> None:
    path = put(tmp_path, 'depth, note\n1, "reeds, lilies"\n2, "clear"\n')
    assert read_delimited(path)["note"].tolist() == ["reeds, lilies", "clear"]


def test_marks_that_only_some_take_for_the_end_of_a_line_are_text(tmp_path: Path) -> None:
    path = put(tmp_path, "depth,note\n1,a\u2028b\n2,c\x0bd\n3,e\u0085f\n")
    assert read_delimited(path)["depth"].tolist() == [1, 2, 3]


def test_a_number_sign_within_a_line_cuts_nothing(tmp_path: Path) -> None:
    path = put(tmp_path, "depth,note,peg\n3,buoy #4,7\n4,#5 buoy,8\n")
    frame = read_delimited(path)
    assert frame["note"].tolist() == ["buoy #4", "#5 buoy"]
    assert frame["peg"].tolist() == [7, 8]


def test_blanks_around_cells_are_no_part_of_them(tmp_path: Path) -> None:
    check_figures(put(tmp_path, table(" , ")))


def test_cells_that_say_nothing_was_measured_are_missing(tmp_path: Path) -> None:
    cells = ["", "NA", "n/a", "NaN", "null", "None", "-", "--", "  "]
    path = put(tmp_path, "id,depth\n" + "".join(f"{k},{cell}\n" for k, cell in enumerate(cells)))
    assert np.isnan(numbers(read_delimited(path), "depth", path)).tolist() == [True] * len(cells)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("depth,id\n1,1\nx,2\n", 3),
        ("1,1\nx,2\n", 2),
        ("# a\n\ndepth,id\n\n1,1\n\n\nx,2\n", 8),
        ("# a\r\n\r\ndepth,id\r\n1,1\r\nx,2\r\n", 5),
        ("id,depth\n#1,1\n#2,x\n", 3),
        ('id,depth\n"1\n2",1\n3,x\n', 4),
    ],
    ids=["plain", "no header", "remarks and blanks", "CRLF", "number signs", "two-line cell"],
)
def test_the_line_of_a_bad_cell_is_right(text: str, line: int, tmp_path: Path) -> None:
    path = put(tmp_path, text)
    frame = read_delimited(path, delimiter=",")
    column = "depth" if "depth" in frame else "1"
    with pytest.raises(InputFileError, match=rf"line {line}: column '{column}' .* got 'x'"):
        numbers(frame, column, path)


@pytest.mark.parametrize(
    ("bad", "encoding", "words"),
    [
        ("depth\n3\n4\n", "utf-8", "no delimiter divides its lines"),
        ("depth,id\n", "utf-8", "header line and no figures"),
        ("depth,id\n1,2\n3,4,5\n", "utf-8", "equally many columns"),
        ('depth,id\n1,"2\n3,4\n5,6\n', "utf-8", r"not an even table|equally many columns"),
    ],
    ids=["one column", "no figures", "uneven", "open quote"],
)
def test_text_that_is_no_table_is_refused(
    bad: str, encoding: str, words: str, tmp_path: Path
) -> None:
    with pytest.raises(InputFileError, match=words):
        read_delimited(put(tmp_path, bad, encoding))


# ---- writing ----

FORMULAS = ["=1+2", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("x")', "=cmd|' /C x'!A0"]
FORMULAS += ["\n=1", "\uff1d1+2", "\uff0b1", "\uff0d1", "\uff20SUM(A1)"]


def test_formulas_are_made_harmless(tmp_path: Path) -> None:
    """Cells that begin with = + - @, tab, return, line feed or these signs in full width run.

    OWASP, "CSV injection" (from memory).
    """
    path = tmp_path / "out.csv"
    write_delimited(pd.DataFrame({"note": FORMULAS, "depth": -1.5}), path)
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["note"] for row in rows] == [f"'{text}" for text in FORMULAS]
    assert {row["depth"] for row in rows} == {"-1.5"}  # a number stays one


def test_formulas_in_column_names_are_made_harmless(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    write_delimited(pd.DataFrame({"=1+2": [1.0]}), path)
    assert path.read_text(encoding="utf-8").startswith("'=1+2")


def test_text_of_every_script_is_written_as_utf8_with_plain_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    write_delimited(pd.DataFrame({"note": ["M\u00fchle", "\u6e56"], "depth": [1.0, np.nan]}), path)
    assert path.read_bytes() == "note,depth\nM\u00fchle,1\n\u6e56,\n".encode()


# blanks at the ends of cells do not come back, nor does text that means a missing number
plain = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=8)


@given(
    texts=st.lists(
        plain.filter(lambda text: text[:1] not in "=+-@#'\uff1d\uff0b\uff0d\uff20"),
        min_size=1,
        max_size=8,
    ),
    figures=st.data(),
)
@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_a_table_written_is_read_again(
    texts: list[str], figures: st.DataObject, tmp_path: Path
) -> None:
    finite = st.floats(-1e6, 1e6, allow_subnormal=False)
    values = figures.draw(st.lists(finite, min_size=len(texts), max_size=len(texts)))
    path = tmp_path / "out.csv"
    write_delimited(pd.DataFrame({"value": values, "note": texts}), path)
    frame = read_delimited(path)
    # ten significant digits: a tenth of a millimetre in a northing
    assert numbers(frame, "value", path) == pytest.approx(values, rel=5.1e-10, abs=0)
    assert frame["note"].astype(str).tolist() == texts or _all_numbers(texts)


def _all_numbers(texts: list[str]) -> bool:
    """Tell whether a column of text is one of numbers to whoever reads it."""
    return all(text.strip().replace(".", "").replace("e", "").isnumeric() for text in texts)


def test_the_line_of_a_row(tmp_path: Path) -> None:
    path = tmp_path / "remarks.csv"
    path.write_text("# one\n# two\na,b\n1,x\n\n2,z\n", encoding="utf-8")
    frame = read_delimited(path)
    assert [line_of(frame, row, path) for row in (0, 1)] == [4, 6]


def test_remarks_go_before_the_header_and_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    write_delimited(pd.DataFrame({"a": [1.5], "b": [2]}), path, remarks=["Water:\nMere", "x"])
    assert path.read_text(encoding="utf-8") == "# Water: Mere\n# x\na,b\n1.5,2\n"
    assert read_delimited(path)["a"].astype(float).tolist() == [1.5]


def test_text_of_a_spreadsheet_on_windows_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    # 0xE4 and 0x80 are a-umlaut and the euro sign in Windows-1252 (code page 1252, from memory)
    path.write_bytes(b"x;H\xe4he\r\n1;\x80\r\n")
    frame = read_delimited(path)
    assert list(frame.columns) == ["x", "H\u00e4he"]
    assert frame.iloc[0, 1] == "\u20ac"
    assert frame.attrs["layout"].encoding == text_encoding(path) == WINDOWS
    path.write_bytes("x;H\u00e4he\r\n1;2\r\n".encode())
    assert read_delimited(path).attrs["layout"].encoding == text_encoding(path) == "utf-8-sig"


def test_bytes_that_are_no_text_stay_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"x;y\n\xff\x01;2\n")
    with pytest.raises(InputFileError, match="is not utf-8 text"):
        read_delimited(path)


@pytest.mark.parametrize("suffix", ["xls", "ods"])
def test_a_workbook_is_to_be_saved_as_text(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"a.{suffix}"
    path.write_bytes(b"PK\3\4")
    with pytest.raises(InputFileError, match=rf"a\.{suffix} is a workbook: save its sheet as CSV"):
        read_delimited(path)


def test_rows_without_figures_and_a_title_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text(
        "Depths of the mere;;\nspring;;\n;;\nx;y;depth\n1;2;3,5\n;;\n# new battery;;\n4;5;wrong\n"
    )
    frame = read_delimited(path)
    assert list(frame.columns) == ["x", "y", "depth"]
    assert numbers(frame, "x", path).tolist() == [1, 4]
    with pytest.raises(InputFileError, match="line 8: column 'depth' must hold a number"):
        numbers(frame, "depth", path)


def test_a_header_with_one_name_above_figures_is_no_title(tmp_path: Path) -> None:
    path = tmp_path / "bare.csv"
    path.write_text("depth,,\n1,2,3\n4,5,6\n")
    assert list(read_delimited(path).columns) == ["depth", "column 2", "column 3"]
