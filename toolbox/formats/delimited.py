"""Delimited text: columns of figures as people exchange them."""

import codecs
import csv
import itertools
import re
import warnings
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from toolbox.errors import InputFileError, ParameterError
from toolbox.faults import one_line

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "WINDOWS",
    "Layout",
    "find_layout",
    "line_of",
    "numbers",
    "read_delimited",
    "text_encoding",
    "write_delimited",
]

_BLANKS = r"\s+"
_DELIMITERS = ("\t", ";", "|", _BLANKS, ",")  # a comma last: it may be the decimal mark
_LOOK = 50
_UTF_8 = "utf-8-sig"
WINDOWS = "cp1252"
"""Encoding of a text that is not UTF-8."""

_NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1f\x81\x8d\x8f\x90\x9d]")  # the last 5 mean nothing
_WORKBOOKS = (".xlsx", ".xls", ".xlsm", ".ods", ".numbers")
_BLOCK = 1 << 20
_MOST_COLUMNS, _LONGEST_NAME = 1000, 1000
_SAMPLE = 65_536
_LONGEST = 2**31 - 1
_MISSING = {"", "na", "n/a", "nan", "null", "none", "-", "--"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What makes a spreadsheet run text; the last four are the signs in full width."""


def read_delimited(
    path: Path,
    *,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> "pd.DataFrame":
    """Read a text table, finding out how its columns are divided.

    Parameters
    ----------
    path : Path
        The file. Passed over are rows without anything in them, rows whose only text begins with
        ``#``, and a title above the header: rows of which only the first cell is filled.
    delimiter : str, optional
        Between columns; if left out, whichever of comma, semicolon, tab, bar or runs of blanks
        divides the first lines evenly.
    decimal : str, optional
        ``"."`` or ``","``; if left out, a comma where the columns are not divided by commas and
        numbers have them.
    encoding : str
        Of the text. As long as the default stands, text that is not UTF-8 is read as
        Windows-1252, which spreadsheets write; the layout says so.

    Returns
    -------
    DataFrame
        Columns of numbers or text. A file without a header line has columns named ``1, 2, 3``...
        ``attrs`` holds what was found: ``decimal``, ``header`` (bool) and the :class:`Layout`.

    Raises
    ------
    InputFileError
        If the file is empty, not text, or its lines do not have equally many columns.
    """
    _check_marks(delimiter, decimal)
    _refuse_workbook(path)
    encoding = text_encoding(path) if encoding == _UTF_8 else encoding
    found = find_layout(path, delimiter=delimiter, encoding=encoding)
    frame = _parse(path, found)
    frame.attrs |= {
        "header": found.header,
        "layout": found,
        "decimal": decimal or _decimal_mark(frame, found.mark),
    }
    return frame


@dataclass(frozen=True)
class Layout:
    """How the lines of a text table are divided.

    Parameters
    ----------
    mark : str
        Between columns; a pattern for runs of blanks.
    remarks : int
        Lines before the first that holds figures or names.
    header : bool
        Whether that line holds names.
    names : tuple of str
        Of the columns; ``1, 2, 3``... without a header.
    encoding : str
        Of the text.
    """

    mark: str
    remarks: int
    header: bool
    names: tuple[str, ...]
    encoding: str


def find_layout(path: Path, *, delimiter: str | None = None, encoding: str = "utf-8-sig") -> Layout:
    """Find out from its first lines how a text table is divided.

    Parameters
    ----------
    path : Path
        The file.
    delimiter : str, optional
        Between columns, if known.
    encoding : str
        Of the text.

    Returns
    -------
    Layout
        Of all its lines.

    Raises
    ------
    InputFileError
        If the file is empty, not text, or nothing divides its lines evenly.
    """
    remarks, lines, whole = _sample(path, encoding)
    mark = delimiter or _sniff(path, lines, whole)
    head = _first_rows(lines, mark, whole)[0]
    if not head:
        raise InputFileError(f"{path} is empty: a table needs at least one line of figures")
    if (titles := _titles(lines, mark)) and len(mark) == 1:
        remarks, lines = remarks + titles, lines[titles:]
        head = _first_rows(lines, mark, whole)[0]
    header = not any(_is_number(cell) for cell in head)
    _check_head(head, path)
    return Layout(mark, remarks, header, _column_names(head, header), encoding)


def text_encoding(path: Path) -> str:
    """Tell whether text is UTF-8, or else Windows-1252 as spreadsheets write it.

    Returns
    -------
    str
        ``utf-8-sig`` also where the file is no text at all, for its reader to refuse.
    """
    plain = True
    with path.open("rb") as file:
        decode = codecs.getincrementaldecoder("utf-8")().decode
        while block := file.read(_BLOCK):
            try:
                decode(block)
            except UnicodeDecodeError:
                plain = False
                break
        if plain:
            return _UTF_8
        file.seek(0)
        while block := file.read(_BLOCK):
            if _NO_TEXT.search(block):
                return _UTF_8
    return WINDOWS


def _refuse_workbook(path: Path) -> None:
    if path.suffix.lower() in _WORKBOOKS:
        raise InputFileError(f"{path} is a workbook: save its sheet as CSV, and name that file")


def numbers(frame: "pd.DataFrame", column: str, path: Path) -> Any:
    """Read one column of text as numbers.

    Parameters
    ----------
    frame : DataFrame
        From :func:`read_delimited`.
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
        figures = pd.to_numeric(text.mask(text.str.lower().isin(_MISSING)), errors="coerce")
        values = figures.to_numpy(float)
        wrong = np.isnan(values) & ~text.str.lower().isin(_MISSING).to_numpy()
        _refuse(frame, column, path, wrong, "a number or empty")
    _refuse(frame, column, path, np.isinf(values), "a finite number")
    return values


def line_of(frame: "pd.DataFrame", row: int, path: Path, *, every: bool = False) -> int:
    """Return the line of the file in which a row begins, from 1.

    Rows count as :func:`read_delimited` has them, or `every` one that is not a blank line.
    """
    return _line_number(path, row, frame.attrs["layout"], every=every)


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
        file.writelines(f"# {_remark(text)}\n" for text in remarks)
        safe.to_csv(file, index=False, lineterminator="\n", float_format="%.10g", quoting=quoting)


def _remark(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _harmless(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _check_marks(delimiter: str | None, decimal: str | None) -> None:
    if delimiter is not None and (len(delimiter) != 1 or delimiter in "\r\n"):
        raise ParameterError(f"delimiter must be one character, got {delimiter!r}")
    if decimal not in (None, ".", ","):
        raise ParameterError(f"decimal must be '.' or ',', got {decimal!r}")


def _refuse(frame: "pd.DataFrame", column: str, path: Path, wrong: Any, allowed: str) -> None:
    if wrong.any():
        row = int(wrong.argmax())
        line, value = _line_number(path, row, frame.attrs["layout"]), frame[column].iloc[row]
        raise InputFileError(
            f"{path}, line {line}: column {column!r} must hold {allowed}, got {str(value)[:40]!r}"
        )


def _rows(path: Path, found: Layout, *, every: bool = False) -> Iterator[tuple[int, list[str]]]:
    """Go through the rows of figures: the line each begins at, and its cells.

    Those without figures are left out, or only blank lines if `every` row is wanted.
    """
    with path.open(encoding=found.encoding, newline="") as file:
        lines = itertools.islice(file, found.remarks, None)
        begin, skip = found.remarks + 1, found.header
        split = (line.split() for line in lines)
        reader = _csv(lines, found.mark) if len(found.mark) == 1 else None
        for number, cells in enumerate(reader or split, start=1):
            blank = len(cells) < 2 and not "".join(cells).strip()
            if not blank and not skip and (every or _says_figures(cells)):
                yield begin, cells
            skip = skip and blank
            begin = found.remarks + (reader.line_num if reader else number) + 1


def _csv(lines: Iterable[str], mark: str) -> Any:
    csv.field_size_limit(_LONGEST)  # by itself the reader stops at a cell of 131072 characters
    return csv.reader(lines, delimiter=mark, skipinitialspace=True)


def _line_number(path: Path, row: int, found: Layout, *, every: bool = False) -> int:
    return next(itertools.islice(_rows(path, found, every=every), row, None))[0]


def _sample(path: Path, encoding: str) -> tuple[int, list[str], bool]:
    """Count the lines of remarks at the top, and take the first lines of figures, or all."""
    try:
        with path.open(encoding=encoding, newline=None) as file:
            text = file.read(_SAMPLE)
            whole = not file.read(1)
    except UnicodeDecodeError as error:
        raise _not_text(path, encoding, error) from error
    except LookupError as error:
        raise ParameterError(f"encoding must be one Python knows, got {encoding!r}") from error
    if "\0" in text:
        raise InputFileError(f"{path} is not a text file (it holds NUL bytes)")
    lines = text.split("\n")[: None if whole else -1]
    remarks = sum(1 for _ in itertools.takewhile(_is_remark, lines))
    if remarks == len(lines):
        raise InputFileError(f"{path} is empty: a table needs at least one line of figures")
    return remarks, lines[remarks:], whole


def _not_text(path: Path, encoding: str, error: UnicodeDecodeError) -> InputFileError:
    return InputFileError(
        f"{path} is not {encoding.removesuffix('-sig')} text (byte {error.start} is "
        f"0x{error.object[error.start]:02x}); give its encoding, such as 'cp1252'"
    )


def _is_remark(line: str) -> bool:
    return not line.strip() or line.lstrip().startswith("#")


def _says_figures(cells: Sequence[str]) -> bool:
    """Tell whether a row holds anything but blanks, or a remark alone."""
    first, *others = cells or [""]
    return any(cell.strip() for cell in others) or not _is_remark(first)


def _titles(lines: list[str], mark: str) -> int:
    """Count the lines above a header of which only the first cell is filled."""
    for number, line in enumerate(lines):
        cells = [cell.strip() for cell in line.split(mark)]
        if sum(map(bool, cells)) > 1:
            # what stands above figures may be the header, and a quoted cell may go over lines
            plain = not any(map(_is_number, cells)) and not any(
                '"' in one for one in lines[:number]
            )
            return number if plain else 0
        if (len(cells) < 2 and cells[0]) or any(cells[1:]):
            return 0
    return 0


def _sniff(path: Path, lines: list[str], whole: bool) -> str:
    for mark in _DELIMITERS:
        widths = {len(row) for row in _first_rows(lines, mark, whole)}
        if len(widths) == 1 and widths.pop() > 1:
            return mark
    raise InputFileError(
        f"{path}: no delimiter divides its lines into equally many columns; name it, such as ';'"
    )


def _first_rows(lines: list[str], mark: str, whole: bool) -> list[list[str]]:
    """Cells of the first rows of a table, less a delimiter that only ends the lines of figures."""
    rows = (line.split() for line in lines)
    if mark != _BLANKS:
        rows = _csv((f"{line}\n" for line in lines), mark)  # a quoted cell may go over lines
    filled = (row for row in rows if _says_figures(row))
    head, *rest = list(itertools.islice(filled, _LOOK)) or [[]]
    rest = rest if whole or len(rest) + 1 == _LOOK else rest[:-1]  # of the last a part may lack
    if rest and all(len(row) == len(head) + 1 and not row[-1] for row in rest):
        rest = [row[:-1] for row in rest]
    # blanks divide a table only if what stands between them is whole: "1, 2" is no "1,"
    if mark == _BLANKS and any("," in (cell[0], cell[-1]) for row in rest for cell in row):
        rest = [[]]
    return [head, *rest]


def _check_head(head: list[str], path: Path) -> None:
    if len(head) > _MOST_COLUMNS:
        raise InputFileError(
            f"{path}: a table may have at most {_MOST_COLUMNS} columns, got {len(head)}"
        )
    if (longest := max(map(len, head))) > _LONGEST_NAME:
        raise InputFileError(
            f"{path}: names of columns may have at most {_LONGEST_NAME} characters, got {longest}"
        )


def _is_number(text: str) -> bool:
    try:
        float(text.strip().replace(",", "."))
    except ValueError:
        return False
    return True


def _column_names(head: list[str], header: bool) -> tuple[str, ...]:
    names = [" ".join(cell.split()) if header else str(k) for k, cell in enumerate(head, start=1)]
    return tuple(name or f"column {k}" for k, name in enumerate(names, start=1))


def _parse(path: Path, found: Layout) -> "pd.DataFrame":
    import pandas as pd

    names = found.names
    if repeated := [name for k, name in enumerate(names) if name in names[:k]]:
        raise InputFileError(f"{path} has two columns named {repeated[0]!r}")
    try:
        with warnings.catch_warnings():
            # a delimiter that ends a line of figures makes a cell too many, which is empty
            warnings.simplefilter("ignore", pd.errors.ParserWarning)
            frame = pd.read_csv(
                path,
                sep=found.mark,
                encoding=found.encoding,
                names=list(found.names),
                header=0 if found.header else None,
                skiprows=found.remarks,
                index_col=False,
                na_filter=False,
                skipinitialspace=True,
                low_memory=False,
            )
    except UnicodeDecodeError as error:
        raise _not_text(path, found.encoding, error) from error
    except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError) as error:
        reason = one_line(error)
        raise InputFileError(f"{path} is not an even table: {reason}") from error
    frame = _with_figures(frame)
    if not len(frame):
        raise InputFileError(f"{path} has a header line and no figures below it")
    _check_widths(frame, path, found)
    return frame


def _with_figures(frame: "pd.DataFrame") -> "pd.DataFrame":
    """Leave out the rows that hold nothing, or a remark alone."""
    import numpy as np

    texts = [name for name, kind in frame.dtypes.items() if kind.kind not in "iufb"]
    if len(texts) < len(frame.columns) or not texts:
        return frame  # a column of numbers alone has one in every row
    bare = np.ones(len(frame), bool)
    for name in texts[:0:-1]:
        bare[bare] = frame.loc[bare, name].astype(str).str.strip() == ""
        if not bare.any():
            return frame
    first = frame.loc[bare, texts[0]].astype(str)
    bare[bare] = (first.str.strip() == "") | first.str.lstrip().str.startswith("#")
    return frame[~bare].reset_index(drop=True)


def _check_widths(frame: "pd.DataFrame", path: Path, found: Layout) -> None:
    """Refuse rows that are too short or too long, which the parser fills up or cuts."""
    width = len(frame.columns)
    last = frame.iloc[:, -1]
    # a row too short leaves an empty cell at its end, where numbers alone leave no room for one
    whole = last.dtype.kind in "iufb" or not (last.fillna("") == "").any()
    if whole and len(_first_line(path, found)) == width:
        return
    for line, cells in _rows(path, found):
        surplus = [cell for cell in cells[width:] if cell.strip()]
        if len(cells) < width or surplus:
            raise InputFileError(
                f"{path}, line {line}: the row must have {width} cells, got {len(cells)}"
            )


def _first_line(path: Path, found: Layout) -> list[str]:
    return next(_rows(path, found), (0, []))[1]


def _decimal_mark(frame: "pd.DataFrame", mark: str) -> str:
    """Tell a decimal comma by numbers that have one, in a table that commas do not divide."""
    if mark == ",":
        return "."
    texts = (frame[name].astype(str) for name, kind in frame.dtypes.items() if kind.kind == "O")
    texts = (text[text.str.contains(",", regex=False)] for text in texts)
    return "," if any(text.str.fullmatch(r"\s*[-+]?\d+,\d+\s*").any() for text in texts) else "."
