"""Shelves are the gentle bed above a lip. Derived from beds that are formulas."""

import numpy as np
import pytest
import shapely

from toolbox.features.drop_offs import drop_offs
from toolbox.features.forms import Form
from toolbox.features.shelves import shelves
from toolbox.features.surface import Surface


def surface(depth: np.ndarray) -> Surface:
    """Return a surface of cells of 2 m, land where the depth is not above 0."""
    depth = np.where(depth > 0, depth, np.nan)
    north, east = np.gradient(depth, 2.0)
    return Surface(depth, 2.0, 0.0, 2.0 * len(depth), east, -north)


def terraced(slope: float, *, width: float = 30.0, drop: float = 4.0) -> Surface:
    """Return a shore along the north edge, a shelf, a drop-off of 12 m and a floor."""
    row, _ = np.mgrid[:80, :120]
    away = 2.0 * row - 4
    shelf = 0.5 + slope * np.minimum(away, width)
    return surface(np.where(away < 0, -1, shelf + drop * np.clip((away - width) / 12, 0, 1)))


def test_lip_and_foot_lie_where_the_bed_bends() -> None:
    (form,) = drop_offs(terraced(0.02), least_length=40.0)
    lip, foot = form.shapes["drop-off lip"], form.shapes["drop-off foot"]
    top = 160 - 4 - 1  # northing of the shore, m
    north = [np.median(shapely.get_coordinates(line)[:, 1]) for line in (lip, foot)]
    assert north == pytest.approx([top - 30, top - 42], abs=3)
    assert form.figures["relief_m"] == pytest.approx(4, abs=0.4)
    assert form.figures["slope_deg"] == pytest.approx(np.degrees(np.arctan(4 / 12)), abs=4)


def test_a_shelf_reaches_from_the_lip_to_the_shore() -> None:
    bed = terraced(0.02)
    (shelf,) = shelves(bed, drop_offs(bed, least_length=40.0))
    assert shelf.figures["width_m"] == pytest.approx(30, abs=5)
    assert shelf.figures["slope_deg"] == pytest.approx(np.degrees(np.arctan(0.02)), abs=0.5)
    assert shelf.figures["depth_greatest_m"] == pytest.approx(0.5 + 0.02 * 30, abs=0.25)


def test_steeper_ground_above_a_lip_is_no_shelf() -> None:
    bed = terraced(0.12)
    found = drop_offs(bed, least_length=40.0)
    assert len(found) == 1
    assert shelves(bed, found, gentle=4.0) == []


def test_a_bank_that_starts_at_the_shore_is_no_drop_off() -> None:
    assert drop_offs(terraced(0.02, width=0.0), least_length=40.0) == []


def test_a_low_step_is_no_drop_off() -> None:
    assert drop_offs(terraced(0.02, drop=0.7), least_length=40.0) == []
    low = {"least_drop": 0.4, "steep": 2.0}
    assert len(drop_offs(terraced(0.02, drop=0.7), least_length=40.0, **low)) == 1


def test_beds_are_asked_whether_they_hold_shelf_and_drop_off() -> None:
    bed = terraced(0.02)
    edges = drop_offs(bed, least_length=40.0)
    (shelf,) = shelves(bed, edges)
    for form in (*edges, shelf):
        own = bed.at(bed.depth, form.places)
        even = np.full(len(own), 3.0)
        assert form.held(np.stack([own, even])).tolist() == [True, False]


def test_the_floor_above_a_hole_is_no_shelf() -> None:
    row, _ = np.mgrid[:80, :120]
    away = 2.0 * row - 4
    # 60 m of floor at 3 m depth between a steep shore and a drop-off
    bed = surface(
        np.where(away < 0, -1, np.clip(0.2 * away, 0.2, 3) + np.clip((away - 75) / 3, 0, 4))
    )
    found = drop_offs(bed, least_length=40.0)
    assert len(found) >= 1
    assert shelves(bed, found) == []


def test_a_steep_bank_between_two_shelves_is_none_of_them() -> None:
    row, col = np.mgrid[:80, :120]
    away, east = 2.0 * row - 4, 2.0 * col + 1
    # a bank of 1 in 4 for 60 m in the middle, a shelf of 30 m to both sides, one lip below all
    above = np.where(np.abs(east - 120) < 30, 2 - (30 - away) / 4, 1.4 + 0.02 * away)
    bed = surface(
        np.where(away < 0, -1, np.minimum(above, 2) + 4 * np.clip((away - 30) / 12, 0, 1))
    )
    lip = 160 - 4 - 30  # northing, m
    along = np.arange(21.0, 220, 2)
    ends = [np.column_stack([along, np.full(len(along), lip + up)]) for up in (12, 0, -12, -24)]
    edge = Form({}, {}, np.stack(ends, axis=1).reshape(-1, 2), lambda depths: np.ones(1, bool))
    (shelf,) = shelves(bed, [edge])
    shape = shelf.shapes["shelf"]
    assert shape.is_valid
    assert sum(shape.contains(shapely.Point(side, lip + 10)) for side in (50, 190)) == 1
    assert not shape.contains(shapely.Point(120, lip + 10))
