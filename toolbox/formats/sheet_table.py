"""Table of a workbook: the sheet that holds one, as if it had been saved as text."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.layout import check_head, is_number
from toolbox.formats.sheets import (
    Row,
    first_filled,
    listed_sheets,
    open_book,
    rows_of_sheet,
    without_values,
)
from toolbox.formats.workbook_parts import check_parts
from toolbox.notes import Assumption, Caution
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["SheetRows", "sheet_names", "sheet_table"]

_LOOK = 50
_DAY = timedelta(days=1)
_FAULTS = {
    *("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A"),
    *("#GETTING_DATA", "#SPILL!", "#CALC!"),
}


@dataclass(frozen=True, eq=False)
class SheetRows:
    """Where in a workbook the rows of a table stand.

    Parameters
    ----------
    name : str
        Of the sheet.
    numbers : (n,) array of int
        Of its rows, from 1.
    """

    name: str
    numbers: np.ndarray

    def __deepcopy__(self, _: Any) -> "SheetRows":
        return self  # pandas copies what a table carries each time it is touched


@dataclass(frozen=True)
class _Table:
    """A sheet, divided at its header."""

    name: str
    above: Sequence[Row]
    head: Sequence[Any]
    header: bool
    rows: Sequence[Row]
    raw: Sequence[Row]
    faults: int

    @property
    def figures(self) -> bool:
        return any(_says_number(cell) for _, cells in self.rows for cell in cells)


def sheet_names(path: Path) -> tuple[str, ...]:
    """List the sheets of a workbook that hold anything.

    Raises
    ------
    InputFileError
        If it is none.
    """
    check_parts(path)
    with open_book(path) as book:
        return _filled(book, path)


def sheet_table(path: Path, sheet: str | None = None) -> "pd.DataFrame":
    """Read the table of a workbook.

    Parameters
    ----------
    path : Path
        The file, .xlsx or .xlsm.
    sheet : str, optional
        Its sheet; if left out, the first that holds a header row with figures below it.

    Returns
    -------
    DataFrame
        Columns of numbers, or of text as a file of text would hold it: dates and times as
        ISO 8601, an empty cell as an empty text. ``attrs`` holds ``header`` (bool), ``sheet``
        (:class:`SheetRows`) and ``notes``, what was assumed.

    Raises
    ------
    InputFileError
        If it is no workbook, or holds no such sheet or table.

    Notes
    -----
    Passed over are empty rows and columns, rows whose only text begins with ``#``, and above the
    header rows of which no more than half as many cells are filled as of the fullest row.
    Formulas stand for what they gave when the workbook was saved, error values for empty cells.
    """
    formulas = check_parts(path)
    with open_book(path) as book:
        found = _chosen(book, path, sheet)
        filled = _filled(book, path) if sheet is None else ()
    notes: list[str] = []
    if len(filled) > 1:
        told = f"sheet {found.name!r} was read, of {len(filled)} that hold something"
        notes.append(Assumption(told))
    if any(_count(cells) > 1 for _, cells in found.above):
        notes.append(f"sheet {found.name!r}: what stands above row {_first(found)} was not read")
    if found.faults:
        told = f"sheet {found.name!r}: {counted(found.faults, 'error value')} such as #N/A"
        notes.append(Caution(f"{told} taken as empty"))
    lost = _lost(path, found) if formulas else 0
    if lost:
        told = f"sheet {found.name!r}: {counted(lost, 'formula')} without a stored value taken as "
        notes.append(Caution(f"{told}empty; open the workbook in a spreadsheet and save it"))
    return _frame(path, found, tuple(notes))


def _lost(path: Path, found: _Table) -> int:
    if not any(None in cells for _, cells in found.raw):
        return 0
    with suppress(InputFileError):  # formulas that the library cannot follow
        return without_values(path, found.name, found.raw)
    return 0


def _first(found: _Table) -> int:
    return found.above[-1][0] + 1


def _filled(book: Any, path: Path) -> tuple[str, ...]:
    sheets = listed_sheets(book)
    return tuple(str(one.title) for one in sheets if first_filled(one, path) is not None)


def _chosen(book: Any, path: Path, name: str | None) -> _Table:
    if name is not None:
        known = {str(one.title): one for one in book.worksheets}
        if name not in known:
            raise InputFileError(f"{path} has no sheet {name!r}, only {', '.join(known)}")
        found = _divided(known[name], path)
        if found is None:
            raise InputFileError(f"{path}, sheet {name!r} {_NO_TABLE}")
        return found
    plain = None
    for one in listed_sheets(book):
        found = _divided(one, path)
        if found is not None and found.figures:
            return found
        plain = plain or found
    if plain is None:
        raise InputFileError(f"{path} has no sheet that {_NO_TABLE}".replace("holds no", "holds a"))
    return plain


_NO_TABLE = "holds no table: a header row, and rows of figures below it"


def _divided(sheet: Any, path: Path) -> _Table | None:
    """Find the header of a sheet; None if it holds no table."""
    rows, raw = list[Row](), list[Row]()
    for number, cells in rows_of_sheet(sheet, path):
        kept = [None if _is_fault(cell) else _cell(cell) for cell in cells]
        if not _is_remark(kept):
            rows.append((number, kept))
            raw.append((number, cells))
    widest = max((_count(cells) for _, cells in rows[:_LOOK]), default=0)
    if widest < 2:
        return None
    place = next(k for k, (_, cells) in enumerate(rows) if 2 * _count(cells) > widest)
    head = rows[place][1]
    header = not any(map(_says_number, head))
    below, raw = rows[place + header :], raw[place + header :]
    if not below:
        return None
    faults = sum(_is_fault(cell) for _, cells in raw for cell in cells)
    return _Table(str(sheet.title), rows[:place], head, header, below, raw, faults)


def _is_fault(cell: Any) -> bool:
    return isinstance(cell, str) and cell.strip() in _FAULTS


def _cell(value: Any) -> Any:
    return None if isinstance(value, str) and not value.strip() else value


def _count(cells: Sequence[Any]) -> int:
    return sum(cell is not None for cell in cells)


def _is_remark(cells: Sequence[Any]) -> bool:
    told = [cell for cell in cells if cell is not None]
    first = told[0] if len(told) == 1 else ""
    return not told or (isinstance(first, str) and first.lstrip().startswith("#"))


def _says_number(cell: Any) -> bool:
    if isinstance(cell, str):
        return is_number(cell)
    return isinstance(cell, int | float) and not isinstance(cell, bool)


def _frame(path: Path, found: _Table, notes: tuple[str, ...]) -> "pd.DataFrame":
    import pandas as pd

    width = max(len(found.head), *(len(cells) for _, cells in found.rows))
    head = [*found.head, *[None] * (width - len(found.head))]
    cells = [[*row, *[None] * (width - len(row))] for _, row in found.rows]
    columns = [list(column) for column in zip(*cells, strict=True)]
    used = [k for k in range(width) if head[k] is not None or _count(columns[k])]
    names = [_name(head[k], k) if found.header else str(n) for n, k in enumerate(used, start=1)]
    check_head(names, path)
    if repeated := [name for k, name in enumerate(names) if name in names[:k]]:
        raise InputFileError(f"{path}, sheet {found.name!r} has two columns named {repeated[0]!r}")
    values = {name: _column(columns[k]) for name, k in zip(names, used, strict=True)}
    frame = pd.DataFrame(values)
    numbers = np.array([number for number, _ in found.rows])
    frame.attrs |= {
        "header": found.header,
        "sheet": SheetRows(found.name, numbers),
        "notes": notes,
    }
    return frame


def _name(cell: Any, place: int) -> str:
    return f"column {place + 1}" if cell is None else " ".join(str(cell).split())


def _column(cells: list[Any]) -> Any:
    """Return numbers where every cell is one, else texts."""
    import pandas as pd

    kinds = {type(cell) for cell in cells}
    if kinds == {bool}:
        return np.array(cells)
    if kinds <= {int, float}:
        with suppress(OverflowError):  # of more digits than a number can have
            return np.array(cells, float if float in kinds else "int64")
    moments = [cell for cell in cells if isinstance(cell, datetime)]
    alone = all(moment.time() == time() for moment in moments)
    return pd.Series([_text(cell, alone) for cell in cells], dtype="str")


def _text(cell: Any, alone: bool) -> str:
    """Write a cell as text; dates without a time of day where the whole column has none."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat() if alone else cell.isoformat()
    if isinstance(cell, timedelta) and timedelta() <= cell < _DAY:
        return (datetime.min + cell).time().isoformat()
    if isinstance(cell, date | time):
        return cell.isoformat()
    whole = isinstance(cell, float) and cell.is_integer() and abs(cell) < 2**53
    return f"{cell:.0f}" if whole else str(cell)
