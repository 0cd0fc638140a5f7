"""Areas and volumes are those of the polyhedron, and of the smooth solid as the mesh is refined."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numba
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay
from scipy.stats import norm

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Tin, VertexKind
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume, hypsography

RADIUS, DEEPEST = 500.0, 10.0
LEVELS = np.array([0.0, 0.7, 2.5, 5.0, 9.3, 10.0])

# ---- solids made by hand ----


def round_bed(radii: np.ndarray, depths: np.ndarray, sectors: int) -> Tin:
    """Rings of vertices from the shore inwards, then one vertex in the middle (the last depth)."""
    angle = 2 * np.pi * np.arange(sectors) / sectors
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    vertices = np.vstack([*(radius * circle for radius in radii), [[0.0, 0.0]]])
    depth = np.r_[np.repeat(depths[:-1], sectors), depths[-1]]
    here, after = np.arange(sectors), np.roll(np.arange(sectors), -1)
    triangles = []
    for ring in range(len(radii) - 1):
        outer, inner = ring * sectors, (ring + 1) * sectors
        triangles += [
            np.column_stack([outer + here, outer + after, inner + after]),
            np.column_stack([outer + here, inner + after, inner + here]),
        ]
    last = (len(radii) - 1) * sectors
    middle = np.full(sectors, len(vertices) - 1)
    triangles.append(np.column_stack([last + here, last + after, middle]))
    return bed_of(vertices, depth, np.vstack(triangles))


def bed_of(vertices: np.ndarray, depth: np.ndarray, triangles: np.ndarray) -> Tin:
    kind = np.where(depth == 0, VertexKind.SHORELINE, VertexKind.SOUNDING)
    return Tin(vertices, depth, triangles, kind, None)


def polygon_area(radius: np.ndarray | float, sectors: int) -> np.ndarray:
    return np.asarray(sectors / 2 * np.square(radius) * np.sin(2 * np.pi / sectors))


def ring_profile(solid: str, rings: int) -> tuple[np.ndarray, np.ndarray]:
    """Radii of rings and their depths, the middle's last, spaced so that no step is too steep."""
    share = np.arange(rings + 1) / rings
    if solid == "cone":
        return RADIUS * (1 - share[:-1]), DEEPEST * share
    if solid == "paraboloid":
        return RADIUS * (1 - share[:-1]), DEEPEST * (1 - (1 - share) ** 2)
    angle = np.pi / 2 * share  # the half ellipsoid is vertical at its rim
    return RADIUS * np.cos(angle[:-1]), DEEPEST * np.sin(angle)


def frusta(
    radii: np.ndarray, depths: np.ndarray, sectors: int, level: float
) -> tuple[float, float]:
    """Area and volume below a level of a stack of pyramid frusta: h/3 (A + sqrt(A B) + B)."""
    edges = np.r_[radii, 0.0]
    at_level = np.interp(level, depths, edges)
    below = depths > level
    cut_depths = np.r_[level, depths[below]]
    areas = polygon_area(np.r_[at_level, edges[below]], sectors)
    upper, lower = areas[:-1], areas[1:]
    layers = np.diff(cut_depths) / 3 * (upper + np.sqrt(upper * lower) + lower)
    return float(areas[0]), float(layers.sum())


@pytest.mark.parametrize("solid", ["cone", "paraboloid", "half ellipsoid"])
@pytest.mark.parametrize(("rings", "sectors"), [(1, 3), (4, 7), (12, 60)])
def test_round_solids_are_stacks_of_pyramid_frusta(solid: str, rings: int, sectors: int) -> None:
    # derived: between two rings the bed is the mantle of a frustum of a regular pyramid
    radii, depths = ring_profile(solid, rings)
    area, volume = area_and_volume(round_bed(radii, depths, sectors), LEVELS)
    exact = np.array([frusta(radii, depths, sectors, level) for level in LEVELS])
    whole_area, whole_volume = exact[0]
    np.testing.assert_allclose(area, exact[:, 0], rtol=1e-12, atol=1e-12 * whole_area)
    np.testing.assert_allclose(volume, exact[:, 1], rtol=1e-12, atol=1e-12 * whole_volume)


@pytest.mark.parametrize(
    ("solid", "shape", "factor"),
    [
        ("cone", lambda share: (1 - share) ** 2, 1 / 3),
        ("paraboloid", lambda share: 1 - share, 1 / 2),
        ("half ellipsoid", lambda share: 1 - share**2, 2 / 3),
    ],
)
def test_round_solids_converge_with_the_square_of_the_mesh_width(
    solid: str, shape: Callable[[np.ndarray], np.ndarray], factor: float
) -> None:
    # derived: areas and volumes of the smooth solids
    levels = np.linspace(0, DEEPEST, 401)
    smooth_area = np.pi * RADIUS**2 * shape(levels / DEEPEST)
    smooth_volume = np.pi * RADIUS**2 * DEEPEST * factor
    area_error, volume_error = [], []
    for rings in (16, 32, 64):
        area, volume = area_and_volume(round_bed(*ring_profile(solid, rings), 4 * rings), levels)
        area_error.append(np.abs(area - smooth_area).max() / smooth_area[0])
        volume_error.append(abs(volume[0] / smooth_volume - 1))
    for errors in (area_error, volume_error):
        orders = [np.log2(coarse / fine) for coarse, fine in pairwise(errors)]
        assert all(1.8 < order < 2.2 for order in orders), orders
        assert errors[-1] < 2e-3


def test_island_in_a_cone_is_a_truncated_pyramid() -> None:
    # derived: a cone whose tip is cut off by a level island at its middle; a ring of water remains
    sectors, island = 24, 100.0
    whole = round_bed(np.array([RADIUS, island]), np.array([0.0, 8.0, 8.0]), sectors)
    ring = whole.triangles[: 2 * sectors]
    bed = bed_of(whole.vertices[:-1], whole.depth[:-1], ring)
    area, volume = area_and_volume(bed, np.array([0.0, 4.0, 8.0]))
    inner, half, outer = polygon_area(np.array([island, 300.0, RADIUS]), sectors)
    np.testing.assert_allclose(area, [outer - inner, half - inner, 0.0], rtol=1e-12, atol=1e-6)
    shelf = [
        8 / 3 * (outer + np.sqrt(outer * inner) + inner) - 8 * inner,
        4 / 3 * (half + np.sqrt(half * inner) + inner) - 4 * inner,
        0.0,
    ]
    np.testing.assert_allclose(volume, shelf, rtol=1e-12, atol=1e-6)


def test_wedge_is_exact() -> None:
    # derived: a plane from depth 0 at one side to 10 m at the other, 300 m by 40 m
    vertices = np.array([[0, 0], [300, 0], [300, 40], [0, 40]], float)
    bed = bed_of(vertices, np.array([0, 10, 10, 0.0]), np.array([[0, 1, 2], [0, 2, 3]]))
    levels = np.linspace(0, 10, 11)
    area, volume = area_and_volume(bed, levels)
    np.testing.assert_allclose(area, 12000 * (1 - levels / 10), rtol=1e-12, atol=1e-8)
    np.testing.assert_allclose(volume, 60000 * (1 - levels / 10) ** 2, rtol=1e-12, atol=1e-8)


def test_a_step_left_out_is_round_in_feet() -> None:
    # derived: a tenth of 10 m is 3.28 ft, of which 2 ft is the next smaller of 1, 2 and 5
    bed = round_bed(np.array([RADIUS]), np.array([0.0, DEEPEST]), 12)
    told = hypsography(bed, unit="ft").frame["depth_m"]
    np.testing.assert_allclose(told, [*np.arange(0, 32, 2) * 0.3048, 32 * 0.3048, 10], atol=1e-9)
    metres = hypsography(bed).frame["depth_m"]
    assert metres.tolist() == list(range(11))


def test_level_bed_counts_whole_at_its_own_depth() -> None:
    # derived: a box; its bed lies at the level, which the docstring counts as area
    vertices = np.array([[0, 0], [300, 0], [300, 40], [0, 40]], float)
    bed = bed_of(vertices, np.full(4, 7.0), np.array([[0, 1, 2], [0, 2, 3]]))
    area, volume = area_and_volume(bed, np.array([-1.0, 0.0, 7.0, np.nextafter(7.0, 8.0), 9.0]))
    np.testing.assert_array_equal(area, [12000, 12000, 12000, 0, 0])
    np.testing.assert_allclose(volume, [96000, 84000, 0, 0, 0], rtol=1e-13)


def test_level_exactly_at_each_vertex_of_one_triangle() -> None:
    # derived: plan area 50 m2, corners at 1, 2 and 4 m; A(2) = 50 (4-2)^2 / ((4-1)(4-2))
    area, volume = area_and_volume(triangle(2, 4, 1), np.array([1.0, 2.0, 4.0]))
    np.testing.assert_allclose(area, [50, 50 * 4 / 6, 0], rtol=1e-13, atol=1e-13)
    np.testing.assert_allclose(volume, [50 * 4 / 3, 50 * 4 / 6 * 2 / 3, 0], rtol=1e-13, atol=1e-13)


def triangle(*depth: float) -> Tin:
    """Make a right triangle of 50 m2."""
    corners = np.array([[0, 0], [10, 0], [0, 10]], float)
    return bed_of(corners, np.array(depth, float), np.array([[0, 1, 2]]))


# ---- an independent reckoning ----


def clipped(depth: tuple[Fraction, ...], level: Fraction) -> tuple[Fraction, Fraction]:
    """Share of a triangle's plan at or below a level, and the volume over it, in exact fractions.

    The triangle is clipped as a polygon; its area is the shoelace sum and its volume that of the
    prisms over a fan of triangles: another way than the closed form of the kernel.
    """
    corners = [(Fraction(0), Fraction(0)), (Fraction(1), Fraction(0)), (Fraction(0), Fraction(1))]
    ring = list(zip(corners, depth, strict=True))
    wet = []
    for (start, z), (end, w) in zip(ring, ring[1:] + ring[:1], strict=True):
        if z >= level:
            wet.append((*start, z))
        if (z >= level) != (w >= level):
            share = (level - z) / (w - z)
            crossing = (a + share * (b - a) for a, b in zip(start, end, strict=True))
            wet.append((*crossing, level))
    area = volume = Fraction(0)
    for one, two in pairwise(wet[1:]):
        first = wet[0]
        doubled = (one[0] - first[0]) * (two[1] - first[1]) - (one[1] - first[1]) * (
            two[0] - first[0]
        )
        area += doubled
        volume += doubled * ((first[2] + one[2] + two[2]) / 3 - level)
    return area, volume


depths = st.floats(-5, 60, width=32) | st.sampled_from([0.0, 1.0, 1.0 + 1e-13, 1.0 - 1e-13, 25.0])


@settings(max_examples=150, deadline=None)
@given(st.tuples(depths, depths, depths), st.lists(depths, min_size=1, max_size=6))
def test_one_triangle_agrees_with_exact_fractions(
    corners: tuple[float, float, float], levels: list[float]
) -> None:
    ascending = sorted({*levels, *corners})  # vertices themselves are levels too
    area, volume = area_and_volume(triangle(*corners), np.array(ascending))
    fractions = tuple(map(Fraction, corners))
    exact = [clipped(fractions, Fraction(level)) for level in ascending]
    size = 50 * max(1.0, *map(abs, ascending))
    np.testing.assert_allclose(area, [50 * float(a) for a, _ in exact], rtol=1e-9, atol=50e-12)
    np.testing.assert_allclose(volume, [50 * float(v) for _, v in exact], rtol=0, atol=1e-12 * size)


def pyramids(bed: Tin, level: float) -> tuple[np.longdouble, np.longdouble]:
    """Area and volume below a level from corner pyramids, in extended precision.

    Where one corner is deep, a pyramid hangs from it; where one is shallow, the whole prism less
    the pyramid that stands on it.
    """
    z = bed.depth[bed.triangles].astype(np.longdouble) - level
    size = bed.areas().astype(np.longdouble)
    deep = (z >= 0).sum(axis=1)
    area, volume = size[deep == 3].sum(), (size * z.mean(axis=1))[deep == 3].sum()
    for count in (1, 2):
        crossed = deep == count
        lone = np.argmax((z[crossed] >= 0) == (count == 1), axis=1)
        own, others = _split(z[crossed], lone)
        corner = np.prod(own[:, None] / (own[:, None] - others), axis=1)
        pyramid = corner * own / 3
        mean = z[crossed].mean(axis=1)
        area += (size[crossed] * (corner if count == 1 else 1 - corner)).sum()
        volume += (size[crossed] * (pyramid if count == 1 else mean - pyramid)).sum()
    return area, volume


def _split(z: np.ndarray, lone: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    row = np.arange(len(z))
    others = np.column_stack([z[row, (lone + 1) % 3], z[row, (lone + 2) % 3]])
    return z[row, lone], others


def random_bed(count: int, seed: int) -> Tin:
    random = np.random.default_rng(seed)
    place = random.uniform(0, 1000, (count, 2))
    depth = 12 + 8 * np.sin(place[:, 0] / 90) * np.cos(place[:, 1] / 70) + random.normal(size=count)
    triangles = Delaunay(place).simplices
    flat = np.abs(_doubled(place, triangles)) < 1e-6
    return bed_of(place, depth, _anticlockwise(place, triangles[~flat]))


def _doubled(place: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (place[triangles[:, corner]] for corner in range(3))
    u, v = b - a, c - a
    return np.asarray(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


def _anticlockwise(place: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    turned = np.where(_doubled(place, triangles)[:, None] > 0, triangles, triangles[:, ::-1])
    return np.asarray(turned)


def test_random_bed_of_20_000_triangles_at_200_levels() -> None:
    bed = random_bed(10_050, seed=4)
    assert len(bed.triangles) > 20_000
    levels = np.linspace(bed.depth.min() - 1, bed.depth.max() + 1, 200)
    area, volume = area_and_volume(bed, levels)
    exact = np.array([pyramids(bed, level) for level in levels])
    whole = np.abs(exact).max(axis=0)
    np.testing.assert_allclose(area, exact[:, 0].astype(float), rtol=0, atol=1e-12 * whole[0])
    np.testing.assert_allclose(volume, exact[:, 1].astype(float), rtol=0, atol=1e-12 * whole[1])


def test_nearly_level_triangles_neither_divide_by_zero_nor_lose_area() -> None:
    bed = triangle(1.0, 1.0 + 1e-13, 1.0 + 2e-13)
    levels = np.array([1.0 - 1e-12, 1.0, 1.0 + 1e-13, 1.0 + 1e-12])
    area, volume = area_and_volume(bed, levels)
    exact = [clipped(tuple(map(Fraction, bed.depth)), Fraction(level)) for level in levels]
    np.testing.assert_allclose(area, [50 * float(share) for share, _ in exact], rtol=1e-9)
    np.testing.assert_allclose(volume, [50 * float(v) for _, v in exact], rtol=0, atol=1e-12)


# ---- conservation ----


def test_area_is_minus_the_derivative_of_volume() -> None:
    bed = random_bed(300, seed=7)
    levels = np.linspace(3, 20, 40)
    step = 1e-4
    area, _ = area_and_volume(bed, levels)
    _, above = area_and_volume(bed, levels - step)
    _, below = area_and_volume(bed, levels + step)
    np.testing.assert_allclose((above - below) / (2 * step), area, rtol=1e-6, atol=1e-2)


def test_layers_between_vertex_depths_are_the_integral_of_the_area() -> None:
    # derived: between two vertex depths A is quadratic, which Simpson's rule integrates exactly
    bed = random_bed(60, seed=8)
    knots = np.unique(bed.depth)
    middles = (knots[:-1] + knots[1:]) / 2
    levels = np.sort(np.r_[knots, middles])
    area, volume = area_and_volume(bed, levels)
    simpson = np.diff(knots) / 6 * (area[:-2:2] + 4 * area[1::2] + area[2::2])
    # a flat hull triangle may jump in area at a knot, by far less than this tolerance
    np.testing.assert_allclose(volume[:-2:2] - volume[2::2], simpson, rtol=1e-9, atol=1e-6)


def test_volume_above_and_below_add_up_and_shares_refer_to_the_datum() -> None:
    bed = round_bed(*ring_profile("paraboloid", 8), 24)
    frame = hypsography(bed, step=0.5).frame
    total = frame["volume_below_m3"].iloc[0]
    np.testing.assert_allclose(
        frame["volume_above_m3"] + frame["volume_below_m3"], total, rtol=1e-13
    )
    np.testing.assert_allclose(frame["volume_share"], frame["volume_below_m3"] / total)
    np.testing.assert_allclose(frame["area_share"], frame["area_m2"] / frame["area_m2"].iloc[0])
    assert frame["volume_above_m3"].iloc[0] == 0
    assert frame["volume_above_m3"].iloc[-1] == pytest.approx(total)


def test_finer_tables_agree_with_coarser_ones() -> None:
    bed = random_bed(500, seed=9)
    coarse = hypsography(bed, levels=(0.0, 5.0, 10.0, 15.0)).frame
    fine = hypsography(bed, levels=tuple(np.arange(10_001) / 500)).frame
    shared = fine[fine["depth_m"].isin(coarse["depth_m"])].reset_index(drop=True)
    np.testing.assert_allclose(shared.to_numpy(float), coarse.to_numpy(float), rtol=1e-12)
    assert len(fine) == 10_001
    assert (np.diff(fine["area_m2"]) <= 0).all()


# ---- invariance ----

factors = st.floats(0.01, 100)
angles = st.floats(0, 2 * np.pi)
shifts = st.tuples(st.floats(-1e6, 1e6), st.floats(-1e7, 1e7))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), factors, factors, angles, st.booleans(), shifts)
def test_scale_turn_mirror_and_shift(
    seed: int,
    width: float,
    height: float,
    angle: float,
    mirrored: bool,
    shift: tuple[float, float],
) -> None:
    bed = random_bed(40, seed)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    mirror = np.diag([-1.0, 1.0]) if mirrored else np.eye(2)
    vertices = width * (bed.vertices @ (mirror @ turn).T)
    triangles = bed.triangles[:, ::-1] if mirrored else bed.triangles
    levels = np.linspace(0, 22, 12)
    area, volume = area_and_volume(bed, levels)
    moved = bed_of(vertices, height * bed.depth, triangles)
    moved_area, moved_volume = area_and_volume(moved, height * levels)
    np.testing.assert_allclose(moved_area, width**2 * area, rtol=1e-9, atol=1e-9 * width**2)
    np.testing.assert_allclose(
        moved_volume, height * width**2 * volume, rtol=1e-9, atol=1e-7 * height * width**2
    )
    shifted = bed_of(bed.vertices + shift, bed.depth, bed.triangles)
    np.testing.assert_allclose(area_and_volume(shifted, levels)[0], area, rtol=1e-8, atol=1e-3)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_order_of_triangles_and_of_their_corners_does_not_matter(seed: int) -> None:
    bed = random_bed(40, seed)
    random = np.random.default_rng(seed)
    shuffled = np.roll(random.permutation(bed.triangles), int(random.integers(3)), axis=1)
    levels = np.linspace(0, 22, 12)
    for one, other in zip(
        area_and_volume(bed, levels),
        area_and_volume(bed_of(bed.vertices, bed.depth, shuffled), levels),
        strict=True,
    ):
        np.testing.assert_allclose(one, other, rtol=1e-11, atol=1e-7)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.01, 500))
def test_rows_of_the_default_table_are_ten_to_twenty_six(deepest: float) -> None:
    # 10 to 25 steps of 1, 2 or 5 times a power of ten make at most one row more
    frame = hypsography(triangle(0, 0, deepest)).frame
    assert 10 <= len(frame) <= 27
    step = frame["depth_m"].iloc[1]
    assert float(f"{step:.6e}"[:8]) in (1, 2, 5)
    assert frame["depth_m"].iloc[-1] == deepest
    assert (np.diff(frame["depth_m"]) > 0).all()


# ---- the table ----


def test_levels_come_in_any_order_and_twice() -> None:
    bed = triangle(0, 0, 10)
    frame = hypsography(bed, levels=(7.0, 2.0, 7.0, 0.0), datum=100.8).frame
    assert frame["depth_m"].tolist() == [0, 2, 7]
    np.testing.assert_allclose(frame["elevation_m"], [100.8, 98.8, 93.8])
    np.testing.assert_allclose(frame["area_m2"], [50, 32, 4.5])  # derived: 50 (1 - z/10)^2
    assert list(frame) == [
        "depth_m",
        "elevation_m",
        "area_m2",
        "volume_below_m3",
        "volume_above_m3",
        "area_share",
        "volume_share",
    ]


def test_without_a_datum_there_are_no_elevations() -> None:
    assert hypsography(triangle(0, 0, 10)).frame["elevation_m"].isna().all()


def test_step_is_kept_and_the_greatest_depth_closes_the_table() -> None:
    frame = hypsography(triangle(0, 0, 10.3), step=2.5).frame
    assert frame["depth_m"].tolist() == [0, 2.5, 5, 7.5, 10, 10.3]
    assert frame["area_m2"].iloc[-1] == 0


def test_greatest_depth_on_a_step_comes_once() -> None:
    assert hypsography(triangle(0, 0, 0.3), step=0.1).frame["depth_m"].tolist() == [
        0,
        0.1,
        0.2,
        0.3,
    ]


def shore_at(edge: float) -> Tin:
    """Make a cone of 24 sectors, its shore mapped at depth `edge`, ten metres deep below that."""
    bed = round_bed(*ring_profile("cone", 4), 24)
    return Tin(bed.vertices, bed.depth + edge, bed.triangles, bed.kind, None)


def test_shore_mapped_above_the_datum() -> None:
    # derived: cone, A ~ (deepest - z)^2, so at the datum half a metre down (9.5 / 10)^2 is left
    table = hypsography(shore_at(-0.5), step=1.0)
    frame = table.frame.set_index("depth_m")
    assert frame.index[0] == -0.5
    assert frame.index[1] == 0
    assert frame.loc[0, "area_m2"] == pytest.approx(0.95**2 * frame.loc[-0.5, "area_m2"], rel=1e-12)
    assert frame.loc[0, ["area_share", "volume_share", "volume_above_m3"]].tolist() == [1, 1, 0]
    added = -frame.loc[-0.5, "volume_above_m3"]
    assert added == pytest.approx((1 - 0.95**3) * frame.loc[-0.5, "volume_below_m3"], rel=1e-12)
    assert table.notes == ("shares and volume above refer to depth 0 m",)


def test_shore_mapped_below_the_datum() -> None:
    table = hypsography(shore_at(0.5), step=1.0)
    first = table.frame.iloc[0]
    assert first["depth_m"] == 0.5
    assert first["area_m2"] == pytest.approx(polygon_area(RADIUS, 24), rel=1e-12)
    assert first[["area_share", "volume_share", "volume_above_m3"]].tolist() == [1, 1, 0]
    assert table.frame["depth_m"].iloc[1] == 1
    assert table.notes == ("shares and volume above refer to depth 0.5 m",)


@pytest.mark.parametrize(("edge", "level"), [(-0.5, -0.6), (0.5, 0.0), (0.0, -1.0)])
def test_levels_above_the_mapped_edge_are_refused(edge: float, level: float) -> None:
    message = (
        rf"levels must be at or below the mapped water's edge \(depth {edge:g} m\), got {level:g}$"
    )
    with pytest.raises(ParameterError, match=message):
        hypsography(shore_at(edge), levels=(level, 3.0))


def test_level_at_the_mapped_edge_is_allowed() -> None:
    frame = hypsography(shore_at(-0.5), levels=(-0.5,)).frame
    assert frame["area_m2"].tolist() == [pytest.approx(polygon_area(RADIUS, 24))]


def test_bed_wholly_above_the_datum_refers_to_its_edge() -> None:
    # a pond drained below its bed: nothing lies at the datum, so shares cannot refer to it
    table = hypsography(shore_at(-12.0), step=2.0)
    frame = table.frame
    assert np.isfinite(frame.drop(columns="elevation_m").to_numpy(float)).all()
    assert frame[["area_share", "volume_share", "volume_above_m3"]].iloc[0].tolist() == [1, 1, 0]
    assert table.notes == ("shares and volume above refer to depth -12 m",)


def test_bed_above_the_datum_without_a_shore_refers_to_its_shallowest_place() -> None:
    bed = replace(triangle(-4, -3, -1), kind=np.full(3, VertexKind.SOUNDING))
    table = hypsography(bed, levels=(-4.0, -2.0))
    # derived: all of the bed is deeper than 4 m above the datum, on the mean by 4 - 8/3 m
    whole = table.frame["area_m2"][0]
    assert table.frame["volume_below_m3"][0] == pytest.approx(whole * (4 - 8 / 3))
    assert table.frame[["area_share", "volume_share", "volume_above_m3"]].iloc[0].tolist() == [
        1,
        1,
        0,
    ]
    assert table.frame["volume_above_m3"][1] > 0
    assert table.notes == ("shares and volume above refer to depth -4 m",)


@pytest.mark.parametrize("depths", [(0, 0, 0), (-1, -1, -1)])
def test_bed_without_water_is_refused(depths: tuple[float, float, float]) -> None:
    bed = replace(triangle(*depths), kind=np.zeros(3))
    message = r"^the bed is nowhere deeper than the water's edge, there is no water in it$"
    with pytest.raises(LayerError, match=message):
        hypsography(bed)


def test_steps_too_fine_to_print_are_refused() -> None:
    message = r"^step must give at most 1,000,000 rows over 10 m, got 1e-06 m$"
    with pytest.raises(ParameterError, match=message):
        hypsography(triangle(0, 0, 10), step=1e-6)


def test_bed_without_a_mapped_shore_begins_at_the_datum() -> None:
    bed = triangle(2, 3, 10)
    assert bed.shore_depth is None
    frame = hypsography(bed, step=2.0).frame
    assert frame["depth_m"].tolist() == [0, 2, 4, 6, 8, 10]
    assert frame["volume_below_m3"].iloc[0] == pytest.approx(50 * 5)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"step": 1.0, "levels": (1.0,)}, r"^give step or levels, not both$"),
        ({"levels": ()}, r"^levels must name at least one depth, got none$"),
        ({"levels": (1.0, np.nan)}, r"^levels must be finite m, got nan$"),
        ({"step": 0.0}, r"^step must be > 0 m, got 0\.0$"),
        ({"step": -1.0}, r"^step must be > 0 m, got -1\.0$"),
        ({"datum": np.inf}, r"^datum must be finite m, got inf$"),
    ],
)
def test_refusals(options: dict[str, object], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        hypsography(triangle(0, 0, 10), **options)


def test_areas_are_those_on_the_ground() -> None:
    # Snyder 1987, Map Projections, USGS Prof. Paper 1395, p. 57: scale 0.9996 on UTM's meridian
    import pyproj

    crs = pyproj.CRS("+proj=utm +zone=33 +ellps=GRS80 +units=m")
    corners = np.array([[5e5, 5e6], [5e5 + 1000, 5e6], [5e5, 5e6 + 1000]])
    bed = Tin(corners, np.array([0, 0, 10.0]), np.array([[0, 1, 2]]), np.array([0, 0, 2]), crs)
    area = hypsography(bed).frame["area_m2"].iloc[0]
    assert area == pytest.approx(5e5 / 0.9996**2, rel=1e-6)


# ---- bands of a bed that knows its error ----

FACTORS = 1 + 0.1 * norm.ppf((np.arange(101) + 0.5) / 101)
"""101 factors of a normal distribution (sd 10 %): the 6th and the 96th bound 90 % of them."""


def drawn_cone(**changes: object) -> Tin:
    """Make a cone whose draws are cones as many times as deep."""
    whole = round_bed(*ring_profile("cone", 6), 24)
    order = np.random.default_rng(12).permutation(len(FACTORS))
    parts: dict[str, object] = {"draws": whole.depth[:, None] * FACTORS[order]}
    return replace(whole, **(parts | changes))  # type: ignore[arg-type]


def test_bands_of_a_cone_whose_draws_are_cones() -> None:
    # derived: a cone f times as deep has f times the volume, and at a level L the area
    # S (1 - L / (f z))^2 with S (f z - L)^3 / (3 f^2 z^2) below: all ascend with f
    frame = hypsography(drawn_cone(), levels=tuple(LEVELS)).frame
    whole = polygon_area(RADIUS, 24)
    for end, factor in (("low", FACTORS[5]), ("high", FACTORS[95])):
        deepest = factor * DEEPEST
        left = np.maximum(deepest - LEVELS, 0)
        area, below = whole * (left / deepest) ** 2, whole * left**3 / (3 * deepest**2)
        near = {"rtol": 1e-11, "atol": 1e-6}
        np.testing.assert_allclose(frame[f"area_{end}_m2"], area, **near)  # type: ignore[arg-type]
        np.testing.assert_allclose(frame[f"volume_below_{end}_m3"], below, **near)  # type: ignore[arg-type]
        np.testing.assert_allclose(frame[f"volume_above_{end}_m3"].iloc[0], 0)
    # the last row is the volume of all but the tip below the mean cone's greatest depth
    spread = frame["volume_above_high_m3"] - frame["volume_above_low_m3"]
    assert spread.iloc[-1] > 0.2 * frame["volume_above_m3"].iloc[-1]


def test_a_cubic_metre_of_every_draw_is_above_or_below() -> None:
    # derived: above plus below is the draw's whole volume, so of the scaled cones the bands too
    frame = hypsography(drawn_cone(), levels=(0.0, DEEPEST / 2)).frame
    area, volume = drawn_area_and_volume(drawn_cone(), np.array([0.0, DEEPEST / 2]))
    assert area.shape == volume.shape == (101, 2)
    above = np.sort(volume[:, 0] - volume[:, 1])
    np.testing.assert_allclose(frame["volume_above_low_m3"][1], above[5], rtol=1e-12)
    np.testing.assert_allclose(frame["volume_above_high_m3"][1], above[95], rtol=1e-12)


def test_draws_above_the_shore_are_no_water_and_take_none_away() -> None:
    # derived: a draw that lies above the shore all over holds nothing; the water's area stays
    bed = drawn_cone()
    lifted = bed.depth[:, None] * np.array([-1.0, 1.0, 1.0])
    area, volume = drawn_area_and_volume(replace(bed, draws=lifted), np.array([0.0, 5.0]))
    np.testing.assert_allclose(area[:, 0], polygon_area(RADIUS, 24), rtol=1e-12)
    np.testing.assert_allclose(volume[0], 0, atol=1e-6)
    np.testing.assert_array_equal(volume[1], volume[2])


def test_the_volume_of_a_draw_under_water_all_over_is_linear_in_its_depths() -> None:
    # derived: one third of the plan area about each vertex times its depth (finite elements)
    bed = random_bed(200, seed=13)
    draws = bed.depth[:, None] + np.random.default_rng(14).normal(0, 0.5, (len(bed.depth), 9))
    bed = replace(bed, draws=np.maximum(draws, 0.1))
    lumped = np.bincount(bed.triangles.ravel(), np.repeat(bed.areas() / 3, 3), len(bed.depth))
    _, volume = drawn_area_and_volume(bed, np.array([0.0]))
    assert bed.draws is not None
    np.testing.assert_allclose(volume[:, 0], lumped @ bed.draws, rtol=1e-11)


def test_draws_like_the_bed_itself_give_its_own_figures_to_the_bit() -> None:
    bed = random_bed(300, seed=15)
    levels = np.linspace(0, 20, 9)
    area, volume = drawn_area_and_volume(
        replace(bed, draws=np.repeat(bed.depth[:, None], 3, axis=1)), levels
    )
    own_area, own_volume = area_and_volume(bed, levels)
    for row in range(3):
        np.testing.assert_array_equal(area[row], own_area)
        np.testing.assert_array_equal(volume[row], own_volume)


def test_bands_are_added_and_nothing_else_changes() -> None:
    bed = drawn_cone()
    plain = hypsography(replace(bed, draws=None))
    banded = hypsography(bed)
    pd.testing.assert_frame_equal(banded.frame[list(plain.frame)], plain.frame, check_exact=True)
    assert list(banded.frame)[len(plain.frame.columns) :] == [
        "area_low_m2",
        "area_high_m2",
        "volume_below_low_m3",
        "volume_below_high_m3",
        "volume_above_low_m3",
        "volume_above_high_m3",
    ]
    assert banded.notes == (*plain.notes, "low and high: 90 % band of 101 beds drawn")


def test_bands_are_the_same_bits_whatever_the_number_of_threads() -> None:
    bed, bits = random_bed(3000, seed=16), []
    bed = replace(bed, draws=np.random.default_rng(17).normal(9, 3, (len(bed.depth), 5)))
    before = numba.get_num_threads()
    try:
        for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
            numba.set_num_threads(threads)
            bits.append(hypsography(bed).frame.to_numpy(float).tobytes())
    finally:
        numba.set_num_threads(before)
    assert bits[0] == bits[1]
