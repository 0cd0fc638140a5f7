"""Styled Layer Descriptors are valid by the standard's schema, whatever people call things."""

import re
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import geopandas
import numpy as np
import pytest
import shapely
import xmlschema
from affine import Affine

from toolbox.layers import Grid
from toolbox.report.styles import CODED, Style, layer_style, raster_style, sld
from toolbox.report.styles.layers import _STYLES
from toolbox.report.styles.rasters import _RAMPS

SCHEMAS = Path(__file__).resolve().parents[3].parent / "shared" / "schemas"
SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"

HOSTILE = {
    "markup": "<script>alert('x')</script>",
    "entity": "&lt; &#0; ]]> <![CDATA[",
    "quotes": "O'Neill's \"best\" \\ carp",
    "newline": "two\nlines\tand\rmore",
    "control": "bell\x07 and null\x00",
    "half a pair": "\ud800 alone",
    "right to left": "\u202egnp.exe \u05d0\u05d1\u05d2",
    "long": "Llyn " * 60,
    "emoji": "\U0001f41f pike",
}
IN_TABLES = [words for name, words in HOSTILE.items() if name != "half a pair"]  # none holds it


def grid(name: str, values: np.ndarray, unit: str = "m") -> Grid:
    return Grid(values, Affine(1, 0, 5e5, 0, -1, 5e6), None, name, unit)


def suited(*species: str) -> geopandas.GeoDataFrame:
    shapes = [shapely.box(0, 0, 9, 9)] * len(species)
    return geopandas.GeoDataFrame({"species": species}, geometry=shapes)


def all_styles() -> list[Style]:
    """Make one style of each layer and raster that is known, and of some that are not."""
    zones = geopandas.GeoDataFrame(
        {"from_m": [0.0, 1.0, 2.5], "to_m": [1.0, 2.5, 4.0]}, geometry=[shapely.Point(0, 0)] * 3
    )
    frames = {"depth_zones": zones, "suitable_bed": suited("tench", *IN_TABLES)}
    names = [*_STYLES, "of another kind", *HOSTILE.values()]
    found = [
        layer_style(name, depths=(-0.2, 11.7), across=804.0, frame=frames.get(name))
        for name in names
    ]
    values = np.linspace(-3, 90, 400, dtype=np.float32).reshape(20, 20)
    return found + [raster_style(grid(name, values)) for name in [*_RAMPS, *CODED, *HOSTILE]]


@pytest.fixture(scope="module")
def faults() -> Callable[[str], list[str]]:
    """Return what tells the faults of a style by the schema of OGC SLD 1.0.0."""
    if not (SCHEMAS / "validate_sld.py").exists():
        pytest.skip("published schemas are not at hand: ../shared/schemas")
    folder = SCHEMAS / "ogc"

    def local(address: str) -> str:
        if "xlink" in address:
            return (SCHEMAS / "xlink.xsd").as_uri()
        return address.replace("http://schemas.opengis.net", folder.as_uri())

    schema = xmlschema.XMLSchema(
        str(folder / "sld" / "1.0.0" / "StyledLayerDescriptor.xsd"),
        uri_mapper=local,
        allow="local",
    )
    return lambda text: [str(fault.reason) for fault in schema.iter_errors(text)]


def test_every_style_is_valid(faults: Callable[[str], list[str]]) -> None:
    # OGC 02-070, "Styled Layer Descriptor Implementation Specification", version 1.0.0, 2002
    told = {style.name: faults(sld(style)) for style in all_styles()}
    assert len(told) > 50
    assert {name: found for name, found in told.items() if found} == {}


def test_the_schema_finds_a_fault(faults: Callable[[str], list[str]]) -> None:
    text = sld(layer_style("marks", depths=(0, 9), across=500.0))
    assert faults(text.replace("sld:Title", "sld:Heading"))


def test_words_come_back_as_they_were() -> None:
    frame = suited(*IN_TABLES)
    root = ElementTree.fromstring(
        sld(layer_style("suitable_bed", depths=(0, 9), across=500.0, frame=frame))
    )
    literals = [found.text for found in root.iter(f"{OGC}Literal")]
    told = ["".join(c for c in name if c not in "\x00\x07") for name in IN_TABLES]
    assert literals == [name.replace("\r", "\n") for name in told]  # XML 1.0, 2.11
    assert max(len(found.text or "") for found in root.iter(f"{SLD}Title")) <= 120


def test_a_style_is_the_same_every_time() -> None:
    first, second = ([sld(style) for style in all_styles()] for _ in range(2))
    assert first == second


def test_classes_hold_whether_a_reader_steps_or_interpolates() -> None:
    text = sld(raster_style(grid("landforms", np.ones((3, 3)), "1")))
    entries = re.findall(r'color="(#\w+)" quantity="([\d.]+)"', text)
    values = np.array([float(value) for _, value in entries])
    colours = [colour for colour, _ in entries]
    for one in CODED["landforms"]:
        step = colours[int(np.searchsorted(values, one.code, side="right")) - 1]
        after = colours[int(np.searchsorted(values, one.code, side="left"))]
        assert step == after == one.colour  # between two entries of one colour it is that colour


def test_words_go_before_the_lines_they_stand_on() -> None:
    frame = geopandas.GeoDataFrame(geometry=[shapely.LineString([(0, 0), (1, 1)])])
    style = layer_style("next_soundings", depths=(0, 9), across=500.0, frame=frame)
    rules = list(ElementTree.fromstring(sld(style)).iter(f"{SLD}Rule"))
    assert [rule.find(f"{SLD}TextSymbolizer") is not None for rule in rules] == [True, False]
