"""Document: what a report says, block by block, before it is laid out as a page or on paper."""

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from toolbox.layers import Table
from toolbox.report.columns import PLACE, Column, printed_columns

__all__ = [
    "Block",
    "Cautions",
    "Document",
    "Facts",
    "Figures",
    "Heading",
    "Picture",
    "Signatures",
    "Text",
    "cell_text",
]

EMPTY = "\u2013"
"""What a cell shows that holds nothing."""


@dataclass(frozen=True)
class Heading:
    """Title of a section."""

    text: str
    level: int = 1
    on_new_page: bool = False


@dataclass(frozen=True)
class Text:
    """A paragraph."""

    text: str
    lead: bool = False


@dataclass(frozen=True)
class Facts:
    """Labels and what each says, as in a title block; an empty one is a line to be filled in."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Cautions:
    """What a reader must heed."""

    rows: tuple[str, ...]
    title: str = "Cautions"


@dataclass(frozen=True, eq=False)
class Figures:
    """A table of figures with a caption.

    Parameters
    ----------
    table : Table
        Columns end in their unit; notes stand under it.
    caption : str
        What it shows.
    headers : dict of str
        Headers of columns by their name, where the name would not do.
    strong : int or None
        Number of the row that is set in bold; negative counts from the end.
    """

    table: Table
    caption: str = ""
    headers: dict[str, str] = field(default_factory=dict)
    strong: int | None = None

    @property
    def columns(self) -> list[Column]:
        """The columns as they are printed."""
        columns = printed_columns(self.table.frame)
        named = zip(self.table.frame, columns, strict=True)
        return [
            Column(self.headers.get(str(name), column.header), column.values, column.formats)
            for name, column in named
        ]

    @property
    def bold_row(self) -> int | None:
        """Place of the row in bold, counted from the first."""
        count = len(self.table.frame)
        return None if self.strong is None or not count else self.strong % count


@dataclass(frozen=True)
class Picture:
    """A picture with what it shows, and its content in words for those who cannot see it."""

    png: bytes
    caption: str
    told: str


@dataclass(frozen=True)
class Signatures:
    """Lines to sign on, each for one role."""

    roles: tuple[str, ...]
    statement: str = ""


Block = Heading | Text | Facts | Cautions | Figures | Picture | Signatures


@dataclass(frozen=True)
class Document:
    """A report.

    Parameters
    ----------
    title, subtitle : str
        What it is and of which water.
    made : date
        Day of its making: the same input gives the same document.
    author : str
        Who made it, perhaps empty.
    blocks : tuple
        What it says, in order.
    footer : str
        What stands at the foot of every page of paper.
    """

    title: str
    subtitle: str
    made: date
    author: str
    blocks: tuple[Block, ...]
    footer: str = ""


def cell_text(value: Any, form: str) -> str:
    """Write a cell by its number format.

    Examples
    --------
    >>> cell_text(12345.678, "#,##0.0"), cell_text(0.0416, "0.0%"), cell_text(None, "@")
    ('12,345.7', '4.2%', '\u2013')
    """
    if value is None or value == "":
        return EMPTY
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        whole_day = (value.hour, value.minute) == (0, 0)
        return f"{value:%Y-%m-%d}" if whole_day else f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        decimals = len(form.partition(".")[2].rstrip("%"))
        if form.endswith("%"):
            return f"{_signed(100 * value, decimals):.{decimals}f}%"
        if form == PLACE:  # a coordinate, to the metre
            return f"{value:.0f}"
        return f"{_signed(value, decimals):,.{decimals}f}" if form[0] == "#" else f"{value:g}"
    return str(value)


def _signed(value: float, decimals: int) -> float:
    """Return a number without the sign of what rounds to nothing."""
    return value if round(value, decimals) else 0.0
