"""The page tells what was given, whatever people typed, and stays small."""

import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.layers import Soundings
from toolbox.report.page import MapLayers, PageTables, page_html, rasters, write_page

HOSTILE = (
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)> ' onload='x",
    "a\nb\r\n\x1b[31m\u2028c",
    "\u202egnp.exe\u202c",
    "\u05d0\u05d1\u05d2 \U0001f41f\u200d\U0001f3a3",
    "x" * 300,
    "{{ 7 * 7 }} {% raw %} ${alert(1)} `",
    "=1+1",
)


class Parsed(HTMLParser):
    """Elements and attributes of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[str] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_texts_add_no_element_and_no_attribute(
    hostile: Callable[[str], str], text: str
) -> None:
    plain, other = Parsed(hostile("plain")), Parsed(hostile(text))
    assert other.tags == plain.tags
    # cells with long text are of the class that gives them room; nothing else is added
    assert other.attributes == plain.attributes
    assert not {"onerror", "onload"} & set(other.attributes)
    assert not set("\u202e\u202c\u2028\x1b") & set(other.text)
    assert "49" not in other.text.split()


def test_a_bed_that_does_not_know_its_own_error_says_so(page: Path, bare: str) -> None:
    fitted = " ".join(Parsed(page.read_text(encoding="utf-8")).text.split())
    linear = " ".join(Parsed(bare).text.split())
    assert "does not know its own error" in linear
    assert "does not know its own error" not in fitted
    assert "knows its own error. Bands hold the true figure nine times in ten" in fitted


def test_what_was_given_is_told(page: Path) -> None:
    text = " ".join(Parsed(page.read_text(encoding="utf-8")).text.split())
    for part in (
        "Test Mere",
        "surveyed 2026-05-14",
        "elevation 212.4 m, a staff",
        "track.csv",
        "a draft of 0.3 m was added",
        "soundings in: 3",
        "From peg oak cast 71 m.",
        "Not for navigation",
        "Page made 2026-05-20",
    ):
        assert part in text
    assert "/far" not in text


def test_ids_are_unique_and_what_is_pointed_at_is_there(page: Path) -> None:
    html = page.read_text(encoding="utf-8").split("<script")[0]
    ids = re.findall(r'\sid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    wanted = re.findall(r'(?:href="#|for="|aria-labelledby="|aria-describedby=")([^"]+)"', html)
    assert set(wanted) <= set(ids)


def test_water_of_which_little_is_known(bare: str) -> None:
    body = bare.split("<script")[0]
    assert "easting and northing in m, a plane" in body
    for absent in ("marks-part", "stocking-part", 'data-layer="soundings"', 'value="sd"'):
        assert absent not in body


def test_written_as_it_is_laid_out(
    layers: MapLayers, tables: PageTables, told: dict[str, Any], page: Path, tmp_path: Path
) -> None:
    write_page(tmp_path / "report.html", layers, tables, **told)
    assert (tmp_path / "report.html").read_bytes() == page.read_bytes()


def test_page_of_a_large_survey_is_small_and_says_what_it_leaves_out(
    layers: MapLayers,
    tables: PageTables,
    told: dict[str, Any],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(rasters, "MOST_CELLS", 2000)
    monkeypatch.setattr(rasters.thinned, "__kwdefaults__", {"most": 2000, "greatest": False})
    monkeypatch.setattr("toolbox.report.page.telling.MOST_CELLS", 2000)
    assert layers.soundings is not None
    frame = layers.soundings.frame
    rng = np.random.default_rng(2)
    points = frame.iloc[rng.integers(0, len(frame), 300_000)].reset_index(drop=True)
    jitter = rng.normal(0, 3, (len(points), 2))
    moved = shapely.points(shapely.get_coordinates(points.geometry.to_numpy()) + jitter)
    many = Soundings(geopandas.GeoDataFrame(points, geometry=moved, crs=frame.crs))
    html = page_html(MapLayers(**vars(layers) | {"soundings": many}), tables, **told)
    text = Parsed(html).text
    assert "The map holds means over cells of" in text
    assert "rejected ones, evenly chosen" in text
    assert len(html) < 1_000_000
