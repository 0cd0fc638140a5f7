"""The own language of QGIS, as far as it can be read without it; test_rendered asks it."""

from xml.etree import ElementTree

import geopandas
import numpy as np
import pytest
import shapely
from affine import Affine

from toolbox.layers import Grid
from toolbox.report.styles import layer_style, qml, raster_style
from toolbox.report.styles.layers import _STYLES
from toolbox.report.styles.qml_parts import MM, condition, quoted, rgba
from toolbox.report.styles.signs import Area, Between, Equals, Is, Line, Point, Rule, Style


def root(style: Style) -> ElementTree.Element:
    return ElementTree.fromstring(qml(style))


@pytest.mark.parametrize("name", [*_STYLES, "<of> another & kind"])
def test_rules_name_symbols_that_are_there(name: str) -> None:
    found = root(layer_style(name, depths=(0, 9), across=800.0))
    rules = found.findall("renderer-v2/rules/rule")
    symbols = [symbol.get("name") for symbol in found.findall("renderer-v2/symbols/symbol")]
    assert [rule.get("symbol") for rule in rules] == symbols
    assert rules


def test_words_become_labels_at_their_scale() -> None:
    found = root(layer_style("isobath_labels", depths=(0, 9), across=804.0))
    (rule,) = found.findall("labeling/rules/rule")
    assert rule.get("scalemaxdenom") == "10000"
    told = rule.find("settings/text-style")
    assert told is not None
    assert told.get("fieldName") == "label"
    fields = [one.get("value") for one in rule.iter("Option") if one.get("name") == "field"]
    assert fields == ["upright_deg"]


def test_shapes_of_several_kinds_get_rules_of_their_own() -> None:
    body = [Rule("any", (Point("x", 4), Line("#000000", 1), Line("#ffffff", 0.5)))]
    found = root(Style("any", "Any", body))
    kinds = [symbol.get("type") for symbol in found.findall("renderer-v2/symbols/symbol")]
    assert kinds == ["marker", "line"]
    assert len(found.findall("renderer-v2/symbols/symbol[@type='line']/layer")) == 2


def test_an_edge_alone_has_no_fill() -> None:
    found = root(Style("any", "Any", [Rule("edge", (Area(edge=Line("#010203", 2.0)),))]))
    told = {one.get("k"): one.get("v") for one in found.iter("prop")}
    assert told["style"] == "no"
    assert told["outline_color"] == "1,2,3,255"
    assert float(told["outline_width"] or 0) == pytest.approx(2 * MM)


def test_conditions_keep_words_in_quotes() -> None:
    # quotes of text are doubled and backslashes too: QGIS user manual, "Expressions", from memory
    assert condition(Equals("kind", "a' OR 1=1 --")) == "\"kind\" = 'a'' OR 1=1 --'"
    assert condition(Equals("kind", "a\\'")) == "\"kind\" = 'a\\\\'''"
    assert quoted('a"b') == '"a""b"'
    assert condition(Between("depth", -1, 0.3)) == '"depth" >= -1 AND "depth" < 0.3'
    assert [condition(Is("flag", value)) for value in (True, False)] == ['"flag"', 'NOT "flag"']
    assert rgba("#0a0b0c", 0.0) == "10,11,12,0"


def test_hostile_species_stay_text() -> None:
    name = "<script>x</script> ' \" \u202e " + "y" * 300
    frame = geopandas.GeoDataFrame({"species": [name]}, geometry=[shapely.Point(0, 0)])
    found = root(layer_style("suitable_bed", depths=(0, 9), across=9.0, frame=frame))
    (rule,) = found.findall("renderer-v2/rules/rule")
    assert rule.get("filter") == '"species" = \'' + name.replace("'", "''") + "'"
    assert len(rule.get("label") or "") <= 120


def test_rasters_are_interpolated_and_classes_are_not() -> None:
    place = Affine(1, 0, 0, 0, -1, 0)
    depth = root(raster_style(Grid(np.array([[0.0, 9.0]]), place, None, "depth", "m")))
    shader = depth.find("pipe/rasterrenderer/rastershader/colorrampshader")
    assert shader is not None
    assert (shader.get("colorRampType"), shader.get("maximumValue")) == ("INTERPOLATED", "9")
    forms = root(raster_style(Grid(np.array([[1.0]]), place, None, "landforms", "1")))
    assert len(forms.findall("pipe/rasterrenderer/colorPalette/paletteEntry")) == 10


def test_a_style_is_the_same_every_time() -> None:
    style = layer_style("features", depths=(0, 9), across=800.0)
    assert qml(style) == qml(style)
