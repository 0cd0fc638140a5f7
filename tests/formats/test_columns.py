"""Columns are known by the names people give them, and by no guess."""

import pytest

from toolbox.errors import InputFileError
from toolbox.formats import columns


@pytest.mark.parametrize(
    ("name", "meaning"),
    [
        ("depth", columns.DEPTH),
        ("Depth (m)", columns.DEPTH),
        ("WATER DEPTH", columns.DEPTH),
        ("Tiefe [m]", columns.DEPTH),
        ("depth_ft", columns.DEPTH),
        ("bed elevation", columns.ELEVATION),
        ("Elev. (ft)", columns.ELEVATION),
        ("Easting", columns.EASTING),
        ("x", columns.EASTING),
        ("UTM_E", columns.EASTING),
        ("POINT_X", columns.EASTING),
        ("northing (m)", columns.NORTHING),
        ("Y", columns.NORTHING),
        ("Lon", columns.LONGITUDE),
        ("LATITUDE", columns.LATITUDE),
        ("Rechtswert", columns.EASTING),
        ("Hochwert (m)", columns.NORTHING),
        ("Länge", columns.LONGITUDE),
        ("Longitud", columns.LONGITUDE),
        ("Breite", columns.LATITUDE),
        ("breedtegraad", columns.LATITUDE),
        ("time_utc", columns.TIME),
        ("Line ID", columns.LINE),
    ],
)
def test_common_names_are_known(name: str, meaning: tuple[str, ...]) -> None:
    others = ["id", "note", "z", "temperature"]
    assert columns.find([*others, name], meaning) == name
    known = [columns.DEPTH, columns.EASTING, columns.NORTHING, columns.LONGITUDE, columns.ELEVATION]
    assert [names for names in known if columns.find([name], names)] == (
        [meaning] if meaning in known else []
    )


@pytest.mark.parametrize("name", ["z", "Z (m)", "value", "depth2", "mean depth", "level", "height"])
def test_names_that_may_mean_something_else_are_not_depths(name: str) -> None:
    assert columns.find([name], columns.DEPTH) is None
    assert columns.find([name], columns.ELEVATION) is None


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("depth_m", "m"),
        ("Depth (m)", "m"),
        ("depth [metres]", "m"),
        ("depth in meters", "m"),
        ("depth.cm", "cm"),
        ("DEPTH_FT", "ft"),
        ("depth (feet)", "ft"),
        ("depth foot", "ft"),
        ("depth_fm", "fathom"),
        ("Depth (Fathoms)", "fathom"),
        ("depth", None),
        ("from", None),  # ends in m, names no unit
        ("craft", None),
        ("m", None),
        ("depth_mm", None),
    ],
)
def test_unit_is_what_the_name_says(name: str, unit: str | None) -> None:
    assert columns.unit_of(name) == unit


@pytest.mark.parametrize("order", [1, -1])
def test_a_name_with_its_unit_is_preferred(order: int) -> None:
    assert columns.find(["depth", "depth_ft"][::order], columns.DEPTH) == "depth_ft"


def test_the_better_name_is_preferred_whatever_the_order() -> None:
    assert columns.find(["x", "easting"], columns.EASTING) == "easting"


def test_need_returns_a_column_that_is_there() -> None:
    assert columns.need("depth", ["depth", "id"], "a.csv", "depth") == "depth"


def test_need_names_the_columns_to_choose_from() -> None:
    with pytest.raises(
        InputFileError, match=r"^a\.csv has no column that is plainly the depth; name one of z, id$"
    ):
        columns.need(None, ["z", "id"], "a.csv", "depth")


def test_need_refuses_a_column_that_is_not_there() -> None:
    with pytest.raises(InputFileError, match=r"^a\.csv has no column 'tiefe', only z, id$"):
        columns.need("tiefe", ["z", "id"], "a.csv", "depth")


def test_a_unit_after_in_is_a_unit() -> None:
    assert columns.unit_of("Tiefe in m") == "m"
    assert columns.unit_of("depth_in_ft") == "ft"
    assert columns.find(["Rechtswert", "Hochwert", "Tiefe in m"], columns.DEPTH) == "Tiefe in m"
    assert columns.unit_of("lain m") == "m"
    assert columns.unit_of("in") is None
