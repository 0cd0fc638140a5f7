"""Book: a spreadsheet in the making, of sheets that print well and that programs can read."""

import re
import textwrap
from collections.abc import Sequence
from datetime import date, datetime
from io import BytesIO
from typing import Any, Literal

from toolbox.layers import Table
from toolbox.report.about import Line
from toolbox.report.columns import Column, printed_columns
from toolbox.report.drawing import INK
from toolbox.report.text import one_line, short

__all__ = ["Book", "Paper"]

Paper = Literal["A4", "Letter"]

_PAPERS: dict[Paper, int] = {"A4": 9, "Letter": 1}
_HEAD, _RULE = "#e6ecef", "#9aa7ae"
_MOST_ROWS = 10_000
_LONGEST = 8_000  # characters of a cell; spreadsheets take 32,767
_FIRST_YEAR = 1900  # of the calendar that spreadsheets have
_NARROWEST, _WIDEST, _WIDEST_TEXT, _WIDEST_ALONE = 9, 24, 60, 105
_LABELS, _TOLD = 28, 70  # characters of the columns of a sheet of lines
_INDENT = 1  # characters by which text stands off the column before
_LINE, _TITLE = 15, 20  # points of a line of text, and of the title
_LONGEST_FOOT = 100  # characters; spreadsheets take 255 for a whole foot
_LEAST_NOTE = 60  # characters of a line of notes
_FOOT = "&L&9Not for navigation{}&R&9Page &P of &N"
_GRID = {"visible": True, "line": {"color": _RULE, "width": 0.25}}


class Book:
    """A spreadsheet that is written when it is closed.

    Parameters
    ----------
    title, author : str
        For its properties, and the title for the head of each page.
    made : date
        Day of its making: the same input gives the same bytes.
    paper : str
        Size to which its sheets are laid out.
    reference : str
        What each page with a table must say by itself, as of which day and below which level.
    """

    def __init__(
        self, title: str, author: str, made: date, paper: Paper, reference: str = ""
    ) -> None:
        import xlsxwriter  # type: ignore[import-untyped]

        self._file = BytesIO()
        self._book = xlsxwriter.Workbook(self._file, {"in_memory": True})
        self._book.set_properties(
            {
                "title": short(title, 200),
                "author": short(author, 200),
                "subject": "Areas and volumes by depth",
                "created": datetime(made.year, made.month, made.day),
            }
        )
        self._title, self._paper = title, _PAPERS[paper]
        self._reference = short(reference, _LONGEST_FOOT).replace("&", "+")
        self._formats: dict[tuple[Any, ...], Any] = {}
        self._names: set[str] = set()

    def closed(self) -> bytes:
        """Return the file; nothing can be added afterwards."""
        self._book.close()
        return self._file.getvalue()

    def add_lines(self, name: str, lines: Sequence[Line]) -> None:
        """Add a sheet of labels and what they say; the first line is its title."""
        sheet = self._sheet(name)
        sheet.set_portrait()
        sheet.set_footer(_FOOT.format(""))
        sheet.set_column(0, 0, _LABELS)
        sheet.set_column(1, 1, _TOLD)
        for row, line in enumerate(lines):
            heading = {"bold": True, "bottom": 1, "bottom_color": _RULE}
            look = {} if line.value is not None else heading
            sheet.write_string(row, 0, line.label, self._format(**look))
            large = {"bold": True, "font_size": 14} if row == 0 else look
            shown = self._format(
                num_format=line.format, align="left", text_wrap=True, quote_prefix=True, **large
            )
            _write(sheet, row, 1, line.value, shown)
            _set_height(sheet, row, [(line.value, _TOLD)], _LINE if row else _TITLE)

    def add_table(self, name: str, table: Table, *, curve: tuple[str, str] | None = None) -> None:
        """Add a sheet that holds one table, notes under it.

        Parameters
        ----------
        name : str
            Of the sheet, as far as spreadsheets allow it.
        table : Table
            Columns end in their unit. Of more than 10,000 rows some are left out, which a note
            tells.
        curve : tuple of str, optional
            A column along and one down, to be drawn under the notes with the former's band.
        """
        rows, notes = _thinned(table)
        columns = printed_columns(rows.frame)
        widths = [_width(column, alone=len(columns) == 1) for column in columns]
        sheet = self._sheet(name)
        sheet.set_landscape()
        sheet.freeze_panes(1, 1)
        sheet.repeat_rows(0)
        self._add_header(sheet, columns, widths, len(rows.frame))
        for place, column in enumerate(columns):
            sheet.set_column(place, place, widths[place])
            cells = zip(column.values, column.formats, strict=True)
            for row, (value, form) in enumerate(cells, start=1):
                _write(sheet, row, place, value, self._cell(value, form))
        for row, across in enumerate(zip(*(column.values for column in columns), strict=True)):
            _set_height(sheet, row + 1, list(zip(across, widths, strict=True)), _LINE)
        told = [line for note in notes for line in _lines(note, sum(widths))]
        for row, line in enumerate(told, start=len(rows.frame) + 2):
            sheet.write_string(row, 0, line, self._format(italic=True, quote_prefix=True))
        if curve is not None:
            places = {str(name): place for place, name in enumerate(rows.frame)}
            self._add_curve(sheet, places, curve, len(rows.frame), len(told))

    def _add_header(
        self, sheet: Any, columns: list[Column], widths: list[float], count: int
    ) -> None:
        look = self._format(
            bold=True, text_wrap=True, valign="vcenter", align="center", bg_color=_HEAD, bottom=1
        )
        headers = [(c.header, width + _INDENT) for c, width in zip(columns, widths, strict=True)]
        sheet.set_row(0, _LINE * _most_lines(headers) + 4)
        if not count:
            for place, column in enumerate(columns):
                sheet.write_string(0, place, column.header, look)
            return
        options = {
            "name": "table_" + re.sub(r"\W", "_", sheet.get_name()),
            "columns": [{"header": column.header, "header_format": look} for column in columns],
            "style": None,
            "autofilter": False,
        }
        sheet.add_table(0, 0, count, len(columns) - 1, options)

    def _add_curve(
        self, sheet: Any, places: dict[str, int], curve: tuple[str, str], count: int, notes: int
    ) -> None:
        along, down = curve
        stem, _, unit = along.rpartition("_")
        chart = self._book.add_chart({"type": "scatter", "subtype": "straight"})
        looks = {along: (1.75, "solid")}
        looks |= {f"{stem}_{end}_{unit}": (0.75, "dash") for end in ("low", "high")}
        for name, (width, dash) in looks.items():
            if name in places:
                column, name_of_sheet = places[name], sheet.get_name()
                chart.add_series(
                    {
                        "name": [name_of_sheet, 0, column],
                        "categories": [name_of_sheet, 1, column, count, column],
                        "values": [name_of_sheet, 1, places[down], count, places[down]],
                        "line": {"color": INK, "width": width, "dash_type": dash},
                    }
                )
        chart.set_x_axis({"name": "Area, m\u00b2", "min": 0, "num_format": "#,##0"} | _axis())
        # what crosses a reversed axis at its greatest value lies below, with its name
        upside = {"name": "Depth, m", "reverse": True, "num_format": "0.0", "crossing": "max"}
        chart.set_y_axis(upside | _axis())
        chart.set_legend({"position": "bottom"})
        chart.set_size({"width": 720, "height": 420})
        sheet.insert_chart(count + notes + 3, 0, chart, {"object_position": 3})

    def _sheet(self, name: str) -> Any:
        sheet = self._book.add_worksheet(_sheet_name(name, self._names))
        self._names.add(sheet.get_name().lower())
        sheet.set_paper(self._paper)
        sheet.set_margins(left=0.5, right=0.5, top=0.8, bottom=0.7)
        sheet.fit_to_pages(1, 0)
        sheet.hide_gridlines(2)
        sheet.set_header(f"&L{_in_head(self._title)}&R{_in_head(sheet.get_name())}")
        sheet.set_footer(_FOOT.format(f"&C&9{self._reference}"))
        return sheet

    def _cell(self, value: Any, form: str) -> Any:
        """Return a format; text bears the mark that keeps it text when somebody edits the cell."""
        if isinstance(value, str):
            return self._format(text_wrap=True, quote_prefix=True, align="left", indent=1)
        return self._format(num_format=form)

    def _format(self, **look: Any) -> Any:
        look = {"valign": "top", "font_color": INK} | look
        key = tuple(sorted(look.items()))
        if key not in self._formats:
            self._formats[key] = self._book.add_format(look)
        return self._formats[key]


def _write(sheet: Any, row: int, column: int, value: Any, look: Any) -> None:
    """Write a cell as what it is, and text as nothing else."""
    if isinstance(value, date) and value.year < _FIRST_YEAR:  # a time is a date too
        value = value.isoformat()
    if value is None:
        sheet.write_blank(row, column, None, look)
    elif isinstance(value, str):
        sheet.write_string(row, column, short(value, _LONGEST), look)
    elif isinstance(value, bool):
        sheet.write_boolean(row, column, value, look)
    elif isinstance(value, date):
        sheet.write_datetime(row, column, value, look)
    else:
        sheet.write_number(row, column, value, look)


def _set_height(sheet: Any, row: int, cells: list[tuple[Any, float]], line: float) -> None:
    """Make a row as high as its longest text needs: not every program does so by itself."""
    lines = _most_lines([(cell, width) for cell, width in cells if isinstance(cell, str)])
    if lines > 1 or line > _LINE:
        sheet.set_row(row, line * lines)


def _most_lines(texts: list[tuple[str, float]]) -> int:
    """Return how many lines the longest text takes in a column of so many characters."""
    needed = (
        len(textwrap.wrap(short(text, _LONGEST), max(int(width) - _INDENT, 1)))
        for text, width in texts
        if len(text) > width - _INDENT
    )
    return max(needed, default=1)


def _thinned(table: Table) -> tuple[Table, tuple[str, ...]]:
    """Leave rows out of a table too long for print, and say so among its notes."""
    count = len(table.frame)
    step = -(-count // (_MOST_ROWS - 1))
    if count <= _MOST_ROWS:
        return table, table.notes
    rows = sorted({*range(0, count, step), count - 1})
    told = f"Shown are {len(rows):,} of {count:,} rows, one in {step} and the last."
    return Table(table.frame.iloc[rows], table.title, table.notes), (told, *table.notes)


def _lines(note: str, width: float) -> list[str]:
    told = short(note, _LONGEST)
    return textwrap.wrap(told[:1].upper() + told[1:], max(int(width), _LEAST_NOTE))


def _axis() -> dict[str, Any]:
    return {"major_gridlines": _GRID, "name_font": {"bold": False}}


def _width(column: Column, *, alone: bool) -> float:
    """Return a width in characters: of the longest word of the header or the longest figure."""
    cells = zip(column.values, column.formats, strict=True)
    longest = max(len(text) for text in (*column.header.split(), *(_shown(*c) for c in cells)))
    has_text = any(isinstance(value, str) for value in column.values)
    widest = _WIDEST if not has_text else _WIDEST_ALONE if alone else _WIDEST_TEXT
    return min(max(longest + 2 + has_text, _NARROWEST), widest)


def _shown(value: Any, form: str) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:,.{len(form.partition('.')[2].rstrip('%'))}f}"
    return form if isinstance(value, date) else str(value or "")


def _sheet_name(wanted: str, taken: set[str]) -> str:
    """Return a name that spreadsheets take for a sheet, and that no other sheet has."""
    name = one_line(re.sub(r"[\[\]:*?/\\']", " ", wanted))[:24].strip() or "Table"
    name = "History of it" if name.lower() == "history" else name  # theirs
    count, unlike = 1, name
    while unlike.lower() in taken:
        count += 1
        unlike = f"{name} ({count})"
    return unlike


def _in_head(text: str) -> str:
    """Return text for the head of a page, where a lone ampersand begins an order."""
    return one_line(short(text, 80).replace("&", "&& "))
