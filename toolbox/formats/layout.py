"""How the lines of a text table are divided into columns."""

import codecs
import csv
import itertools
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError, ParameterError

__all__ = [
    "MISSING",
    "UTF_8",
    "WINDOWS",
    "Layout",
    "check_head",
    "find_layout",
    "is_number",
    "not_text",
    "rows_of",
    "text_encoding",
]

MISSING = ("", "na", "n/a", "nan", "null", "none", "-", "--")
"""What stands in a cell where nothing was measured, in small letters."""

UTF_8 = "utf-8-sig"
"""Encoding of a text, with or without a byte order mark."""

WINDOWS = "cp1252"
"""Encoding of a text that is not UTF-8."""

_BLANKS = r"\s+"
_DELIMITERS = ("\t", ";", "|", _BLANKS, ",")  # a comma last: it may be the decimal mark
_LOOK = 50
_NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1f\x81\x8d\x8f\x90\x9d]")  # the last 5 mean nothing
_BLOCK = 1 << 20
_MOST_COLUMNS, _LONGEST_NAME = 1000, 1000
_SAMPLE = 65_536
_LONGEST = 2**31 - 1


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
    header = not any(is_number(cell) for cell in head)
    check_head(head, path)
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
            return UTF_8
        file.seek(0)
        while block := file.read(_BLOCK):
            if _NO_TEXT.search(block):
                return UTF_8
    return WINDOWS


def rows_of(path: Path, found: Layout, *, every: bool = False) -> Iterator[tuple[int, list[str]]]:
    """Go through the rows of figures: the line each begins at, and its cells.

    Those without figures are left out, or only blank lines if `every` row is wanted.

    Raises
    ------
    InputFileError
        If what follows is not text of its encoding.
    """
    try:
        with path.open(encoding=found.encoding, newline="") as file:
            for line, cells in _split(file, found):
                if every or _says_figures(cells):
                    yield line, cells
    except UnicodeDecodeError as error:
        raise not_text(path, found.encoding, error) from error


def _split(file: Iterable[str], found: Layout) -> Iterator[tuple[int, list[str]]]:
    lines = itertools.islice(file, found.remarks, None)
    begin, skip = found.remarks + 1, found.header
    split = (line.split() for line in lines)
    reader = _csv(lines, found.mark) if len(found.mark) == 1 else None
    for number, cells in enumerate(reader or split, start=1):
        blank = len(cells) < 2 and not "".join(cells).strip()
        if not blank and not skip:
            yield begin, cells
        skip = skip and blank
        begin = found.remarks + (reader.line_num if reader else number) + 1


def not_text(path: Path, encoding: str, error: UnicodeDecodeError) -> InputFileError:
    """Return the error that a file is not text of its encoding."""
    return InputFileError(
        f"{path} is not {encoding.removesuffix('-sig')} text (byte {error.start} is "
        f"0x{error.object[error.start]:02x}); give its encoding, such as 'cp1252'"
    )


def _csv(lines: Iterable[str], mark: str) -> Any:
    csv.field_size_limit(_LONGEST)  # by itself the reader stops at a cell of 131072 characters
    return csv.reader(lines, delimiter=mark, skipinitialspace=True)


def _sample(path: Path, encoding: str) -> tuple[int, list[str], bool]:
    """Count the lines of remarks at the top, and take the first lines of figures, or all."""
    try:
        with path.open(encoding=encoding, newline=None) as file:
            text = file.read(_SAMPLE)
            whole = not file.read(1)
    except UnicodeDecodeError as error:
        raise not_text(path, encoding, error) from error
    except LookupError as error:
        raise ParameterError(f"encoding must be one Python knows, got {encoding!r}") from error
    if "\0" in text:
        raise InputFileError(f"{path} is not a text file (it holds NUL bytes)")
    lines = text.split("\n")[: None if whole else -1]
    remarks = sum(1 for _ in itertools.takewhile(_is_remark, lines))
    if remarks == len(lines):
        raise InputFileError(f"{path} is empty: a table needs at least one line of figures")
    return remarks, lines[remarks:], whole


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
            plain = not any(map(is_number, cells)) and not any('"' in one for one in lines[:number])
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


def check_head(head: Sequence[str], path: Path) -> None:
    """Raise InputFileError if a table has too many columns, or too long names of them."""
    if len(head) > _MOST_COLUMNS:
        raise InputFileError(
            f"{path}: a table may have at most {_MOST_COLUMNS} columns, got {len(head)}"
        )
    if (longest := max(map(len, head))) > _LONGEST_NAME:
        raise InputFileError(
            f"{path}: names of columns may have at most {_LONGEST_NAME} characters, got {longest}"
        )


def is_number(text: str) -> bool:
    """Tell whether a cell is a number, with a decimal point or comma."""
    try:
        float(text.strip().replace(",", "."))
    except ValueError:
        return False
    return True


def _column_names(head: list[str], header: bool) -> tuple[str, ...]:
    names = [" ".join(cell.split()) if header else str(k) for k, cell in enumerate(head, start=1)]
    return tuple(name or f"column {k}" for k, name in enumerate(names, start=1))
