"""Marks in the units that people read at the water."""

import pytest

from toolbox.report.sheet.mark_texts import (
    bearing_text,
    confidence_text,
    depth_text,
    distance_text,
    name_of,
    place_text,
)


def test_bearings_are_three_figures_and_never_360() -> None:
    row = {"bearing_true_deg": 359.6, "bearing_magnetic_deg": 4.4}
    assert bearing_text(row, short=True) == "000\u00b0 T, 004\u00b0 M"
    assert bearing_text({"leg_bearing_deg": 71.0}) == "071\u00b0 true"
    assert bearing_text({}) == ""


def test_distance_in_metres_feet_and_wraps() -> None:
    # 0.3048 m to the foot, exactly
    row = {"distance_m": 30.48, "distance_wraps": 8.33}
    assert distance_text(row) == "30.5 m, 100 ft, 8.3 wraps"
    assert distance_text({"leg_m": 30.48}) == "30.5 m, 100 ft"
    assert distance_text(row, short=True) == "30 m"
    assert distance_text({}) == ""


def test_depth_with_and_without_a_band() -> None:
    assert depth_text({"depth_m": 3.048}) == "3.0 m, 10.0 ft"
    row = {"depth_m": 3.048, "depth_low_m": 2.5, "depth_high_m": 3.6}
    assert depth_text(row) == "3.0 m (2.5 to 3.6 m), 10.0 ft"


@pytest.mark.parametrize(
    ("sure", "says"), [(0.999, "more than 99 % sure to be there"), (0.8, "80 % sure to be there")]
)
def test_confidence(sure: float, says: str) -> None:
    assert confidence_text({"confidence": sure}) == says
    assert confidence_text({"confidence": sure, "support": 0.5}) == f"{says}; support 0.50 of 1"


def test_names_and_places() -> None:
    assert name_of({"peg": "P\n1", "kind": "hole"}) == "P 1: hole"
    assert name_of({"kind": "hole", "from_name": "mark 2"}) == "hole, from mark 2"
    assert name_of({"kind": "hole", "from_name": "mark 2"}, brief=True) == "hole"
    assert place_text({"easting_m": 1.25, "northing_m": 2.0}) == "1.2 m E, 2.0 m N"
    assert place_text({"latitude_deg": 46.5, "longitude_deg": -3.25}) == (
        "latitude 46.500000, longitude -3.250000"
    )
