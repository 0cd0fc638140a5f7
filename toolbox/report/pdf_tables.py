"""Tables on paper: as wide as their columns ask for, in type as small as the page makes it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from toolbox.report.columns import TEXT
from toolbox.report.document import Figures, cell_text
from toolbox.report.text import short

__all__ = ["BOLD", "FONT", "HEADROOM", "paragraph", "register_fonts", "set_table", "whole_bytes"]

FONT, BOLD = "DejaVuSans", "DejaVuSans-Bold"
"""Names of the type; it comes with the library that draws figures."""

HEADROOM = 64.0
"""Room under a caption, points; with less it goes to the next page."""

_RULE, _LIGHT_RULE, _SOFT = "#9aa7ae", "#cfd7db", "#eef2f4"
_SIZE, _LEAST_SIZE, _LEADING = 7.5, 5.5, 1.25
_LONGEST = 1500  # characters of a cell: a row must fit on a page
_PADDING = 6.0  # left and right of a cell together


def register_fonts() -> None:
    """Make the type known that is set into the file."""
    import matplotlib
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in {FONT, BOLD} - set(pdfmetrics.getRegisteredFontNames()):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


@contextmanager
def whole_bytes() -> Iterator[None]:
    """Let what is written meanwhile hold bytes as they are, not a quarter longer as letters."""
    from reportlab import rl_config

    former = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = former


def paragraph(text: str, look: Any, *, most: int = 5000) -> Any:
    """Set a text as it is: nothing in it is taken as an order to the typesetter."""
    from reportlab.platypus import Paragraph

    return Paragraph(escape(short(text, most)), look)


def set_table(block: Figures, width: float, looks: dict[str, Any]) -> list[Any]:
    """Set a table with its caption and notes.

    Parameters
    ----------
    block : Figures
        The table.
    width : float
        Of the page between its margins, points.
    looks : dict
        Styles ``body``, ``caption`` and ``under``.

    Returns
    -------
    list
        What goes down the page.
    """
    from reportlab.platypus import CondPageBreak, Table

    columns = block.columns
    texts = [[column.header, *map(_cell, column.values, column.formats)] for column in columns]
    is_text = [all(form == TEXT for form in column.formats) for column in columns]
    size, widths = _fitted(texts, width)
    plain, bold = (_cell_looks(looks["body"], font, size, is_text) for font in (FONT, BOLD))
    heads = {0} if block.bold_row is None else {0, block.bold_row + 1}
    rows = [
        list(map(paragraph, line, bold if row in heads else plain))
        for row, line in enumerate(zip(*texts, strict=True))
    ]
    table = Table(rows, colWidths=widths, repeatRows=1, hAlign="LEFT", style=_rules())
    table.spaceAfter = 4
    caption = [paragraph(block.caption, looks["caption"])] if block.caption else []
    notes = [paragraph(f"\u2022 {note}", looks["under"]) for note in block.table.notes]
    return [CondPageBreak(HEADROOM), *caption, table, *notes]


def _cell(value: Any, form: str) -> str:
    return short(cell_text(value, form), _LONGEST)


def _cell_looks(body: Any, font: str, size: float, is_text: list[bool]) -> list[Any]:
    from reportlab.lib.enums import TA_LEFT, TA_RIGHT
    from reportlab.lib.styles import ParagraphStyle

    look: dict[str, Any] = {
        "parent": body,
        "fontName": font,
        "fontSize": size,
        "leading": _LEADING * size,
    }
    left, right = (ParagraphStyle("cell", alignment=side, **look) for side in (TA_LEFT, TA_RIGHT))
    return [left if text else right for text in is_text]


def _rules() -> Any:
    from reportlab.platypus import TableStyle

    whole, head, rows = ((0, 0), (-1, -1)), ((0, 0), (-1, 0)), ((0, 1), (-1, -1))
    return TableStyle(
        [
            ("FONTNAME", *whole, FONT),
            ("VALIGN", *whole, "TOP"),
            ("VALIGN", *head, "BOTTOM"),
            ("BACKGROUND", *head, _SOFT),
            ("LINEBELOW", *head, 0.8, _RULE),
            ("LINEBELOW", *rows, 0.25, _LIGHT_RULE),
            ("LEFTPADDING", *whole, _PADDING / 2),
            ("RIGHTPADDING", *whole, _PADDING / 2),
            ("TOPPADDING", *whole, 1.5),
            ("BOTTOMPADDING", *whole, 1.5),
        ]
    )


def _fitted(texts: list[list[str]], width: float) -> tuple[float, list[float]]:
    """Return the size of type and the widths of columns at which a table fits the page.

    A column is as wide as its longest word at least, and shares what is left by what it holds.
    """
    least = [_widest(" ".join(column).split()) for column in texts]
    whole = [_widest(column[1:]) for column in texts]
    size = _SIZE
    while size > _LEAST_SIZE and size * sum(least) + _PADDING * len(least) > width:
        size -= 0.25
    narrow = [size * wide + _PADDING for wide in least]
    more = [max(size * wide + _PADDING - n, 0.0) for wide, n in zip(whole, narrow, strict=True)]
    room = width - sum(narrow)
    if room <= 0:  # even the least type is too wide: words are broken
        return size, [width * n / sum(narrow) for n in narrow]
    share = min(1.0, room / sum(more)) if sum(more) > 0 else 0.0
    return size, [n + share * m for n, m in zip(narrow, more, strict=True)]


def _widest(texts: list[str]) -> float:
    """Return the width of the widest text, in sizes of the type."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return max((stringWidth(text, BOLD, 1.0) for text in texts), default=1.0)
