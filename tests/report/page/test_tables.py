"""Tables of a page say the same in both systems of units."""

import pandas as pd
import pytest

from toolbox.layers import Table
from toolbox.report.page.tables import table_view


def test_columns_in_both_systems() -> None:
    frame = pd.DataFrame(
        {"depth_m": [0.0, 3.048], "area_m2": [40468.564224, 0.0], "area_share": [1.0, 0.0]}
    )
    view = table_view(Table(frame), "Levels", foot="international")
    assert view["headers"] == [
        ("Depth, m", "Depth, ft"),
        ("Area, m\u00b2", "Area, acres"),
        ("Area, share", "Area, share"),
    ]
    assert view["rows"][1][0] == ("3.05", "10.00")
    assert view["rows"][0][1] == ("40,469", "10.00")
    assert view["rows"][0][2] == ("100.0%", "100.0%")


def test_rows_in_both_systems() -> None:
    frame = pd.DataFrame(
        {
            "measure": ["volume", "islands", "centroid northing"],
            "value": [12334.8183754752, 2.0, 5116956.034],
            "unit": ["m3", "1", "m"],
        }
    )
    rows = table_view(Table(frame), "Figures", foot="international")["rows"]
    assert rows[0][1:] == [("12,335", "10.00"), ("m\u00b3", "acre-ft")]
    assert rows[1][1] == ("2", "2")
    assert rows[2][1:] == [("5116956", "5116956"), ("m", "m")]


def test_a_table_that_has_both_already_shows_each_once() -> None:
    frame = pd.DataFrame({"elevation_m": [100.0], "elevation_ft": [100 / 0.3048]})
    view = table_view(Table(frame), "Stage", foot="international")
    assert view["headers"] == [("Elevation, m", "Elevation, ft")]


def test_places_stay_in_metres() -> None:
    frame = pd.DataFrame({"start_easting_m": [376657.8], "distance_m": [60.96]})
    view = table_view(Table(frame), "Plan", foot="international")
    assert view["headers"] == [
        ("Start easting, m", "Start easting, m"),
        ("Distance, m", "Distance, ft"),
    ]
    assert view["rows"][0][1] == ("60.96", "200.0")


@pytest.mark.parametrize("columns", [("b", "a"), ("b", "a", "none")])
def test_chosen_columns_in_their_order(columns: tuple[str, ...]) -> None:
    frame = pd.DataFrame({"a": [1], "b": ["x"], "c": [2]})
    view = table_view(Table(frame), "T", foot="international", columns=columns)
    assert [header for header, _ in view["headers"]] == ["B", "A"]
    assert view["texts"] == [True, False]


def test_long_tables_say_that_they_are_cut() -> None:
    view = table_view(Table(pd.DataFrame({"a": range(700)})), "T", foot="international")
    assert len(view["rows"]) == 500
    assert view["notes"][-1].startswith("the first 500 rows of 700")


def test_texts_are_cleaned() -> None:
    frame = pd.DataFrame({"who": ["\u202eevil\n<b>" + "x" * 900]})
    cell = table_view(Table(frame), "T", foot="international")["rows"][0][0][0]
    assert cell.startswith("evil <b>")
    assert len(cell) == 300
