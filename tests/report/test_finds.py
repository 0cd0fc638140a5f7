"""Features and marks are told in plain words, with the figures of their layers."""

import re
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.layers import Vectors
from toolbox.report.finds import features_told, marks_told

BASE: dict[str, Any] = {
    "depth_least_m": 1.0,
    "depth_greatest_m": 6.84,
    "relief_m": np.nan,
    "area_m2": np.nan,
    "length_m": np.nan,
    "confidence": np.nan,
}
PLACE = shapely.box(499_990, 5_199_990, 500_010, 5_200_010)
AT = "at 500000 E 5200000 N"


def features(*rows: dict[str, Any], notes: tuple[str, ...] = ()) -> Vectors:
    data = [BASE | {"feature": number} | row for number, row in enumerate(rows, start=1)]
    shapes = [row.pop("geometry", PLACE) for row in data]
    names = ["kind", "feature", *BASE]
    frame = geopandas.GeoDataFrame(data, columns=names, geometry=shapes)
    return Vectors(frame, "features", notes)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (
            {"kind": "drop-off lip", "relief_m": 4.84, "length_m": 1204.2},
            ["1 drop-off:", f"  1  1.0 to 6.8 m deep, falls 4.8 m, 1,204 m long, {AT}"],
        ),
        (
            {"kind": "gully", "relief_m": 1.1, "area_m2": 11281.4, "length_m": 300.0},
            ["1 gully:", f"  1  1.0 to 6.8 m deep, 1.1 m below its sides, 11,281 m2, {AT}"],
        ),
        (
            {"kind": "hump", "relief_m": 3.9, "area_m2": 5221.0},
            ["1 hump:", f"  1  1.0 to 6.8 m deep, rises 3.9 m, 5,221 m2, {AT}"],
        ),
        (
            {"kind": "bar", "relief_m": 0.55, "area_m2": 80.0},
            ["1 bar:", f"  1  1.0 to 6.8 m deep, rises 0.6 m, 80 m2, {AT}"],
        ),
        (
            {"kind": "plateau", "area_m2": 80.0},
            ["1 plateau:", f"  1  1.0 to 6.8 m deep, 80 m2, {AT}"],
        ),
        (
            {"kind": "hole", "relief_m": 4.2, "area_m2": 24049.0},
            ["1 hole:", f"  1  1.0 to 6.8 m deep, 4.2 m below its rim, 24,049 m2, {AT}"],
        ),
        (
            {"kind": "shelf", "relief_m": 2.1, "area_m2": 6130.0},
            ["1 shelf:", f"  1  1.0 to 6.8 m deep, 6,130 m2, {AT}"],
        ),
    ],
)
def test_a_feature_is_told_by_what_matters_of_its_kind(
    row: dict[str, Any], told: list[str]
) -> None:
    assert features_told(features(row)) == told


def test_many_are_counted_in_their_plural_the_boldest_first() -> None:
    reliefs = [0.3, 2.0, 1.0]
    told = features_told(
        features(
            *({"kind": "gully", "relief_m": relief} for relief in reliefs),
            *({"kind": "shelf", "area_m2": area} for area in (5.0, 50.0)),
        )
    )
    assert told[0] == "3 gullies:"
    assert [int(line.split()[0]) for line in told[1:4]] == [2, 3, 1]
    assert told[4] == "2 shelves:"
    assert [int(line.split()[0]) for line in told[5:]] == [5, 4]


def test_only_so_many_are_told_and_the_rest_is_counted() -> None:
    many = ({"kind": "hole", "relief_m": 20.0 - number} for number in range(15))
    told = features_told(features(*many))
    assert told[0] == "15 holes:"
    assert [int(line.split()[0]) for line in told[1:13]] == list(range(1, 13))
    assert told[13:] == ["     and 3 more, in features.csv"]


def test_confidence_is_told_where_it_is_known_and_no_more_than_the_draws_tell() -> None:
    told = features_told(
        features(
            {"kind": "hole", "relief_m": 2.0, "confidence": 1.0},
            {"kind": "hole", "relief_m": 1.0, "confidence": 0.806},
        )
    )
    assert told[0] == "more than 99 % sure to be there, unless a line says less:"
    assert "sure" not in told[2]
    assert told[3].endswith(f"{AT}, 81 % sure")
    assert not any("sure" in line for line in features_told(features({"kind": "hole"})))


def test_feet_axes_and_unknown_kinds_are_left_to_the_file() -> None:
    told = features_told(features({"kind": "drop-off foot"}, {"kind": "gully axis"}))
    assert told == [
        "no form high and steep enough to be told was found, at the spacing of the lines"
    ]


def test_notes_follow_on_one_line_each() -> None:
    told = features_told(features(notes=("a\nb", "c")))
    assert told[1:] == ["a b", "c"]


def marks(sentences: list[str], notes: tuple[str, ...] = (), **columns: Any) -> Vectors:
    frame = geopandas.GeoDataFrame(
        {"mark": range(1, len(sentences) + 1), "sentence": sentences} | columns,
        geometry=[PLACE.centroid] * len(sentences),
    )
    return Vectors(frame, "marks", notes)


def test_marks_are_numbered_as_in_their_layer_and_on_the_picture() -> None:
    told = marks_told(marks(["From peg A.", "From peg B."], ("mind the wire",)))
    assert told == ["the best first:", "  1  From peg A.", "  2  From peg B.", "mind the wire"]


def test_marks_of_a_boat_are_in_the_order_of_its_tour() -> None:
    assert marks_told(marks(["Mark 1."], leg_m=[3.0]))[0] == "in the order of the tour:"


def test_no_marks_leave_their_notes() -> None:
    assert marks_told(marks([], ("no mark: nothing is in reach",))) == [
        "no mark: nothing is in reach"
    ]


@pytest.mark.parametrize(
    "name", ["two\nlines", "\x1b[2Jclear", "=1+1", "<script>", "\U0001f3a3", "Y" * 300, "a\tb\r\n"]
)
def test_hostile_words_stay_on_one_line(name: str) -> None:
    told = marks_told(marks([f"From peg {name} cast 10 m."], (f"no mark from {name}",)))
    assert len(told) == 3
    assert not any(re.search(r"[\x00-\x1f\x7f]", line) for line in told)
    assert all(line.isprintable() for line in told)
