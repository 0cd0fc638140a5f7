"""Hollows and rises of a net: relief is persistence, outlines are isobaths. All derived."""

import numpy as np
import pytest
import shapely

from toolbox.features.closed_forms import closed_forms
from toolbox.layers import Tin, VertexKind


def lattice(depth: np.ndarray, *, shore: bool = False) -> Tin:
    """Return a net of squares of 1 m halved, one vertex for each depth."""
    rows, cols = depth.shape
    places = np.stack(np.meshgrid(np.arange(cols), np.arange(rows)), axis=-1).reshape(-1, 2)
    number = np.arange(rows * cols).reshape(rows, cols)
    a, b, c, d = (
        part.ravel()
        for part in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1])
    )
    triangles = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    kind = np.full(depth.shape, VertexKind.SOUNDING)
    if shore:
        kind[[0, -1]] = kind[:, [0, -1]] = VertexKind.SHORELINE
    return Tin(places.astype(float), depth.ravel(), triangles, kind.ravel(), None)


def pyramids(*tops: tuple[float, float, float], size: int = 41) -> np.ndarray:
    """Return pits of slope 1 in a floor at 5 m: row, column and depth below the floor."""
    row, col = np.mgrid[:size, :size]
    pits = [top - np.maximum(abs(row - r), abs(col - c)) for r, c, top in tops]
    return 5 + np.maximum(0, np.max(pits, axis=0))


def found(depth: np.ndarray, sign: int = 1, **options: float) -> list[dict[str, float]]:
    forms = closed_forms(lattice(depth), sign, least_relief=0.5, **options)
    return [form.figures for form in forms]


def test_a_pit_in_a_floor_is_told_with_its_depth_and_place() -> None:
    (hole,) = found(pyramids((20, 20, 4.0)))
    assert hole["depth_greatest_m"] == 9
    assert (hole["easting_m"], hole["northing_m"]) == (20, 20)
    assert hole["pour_depth_m"] == pytest.approx(5, abs=1)
    assert hole["relief_m"] == hole["depth_greatest_m"] - hole["pour_depth_m"]


def test_two_pits_pour_at_the_saddle_between_them() -> None:
    # slopes of 1, 10 m apart and 8 m deep: they meet half way, at 5 m above their bottoms
    holes = found(pyramids((20, 15, 8.0), (20, 25, 8.0)), largest_share=0.2)
    assert [hole["depth_greatest_m"] for hole in holes] == [13, 13]
    assert [hole["pour_depth_m"] for hole in holes] == [8, 8]
    # an isobath of 8 m is a square of 10 m about each
    assert [hole["area_m2"] for hole in holes] == pytest.approx([100, 100], rel=0.1)


def test_a_slight_second_bottom_does_not_make_two() -> None:
    depth = pyramids((20, 18, 8.0), (20, 24, 5.0))
    # the second is 1.5 m deeper than the saddle, less than half of the whole
    assert len(found(depth, largest_share=0.3)) == 1


def test_rises_are_hollows_upside_down() -> None:
    depth = pyramids((12, 14, 4.0), (28, 25, 3.0))
    holes, humps = found(depth), found(10 - depth, -1)
    assert len(holes) == len(humps) == 2
    for hole, hump in zip(holes, humps, strict=True):
        assert hump["closing_depth_m"] == pytest.approx(10 - hole["pour_depth_m"])
        assert hump["area_m2"] == pytest.approx(hole["area_m2"])


def test_a_rise_that_joins_the_shore_is_none() -> None:
    row, _ = np.mgrid[:31, :31]
    point = 6 - 0.2 * abs(row - 15.0)
    bed = lattice(6.0 - np.maximum(0, 6 - point), shore=True)
    assert closed_forms(bed, -1, least_relief=0.5) == []


def test_relief_below_the_least_is_left_out() -> None:
    bed = lattice(pyramids((20, 20, 4.0)))
    assert closed_forms(bed, 1, least_relief=4.5) == []


def test_the_outline_holds_the_bottom_and_lies_at_the_pour_depth() -> None:
    bed = lattice(pyramids((20, 15, 8.0), (20, 25, 8.0)))
    form = closed_forms(bed, 1, least_relief=0.5, largest_share=0.2)[0]
    (outline,) = form.shapes.values()
    top = shapely.Point(form.figures["easting_m"], form.figures["northing_m"])
    assert outline.contains(top)
    row, col = shapely.get_coordinates(outline).T[::-1]
    depth = pyramids((20, 15, 8.0), (20, 25, 8.0))
    from scipy.interpolate import RegularGridInterpolator

    # linear over halved squares and bilinear agree on the pyramid's even faces
    told = RegularGridInterpolator((np.arange(41), np.arange(41)), depth)(
        np.column_stack([row, col])
    )
    assert np.abs(told - 8).max() < 0.3
