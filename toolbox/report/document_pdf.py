"""A document on paper: PDF pages with running heads, and tables that break between rows."""

import io
from itertools import zip_longest
from pathlib import Path
from typing import Any

from toolbox.report import document
from toolbox.report.book import Paper
from toolbox.report.document import Document
from toolbox.report.drawing import INK
from toolbox.report.pdf_tables import BOLD, FONT, HEADROOM, paragraph, register_fonts, set_table
from toolbox.report.text import one_line, short

__all__ = ["document_pdf", "write_document_pdf"]

_POINTS_PER_MM = 72 / 25.4
_MARGIN = 18 * _POINTS_PER_MM
_HEED = "#7a2d1c"


def write_document_pdf(path: Path, wanted: Document, *, paper: Paper = "A4") -> None:
    """Write a document as PDF; its text is text, and its fonts are in it."""
    path.write_bytes(document_pdf(wanted, paper=paper))


def document_pdf(wanted: Document, *, paper: Paper = "A4") -> bytes:
    """Lay a document out on pages; the same document gives the same bytes.

    Parameters
    ----------
    wanted : Document
        What it says.
    paper : str
        ``"A4"`` or ``"Letter"``, upright.

    Returns
    -------
    bytes
        A PDF file.
    """
    from reportlab.lib.pagesizes import A4, LETTER
    from reportlab.platypus import SimpleDocTemplate

    register_fonts()
    file = io.BytesIO()
    layout = SimpleDocTemplate(
        file,
        pagesize=A4 if paper == "A4" else LETTER,
        title=short(wanted.title, 200),
        author=short(wanted.author, 200),
        subject=short(wanted.subtitle, 200),
        creator="Leadline",
        lang="en",
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN,
        invariant=True,
        initialFontName=FONT,  # else one that is not in the file
    )
    looks = _looks()
    story: list[Any] = _title(wanted, looks)
    for block, following in zip_longest(wanted.blocks, wanted.blocks[1:]):
        parts = _laid_out(block, layout.width, layout.height, looks)
        if isinstance(block, document.Heading) and isinstance(following, document.Picture):
            parts[-1].keepWithNext = True  # a picture needs more room than a heading asks for
        story += parts
    layout.build(
        story,
        onFirstPage=lambda canvas, _: _draw_foot(canvas, layout, wanted),
        onLaterPages=lambda canvas, _: _draw_foot(canvas, layout, wanted),
    )
    return file.getvalue()


def _looks() -> dict[str, Any]:
    from reportlab.lib.colors import HexColor
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle("body", fontName=FONT, fontSize=9, leading=12.5, textColor=HexColor(INK))

    def like(name: str, **changed: Any) -> Any:
        return ParagraphStyle(name, parent=body, **changed)

    strong: dict[str, Any] = {"fontName": BOLD}
    return {
        "body": body,
        "text": like("text", spaceAfter=5),
        "lead": like("lead", fontSize=10.5, leading=14.5, spaceAfter=6),
        "title": like("title", fontName=BOLD, fontSize=18, leading=22),
        "subtitle": like("subtitle", fontSize=12, leading=16),
        "made": like("made", textColor="#51606a", spaceAfter=8),
        "1": like("1", **strong, fontSize=12.5, leading=16, spaceBefore=12, spaceAfter=4),
        "2": like("2", **strong, fontSize=10, leading=13, spaceBefore=8, spaceAfter=3),
        "caption": like("caption", **strong, spaceBefore=6, spaceAfter=3),
        "under": like("under", fontSize=7.5, leading=10, textColor="#51606a", spaceAfter=4),
        "bold": like("bold", fontName=BOLD),
        "heed": like("heed", fontName=BOLD, textColor=_HEED),
    }


def _title(wanted: Document, looks: dict[str, Any]) -> list[Any]:
    made = ", ".join(part for part in (wanted.author, wanted.made.isoformat()) if part)
    told = (("title", wanted.title), ("subtitle", wanted.subtitle), ("made", made))
    return [paragraph(text, looks[look]) for look, text in told]


def _laid_out(
    block: document.Block, width: float, height: float, looks: dict[str, Any]
) -> list[Any]:
    from reportlab.platypus import CondPageBreak, PageBreak

    match block:
        case document.Heading():
            start = PageBreak() if block.on_new_page else CondPageBreak(2 * HEADROOM)
            return [start, paragraph(block.text, looks[str(min(block.level, 2))])]
        case document.Text():
            return [paragraph(block.text, looks["lead" if block.lead else "text"])]
        case document.Facts():
            return [_facts(block, width, looks)]
        case document.Cautions():
            return [_cautions(block, width, looks)]
        case document.Figures():
            return set_table(block, width, looks)
        case document.Picture():
            return _picture(block, width, height, looks)
        case document.Signatures():
            return [_signatures(block, width, looks)]


def _facts(block: document.Facts, width: float, looks: dict[str, Any]) -> Any:
    from reportlab.platypus import Table, TableStyle

    rows = [
        [paragraph(label, looks["bold"]), paragraph(says, looks["body"])]
        for label, says in block.rows
    ]
    empty = [row for row, (_, says) in enumerate(block.rows) if not says]
    style: list[Any] = [
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
    ]
    style += [("LINEBELOW", (1, row), (1, row), 0.5, INK) for row in empty]
    return Table(rows, colWidths=[0.3 * width, 0.7 * width], style=TableStyle(style))


def _cautions(block: document.Cautions, width: float, looks: dict[str, Any]) -> Any:
    from reportlab.platypus import Table, TableStyle

    rows = [paragraph(block.title, looks["heed"])]
    rows += [paragraph(f"\u2022 {row}", looks["body"]) for row in block.rows]
    style: list[Any] = [
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("BACKGROUND", (0, 0), (-1, -1), "#fbf3f0"),
        ("LINEBEFORE", (0, 0), (0, -1), 3, _HEED),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
    ]
    boxed = Table([[row] for row in rows], colWidths=[width], style=TableStyle(style))
    boxed.spaceBefore = boxed.spaceAfter = 6
    return boxed


def _picture(
    block: document.Picture, width: float, height: float, looks: dict[str, Any]
) -> list[Any]:
    from reportlab.lib.utils import ImageReader
    from reportlab.platypus import Image

    across, down = ImageReader(io.BytesIO(block.png)).getSize()
    scale = min(width / across, 0.6 * height / down)
    image = Image(io.BytesIO(block.png), across * scale, down * scale, hAlign="LEFT")
    image.keepWithNext = 1
    return [image, paragraph(block.caption, looks["under"])]


def _signatures(block: document.Signatures, width: float, looks: dict[str, Any]) -> Any:
    from reportlab.platypus import KeepTogether, Spacer, Table, TableStyle

    whole = ((0, 0), (-1, -1))
    line: list[Any] = [("FONTNAME", *whole, FONT), ("LEFTPADDING", *whole, 0)]
    line.append(("LINEABOVE", (0, 0), (-1, 0), 0.6, INK))
    parts: list[Any] = [paragraph(block.statement, looks["text"])] if block.statement else []
    for role in block.roles:
        told = [paragraph(text, looks["under"]) for text in (role, "signature", "date")]
        widths = [0.4 * width, 0.4 * width, 0.2 * width]
        parts += [Spacer(1, 30), Table([told], colWidths=widths, style=TableStyle(line))]
    return KeepTogether(parts)


def _draw_foot(canvas: Any, layout: Any, wanted: Document) -> None:
    canvas.saveState()
    canvas.setFont(FONT, 7)
    canvas.setFillColor("#51606a")
    left, right = layout.leftMargin, layout.pagesize[0] - layout.rightMargin
    canvas.drawString(left, 0.55 * _MARGIN, short(wanted.footer, 110))
    canvas.drawRightString(right, 0.55 * _MARGIN, f"page {canvas.getPageNumber()}")
    canvas.drawString(left, layout.pagesize[1] - 0.6 * _MARGIN, short(_head(wanted), 110))
    canvas.restoreState()


def _head(wanted: Document) -> str:
    return one_line(f"{wanted.title} \u2013 {wanted.subtitle}")
