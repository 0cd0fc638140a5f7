"""The bed keeps to what was measured, covers the water, and has no dry land in it."""

import re
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.tri import LinearTriInterpolator, Triangulation
from pyproj import CRS

from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Breaklines, Shoreline, Soundings, Tin, VertexKind

SQUARE = shapely.box(0, 0, 100, 100)
NONE = np.empty((0, 3))


def points(rows: np.ndarray | Sequence[Sequence[float]]) -> Soundings:
    array = np.array(rows, float).reshape(-1, 3)
    return Soundings.from_arrays(array[:, :2], array[:, 2], crs=None)


def scattered(count: int, seed: int, low: float = 2, high: float = 98) -> np.ndarray:
    random = np.random.default_rng(seed)
    return np.column_stack([random.uniform(low, high, (count, 2)), random.uniform(1, 9, count)])


def water(*shapes: shapely.Geometry, depth: float = 0.0) -> Shoreline:
    return Shoreline.from_shapes(shapes, None, depth=depth)


def lines(*rows: list[tuple[float, float, float]] | np.ndarray) -> Breaklines:
    return Breaklines(tuple(np.array(row, float) for row in rows), None)


def depth_at(bed: Tin, place: np.ndarray | Sequence[Sequence[float]]) -> np.ndarray:
    """Evaluate a bed by an independent library; NaN outside."""
    net = Triangulation(bed.vertices[:, 0], bed.vertices[:, 1], bed.triangles)
    return np.ma.filled(LinearTriInterpolator(net, bed.depth)(*np.asarray(place, float).T), np.nan)


def volume(bed: Tin) -> float:
    return float((bed.areas() * bed.depth[bed.triangles].mean(axis=1)).sum())


def flat(bed: Tin) -> np.ndarray:
    """Tell which triangles hang between lines of one depth and know nothing else."""
    lined = bed.kind <= VertexKind.ISLAND
    lined |= bed.kind == VertexKind.BREAKLINE
    level = np.ptp(bed.depth[bed.triangles], axis=1) == 0
    return np.asarray(level & lined[bed.triangles].all(axis=1))


# ---- the water is covered, and nothing else ----


@st.composite
def lakes(draw: st.DrawFn) -> shapely.Polygon:
    """Draw a lake of ragged shore with up to two ragged islands."""

    def ring(easting: float, northing: float, size: float) -> np.ndarray:
        count = draw(st.integers(3, 14))
        radii = np.array(draw(st.lists(st.floats(0.4, 1), min_size=count, max_size=count)))
        angle = 2 * np.pi * np.arange(count) / count
        circle = np.column_stack([np.cos(angle), np.sin(angle)])
        return np.array([easting, northing]) + size * radii[:, None] * circle

    lake = shapely.Polygon(ring(50, 50, 50))
    for easting, northing in draw(st.sampled_from([[], [(45, 50)], [(45, 50), (58, 50)]])):
        lake = lake.difference(shapely.Polygon(ring(easting, northing, 6)))
    return lake


@settings(max_examples=60, deadline=None)
@given(lakes(), st.integers(0, 2**32 - 1), st.booleans())
def test_triangles_cover_the_water_once_and_nothing_else(
    lake: shapely.Polygon, seed: int, cured: bool
) -> None:
    rows = scattered(80, seed, 0, 100)
    rows = rows[shapely.contains_xy(lake, rows[:, 0], rows[:, 1])]
    if len(rows) < 3:
        return
    bed = triangulate(points(rows), water(lake), cure_flats=cured)
    # a sounding within 1 mm of the shore bends it by as much
    assert bed.areas().sum() == pytest.approx(lake.area, abs=1e-3 * lake.length)
    whole = shapely.union_all(shapely.polygons(bed.vertices[bed.triangles]), grid_size=1e-7)
    assert whole.symmetric_difference(lake).area < 1e-3 * lake.length
    known = shapely.contains_xy(lake.buffer(-0.01), rows[:, 0], rows[:, 1])
    np.testing.assert_allclose(depth_at(bed, rows[known, :2]), rows[known, 2], atol=1e-6)


def test_islands_are_holes_at_the_shores_depth() -> None:
    lake = SQUARE.difference(shapely.box(40, 40, 60, 60))
    bed = triangulate(points(scattered(60, 1)), water(lake, depth=-0.5))
    assert bed.areas().sum() == pytest.approx(10_000 - 400, rel=1e-12)
    on_island = bed.kind == VertexKind.ISLAND
    assert set(map(tuple, bed.vertices[on_island].tolist())) == {
        (40, 40),
        (60, 40),
        (60, 60),
        (40, 60),
    }
    assert (bed.depth[on_island] == -0.5).all()
    assert bed.shore_depth == -0.5
    assert np.isnan(depth_at(bed, [[50, 50]])).all()


def test_an_island_that_touches_the_shore() -> None:
    lake = SQUARE.difference(shapely.Polygon([(0, 50), (30, 40), (30, 60)]))
    bed = triangulate(points(scattered(60, 2)), water(lake))
    assert bed.areas().sum() == pytest.approx(10_000 - 300, rel=1e-9)
    assert bed.depth[(bed.vertices == (0, 50)).all(axis=1)].tolist() == [0]
    assert np.isnan(depth_at(bed, [[15, 50]])).all()
    assert depth_at(bed, [[35, 50]]) > 0


def test_every_part_of_a_water_in_parts_gets_a_bed() -> None:
    parts = water(SQUARE, shapely.box(200, 0, 240, 40))
    bed = triangulate(points(scattered(40, 3)), parts)
    assert bed.areas().sum() == pytest.approx(10_000 + 1600, rel=1e-12)
    assert depth_at(bed, [[220, 20]]) > 0.5  # inferred: nothing was sounded there
    dry = triangulate(points(scattered(40, 3)), parts, cure_flats=False)
    assert depth_at(dry, [[220, 20]]) == 0


# ---- what was measured is kept ----


def test_breaklines_are_followed_by_the_bed() -> None:
    thalweg = np.array([[10, 20, 3], [40, 70, 8], [90, 60, 5]], float)
    rows = scattered(300, 4)
    bed = triangulate(points(rows), water(SQUARE), lines(thalweg))
    share = np.linspace(0, 1, 50)[:, None]
    for start, end in pairwise(thalweg):
        along = start * (1 - share) + end * share
        np.testing.assert_allclose(depth_at(bed, along[:, :2]), along[:, 2], atol=1e-3)


def test_breaklines_crossing_each_other_and_the_shore() -> None:
    cross = lines(
        [(30, 50, 2), (70, 50, 6)], [(50, 40, 0), (50, 80, 8)], [(60, 20, 4), (150, 20, 4)]
    )
    bed = triangulate(points(NONE), water(SQUARE), cross)
    # derived: the mean of 4 and 2 where the first two cross; the shore's depth at the shore
    assert depth_at(bed, [[50, 50]]) == pytest.approx(3, abs=1e-6)
    assert bed.depth[np.hypot(*(bed.vertices - (100, 20)).T) < 1e-9].tolist() == [0]
    assert depth_at(bed, [[80, 20]]) == pytest.approx(2, abs=1e-6)  # halfway from 4 m to the shore
    assert bed.areas().sum() == pytest.approx(10_000, rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 10))
def test_tangles_are_resolved(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    tangle = lines(
        *(
            np.column_stack([random.uniform(-20, 120, (5, 2)), random.uniform(1, 9, 5)])
            for _ in range(count)
        )
    )
    bed = triangulate(points(scattered(50, seed)), water(SQUARE), tangle)
    # a crossing within a millimetre of the shore bends it, at most along its whole 400 m
    assert bed.areas().sum() == pytest.approx(10_000, abs=400 * 1e-3)
    assert bed.depth.min() >= 0
    assert bed.depth.max() <= 9


def test_a_line_that_crosses_itself() -> None:
    bow = lines([(20, 20, 1), (80, 80, 5), (80, 20, 9), (20, 80, 1)])
    bed = triangulate(points(NONE), water(SQUARE), bow)
    assert depth_at(bed, [[50, 50]]) == pytest.approx((3 + 5) / 2, abs=1e-6)  # derived


def test_a_shore_that_crosses_itself_is_repaired_first() -> None:
    bow = shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])
    shore = water(bow)
    assert shore.notes == ("shape 1 repaired: Self-intersection[50 50]",)
    bed = triangulate(points(scattered(300, 5)), shore)
    assert bed.areas().sum() == pytest.approx(5000, rel=1e-9)


@pytest.mark.parametrize(("policy", "depth"), [("mean", 4.0), ("shoalest", 2.0), ("deepest", 6.0)])
def test_soundings_at_one_place(policy: str, depth: float) -> None:
    rows = np.vstack([[[50, 50, 2], [50, 50, 6]], scattered(20, 6)])
    bed = triangulate(points(rows), water(SQUARE), duplicates=policy)  # type: ignore[arg-type]
    assert depth_at(bed, [[50, 50]]) == pytest.approx(depth)
    assert f"1 soundings at a place already taken were merged ({policy})" in bed.notes


def test_soundings_a_hair_apart_are_both_kept() -> None:
    rows = np.vstack([[[50, 50, 2], [50 + 1e-9, 50, 6]], scattered(20, 6)])
    bed = triangulate(points(rows), water(SQUARE))
    near = np.hypot(*(bed.vertices - (50, 50)).T) < 1e-6
    assert sorted(bed.depth[near].tolist()) == [2, 6]
    assert bed.areas().sum() == pytest.approx(10_000, rel=1e-9)
    assert volume(bed) < 9 * 10_000


def test_soundings_outside_on_the_shore_or_flagged_are_not_used() -> None:
    rows = np.vstack([scattered(20, 7), [[0, 50, 5], [100, 100, 5], [200, 50, 5], [30, 30, 5]]])
    flagged = points(rows).reject(np.arange(24) == 23, "echo of a fish")
    bed = triangulate(flagged, water(SQUARE))
    assert "4 soundings flagged or outside the water were not used" in bed.notes
    assert (bed.kind == VertexKind.SOUNDING).sum() == 20
    plain = triangulate(points(rows[:20]), water(SQUARE))
    assert volume(bed) == volume(plain)


def test_soundings_within_a_millimetre_of_the_shore_lie_on_it() -> None:
    rows = np.vstack([scattered(20, 8), [[50, 0.0005, 4]]])
    bed = triangulate(points(rows), water(SQUARE))
    near = np.hypot(*(bed.vertices - (50, 0)).T) < 0.01
    assert near.any()
    assert (bed.depth[near] == 0).all()
    assert bed.areas().sum() == pytest.approx(10_000, rel=1e-5)


def test_soundings_without_a_depth_or_a_place_are_flagged_not_triangulated() -> None:
    rows = np.vstack([scattered(20, 9), [[np.nan, 50, 5], [50, 50, np.nan]]])
    bed = triangulate(points(rows), water(SQUARE))
    assert np.isfinite(bed.depth).all()
    assert "2 soundings flagged or outside the water were not used" in bed.notes


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1))
def test_the_order_of_soundings_does_not_matter(seed: int, order: int) -> None:
    rows = scattered(60, seed)
    shuffled = np.random.default_rng(order).permutation(rows)
    one, other = (triangulate(points(r), water(SQUARE)) for r in (rows, shuffled))
    assert volume(other) == pytest.approx(volume(one), rel=1e-9)
    assert other.notes == one.notes


# ---- flats ----

ARM = shapely.union_all([SQUARE, shapely.box(100, 45, 250, 55)])
ALONG_ARM = np.column_stack([np.arange(110, 245, 1.0), np.full(135, 50.0)])


def test_a_narrow_arm_without_soundings_is_dry_without_the_cure() -> None:
    bed = triangulate(points(scattered(80, 10)), water(ARM), cure_flats=False)
    assert (depth_at(bed, ALONG_ARM) == 0).all()
    assert not (bed.kind == VertexKind.INFERRED).any()


def test_a_narrow_arm_without_soundings_gets_depth_by_the_cure() -> None:
    rows = scattered(80, 10)
    # a bank of one in ten, so that the middle of an arm ten metres wide should lie at 0.5 m
    rows[:, 2] = np.minimum(rows[:, :2], 100 - rows[:, :2]).min(axis=1) / 10
    digitised = shapely.segmentize(ARM, 5.0)
    bed = triangulate(points(rows), water(digitised))
    depth = depth_at(bed, ALONG_ARM)
    np.testing.assert_allclose(depth[ALONG_ARM[:, 0] < 243], 0.5, atol=0.1)
    inferred = bed.kind == VertexKind.INFERRED
    assert (bed.depth[inferred] > 0).all()
    assert (bed.depth[inferred] <= rows[:, 2].max()).all()


def test_a_coarsely_digitised_arm_gets_depth_too() -> None:
    rows = scattered(80, 10)
    bed = triangulate(points(rows), water(ARM))
    assert (depth_at(bed, ALONG_ARM) > 0).all()


@settings(max_examples=40, deadline=None)
@given(lakes(), st.integers(0, 2**32 - 1), st.sampled_from([-1.5, 0.0, 0.75]))
def test_no_triangle_stays_flat_and_the_notes_are_right(
    lake: shapely.Polygon, seed: int, edge: float
) -> None:
    rows = scattered(12, seed, 0, 100)
    rows = rows[shapely.contains_xy(lake.buffer(-0.1), rows[:, 0], rows[:, 1])]
    if len(rows) < 3:
        return
    shore = water(lake, depth=edge)
    dry = triangulate(points(rows), shore, cure_flats=False)
    wet = triangulate(points(rows), shore)
    assert not flat(wet).any()
    inferred = wet.kind == VertexKind.INFERRED
    assert (wet.depth[inferred] > edge).all()
    assert (wet.depth[inferred] <= rows[:, 2].max()).all()
    assert volume(wet) >= volume(dry) - 1e-9
    cures = [note for note in wet.notes if "cured" in note]
    assert len(cures) == inferred.any()
    for note in cures:
        triangles, area, share, depths = re.fullmatch(
            r"(\d+) flat triangles \((\d+) m2 on the map, ([\d.]+)% of the water\) "
            r"were cured by (\d+) inferred depths, which nobody sounded",
            note,
        ).groups()  # type: ignore[union-attr]
        assert int(triangles) == flat(dry).sum()
        assert int(area) == round(dry.areas()[flat(dry)].sum())
        assert float(share) == pytest.approx(
            100 * dry.areas()[flat(dry)].sum() / lake.area, abs=0.0051
        )
        assert int(depths) == inferred.sum()


def test_inferred_depths_keep_between_isobaths() -> None:
    # nested boxes of 2, 4 and 6 m: every flat between them is cured within its own two depths
    isobaths = lines(*(box_ring(inset, depth) for inset, depth in ((10, 2), (25, 4), (40, 6))))
    bed = triangulate(points(NONE), water(SQUARE), isobaths)
    assert not flat(bed).any()
    inset = np.minimum(bed.vertices, 100 - bed.vertices).min(axis=1)
    inferred = bed.kind == VertexKind.INFERRED
    assert inferred.any()
    for inner, outer, low, high in ((0, 10, 0, 2), (10, 25, 2, 4), (25, 40, 4, 6), (40, 51, 6, 8)):
        between = inferred & (inset > inner) & (inset < outer)
        assert (bed.depth[between] > low).all()
        assert (bed.depth[between] < high).all()
    # derived: isobaths keep their own area, whatever lies between them
    for inset_m, level in ((10, 2), (25, 4), (40, 6)):
        deeper = shapely.union_all(
            shapely.polygons(bed.vertices[bed.triangles])[
                bed.depth[bed.triangles].mean(axis=1) > level
            ]
        )
        assert deeper.area == pytest.approx((100 - 2 * inset_m) ** 2)


def box_ring(inset: float, depth: float) -> np.ndarray:
    place = np.array(shapely.box(inset, inset, 100 - inset, 100 - inset).exterior.coords)
    return np.column_stack([place, np.full(len(place), depth)])


def test_a_hump_between_isobaths_of_one_depth_rises() -> None:
    hump = lines(box_ring(10, 2), box_ring(20, 4), box_ring(40, 4))
    bed = triangulate(points(NONE), water(SQUARE), hump)
    assert depth_at(bed, [[50, 50]]) < 4
    assert depth_at(bed, [[50, 30]]) > 4


def test_an_isobath_of_three_vertices_is_not_left_flat() -> None:
    deepest = lines([(40, 40, 5), (60, 40, 5), (50, 60, 5), (40, 40, 5)])
    bed = triangulate(points(NONE), water(SQUARE), deepest)
    assert not flat(bed).any()
    assert depth_at(bed, [[50, 47]]) > 5


# ---- open edges ----

WIDTH, LENGTH = 40.0, 200.0
REACH = shapely.box(0, 0, LENGTH, WIDTH)
ENDS = [shapely.LineString([(e, 0), (e, WIDTH)]) for e in (0, LENGTH)]


def section(northing: np.ndarray) -> np.ndarray:
    """Return the depth of a trough, the same all along."""
    return 4 * (1 - ((northing - WIDTH / 2) / (WIDTH / 2)) ** 2)


def transects(first: float) -> Soundings:
    easting, northing = np.meshgrid(np.linspace(first, LENGTH - first, 21), np.arange(2, WIDTH, 2))
    place = np.column_stack([easting.ravel(), northing.ravel()])
    return Soundings.from_arrays(place, section(place[:, 1]), crs=None)


def test_a_river_reach_keeps_its_depth_at_its_open_ends() -> None:
    reach = water(REACH).with_open_edges(ENDS, within=0.01)
    bed = triangulate(transects(first=1.0), reach)
    is_open = bed.kind == VertexKind.OPEN_EDGE
    ends = bed.vertices[is_open]
    assert set(np.round(ends[:, 0]).tolist()) == {0, LENGTH}
    middle = np.abs(ends[:, 1] - WIDTH / 2) < 15
    found, truth = bed.depth[is_open][middle], section(ends[middle, 1])
    np.testing.assert_allclose(found, truth, rtol=0.05)
    inner = (ends[:, 1] > 1) & (ends[:, 1] < WIDTH - 1)
    assert (bed.depth[is_open][inner] > 0.1).all()
    # derived: 2/3 of the greatest depth times the width times the length
    assert volume(bed) == pytest.approx(2 / 3 * 4 * WIDTH * LENGTH, rel=0.01)


def test_a_closed_reach_runs_out_at_its_ends() -> None:
    closed = triangulate(transects(first=1.0), water(REACH))
    ends = np.isin(closed.vertices[:, 0], (0, LENGTH))
    assert (closed.depth[ends] == 0).all()


def test_the_section_is_carried_on_to_an_open_end() -> None:
    # derived: a trough keeps its section; harmonic filling between the banks would have let it die
    # away as 1 / cosh(pi s / width) over a distance s, to 0.75 at a quarter of the width
    reach = water(REACH).with_open_edges(ENDS, within=0.01)
    for away in (4.0, 10.0):
        bed = triangulate(transects(first=away), reach)
        centre = depth_at(bed, [[1e-6, WIDTH / 2]])[0] / 4
        assert centre == pytest.approx(1, abs=0.02)


def test_open_edges_stay_open_without_the_cure() -> None:
    reach = water(REACH).with_open_edges(ENDS, within=0.01)
    bed = triangulate(transects(first=1.0), reach, cure_flats=False)
    is_open = bed.kind == VertexKind.OPEN_EDGE
    assert np.isfinite(bed.depth).all()
    assert np.median(bed.depth[is_open]) > 2


def test_an_isobath_that_shares_vertices_with_a_shore_with_open_edges() -> None:
    reach = water(REACH).with_open_edges(ENDS[:1], within=0.01)
    isobath = lines([(LENGTH, 0, 2), (LENGTH, WIDTH, 2), (100, WIDTH / 2, 2), (LENGTH, 0, 2)])
    bed = triangulate(transects(first=1.0), reach, isobath)
    assert bed.areas().sum() == pytest.approx(WIDTH * LENGTH, rel=1e-6)
    shore = bed.kind == VertexKind.SHORELINE
    assert (bed.depth[shore] == 0).all()


# ---- refusals ----


def test_layers_in_different_crs_are_refused() -> None:
    rows = scattered(10, 11)
    there = Soundings.from_arrays(rows[:, :2], rows[:, 2], crs=CRS(32633))
    message = r"^soundings must be in the CRS of the shoreline, project one of them$"
    with pytest.raises(LayerError, match=message):
        triangulate(there, water(SQUARE))
    iso = Breaklines((box_ring(10, 2),), CRS(32633))
    message = r"^breaklines must be in the CRS of the shoreline, project one of them$"
    with pytest.raises(LayerError, match=message):
        triangulate(points(rows), water(SQUARE), iso)


def test_too_few_soundings_in_the_water_are_refused() -> None:
    rows = [(10, 10, 1), (20, 20, 1), (500, 500, 1), (600, 600, 1)]
    message = r"^the water must hold 3 soundings or breakline vertices, got 2$"
    with pytest.raises(LayerError, match=message):
        triangulate(points(rows), water(SQUARE))


def test_an_unknown_policy_is_refused() -> None:
    message = r"^duplicates must be one of 'mean', 'shoalest', 'deepest', got 'first'$"
    with pytest.raises(ParameterError, match=message):
        triangulate(points(scattered(5, 1)), water(SQUARE), duplicates="first")  # type: ignore[arg-type]
