"""Cast cards tell what is known of each mark, and nothing where it is not known."""

import geopandas
import numpy as np
import pandas as pd
import shapely

from toolbox.layers import Table, Vectors
from toolbox.report.page import MapLayers, PageTables
from toolbox.report.page.cards import cast_cards


def test_card_of_a_cast(layers: MapLayers, tables: PageTables) -> None:
    card = cast_cards(layers.marks, tables.profiles, foot="international")[0]
    assert card["title"] == "Mark 1: hole, from peg oak"
    facts = {label: (si, us) for label, si, us in card["facts"]}
    assert facts["Distance"] == ("71 m (19.3 wraps)", "232 ft (19.3 wraps)")
    assert facts["Depth"] == ("6.2 m (6.0 to 6.4)", "20.3 ft (19.7 to 21.0)")
    assert facts["Bearing"] == ("172\u00b0 true", "172\u00b0 true")
    assert "Over plants" not in facts
    assert card["profile"]["distance"] == ("70 m", "230 ft")


def test_sentence_in_feet_agrees_with_the_facts_and_leaves_names_alone() -> None:
    said = (
        "From peg 40 m oak cast 9 m (2.4 wraps) on 179 deg true: lip, 1.2 m deep (1.0 to 1.4 m); "
        "3 m of the way back lies over plants."
    )
    row = {"mark": [1], "peg": ["40 m oak"], "sentence": [said], "distance_m": [8.692]}
    row |= {"depth_m": [1.2428], "depth_low_m": [1.0387], "depth_high_m": [1.4469]}
    frame = geopandas.GeoDataFrame(row, geometry=[shapely.Point(1, 2)])
    card = cast_cards(Vectors(frame, "marks"), None, foot="international")[0]
    # 1 ft is 0.3048 m: International Yard and Pound Agreement, 1959
    assert card["sentence"] == (
        said,
        "From peg 40 m oak cast 29 ft (2.4 wraps) on 179 deg true: lip, 4.1 ft deep (3.4 to 4.7 "
        "ft); 10 ft of the way back lies over plants.",
    )
    facts = {label: us for label, _, us in card["facts"]}
    assert facts["Distance"] == "29 ft"
    assert facts["Depth"] == "4.1 ft (3.4 to 4.7)"


def test_profile_is_drawn_to_its_box(layers: MapLayers, tables: PageTables) -> None:
    profile = cast_cards(layers.marks, tables.profiles, foot="international")[0]["profile"]
    bed = np.array([point.split(",") for point in profile["bed"].split()], float)
    assert bed[0].tolist() == [0, 0]
    assert bed[-1, 0] == 240
    np.testing.assert_allclose(bed[-1, 1], 72 * (70 / 11) / 7, atol=0.06)


def test_mark_without_a_profile(layers: MapLayers, tables: PageTables) -> None:
    assert cast_cards(layers.marks, tables.profiles, foot="international")[1]["profile"] is None
    assert cast_cards(layers.marks, None, foot="international")[0]["profile"] is None


def test_mark_of_which_only_its_number_is_known() -> None:
    frame = geopandas.GeoDataFrame({"mark": [7]}, geometry=[shapely.Point(1, 2)])
    card = cast_cards(Vectors(frame, "marks"), None, foot="survey")[0]
    assert card["title"] == "Mark 7"
    assert card["facts"] == []
    assert card["place"] is None


def test_mark_of_a_boat() -> None:
    frame = geopandas.GeoDataFrame(
        {"mark": [1], "leg_m": [120.4], "leg_bearing_deg": [59.6]}, geometry=[shapely.Point(1, 2)]
    )
    facts = cast_cards(Vectors(frame, "boat_marks"), None, foot="international")[0]["facts"]
    assert facts == [
        ("Leg of the boat", "120 m", "395 ft"),
        ("Leg begins on", "60\u00b0 true", "60\u00b0 true"),
    ]


def test_no_marks() -> None:
    assert cast_cards(None, Table(pd.DataFrame()), foot="survey") == []
