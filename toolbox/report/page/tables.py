"""Tables of a page: each cell in SI and in US customary units, of which the reader sees one."""

from typing import TYPE_CHECKING, Any

from toolbox.layers import Table
from toolbox.report.columns import TEXT, printed_columns
from toolbox.report.customary import with_customary_columns, with_customary_values
from toolbox.report.document import cell_text
from toolbox.report.text import one_line, short
from toolbox.volume.stage import Foot

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["table_view"]

_UNITS = {"m": "ft", "m2": "acre", "m3": "acre_ft"}
_PLACES = ("easting_m", "northing_m")
_LONGEST = 300
_MOST_ROWS = 500


def table_view(
    table: Table, name: str, *, foot: Foot, columns: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Arrange a table for the page.

    Parameters
    ----------
    table : Table
        Names of columns end in their unit; or one value a row with columns ``value`` and ``unit``.
    name : str
        What it is called on the page.
    foot : str
        Of which feet, acres and acre-feet are made.
    columns : tuple of str
        The columns to print, where not all that hold anything.

    Returns
    -------
    dict
        ``headers`` and ``rows`` of cells, each ``(SI, US)``; ``texts``, which columns are text;
        ``notes``.
    """
    frame = table.frame.dropna(axis="columns", how="all")
    frame = frame[[column for column in columns or frame if column in frame]]
    cut = len(frame) - _MOST_ROWS
    frame = frame.head(_MOST_ROWS)
    both, pairs = _paired(frame, foot)
    metric, customary = (_cells(both, [pair[system] for pair in pairs]) for system in (0, 1))
    if "unit" in frame:
        customary = _where_there(customary, metric)
    notes = [short(note, _LONGEST) for note in table.notes]
    if cut > 0:
        notes.append(f"the first {_MOST_ROWS} rows of {len(table.frame)}; all are in the CSV file")
    return {
        "id": "",
        "name": one_line(name),
        "headers": list(zip(metric[0], customary[0], strict=True)),
        "rows": [
            list(zip(*pair, strict=True)) for pair in zip(metric[1], customary[1], strict=True)
        ],
        "texts": metric[2],
        "notes": notes,
    }


def _paired(frame: "pd.DataFrame", foot: Foot) -> "tuple[pd.DataFrame, list[tuple[str, str]]]":
    """Return the table with columns of both systems, and which of them stand for each other."""
    names = [str(name) for name in frame]
    if {"value", "unit"} <= set(names):
        both = with_customary_values(Table(frame), foot=foot).frame
        us = {name: f"us_{name}" for name in ("value", "low", "high", "unit")}
        return both, [(name, us.get(name, name)) for name in names]
    places = [name for name in names if name.endswith(_PLACES)]
    both = with_customary_columns(Table(frame.drop(columns=places)), foot=foot).frame
    both = both.join(frame[places])
    us = {name: _customary(name) for name in names if name not in places}
    us = {name: other for name, other in us.items() if other and other in both}
    shown = [name for name in names if name not in us.values()]
    return both, [(name, us.get(name, name)) for name in shown]


def _customary(name: str) -> str:
    stem, _, unit = name.rpartition("_")
    return f"{stem}_{_UNITS[unit]}" if stem and unit in _UNITS else ""


def _cells(
    frame: "pd.DataFrame", names: list[str]
) -> tuple[list[str], list[list[str]], list[bool]]:
    """Return headers, rows of cells, and which columns are text."""
    wanted = {column: place for place, column in enumerate(frame)}
    printed = printed_columns(frame)
    columns = [printed[wanted[name]] for name in names]
    cells = [
        [
            short(cell_text(*cell), _LONGEST)
            for cell in zip(column.values, column.formats, strict=True)
        ]
        for column in columns
    ]
    headers = [one_line(column.header).removeprefix("US ") for column in columns]
    headers = [header[:1].upper() + header[1:] for header in headers]
    texts = [all(form == TEXT for form in column.formats) for column in columns]
    return headers, [list(row) for row in zip(*cells, strict=True)], texts


def _where_there(
    customary: tuple[list[str], list[list[str]], list[bool]],
    metric: tuple[list[str], list[list[str]], list[bool]],
) -> tuple[list[str], list[list[str]], list[bool]]:
    """Keep the SI row where a figure has no customary unit."""
    place = metric[0].index("Unit")
    rows = [
        theirs if theirs[place] not in ("", "\u2013") else ours
        for theirs, ours in zip(customary[1], metric[1], strict=True)
    ]
    return metric[0], rows, metric[2]
