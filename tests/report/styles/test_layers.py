"""Styles of layers: what is told apart, from how near, and in which colours."""

import geopandas
import numpy as np
import pytest
import shapely
from affine import Affine

from toolbox.errors import ParameterError
from toolbox.features.bed_features import bed_features
from toolbox.layers import Grid, Vectors
from toolbox.layers.tin import VertexKind
from toolbox.report import marks_map
from toolbox.report.drawing import depth_ramp
from toolbox.report.styles import Style, colours, layer_style, run_layer_styles
from toolbox.report.styles.signs import Area, Between, Equals, Line, Map, Rule, Text


def rules(style: Style) -> list[Rule]:
    assert not isinstance(style.body, Map)
    return list(style.body)


def zones(*ends: float) -> geopandas.GeoDataFrame:
    table = {"from_m": ends[:-1], "to_m": ends[1:]}
    return geopandas.GeoDataFrame(table, geometry=[shapely.Point(0, 0)] * (len(ends) - 1))


def fill(rule: Rule) -> str:
    assert isinstance(rule.symbols, tuple)
    area = rule.symbols[0]
    assert isinstance(area, Area)
    assert area.fill is not None
    return area.fill


def test_each_zone_meets_its_rule_and_no_other() -> None:
    ends = (-0.3, 0.0, 1 / 3, 1.0, 7.5, 11.68430337)
    found = rules(layer_style("depth_zones", depths=(-0.3, 11.7), across=800.0, frame=zones(*ends)))
    wheres = [rule.where for rule in found]
    limits = np.array([(w.least, w.most) for w in wheres if isinstance(w, Between)])
    begins = np.array(ends[:-1])[:, None]
    for rounded in (begins, begins + 1e-9, np.round(begins, 3)):
        assert ((limits[:, 0] <= rounded) & (rounded < limits[:, 1]) == np.eye(5)).all()


def test_zones_have_the_colours_of_the_map() -> None:
    # the ramp that pictures are drawn with, at the middle of each zone
    found = rules(layer_style("depth_zones", depths=(0, 10), across=800.0, frame=zones(0, 5, 10)))
    for rule, share in zip(found, (0.25, 0.75), strict=True):
        wanted = np.round(np.array(depth_ramp()(share)[:3]) * 255)
        assert np.abs(np.array(list(bytes.fromhex(fill(rule)[1:]))) - wanted).max() <= 1


def test_layers_told_in_feet_have_legends_in_feet() -> None:
    metric = zones(0, 1.524, 3.048)
    feet = metric.assign(from_ft=[0.0, 5.0], to_ft=[5.0, 10.0])
    found, same = (
        rules(layer_style("depth_zones", depths=(0, 3.048), across=800.0, frame=frame))
        for frame in (feet, metric)
    )
    assert [rule.title for rule in found] == ["0 to 5 ft", "5 to 10 ft"]
    assert [rule.title for rule in same] == ["0 to 1.52 m", "1.52 to 3.05 m"]
    assert [rule.where for rule in found] == [rule.where for rule in same]
    for frame, words in ((feet.assign(depth_ft=5.0), "ft"), (metric, "m")):
        style = layer_style("isobath_labels", depths=(0, 9), across=800.0, frame=frame)
        assert rules(style)[-1].title == f"depth of the isobath, {words}"


def test_forms_are_coloured_alike_on_the_map_and_the_picture_of_marks() -> None:
    for rule in rules(layer_style("features", depths=(0, 10), across=800.0)):
        assert isinstance(rule.where, Equals)
        assert isinstance(rule.symbols, tuple)
        kind, sign = str(rule.where.value), rule.symbols[-1]
        edge = sign.edge if isinstance(sign, Area) else sign
        assert isinstance(edge, Line)
        assert edge.colour == colours.FORMS[kind]
    for kind, style in marks_map._STYLES.items():
        assert style.colour == colours.FORMS[kind]


def test_every_kind_of_form_has_a_sign() -> None:
    style = layer_style("features", depths=(0, 10), across=800.0)
    told = {rule.where.value for rule in rules(style) if isinstance(rule.where, Equals)}
    named = str(bed_features.__doc__)
    listed = named[named.index("``kind``") : named.index("``feature``")].split("``")[3::2]
    assert len(listed) == 9
    assert told == set(listed)


def test_every_kind_of_vertex_has_a_sign() -> None:
    style = layer_style("bed_vertices", depths=(0, 10), across=800.0)
    told = {rule.where.value for rule in rules(style) if isinstance(rule.where, Equals)}
    assert told == {kind.name.lower() for kind in VertexKind}


def test_triangles_are_classed_without_a_gap() -> None:
    style = layer_style("bed_triangles", depths=(-0.2, 11.7), across=800.0)
    limits = [rule.where for rule in rules(style) if isinstance(rule.where, Between)]
    assert [one.most for one in limits[:-1]] == [one.least for one in limits[1:]]
    assert limits[0].least < -0.2
    assert limits[-1].most > 11.7


@pytest.mark.parametrize(("across", "whole"), [(804.0, 5_000.0), (12_000.0, 50_000.0)])
def test_numbers_are_shown_once_the_screen_shows_the_whole_water(
    across: float, whole: float
) -> None:
    # a quarter of a metre of screen, rounded up to 1, 2 or 5 times a power of ten: derived
    style = layer_style("marks", depths=(0, 10), across=across)
    words = [rule for rule in rules(style) if isinstance(rule.symbols, Text)]
    assert [rule.widest for rule in words] == [whole]


def test_an_unknown_layer_is_drawn_by_its_shapes() -> None:
    shapes = [shapely.Point(0, 0), shapely.MultiPolygon([shapely.box(0, 0, 1, 1)])]
    frame = geopandas.GeoDataFrame(geometry=shapes)
    (rule,) = rules(layer_style("my_own_layer", depths=(0, 1), across=10.0, frame=frame))
    assert [type(symbol).__name__ for symbol in rule.symbols] == ["Point", "Area"]


def test_more_species_than_colours_are_all_drawn() -> None:
    names = [f"species {number}" for number in range(12)]
    frame = geopandas.GeoDataFrame({"species": names}, geometry=[shapely.Point(0, 0)] * 12)
    style = layer_style("suitable_bed", depths=(0, 1), across=10.0, frame=frame)
    assert [rule.where for rule in rules(style)] == [Equals("species", name) for name in names]
    assert len({fill(rule) for rule in rules(style)}) == 8


def test_soundings_that_are_next_are_lines_or_points() -> None:
    for shape, kind in (
        (shapely.Point(0, 0), "Point"),
        (shapely.LineString([(0, 0), (1, 1)]), "Line"),
    ):
        frame = geopandas.GeoDataFrame({"order": [1]}, geometry=[shape])
        style = layer_style("next_soundings", depths=(0, 1), across=10.0, frame=frame)
        drawn = [rule for rule in rules(style) if not isinstance(rule.symbols, Text)]
        assert {type(symbol).__name__ for symbol in drawn[0].symbols} == {kind}


def test_a_run_has_a_style_for_each_layer_it_writes() -> None:
    depth = Grid(np.full((4, 9), np.nan), Affine(2, 0, 0, 0, -2, 8), None, "depth", "m")
    frame = geopandas.GeoDataFrame(geometry=[shapely.Point(0, 0)])
    styles = run_layer_styles([Vectors(frame, "marks"), Vectors(frame, "pegs")], depth=depth)
    assert set(styles) == {
        *("shoreline", "soundings", "bed_vertices", "bed_triangles", "crossings"),
        *("marks", "pegs"),
    }
    assert styles["marks"].title == "Marks"


def test_isobaths_of_both_kinds_have_a_pale_line_beneath() -> None:
    for rule in rules(layer_style("isobaths", depths=(0, 10), across=800.0)):
        beneath, over = rule.symbols
        assert isinstance(beneath, Line)
        assert isinstance(over, Line)
        assert beneath.width > over.width
        assert (beneath.colour, over.colour) == (colours.PAPER, colours.INK)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"depths must rise, got 3 to 2 m"):
        layer_style("marks", depths=(3, 2), across=10.0)
    with pytest.raises(ParameterError, match=r"across must be above 0 m, got 0"):
        layer_style("marks", depths=(0, 2), across=0.0)
