"""Sheets of a workbook: their rows as values, not formulas."""

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, time, timedelta
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError, TooLargeError, ToolboxError
from toolbox.faults import said_by

__all__ = ["Row", "first_filled", "listed_sheets", "open_book", "rows_of_sheet", "without_values"]

Row = tuple[int, Sequence[Any]]
"""Number of a row, from 1, and its cells: numbers, texts, dates, times, or None."""

_PLAIN = (bool, int, float, date, time, timedelta)

_MOST_ROWS = 2**20  # what a sheet can have
_MOST_PLACES = 2_500_000  # of cells with the empty ones before them


@contextmanager
def open_book(path: Path, *, formulas: bool = False) -> Iterator[Any]:
    """Open a workbook whose parts were checked.

    Parameters
    ----------
    path : Path
        The file.
    formulas : bool
        Whether cells are to be their formulas, and not what these gave when it was saved.

    Raises
    ------
    InputFileError
        If it is none, or is damaged; also while its rows are read.
    TooLargeError
        If it does not fit into memory.
    """
    try:
        with path.open("rb") as file, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of what is not read: pictures, rules, print areas
            from openpyxl import load_workbook  # type: ignore[import-untyped]

            book = load_workbook(file, read_only=True, data_only=not formulas, keep_links=False)
            try:
                yield book
            finally:
                book.close()
    except ToolboxError:
        raise
    except MemoryError as error:
        raise TooLargeError(f"{path} does not fit into memory") from error
    except Exception as error:  # whatever the library makes of a damaged file
        raise InputFileError(f"{path} cannot be read as a workbook: {said_by(error)}") from error


def listed_sheets(book: Any) -> list[Any]:
    """Return the sheets a person sees; all of them if they are hidden."""
    shown = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
    return shown or list(book.worksheets)


def rows_of_sheet(sheet: Any, path: Path) -> Iterator[Row]:
    """Go through the rows of a sheet that hold anything.

    Raises
    ------
    InputFileError
        If there are more than a sheet can have.
    """
    sheet.reset_dimensions()  # what a sheet says of its size is often wrong
    places = 0
    for number, row in enumerate(sheet.iter_rows(), start=1):
        places += len(row)
        if number > _MOST_ROWS or places > _MOST_PLACES:
            raise InputFileError(
                f"{path}, sheet {sheet.title[:40]!r} is too large: save what is wanted as CSV"
            )
        cells = [_value(cell) if cell.data_type == "str" else cell.value for cell in row]
        if any(cell is not None for cell in cells):
            yield number, cells


def _value(cell: Any) -> Any:
    """Return the text of a cell; an empty one, such as a formula may give, is not nothing."""
    return "" if cell.value is None else cell.value


def first_filled(sheet: Any, path: Path) -> Row | None:
    """Return the first row that holds anything."""
    return next(rows_of_sheet(sheet, path), None)


def without_values(path: Path, name: str, rows: Sequence[Row]) -> int:
    """Count the cells of some rows that hold a formula, but not what it gives.

    Programs that write workbooks without reckoning them leave such cells.
    """
    known = dict(rows)
    count = 0
    with open_book(path, formulas=True) as book:
        for number, cells in rows_of_sheet(book[name], path):
            values = known.get(number, cells)
            values = [*values, *[None] * (len(cells) - len(values))]
            pairs = zip(values, cells, strict=False)
            count += sum(value is None and _is_formula(cell) for value, cell in pairs)
    return count


def _is_formula(cell: Any) -> bool:
    if isinstance(cell, str):
        return cell.startswith("=")
    return cell is not None and not isinstance(cell, _PLAIN)
