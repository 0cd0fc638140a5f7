"""A document says the same on a page and on paper, and takes every text literally."""

import base64
import io
import re
from datetime import date, datetime
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest
from pypdf import PdfReader

from toolbox.layers import Table
from toolbox.report.document import (
    Cautions,
    Document,
    Facts,
    Figures,
    Heading,
    Picture,
    Signatures,
    Text,
    cell_text,
)
from toolbox.report.document_html import document_page, write_document_page
from toolbox.report.document_pdf import document_pdf, write_document_pdf

HOSTILE = '<script>alert("x")</script>&amp; \u202eRTL\n{{ 7*7 }} \U0001f41f ' + "y" * 300
# a single grey dot
PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5ErkJggg=="
)


def table(rows: int = 3) -> Table:
    frame = pd.DataFrame(
        {
            "species": ["tench", "perch", "all"] * (rows // 3),
            "volume_m3": [1234.5, 2345.6, 3580.1] * (rows // 3),
            "share": [0.34, None, 1.0] * (rows // 3),
            "when": pd.to_datetime(["2026-05-14 00:00", None, "2026-05-14 12:30"] * (rows // 3)),
        }
    )
    return Table(frame, "Volumes", ("shares refer to the whole",))


def made(*blocks: object, title: str = "Plan", subtitle: str = "Mere") -> Document:
    return Document(title, subtitle, date(2026, 5, 3), "nobody", tuple(blocks), "foot note")  # type: ignore[arg-type]


def everything(rows: int = 3) -> Document:
    return made(
        Heading("What is proposed"),
        Text("The lead.", lead=True),
        Facts((("Permit", ""), ("Authority", "of invention"))),
        Cautions(("Ice is never safe.",)),
        Heading("Figures", on_new_page=True),
        Figures(table(rows), "How much water", {"share": "Part of all"}, strong=-1),
        Heading("Picture", level=2),
        Picture(PNG, "A dot", "one grey dot"),
        Signatures(("Officer",), "I have read it."),
    )


SAID = (
    "Plan", "Mere", "2026-05-03", "nobody", "What is proposed", "The lead.", "Permit",
    "of invention", "Ice is never safe.", "How much water", "Part of all", "tench", "1,234",
    "shares refer to the whole", "A dot", "Officer", "I have read it.", "foot note",
)  # fmt: skip


class Reader(HTMLParser):
    """Text of a page, and its tags in order."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def page_of(document: Document) -> Reader:
    reader = Reader()
    reader.feed(document_page(document))
    return reader


def paper_of(document: Document) -> str:
    pages = PdfReader(io.BytesIO(document_pdf(document))).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


@pytest.mark.parametrize("part", SAID)
def test_page_and_paper_say_it_all(part: str) -> None:
    document = everything()
    assert part in page_of(document).text
    assert part in paper_of(document)


def test_the_page_asks_for_nothing_outside_it() -> None:
    page = page_of(everything())
    links = [link for _, given in page.tags for name, link in given.items() if name in LINKS]
    assert links
    assert all(str(link).startswith(("#", "data:image/png")) for link in links)


LINKS = ("src", "href")


def test_a_hostile_text_is_a_text() -> None:
    blocks = (
        Heading(HOSTILE),
        Text(HOSTILE),
        Facts(((HOSTILE, HOSTILE),)),
        Cautions((HOSTILE,), HOSTILE),
        Figures(Table(pd.DataFrame({HOSTILE: [HOSTILE]}), "", (HOSTILE,)), HOSTILE),
        Picture(PNG, HOSTILE, HOSTILE),
        Signatures((HOSTILE,), HOSTILE),
    )
    page = page_of(made(*blocks, title=HOSTILE, subtitle=HOSTILE))
    assert "script" not in {tag for tag, _ in page.tags}
    assert page.text.count('<script>alert("x")</script>') >= 10
    assert "49" not in page.text
    assert "\u202e" not in document_page(made(*blocks, title=HOSTILE, subtitle=HOSTILE))
    assert "<script>" in paper_of(made(*blocks, title=HOSTILE, subtitle=HOSTILE))


def test_a_picture_is_told_in_words() -> None:
    (picture,) = [given for tag, given in page_of(everything()).tags if tag == "img"]
    assert picture["alt"] == "one grey dot"
    data = str(picture["src"]).partition("base64,")[2]
    assert base64.b64decode(data) == PNG


def test_the_heads_of_a_long_table_stand_on_every_page() -> None:
    pages = PdfReader(io.BytesIO(document_pdf(made(Figures(table(300), "Long"))))).pages
    assert len(pages) > 2
    assert all("Species" in page.extract_text() for page in list(pages))


def test_a_table_too_wide_for_the_page_is_set_all_the_same() -> None:
    wide = Table(pd.DataFrame({f"{'w' * 30}_{i}": [f"cell{i} " + "z" * 50] for i in range(15)}))
    told = paper_of(made(Figures(wide)))
    assert "cell0" in told
    assert "cell14" in told


def test_a_row_longer_than_a_page_is_cut() -> None:
    long = Table(pd.DataFrame({"a": ["word " * 3000], "b": ["x"]}))
    assert "\u2026" in paper_of(made(Figures(long)))


def test_the_fonts_are_in_the_file() -> None:
    pages = PdfReader(io.BytesIO(document_pdf(everything()))).pages
    fonts = [font.get_object() for page in pages for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        assert "/FontFile2" in font["/FontDescriptor"], font["/BaseFont"]


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_paper_has_its_size(paper: str, size: tuple[int, int]) -> None:
    (first, *_) = PdfReader(io.BytesIO(document_pdf(everything(), paper=paper))).pages  # type: ignore[arg-type]
    assert tuple(round(float(side)) for side in first.mediabox[2:]) == size  # ISO 216; ANSI


def test_the_same_document_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write_document_pdf(tmp_path / f"{name}.pdf", everything())
        write_document_page(tmp_path / f"{name}.html", everything())
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


@pytest.mark.parametrize(
    ("value", "form", "told"),
    [
        (True, "General", "yes"),
        (datetime(2026, 5, 14), "yyyy-mm-dd hh:mm", "2026-05-14"),
        (datetime(2026, 5, 14, 12, 30), "yyyy-mm-dd hh:mm", "2026-05-14 12:30"),
        (date(2026, 5, 14), "yyyy-mm-dd", "2026-05-14"),
        (1234.5678, "#,##0.00", "1,234.57"),
        (376642.4, "0", "376642"),
        (0.5, "0.00%", "50.00%"),
        (-0.0002, "0.0%", "0.0%"),
        (-0.004, "#,##0.00", "0.00"),
        ("text", "@", "text"),
        ("", "@", "\u2013"),
    ],
)
def test_a_cell_is_written_by_its_format(value: object, form: str, told: str) -> None:
    assert cell_text(value, form) == told
