"""A gully has two banks and goes somewhere; moats and feet of slopes are none.

All beds are formulas, so what must be found is derived.
"""

from collections.abc import Callable

import numpy as np
import pytest
import shapely

from toolbox.features.banks import going_on, is_gully
from toolbox.features.gullies import gullies
from toolbox.features.surface import Surface

Bed = Callable[[np.ndarray, np.ndarray], np.ndarray]
CELL = 2.0
STRAIGHT = np.column_stack([np.full(101, 121.0), np.arange(20.0, 221.0, 2.0)])
"""A line northwards through the middle, m."""


def surface(bed: Bed) -> Surface:
    """Return a bed on a square of 240 m."""
    axis = np.arange(1.0, 240.0, CELL)
    depth = bed(*np.meshgrid(axis, axis[::-1]))
    north, east = np.gradient(depth, CELL)
    return Surface(depth, CELL, 0.0, 240.0, east, -north)


def trough(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """1 m deep and 16 m wide at half of that, down a slope of 1 in 40 to the north."""
    return 3 + north / 40 + 0.5 ** (((east - 121) / 8) ** 2)


def foot(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Slope 1 in 5 from the west, with a swell of 0.5 m 18 m before its foot."""
    return 9 - np.maximum(0, (121 - east) / 5) - 0.5 * np.exp(-(((east - 139) / 5) ** 2))


def moat(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Dig a ring of 1.5 m, 50 m from the middle, into a floor of 5 m, with a broad top within."""
    away = np.hypot(east - 120, north - 120)
    return 5 + 1.5 * np.exp(-(((away - 50) / 9) ** 2)) - 1.0 * (away < 50)


def test_a_trough_down_a_slope_is_a_gully() -> None:
    assert is_gully(surface(trough), STRAIGHT, width=16.0, relief=0.9)


def test_the_foot_of_a_slope_is_none() -> None:
    assert not is_gully(surface(foot), STRAIGHT, width=16.0, relief=0.5)


@pytest.mark.parametrize(("tilt", "is_one"), [(0.05, True), (0.2, False)])
def test_a_trough_along_a_slope_is_one_only_if_the_slope_is_gentle(
    tilt: float, is_one: bool
) -> None:
    # derived: 24 m out the lower bank stands 1 m less 24 tilt above the bottom, the higher one
    # 1 m and 24 tilt: -0.2 and 2.2 m, or -3.8 and 5.8 m
    bed = surface(lambda east, north: trough(east, north) + tilt * (east - 121))
    assert is_gully(bed, STRAIGHT, width=16.0, relief=0.9) == is_one


def test_a_line_that_curls_is_none() -> None:
    turn = np.radians(np.arange(0, 300, 3.0))
    ring = 120 + 50 * np.column_stack([np.cos(turn), np.sin(turn)])
    assert not is_gully(surface(moat), ring, width=15.0, relief=1.0)


def test_a_third_along_the_outline_of_a_rise_makes_a_moat() -> None:
    bed = surface(trough)
    # derived: a box as long as 0.2 or 0.5 of the line, its side 10 m away; 16 m more to either end
    for north, is_one in ((60.0, True), (120.0, False)):
        box = shapely.box(60.0, 20.0, 111.0, north)
        assert is_gully(bed, STRAIGHT, width=12.0, relief=0.9, rises=[box]) == is_one
        far = shapely.box(20.0, 20.0, 100.0, north)
        assert is_gully(bed, STRAIGHT, width=12.0, relief=0.9, rises=[far])


def test_the_moat_around_a_rise_is_a_gully_only_to_who_does_not_know_the_rise() -> None:
    bed, limits = surface(moat), {"least_relief": 0.3, "least_length": 40.0}
    top = shapely.Point(120, 120).buffer(50)
    half = shapely.box(120, 0, 240, 240)
    # the west half of the ring is filled up: what is left does not curl
    cut = surface(lambda east, north: np.where(east < 90, 5.0, moat(east, north)))
    assert gullies(cut, **limits) != []
    assert gullies(cut, rises=[top], **limits) == []
    assert gullies(bed, rises=[top.intersection(half), top], **limits) == []


def test_a_gully_goes_on_for_three_half_widths_beyond_where_it_is_seen() -> None:
    line = np.column_stack([np.arange(101.0), np.zeros(101)])
    assert going_on(line, 40, 10.0) == 40 + 30 + 1
    assert going_on(line, 90, 10.0) == 101
    assert going_on(line, 100, 10.0) == 101
    assert going_on(line, 3, 200.0) == 101


def test_a_gully_does_not_turn_aside_beyond_where_it_is_seen() -> None:
    east = np.column_stack([np.arange(51.0), np.zeros(51)])
    north = np.column_stack([np.full(50, 50.0), np.arange(1.0, 51)])
    # derived: the way over 11 m has turned by 45 degrees 5.5 m beyond the corner
    assert going_on(np.vstack([east, north]), 45, 11.0) == 50 + 5 + 1
