"""Marking: what is said of marks."""

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.layers import Tin, Vectors
from toolbox.marks.marking import depth_text, fishable, notes_on, trust_text, weights_of
from toolbox.marks.spots import NAMES


def row(**changes: object) -> dict[str, object]:
    told = {"kind": "hole", "depth_m": 4.26, "depth_low_m": 3.87, "depth_high_m": 4.84}
    return told | {"confidence": 0.847, "support": 0.9} | changes


def test_words_of_a_mark() -> None:
    assert depth_text(row()) == "bottom of the hole, 4.3 m deep (3.9 to 4.8 m)"
    unknown = row(depth_low_m=np.nan, depth_high_m=np.nan)
    assert depth_text(unknown) == "bottom of the hole, 4.3 m deep"
    assert trust_text(row()) == "; 85 % sure to be there."
    assert trust_text(row(confidence=np.nan, support=np.nan)) == "."
    assert trust_text(row(confidence=1.0)) == "; more than 99 % sure to be there."
    told = "; 85 % sure to be there; hardly sounded: sound it before you trust it."
    assert trust_text(row(support=0.49)) == told


def test_every_kind_has_a_weight_and_a_name() -> None:
    weights = weights_of(
        drop_off_foot=0,
        drop_off_lip=1,
        gully=2,
        hump_top=3,
        hump_side=4,
        hole=5,
        plateau_edge=6,
        plant_edge=7,
        bottom_change=8,
    )
    assert set(weights) == set(NAMES)
    assert weights["bar side"] == 4


def test_spots_that_are_too_shallow_too_deep_or_in_plants_are_left_out() -> None:
    corners = np.array([[0, 0], [100, 0], [100, 60], [0, 60]], float)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    bed = Tin(corners, corners[:, 0] / 10, triangles, np.full(4, 2), None)
    columns = {"kind": ["gully axis"], "feature": 1, "relief_m": 1.0, "confidence": 1.0}
    line = shapely.LineString([(0, 30), (100, 30)])
    features = Vectors(geopandas.GeoDataFrame(columns, geometry=[line]), "features")
    plants = Vectors(geopandas.GeoDataFrame(geometry=[shapely.box(40, 20, 60, 40)]), "plants")
    found = fishable(
        bed, features, plants, {"gully": 1.0}, apart=4.0, off_plants=2.0, depths=(2.0, 8.0)
    )
    east = found.places[:, 0]
    assert (east.min(), east.max()) == pytest.approx((20.5, 79.5))
    assert east[east < 50].max() == pytest.approx(37.5)
    assert east[east > 50].min() == pytest.approx(62.5)


def test_notes_tell_what_marks_rest_on() -> None:
    frame = pd.DataFrame({"kind": ["hole"], "confidence": [1.0], "depth_low_m": [2.0]})
    shape = geopandas.GeoDataFrame({"kind": ["hole"]}, geometry=[shapely.box(0, 0, 1, 1)])
    features = Vectors(shape, "features")
    assert notes_on(frame, features, None) == ("no plants were given: marks may lie in them",)
    assert notes_on(frame, features, features) == ()
    blind = frame.assign(confidence=np.nan, depth_low_m=np.nan)
    assert len(notes_on(blind, features, None)) == 3
    of_plants = notes_on(blind.assign(kind="plant edge"), features, features)
    assert "what has no confidence, as plants, counts as certain" in of_plants
    assert not any("nobody told" in note for note in of_plants)
