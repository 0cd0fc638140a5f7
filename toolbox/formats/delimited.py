"""Delimited text and sheets of workbooks: columns of figures as people exchange them."""

import itertools
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from toolbox.errors import InputFileError, ParameterError
from toolbox.faults import said_by
from toolbox.formats.containers import is_read_workbook, refuse_container
from toolbox.formats.layout import (
    MISSING,
    UTF_8,
    Layout,
    find_layout,
    not_text,
    rows_of,
    text_encoding,
)
from toolbox.formats.sheet_table import sheet_table
from toolbox.formats.text_portions import parsed
from toolbox.words import one_line

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "delimited_portions",
    "line_of",
    "notes_of",
    "numbers",
    "place_of",
    "read_delimited",
    "refuse",
    "write_delimited",
]

_KINDS = {"b": "bool", "i": "int64", "u": "uint64", "f": "float64", "O": "str"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What makes a spreadsheet run text; the last four are the signs in full width."""


def read_delimited(
    path: Path,
    *,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
    sheet: str | None = None,
) -> "pd.DataFrame":
    """Read a table of text or of a workbook, finding out how its columns are divided.

    Parameters
    ----------
    path : Path
        The file: text, or a workbook (.xlsx, .xlsm). Passed over are rows without anything in
        them, rows whose only text begins with ``#``, and a title above the header: rows of which
        only the first cell is filled.
    delimiter : str, optional
        Between columns; if left out, whichever of comma, semicolon, tab, bar or runs of blanks
        divides the first lines evenly.
    decimal : str, optional
        ``"."`` or ``","``; if left out, a comma where the columns are not divided by commas and
        numbers have them.
    encoding : str
        Of the text. As long as the default stands, text that is not UTF-8 is read as
        Windows-1252, which spreadsheets write; the layout says so.
    sheet : str, optional
        Of a workbook; if left out, the first that holds a table. Delimiter and encoding say
        nothing of workbooks.

    Returns
    -------
    DataFrame
        Columns of numbers or text. A file without a header line has columns named ``1, 2, 3``...
        ``attrs`` holds what was found: ``decimal``, ``header`` (bool) and the :class:`Layout`, or
        the :class:`~toolbox.formats.sheet_table.SheetRows` of a workbook.

    Raises
    ------
    InputFileError
        If the file is empty, not text, or its lines do not have equally many columns.
    """
    if is_read_workbook(path):
        _check_marks(delimiter, decimal)
        frame = sheet_table(path, sheet)
        frame.attrs["decimal"] = decimal or _decimal_mark(frame, "\t")
        return frame
    if sheet is not None:
        raise ParameterError(f"a sheet is of workbooks, not of text: {path.name}, got {sheet!r}")
    found = _checked_layout(path, delimiter, decimal, encoding)
    frame = _parse(path, found)
    frame.attrs |= {
        "header": found.header,
        "layout": found,
        "decimal": decimal or _decimal_mark(frame, found.mark),
    }
    return frame


def delimited_portions(
    path: Path,
    rows: int,
    *,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> Iterator["pd.DataFrame"]:
    """Read a text table some rows at a time, each column as :func:`read_delimited` would take it.

    Parameters
    ----------
    path, delimiter, decimal, encoding
        As there.
    rows : int
        How many at a time.

    Yields
    ------
    DataFrame
        ``attrs`` holds what was found, and ``first_row``: how many rows came before.

    Raises
    ------
    InputFileError
        As there.

    Notes
    -----
    The text is gone through twice: whether a column holds numbers only its last row tells.
    """
    found = _checked_layout(path, delimiter, decimal, encoding)
    kinds, mark = _whole_kinds(path, found, rows)
    first = 0
    for frame in _portions(path, found, rows=rows, dtype=kinds):
        frame.attrs |= {"header": found.header, "layout": found, "decimal": decimal or mark}
        frame.attrs["first_row"] = first
        first += len(frame)
        yield frame


def _checked_layout(
    path: Path, delimiter: str | None, decimal: str | None, encoding: str
) -> "Layout":
    _check_marks(delimiter, decimal)
    refuse_container(path)
    encoding = text_encoding(path) if encoding == UTF_8 else encoding
    return find_layout(path, delimiter=delimiter, encoding=encoding)


def numbers(frame: "pd.DataFrame", column: str, path: Path) -> Any:
    """Read one column as numbers.

    Parameters
    ----------
    frame : DataFrame
        From :func:`read_delimited`, or the features of a layer.
    column : str
        Its name.
    path : Path
        Named in errors.

    Returns
    -------
    (n,) array of float
        NaN where the cell is empty or says that nothing was measured.

    Raises
    ------
    InputFileError
        At the first cell that is neither a number nor empty, or is infinite.
    """
    import numpy as np
    import pandas as pd

    if pd.api.types.is_numeric_dtype(frame[column]):
        values = frame[column].to_numpy(float)
    else:
        text = frame[column].fillna("").astype(str).str.strip()
        if frame.attrs.get("decimal") == ",":
            text = text.str.replace(",", ".", regex=False)
        figures = pd.to_numeric(text.mask(text.str.lower().isin(MISSING)), errors="coerce")
        values = figures.to_numpy(float)
        wrong = np.isnan(values) & ~text.str.lower().isin(MISSING).to_numpy()
        refuse(frame, column, path, wrong, "a number or empty")
    refuse(frame, column, path, np.isinf(values), "a finite number")
    return values


def line_of(frame: "pd.DataFrame", row: int, path: Path, *, every: bool = False) -> int:
    """Return the line of the file in which a row begins, or the row of its sheet, from 1.

    Rows count as :func:`read_delimited` has them, or `every` one that is not a blank line.
    """
    if "sheet" in frame.attrs:
        return int(frame.attrs["sheet"].numbers[row])
    row += frame.attrs.get("first_row", 0)
    rows = rows_of(path, frame.attrs["layout"], every=every)
    return next(itertools.islice(rows, row, None))[0]


def place_of(frame: "pd.DataFrame", row: int, path: Path) -> str:
    """Say for an error where a row stands: ``line 12``, or ``sheet 'depths', row 12``.

    Of the features of a layer, which have no lines, ``row 12``, from 1.
    """
    if "sheet" in frame.attrs:
        return f"sheet {frame.attrs['sheet'].name!r}, row {line_of(frame, row, path)}"
    if "layout" in frame.attrs:
        return f"line {line_of(frame, row, path)}"
    return f"row {frame.attrs.get('first_row', 0) + row + 1}"


def refuse(frame: "pd.DataFrame", column: str, path: Path, wrong: Any, allowed: str) -> None:
    """Raise InputFileError at the first cell of a column that is wrong, and say what is allowed."""
    if wrong.any():
        row = int(wrong.argmax())
        place, value = place_of(frame, row, path), frame[column].iloc[row]
        raise InputFileError(
            f"{path}, {place}: column {column!r} must hold {allowed}, got {str(value)[:40]!r}"
        )


def notes_of(frame: "pd.DataFrame") -> tuple[str, ...]:
    """Return what was assumed of the table of a workbook; nothing of text."""
    told: tuple[str, ...] = frame.attrs.get("notes", ())
    return told


def write_delimited(frame: "pd.DataFrame", path: Path, *, remarks: Sequence[str] = ()) -> None:
    """Write a table as comma-separated UTF-8 text with a header line.

    Text that a spreadsheet would run as a formula is made harmless by a leading apostrophe. Each of
    `remarks` goes before the header, on a line of its own that begins with ``#``.
    """
    safe = frame.rename(columns=_harmless)
    texts = [name for name, kind in safe.dtypes.items() if kind.kind not in "ifub"]
    safe = safe.assign(**{str(name): safe[name].map(_harmless) for name in texts})
    # the writer below leaves a lone carriage return bare, which readers take for a line's end
    bare = any(safe[name].astype(str).str.contains("\r").any() for name in texts)
    quoting: Literal[0, 2] = 2 if bare else 0  # csv.QUOTE_NONNUMERIC, csv.QUOTE_MINIMAL
    with path.open("w", encoding="utf-8", newline="") as file:
        file.writelines(f"# {one_line(text)}\n" for text in remarks)
        safe.to_csv(file, index=False, lineterminator="\n", float_format="%.10g", quoting=quoting)


def _harmless(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _check_marks(delimiter: str | None, decimal: str | None) -> None:
    if delimiter is not None and (len(delimiter) != 1 or delimiter in "\r\n"):
        raise ParameterError(f"delimiter must be one character, got {delimiter!r}")
    if decimal not in (None, ".", ","):
        raise ParameterError(f"decimal must be '.' or ',', got {decimal!r}")


def _parse(path: Path, found: Layout) -> "pd.DataFrame":
    frame = next(_portions(path, found), None)
    if frame is None or not len(frame):
        raise _no_figures(path)
    _check_widths(path, found, gaps=_has_gaps(frame))
    return frame


def _portions(path: Path, found: Layout, **options: Any) -> Iterator["pd.DataFrame"]:
    # cells too many are looked at afterwards: those that are empty are no fault
    portions = parsed(path, found, surplus="ignore", na_filter=False, **options)
    while True:
        with _refused(path, found):
            frame = next(portions, None)
        if frame is None:
            return
        yield _with_figures(frame)


def _with_figures(frame: "pd.DataFrame") -> "pd.DataFrame":
    """Leave out the rows that hold nothing, or a remark alone."""
    import numpy as np

    texts = [name for name, kind in frame.dtypes.items() if kind.kind not in "iufb"]
    if len(texts) < len(frame.columns) or not texts:
        return frame  # a column of numbers alone has one in every row
    bare = np.ones(len(frame), bool)
    for name in texts[:0:-1]:
        bare[bare] = frame[name][bare].astype(str).str.strip() == ""
        if not bare.any():
            return frame
    first = frame[texts[0]][bare].astype(str)
    bare[bare] = (first.str.strip() == "") | first.str.lstrip().str.startswith("#")
    return frame[~bare].reset_index(drop=True)


@contextmanager
def _refused(path: Path, found: Layout) -> Iterator[None]:
    """Turn what the parser says of a table into one of our errors."""
    try:
        yield
    except UnicodeDecodeError as error:
        raise not_text(path, found.encoding, error) from error
    except InputFileError:
        raise
    except ValueError as error:
        raise InputFileError(f"{path} is not an even table: {said_by(error)}") from error


def _no_figures(path: Path) -> InputFileError:
    return InputFileError(f"{path} has a header line and no figures below it")


def _whole_kinds(path: Path, found: Layout, rows: int) -> tuple[dict[str, str], str]:
    """Find out as what each column is read if it is read as a whole, and the decimal mark."""
    kinds: dict[str, str] = {}
    count, gaps, comma = 0, False, False
    for frame in _portions(path, found, rows=rows):
        for name, kind in frame.dtypes.items():
            kinds[str(name)] = _common(kinds.get(str(name), kind.kind), kind.kind)
        count += len(frame)
        gaps |= _has_gaps(frame)
        comma |= _decimal_mark(frame, found.mark) == ","
    if not count:
        raise _no_figures(path)
    _check_widths(path, found, gaps=gaps and kinds[found.names[-1]] == "O")
    return {name: _KINDS[kind] for name, kind in kinds.items()}, "," if comma else "."


def _common(one: str, other: str) -> str:
    """Return the kind that values of two kinds have in a column together."""
    if one == other:
        return one
    return "f" if {one, other} == {"i", "f"} else "O"


def _has_gaps(frame: "pd.DataFrame") -> bool:
    """Tell whether the last column has empty cells; where all are numbers it has not."""
    last = frame.iloc[:, -1]
    return last.dtype.kind not in "iufb" and bool((last.fillna("") == "").any())


def _check_widths(path: Path, found: Layout, *, gaps: bool) -> None:
    """Refuse rows that are too short or too long, which the parser fills up or cuts."""
    width = len(found.names)
    # a row too short leaves an empty cell at its end
    if not gaps and len(_first_line(path, found)) == width:
        return
    for line, cells in rows_of(path, found):
        surplus = [cell for cell in cells[width:] if cell.strip()]
        if len(cells) < width or surplus:
            raise InputFileError(
                f"{path}, line {line}: the row must have {width} cells, got {len(cells)}"
            )


def _first_line(path: Path, found: Layout) -> list[str]:
    return next(rows_of(path, found), (0, []))[1]


def _decimal_mark(frame: "pd.DataFrame", mark: str) -> str:
    """Tell a decimal comma by numbers that have one, in a table that commas do not divide."""
    if mark == ",":
        return "."
    texts = (frame[name].astype(str) for name, kind in frame.dtypes.items() if kind.kind == "O")
    texts = (text[text.str.contains(",", regex=False)] for text in texts)
    return "," if any(text.str.fullmatch(r"\s*[-+]?\d+,\d+\s*").any() for text in texts) else "."
