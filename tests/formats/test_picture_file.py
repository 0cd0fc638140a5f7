"""Pictures are written as asked, the same each time, whatever the machine is set to."""

import io
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any, get_args

import matplotlib
import pypdf
import pytest
from PIL import Image

from toolbox.errors import ParameterError
from toolbox.formats.picture_file import (
    PICTURE_SUFFIXES,
    Kind,
    figure_of,
    picture_bytes,
    write_picture,
)
from toolbox.layers import Picture

KINDS = get_args(Kind)
SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "<script>alert('x')</script> & \x00\x1b[31m \u202e \ud800 \u05d0\u05d2\u05dd"


def plot(figure: Any) -> None:
    """Draw a line, a hatched area, dots as a raster, and words no font has."""
    axes = figure.subplots()
    axes.plot([0, 1], [1, 0], label="bed")
    axes.fill_between([0, 1], [1, 0], 1, hatch="//")
    axes.scatter([0.2, 0.4], [0.5, 0.6], rasterized=True)
    axes.set_xlabel("distance, m \u9752")


def picture(width: float = 80.0, height: float = 60.0, dpi: int = 72, title: str = "") -> Picture:
    return Picture(plot, width, height, dpi, title)


def test_suffixes_and_kinds_are_the_same() -> None:
    assert [f".{kind}" for kind in KINDS] == list(PICTURE_SUFFIXES)


@pytest.mark.parametrize("suffix", [*PICTURE_SUFFIXES, ".PNG"])
def test_the_suffix_says_what_is_written(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"figure{suffix}"
    write_picture(picture(), path)
    first = {".png": b"\x89PNG\r\n\x1a\n", ".svg": b"<?xml", ".pdf": b"%PDF-"}[suffix.lower()]
    assert path.read_bytes().startswith(first)


@pytest.mark.parametrize(
    ("width", "height", "dpi"), [(170, 95, 300), (84, 61.3, 150), (100, 100, 127), (33.3, 77.7, 50)]
)
def test_a_png_has_the_dots_that_were_asked_for(width: float, height: float, dpi: int) -> None:
    # derived: an inch is 25.4 mm; Pillow is the independent reader
    with Image.open(io.BytesIO(picture_bytes(picture(width, height, dpi)))) as image:
        assert image.size == (round(width / 25.4 * dpi), round(height / 25.4 * dpi))
        assert image.info["dpi"] == pytest.approx((dpi, dpi), rel=1e-3)
        darkest, palest = image.convert("L").getextrema()
        assert (darkest < 80, palest) == (True, 255)


def test_svg_and_pdf_have_the_size_on_paper() -> None:
    root = ElementTree.fromstring(picture_bytes(picture(127, 63.5), "svg"))
    # derived: 127 mm are 5 inches, of 72 points each
    assert (root.get("width"), root.get("height")) == ("360pt", "180pt")
    pages = pypdf.PdfReader(io.BytesIO(picture_bytes(picture(127, 63.5), "pdf"))).pages
    assert len(pages) == 1
    assert [float(side) for side in pages[0].mediabox[2:]] == [360, 180]


def test_letters_stay_text() -> None:
    root = ElementTree.fromstring(picture_bytes(picture(), "svg"))
    assert "distance, m \u9752" in [text.text for text in root.iter(f"{SVG}text")]
    page = pypdf.PdfReader(io.BytesIO(picture_bytes(picture(), "pdf"))).pages[0]
    assert "distance, m" in page.extract_text()
    fonts: Any = page["/Resources"]["/Font"]  # type: ignore[index]
    kinds = {font.get_object()["/DescendantFonts"][0]["/Subtype"] for font in fonts.values()}
    assert kinds == {"/CIDFontType2"}  # TrueType, ISO 32000-1:2008, 9.7.4


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_picture_gives_the_same_bytes(kind: Kind) -> None:
    first = picture_bytes(picture(), kind)
    with matplotlib.rc_context({"font.size": 30, "lines.linewidth": 9, "svg.fonttype": "path"}):
        assert picture_bytes(picture(), kind) == first
        assert matplotlib.rcParams["font.size"] == 30  # what a person set is left alone
    assert not re.search(rb"\b20\d\d-\d\d-\d\d|CreationDate|D:20\d\d", first)


def test_another_process_gives_the_same_bytes() -> None:
    code = (
        "import hashlib, sys\n"
        "from toolbox.formats.picture_file import picture_bytes\n"
        "from toolbox.layers import Picture\n"
        "draw = lambda figure: figure.subplots().fill_between([0, 1], [1, 0], hatch='//')\n"
        "files = [picture_bytes(Picture(draw, 60, 60, 50), k) for k in ('png', 'svg', 'pdf')]\n"
        "print([hashlib.sha256(file).hexdigest() for file in files])\n"
    )
    told = [
        subprocess.run(
            [sys.executable, "-c", code],
            env={"PYTHONHASHSEED": seed, "MPLCONFIGDIR": matplotlib.get_configdir()},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert told[0] == told[1]
    assert told[0].count("'") == 6


@pytest.mark.parametrize("kind", KINDS)
def test_the_title_is_told_to_those_who_cannot_see(kind: Kind) -> None:
    file = picture_bytes(picture(title=HOSTILE), kind)
    told = {
        "png": lambda: Image.open(io.BytesIO(file)).info["Title"],
        "svg": lambda: ElementTree.fromstring(file).findtext(f"{SVG}title"),
        "pdf": lambda: (pypdf.PdfReader(io.BytesIO(file)).metadata or {})["/Title"],
    }[kind]()
    # what steers a terminal, what turns the direction, and half a letter are spaces
    assert told == "".join(letter if letter.isprintable() else " " for letter in HOSTILE)
    assert told.split() == ["<script>alert('x')</script>", "&", "[31m", "\u05d0\u05d2\u05dd"]
    assert kind != "svg" or b"<script" not in file


def test_a_png_of_too_many_dots_is_refused_before_it_is_drawn() -> None:
    def refuse(figure: Any) -> None:
        raise AssertionError("drawn")

    words = r"^dpi must be at most 311 for a PNG of 1000 by 1000 mm, got 1200$"
    with pytest.raises(ParameterError, match=words):
        picture_bytes(Picture(refuse, 1000.0, 1000.0, 1200))


def test_the_figure_can_be_had_for_another_purpose() -> None:
    figure = figure_of(picture())
    assert [line.get_label() for line in figure.axes[0].lines] == ["bed"]
    assert figure.get_size_inches() == pytest.approx((80 / 25.4, 60 / 25.4), abs=0.01)
