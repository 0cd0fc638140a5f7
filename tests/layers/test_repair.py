"""Polygons as they come become water with islands, and every repair is told."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.layers.repair import SLIVER_M2, repaired


def box(left: float, bottom: float, right: float, top: float) -> shapely.Polygon:
    return shapely.box(left, bottom, right, top)


def area(parts: list[shapely.Polygon]) -> float:
    whole = shapely.MultiPolygon(parts)
    assert whole.is_valid
    return float(whole.area)


LAKE = box(0, 0, 100, 100)


def test_a_plain_lake_is_left_as_it_is() -> None:
    parts, notes = repaired([LAKE])
    assert len(parts) == 1
    assert parts[0].equals(LAKE)
    assert notes == ()


def test_islands_as_holes_stay_holes() -> None:
    lake = LAKE.difference(box(40, 40, 60, 60))
    parts, notes = repaired([lake])
    assert parts[0].equals(lake)
    assert notes == ()


def test_a_self_crossing_ring_is_repaired_and_told() -> None:
    parts, notes = repaired([shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])])
    assert area(parts) == pytest.approx(50)
    assert notes == ("shape 1 repaired: Self-intersection[5 5]",)


def test_repeated_vertices_are_no_repair_worth_telling() -> None:
    parts, notes = repaired([shapely.Polygon([(0, 0), (10, 0), (10, 0), (10, 10), (0, 10)])])
    assert area(parts) == 100
    assert notes == ()


def test_third_coordinates_are_dropped() -> None:
    parts, _ = repaired([shapely.force_3d(LAKE, 7.0)])
    assert not parts[0].has_z


def test_empty_shapes_are_left_out_and_told() -> None:
    parts, notes = repaired([None, shapely.Polygon(), LAKE])
    assert area(parts) == 10_000
    assert notes == ("shape 1 is empty: left out", "shape 2 is empty: left out")


# ---- rings stacked upon each other ----


def test_rings_stacked_upon_the_water_make_islands() -> None:
    parts, notes = repaired([box(40, 40, 60, 60), LAKE, box(10, 10, 20, 20)])
    assert area(parts) == 10_000 - 400 - 100
    assert sum(len(part.interiors) for part in parts) == 2
    assert notes == ("2 rings stacked upon the water made islands",)


def test_a_pond_on_an_island_is_water() -> None:
    parts, _ = repaired([LAKE, box(20, 20, 80, 80), box(40, 40, 60, 60)])
    assert area(parts) == 10_000 - 3600 + 400
    assert len(parts) == 2


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 8))
def test_nested_rings_are_even_and_odd(seed: int, count: int) -> None:
    # derived: the areas of nested rings add up with alternating sign
    random = np.random.default_rng(seed)
    insets = np.sort(random.choice(np.arange(49), count, replace=False))
    rings = [box(inset, inset, 100 - inset, 100 - inset) for inset in insets]
    sides = 100.0 - 2 * insets
    signs = (-1.0) ** np.arange(count)
    parts, _ = repaired(random.permutation(np.array(rings, dtype=object)).tolist())
    assert area(parts) == pytest.approx((signs * sides**2).sum())


def test_a_strip_of_land_across_the_water_divides_it() -> None:
    # the strip ends at both shores; a second lake must still be judged after it
    parts, notes = repaired([LAKE, box(40, 0, 60, 100), box(200, 200, 210, 210)])
    assert area(parts) == 10_000 - 2000 + 100
    assert len(parts) == 3
    assert notes == ("1 ring stacked upon the water made islands",)


def test_islands_that_touch_each_other_or_the_shore() -> None:
    parts, _ = repaired([LAKE, box(40, 40, 60, 60), box(60, 60, 70, 70), box(0, 80, 10, 90)])
    assert area(parts) == 10_000 - 400 - 100 - 100


def test_islands_beyond_count_stay_quick() -> None:
    rings = [box(x, y, x + 1, y + 1) for x in range(2, 98, 2) for y in range(2, 98, 2)]
    parts, notes = repaired([LAKE, *rings])
    assert area(parts) == 10_000 - 48 * 48
    assert notes == ("2304 rings stacked upon the water made islands",)


# ---- parts that overlap, touch, repeat ----


def test_overlapping_parts_are_joined() -> None:
    parts, notes = repaired([box(0, 0, 60, 100), box(40, 0, 100, 100)])
    assert len(parts) == 1
    assert area(parts) == 10_000
    assert notes == ("1 overlapping part joined to others",)


def test_a_part_that_bridges_two_others_joins_all_three() -> None:
    parts, notes = repaired([box(0, 0, 10, 10), box(12, 0, 22, 10), box(9, 4, 13, 6)])
    assert len(parts) == 1
    assert area(parts) == 200 + 4
    assert notes == ("2 overlapping parts joined to others",)


def test_a_lake_cut_by_the_edge_of_a_map_sheet_is_one_lake() -> None:
    # two sheets that share their edge: water meets water, so the edge is no shore
    parts, notes = repaired([box(0, 0, 50, 100), box(50, 0, 100, 100)])
    assert len(parts) == 1
    assert area(parts) == 10_000
    assert len(notes) == 1
    assert notes[0].startswith("1 ")


def test_four_map_sheets_of_one_lake() -> None:
    sheets = [box(x, y, x + 50, y + 50) for x in (0, 50) for y in (0, 50)]
    parts, _ = repaired(sheets)
    assert len(parts) == 1
    assert area(parts) == 10_000


def test_lakes_that_touch_in_a_point_stay_two() -> None:
    parts, notes = repaired([box(0, 0, 10, 10), box(10, 10, 20, 20)])
    assert len(parts) == 2
    assert notes == ()


def test_repeated_polygons_count_once() -> None:
    turned = shapely.Polygon([(100, 100), (100, 0), (0, 0), (0, 100)])
    parts, notes = repaired([LAKE, turned, LAKE])
    assert area(parts) == 10_000
    assert notes == ("2 repeated polygons left out",)


def test_a_polygon_that_fills_an_island_is_land() -> None:
    island = box(40, 40, 60, 60)
    parts, notes = repaired([LAKE.difference(island), island])
    assert area(parts) == 10_000 - 400
    assert notes == ("1 polygon within an island, taken as land",)


# ---- slivers ----


def test_slivers_are_left_out_and_told() -> None:
    lake = LAKE.difference(box(40, 40, 40.5, 40.5))
    parts, notes = repaired([lake, box(200, 0, 200.9, 1)])
    assert area(parts) == 10_000
    assert notes == (
        f"1 parts below {SLIVER_M2:g} m2 left out",
        f"1 holes below {SLIVER_M2:g} m2 left out",
    )


# ---- refusals ----


@pytest.mark.parametrize(
    "shapes", [[], [None], [shapely.Polygon()], [box(0, 0, 0.5, 0.5)]], ids=str
)
def test_nothing_to_enclose_water_is_refused(shapes: list[shapely.Polygon]) -> None:
    message = r"^shoreline must enclose at least 1 m2, and no part of it does; is its CRS right\?$"
    with pytest.raises(LayerError, match=message):
        repaired(shapes)


@pytest.mark.parametrize(
    ("shape", "kind"),
    [
        (shapely.Point(0, 0), "Point"),
        (shapely.LineString([(0, 0), (1, 1)]), "LineString"),
        (shapely.GeometryCollection([LAKE]), "GeometryCollection"),
    ],
)
def test_other_shapes_are_refused_by_number(shape: shapely.Geometry, kind: str) -> None:
    message = rf"^shoreline must be polygons, got a {kind} \(shape 2\)$"
    with pytest.raises(LayerError, match=message):
        repaired([LAKE, shape])
