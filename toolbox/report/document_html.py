"""A document as one page of HTML: works offline, on a phone and on a desk, and prints."""

import base64
from pathlib import Path
from typing import Any

from toolbox.report import document
from toolbox.report.columns import TEXT
from toolbox.report.document import Document, Figures, cell_text
from toolbox.report.templating import templates
from toolbox.report.text import one_line

__all__ = ["document_page", "write_document_page"]


def write_document_page(path: Path, wanted: Document) -> None:
    """Write a document as HTML: one file, nothing outside it is asked for."""
    path.write_text(document_page(wanted), encoding="utf-8")


def document_page(wanted: Document) -> str:
    """Lay a document out as a page of HTML; every text is escaped."""
    blocks = [_laid_out(block, number) for number, block in enumerate(wanted.blocks)]
    contents = [block for block in blocks if block["kind"] == "Heading" and block["level"] == 1]
    return str(
        templates("toolbox.report")
        .get_template("document.html")
        .render(
            title=one_line(wanted.title),
            subtitle=one_line(wanted.subtitle),
            made=wanted.made.isoformat(),
            author=one_line(wanted.author),
            footer=one_line(wanted.footer),
            blocks=blocks,
            contents=contents if len(contents) > 2 else [],
        )
    )


def _laid_out(block: document.Block, number: int) -> dict[str, Any]:
    told: dict[str, Any] = {"kind": type(block).__name__, "id": f"part-{number}"}
    if isinstance(block, Figures):
        return told | _table(block)
    if isinstance(block, document.Picture):
        data = base64.b64encode(block.png).decode("ascii")
        words = {"caption": one_line(block.caption), "told": one_line(block.told)}
        return told | words | {"data": data}
    return told | {name: _on_one_line(value) for name, value in vars(block).items()}


def _on_one_line(value: Any) -> Any:
    """Clean all texts of a block: also of marks that turn the direction of reading."""
    if isinstance(value, tuple):
        return tuple(_on_one_line(part) for part in value)
    return one_line(value) if isinstance(value, str) else value


def _table(block: Figures) -> dict[str, Any]:
    columns = block.columns
    cells = [
        [one_line(cell_text(*cell)) for cell in zip(column.values, column.formats, strict=True)]
        for column in columns
    ]
    # a column of text is set to the left, also where some of its cells are empty
    is_text = [all(form == TEXT for form in column.formats) for column in columns]
    return {
        "headers": [column.header for column in columns],
        "rows": list(zip(*cells, strict=True)),
        "is_text": is_text,
        "bold_row": block.bold_row,
        "caption": one_line(block.caption),
        "notes": [one_line(note) for note in block.table.notes],
    }
