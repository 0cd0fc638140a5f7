"""Names and descriptions are short, tell the depth, and are nothing but text."""

import geopandas
import pandas as pd
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.formats.captions import captions, check_on_earth, in_degrees, plain
from toolbox.layers import Vectors

UTM = 32633
HERE = shapely.Point(500_000, 5_200_000)


def frame(**columns: object) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(
        {name: [value] for name, value in columns.items()}, geometry=[HERE]
    )


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("  the old\r\n\toak ", "the old oak"),
        ("a\x00b\x1b[31mc\x7f", "a b [31mc"),
        ("mere\u202eereM", "mere ereM"),  # would turn the direction of writing
        ("\ufffe\ud800 x", "x"),  # no characters of XML 1.0 (W3C 2008, section 2.2; from memory)
        ("<script>", "\u2039script\u203a"),
        ('Tom\'s "&" \u6e56 \U0001f3a3', 'Tom\'s "&" \u6e56 \U0001f3a3'),
        (7, "7"),
    ],
)
def test_text_stays_readable_and_is_only_text(typed: object, wanted: str) -> None:
    assert plain(typed) == wanted


def test_long_text_ends_in_an_ellipsis() -> None:
    assert plain("x" * 300) == "x" * 199 + "\u2026"
    assert plain("ab cd", most=4) == "ab\u2026"


@pytest.mark.parametrize(
    ("columns", "layer", "name"),
    [
        ({"mark": 3, "depth_m": 6.71, "kind": "hole"}, "marks", "3 6.7 m"),
        ({"depth_m": 2.5, "index_line": True}, "any name", "2.5 m"),
        ({"depth_m": 1.524, "depth_ft": 5.0, "index_line": False}, "any name", "5 ft"),
        ({"peg": "P2", "marks": 4}, "pegs", "P2"),
        ({"order": 1, "peg": "P2"}, "next_soundings", "S1"),
        ({"kind": "hump", "feature": 4.0}, "features", "hump 4"),
        ({"name": "Old oak", "depth_m": 1.0}, "places", "Old oak 1.0 m"),
        ({"area_m2": 5.0}, "plant_beds", "plant beds 1"),
        ({"mark": 1, "depth_m": float("nan")}, "marks", "1"),
        ({"mark": 1, "depth_m": "about 3 m"}, "marks", "1"),
    ],
)
def test_features_are_named_by_what_they_are(
    columns: dict[str, object], layer: str, name: str
) -> None:
    assert captions(frame(**columns), layer)[0][0] == name


def test_numbers_of_marks_sort_as_text_as_they_do_as_numbers() -> None:
    many = geopandas.GeoDataFrame({"mark": range(1, 13)}, geometry=[HERE] * 12)
    names = [name for name, _ in captions(many, "marks")]
    assert names == sorted(names)
    assert names[0] == "01"


def test_a_description_is_the_sentence_or_the_columns_with_their_units() -> None:
    assert captions(frame(mark=1, sentence="From peg P1 cast <39> m."), "marks")[0][1] == (
        "From peg P1 cast \u203939\u203a m."
    )
    told = captions(frame(area_m2=1234.56, slope_deg=2.345, closed=True, note=None), "x")[0][1]
    unknown = captions(frame(depth_m=pd.NA, order=pd.NA, day=pd.NaT, parts=[1, 2]), "x")[0]
    assert unknown == ("x 1", "parts: [1, 2]")
    assert told == "area: 1235 m2; slope: 2.35 deg"


def test_degrees_are_those_of_wgs84_and_features_without_a_place_are_left_out() -> None:
    shapes = [HERE, None, shapely.Point()]
    layer = Vectors(geopandas.GeoDataFrame({"a": [1, 2, 3]}, geometry=shapes, crs=UTM), "x")
    found = in_degrees(layer)
    # pyproj (PROJ), point by point
    wanted = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True).transform(500_000, 5_200_000)
    assert found["a"].tolist() == [1]
    assert (found.geometry[0].x, found.geometry[0].y) == pytest.approx(wanted, abs=1e-12)


def test_a_plane_has_no_degrees() -> None:
    plane = Vectors(frame(a=1), "marks")
    with pytest.raises(LayerError, match=r"^marks must be tied to the earth .*, got a plane$"):
        in_degrees(plane)
    with pytest.raises(LayerError, match=r"^depth must be tied to the earth .*, got a plane$"):
        check_on_earth(None, "depth")


def test_what_is_cut_by_the_antimeridian_is_refused() -> None:
    # zone 60 ends at 180 degrees east
    shapes = geopandas.GeoSeries.from_xy([179.99, -179.99], [10, 10], crs=4326).to_crs(32660)
    layer = Vectors(geopandas.GeoDataFrame(geometry=shapes), "marks")
    with pytest.raises(LayerError, match=r"^marks spans longitudes -179\.99.* to 179\.99"):
        in_degrees(layer)
