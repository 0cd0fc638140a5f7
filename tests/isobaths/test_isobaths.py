"""Isobaths: what they say of themselves, and what smoothing may not do."""

import itertools
from dataclasses import replace

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from toolbox.errors import ParameterError
from toolbox.isobaths.isobaths import isobaths
from toolbox.isobaths.isolines import Isolines
from toolbox.layers import Tin, VertexKind

RADIUS, DEEPEST = 300.0, 12.0


def cone(*, island: float = 0.0, steps: int = 60, around: int = 180) -> Tin:
    """Make a round lake whose bed is a cone, or with an island an even trough around it."""
    turn = 2 * np.pi * np.arange(around) / around
    radii = np.linspace(island or RADIUS / steps, RADIUS, steps)
    points = [r * np.column_stack([np.cos(turn), np.sin(turn)]) for r in radii]
    if not island:
        points.insert(0, np.zeros((1, 2)))
    vertices = np.vstack(points)
    away = np.hypot(*vertices.T)
    shore = away > RADIUS - 1e-6
    inner = (away < island + 1e-6) & (island > 0)
    middle = (RADIUS + island) / 2
    depth = (
        DEEPEST * (1 - np.abs(away - middle) / (RADIUS - middle))
        if island
        else DEEPEST * (1 - away / RADIUS)
    )
    depth[shore | inner] = 0
    triangles = Delaunay(vertices).simplices
    a, b, c = vertices[triangles].transpose(1, 0, 2)
    turned = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    triangles[turned < 0] = triangles[turned < 0, ::-1]
    within = np.hypot(*vertices[triangles].mean(axis=1).T) > island * np.cos(np.pi / around)
    kind = np.where(inner, VertexKind.ISLAND, np.where(shore, 0, VertexKind.SOUNDING))
    return Tin(vertices, depth, triangles[within & (np.abs(turned) > 1e-6)], kind, None)


def noisy(seed: int) -> Tin:
    rng = np.random.default_rng(seed)
    bed = cone(steps=14, around=40)
    noise = rng.normal(0, 0.5, len(bed.depth))
    sounded = bed.kind == VertexKind.SOUNDING
    return replace(bed, depth=np.where(sounded, np.maximum(bed.depth + noise, 0.01), 0))


def test_rings_of_a_cone() -> None:
    made = isobaths(cone(), interval=2.0)
    frame = made.frame
    assert made.name == "isobaths"
    assert made.notes == ()
    assert frame.columns.tolist() == ["depth_m", "length_m", "closed", "index_line", "geometry"]
    assert frame["depth_m"].tolist() == [2, 4, 6, 8, 10]
    assert frame["closed"].all()
    assert frame["index_line"].tolist() == [False] * 4 + [True]
    # derived: circles; a polygon of 180 sides is 5e-5 shorter
    expected = 2 * np.pi * RADIUS * (1 - frame["depth_m"] / DEEPEST)
    np.testing.assert_allclose(frame["length_m"], expected, rtol=2e-4)
    assert all(shapely.is_ccw(shapely.LinearRing(line.coords)) for line in frame.geometry)


def test_round_an_island_rings_run_the_other_way() -> None:
    frame = isobaths(cone(island=60.0), levels=(0.0, 6.0)).frame
    assert frame["depth_m"].tolist() == [0, 0, 6, 6]
    # the mapped shoreline and the island's: derived, polygons of 180 sides
    chord = 360 * np.sin(np.pi / 180)
    np.testing.assert_allclose(frame["length_m"][:2], [RADIUS * chord, 60 * chord], rtol=1e-12)
    ccw = [shapely.is_ccw(shapely.LinearRing(line.coords)) for line in frame.geometry]
    assert ccw == [True, False, True, False]


def test_the_shoreline_stops_where_the_edge_is_open() -> None:
    bed = cone()
    open_end = (bed.kind == VertexKind.SHORELINE) & (bed.vertices[:, 0] > 0.9 * RADIUS)
    bed = replace(bed, kind=np.where(open_end, VertexKind.OPEN_EDGE, bed.kind))
    (row,) = isobaths(bed, levels=(0.0,)).frame.itertuples()
    sides = 180 - open_end.sum() - 1
    assert not row.closed
    assert row.length_m == pytest.approx(sides * 2 * RADIUS * np.sin(np.pi / 180))


def test_lengths_are_on_the_ground() -> None:
    bed = cone()
    moved = replace(bed, vertices=bed.vertices + np.array([5e5, 5.3e6]), crs=pyproj.CRS(32633))
    on_map, ground = (isobaths(each, interval=3.0).frame["length_m"] for each in (bed, moved))
    # UTM on its central meridian has scale 0.9996 (Snyder 1987, Map Projections, p. 57)
    np.testing.assert_allclose(ground, on_map / 0.9996, rtol=1e-7)


def test_slivers_are_left_out_and_told() -> None:
    made = isobaths(cone(), interval=2.0, least_length=700.0)
    assert made.frame["depth_m"].tolist() == [2, 4, 6]
    assert made.notes == ("left out: 2 closed lines shorter than 700 m",)


def test_a_level_below_the_bed_gives_an_empty_layer() -> None:
    made = isobaths(cone(), levels=(13.0,))
    assert len(made) == 0
    assert made.frame.columns.tolist() == [
        "depth_m",
        "length_m",
        "closed",
        "index_line",
        "geometry",
    ]
    assert made.notes == ("the bed is nowhere as deep as 13 m",)


def test_refusals() -> None:
    with pytest.raises(ParameterError, match=r"^interval must be > 0 m, got 0$"):
        isobaths(cone(steps=3, around=8), interval=0)
    with pytest.raises(ParameterError, match=r"^smooth must be >= 0 m, got -1$"):
        isobaths(cone(steps=3, around=8), smooth=-1)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([3.0, 20.0, 200.0]))
def test_smooth_lines_cross_nothing_and_stay_in_the_water(seed: int, smooth: float) -> None:
    bed = noisy(seed)
    exact, smoothed = (isobaths(bed, interval=1.0, smooth=s).frame for s in (0.0, smooth))
    assert smoothed["depth_m"].value_counts().equals(exact["depth_m"].value_counts())
    assert smoothed["closed"].sum() == exact["closed"].sum()
    lines = list(smoothed.geometry)
    assert all(line.is_simple for line in lines)
    assert not any(a.intersects(b) for a, b in itertools.combinations(lines, 2))
    water = shapely.union_all(shapely.polygons(bed.vertices[bed.triangles])).buffer(1e-6)
    assert all(water.contains(line) for line in lines)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([3.0, 20.0]))
def test_points_move_within_bounds(seed: int, smooth: float) -> None:
    bed, levels = noisy(seed), np.arange(1.0, 20.0)
    net = bed.vertices, bed.triangles, bed.depth
    exact, smoothed = Isolines(*net, levels), Isolines(*net, levels, smooth)
    assert np.array_equal(exact.crossings.nodes, smoothed.crossings.nodes)
    count = len(bed.depth)
    moved = np.hypot(*(smoothed.places - exact.places)[count:].T)
    assert 0 < moved.max() <= smooth * (1 + 1e-9)
    half = exact.crossings.nodes
    ends = bed.triangles.ravel()[half], np.roll(bed.triangles, -1, axis=1).ravel()[half]
    start, edge = bed.vertices[ends[0]], bed.vertices[ends[1]] - bed.vertices[ends[0]]
    share = ((smoothed.places[count:] - start) * edge).sum(axis=1) / (edge**2).sum(axis=1)
    depth = bed.depth[ends[0]] + share * (bed.depth[ends[1]] - bed.depth[ends[0]])
    level = levels[np.repeat(exact.crossings.group, np.diff(exact.crossings.starts))]
    assert np.abs(depth - level).max() <= 0.5 + 1e-9  # half-way to the next level


def test_smoothing_takes_noise_out_and_leaves_circles() -> None:
    def roughness(bed: Tin, smooth: float) -> float:
        frame = isobaths(bed, levels=(6.0,), smooth=smooth).frame
        return float(frame["length_m"].max())

    circle = roughness(cone(), 0.0)
    assert roughness(cone(), 10.0) == pytest.approx(circle, rel=2e-3)
    rough, evened = (roughness(noisy(1), smooth) for smooth in (0.0, 30.0))
    assert evened < rough - 0.3 * (rough - circle)
