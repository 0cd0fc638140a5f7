"""The graded net covers the water and nothing else, with triangles fit for finite elements."""

from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import connected_components

from toolbox.bed.graded import GROWTH, RING, Net, graded_net
from toolbox.errors import LayerError
from toolbox.layers import Shoreline, VertexKind

NOWHERE = np.empty((0, 2))
DISC = shapely.Point(0, 0).buffer(100, quad_segs=24)
BOX = shapely.box(0, 0, 200, 120)


def water(*parts: Any, depth: float = 0.0) -> Shoreline:
    return Shoreline(shapely.MultiPolygon(list(parts)), None, depth)


def blob(seed: int, *, islands: int = 0) -> Any:
    """Return a lobed lake, about 200 m across, with round islands."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    radius = 70 + 30 * np.sin(rng.integers(2, 5) * turn + rng.uniform(0, 6))
    radius += rng.uniform(-5, 5, len(turn))
    lake = shapely.Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))
    for _ in range(islands):
        place = shapely.Point(rng.uniform(-45, 45, 2))
        lake = lake.difference(place.buffer(rng.uniform(1, 12), quad_segs=3))
    return max(shapely.get_parts(lake), key=shapely.area)


def least_angles(net: Net) -> np.ndarray:
    """Return the least angle of each triangle, degrees."""
    sides = net.nodes[net.triangles] - net.nodes[np.roll(net.triangles, 1, axis=1)]
    length = np.hypot(*np.moveaxis(sides, 2, 0))
    shortest = np.sort(length, axis=1)
    # the sine rule: twice the area is the product of the two longer sides and that sine
    return np.degrees(np.arcsin(2 * net.areas / (shortest[:, 1] * shortest[:, 2])))


def spacing_at(net: Net, place: tuple[float, float], radius: float) -> float:
    """Return the median length of edges about a place, m."""
    start, end = net.triangles.ravel(), np.roll(net.triangles, 1, axis=1).ravel()
    middle = (net.nodes[start] + net.nodes[end]) / 2
    near = np.hypot(*(middle - place).T) < radius
    return float(np.median(np.hypot(*(net.nodes[start] - net.nodes[end]).T)[near]))


# ---- cover ----


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 4), st.sampled_from([5.0, 13.0, 40.0]))
def test_triangles_cover_the_water_once(seed: int, islands: int, fine: float) -> None:
    lake = water(blob(seed, islands=islands))
    places = np.random.default_rng(seed).uniform(-60, 60, (20, 2))
    net = graded_net(lake, places, fine=fine, coarse=5 * fine)
    assert net.areas.min() > 0
    assert net.areas.sum() == pytest.approx(lake.polygons.area, rel=1e-9)
    centres = net.nodes[net.triangles].mean(axis=1)
    assert lake.contains(centres[net.areas > 1e-6]).all()
    assert net.mass.sum() == pytest.approx(lake.polygons.area, rel=1e-9)
    assert np.array_equal(np.unique(net.triangles), np.arange(len(net.nodes)))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 4))
def test_every_vertex_of_the_shore_is_a_node(seed: int, islands: int) -> None:
    lake = water(blob(seed, islands=islands))
    net = graded_net(lake, NOWHERE, fine=20, coarse=60)
    nodes = {tuple(place) for place in net.nodes[net.on_shore].tolist()}
    assert nodes >= {tuple(place) for place in shapely.get_coordinates(lake.polygons).tolist()}
    rings = shapely.MultiLineString(shapely.get_rings(list(lake.polygons.geoms)).tolist())
    away = shapely.distance(rings, shapely.points(net.nodes))
    assert away[net.on_shore].max() < 1e-6
    assert away[~net.on_shore].min() > 0.05


def test_islands_are_holes_with_a_kind_of_their_own() -> None:
    lake = water(BOX.difference(shapely.box(90, 50, 110, 70)))
    net = graded_net(lake, NOWHERE, fine=8, coarse=40)
    isle = net.kind == VertexKind.ISLAND
    assert isle.sum() == 4 * 3  # 20 m in pieces of at most 8 m
    assert np.abs(net.nodes[isle] - [100, 60]).max() == 10
    assert set(net.kind) == {VertexKind.SHORELINE, VertexKind.ISLAND, VertexKind.INFERRED}
    assert net.areas.sum() == pytest.approx(200 * 120 - 400, rel=1e-12)


def test_parts_of_a_water_are_not_joined() -> None:
    lake = water(shapely.box(0, 0, 80, 80), shapely.box(81, 0, 161, 80))
    net = graded_net(lake, NOWHERE, fine=10, coarse=50)
    east = net.nodes[net.triangles][:, :, 0]
    assert ((east <= 80).all(axis=1) | (east >= 81).all(axis=1)).all()
    assert net.areas[(east <= 80).all(axis=1)].sum() == pytest.approx(6400, rel=1e-12)


@pytest.mark.parametrize("width", [5.0 + 1e-9, 5.0, 5.0001, 2.5, 0.3, 0.01])
def test_a_neck_narrower_than_the_net_still_holds_together(width: float) -> None:
    # 5 m is twice the ring's way from either bank, where both rings fall together
    neck = shapely.box(79, 40, 121, 40 + width)
    lake = water(shapely.union_all([shapely.box(0, 0, 80, 80), neck, shapely.box(120, 0, 200, 80)]))
    net = graded_net(lake, NOWHERE, fine=5 / (2 * RING), coarse=50)
    assert net.areas.sum() == pytest.approx(lake.polygons.area, rel=1e-9)
    assert net.areas.min() > 1e-4
    assert connected_components(net.laplacian)[0] == 1


@pytest.mark.parametrize("size", [2.0, 10.0, 3000.0])
def test_a_lake_of_one_triangle(size: float) -> None:
    lake = water(shapely.Polygon([(0, 0), (size, 0), (0, size)]))
    net = graded_net(lake, np.array([[size / 4, size / 4]]), fine=size / 5, coarse=size)
    assert net.areas.sum() == pytest.approx(size**2 / 2, rel=1e-12)
    assert (~net.on_shore).sum() >= 3
    assert least_angles(net).min() > 10


def test_soundings_on_the_shore_and_ashore_do_no_harm() -> None:
    lake = water(BOX)
    places = np.array([[0, 60], [0, 0], [200, 61.3], [500, 500], [100, 0]], float)
    net = graded_net(lake, places, fine=10, coarse=50)
    assert net.areas.sum() == pytest.approx(200 * 120, rel=1e-12)
    assert np.hypot(*(net.nodes[:, None] - net.nodes).T)[~np.eye(len(net.nodes), dtype=bool)].min()


# ---- spacing and shape ----


def test_nodes_are_close_at_soundings_and_far_apart_in_open_water() -> None:
    lake = water(shapely.box(0, 0, 600, 600))
    line = np.column_stack([np.full(100, 200.0), np.linspace(150, 450, 100)])
    net = graded_net(lake, line, fine=6, coarse=48)
    assert spacing_at(net, (200, 300), 12) < 1.5 * 6
    assert spacing_at(net, (420, 300), 60) > 0.7 * 48
    assert spacing_at(net, (3, 300), 12) < 1.5 * 6
    plain = graded_net(lake, NOWHERE, fine=6, coarse=48)
    assert spacing_at(plain, (200, 300), 60) > 0.7 * 48


def test_spacing_grows_no_faster_than_told() -> None:
    lake = water(shapely.box(0, 0, 600, 600))
    net = graded_net(lake, np.array([[300.0, 300.0]]), fine=5, coarse=40)
    start, end = net.triangles.ravel(), np.roll(net.triangles, 1, axis=1).ravel()
    length = np.hypot(*(net.nodes[start] - net.nodes[end]).T)
    rim = shapely.box(0, 0, 600, 600).boundary
    away = np.minimum(
        shapely.distance(rim, shapely.points(net.nodes)), np.hypot(*(net.nodes - 300).T)
    )
    nearest = np.minimum(away[start], away[end])
    # a square is at most as wide as is wanted at its centre; an edge spans two, or a diagonal
    assert (length < 2 * np.sqrt(2) * (5 + GROWTH * (nearest + length))).all()
    assert length.max() < 2 * np.sqrt(2) * 40


@pytest.mark.parametrize("seed", range(6))
def test_triangles_are_well_shaped(seed: int) -> None:
    # Shewchuk 2002, "What is a good linear finite element?" (from memory): small angles spoil the
    # conditioning, so few may be small; at corners of the shore some must
    rng = np.random.default_rng(seed)
    net = graded_net(water(blob(seed)), rng.uniform(-50, 50, (60, 2)), fine=6, coarse=30)
    angles = least_angles(net)
    assert np.median(angles) > 25
    assert np.quantile(angles, 0.01) > 12
    assert angles.min() > 4


def test_no_triangle_hangs_from_the_shore_alone() -> None:
    # all corners on the shore would nail its depth to that of the bank
    for shape in (DISC, BOX, blob(3)):
        net = graded_net(water(shape), NOWHERE, fine=8, coarse=40)
        assert not net.on_shore[net.triangles].all(axis=1).any()


# ---- invariance ----


@pytest.mark.parametrize("shift", [(1024.0, -2048.0), (524288.0, 6291456.0)])
def test_a_shifted_water_has_a_shifted_net(shift: tuple[float, float]) -> None:
    places = np.random.default_rng(1).uniform(-60, 60, (30, 2))
    here = graded_net(water(DISC), places, fine=9, coarse=45)
    moved = shapely.affinity.translate(DISC, *shift)
    there = graded_net(water(moved), places + shift, fine=9, coarse=45)
    assert len(there.nodes) == len(here.nodes)
    order = [np.lexsort(np.round(net.nodes - off, 4).T) for net, off in ((here, 0), (there, shift))]
    np.testing.assert_allclose(
        there.nodes[order[1]] - shift, here.nodes[order[0]], atol=1e-6, rtol=0
    )
    # four nodes of a square lie on one circle: rounding may turn its diagonal, and nothing else
    assert there.mass.sum() == pytest.approx(here.mass.sum(), rel=1e-9)


def test_the_same_water_has_the_same_net_whatever_the_order_of_places() -> None:
    places = np.random.default_rng(2).uniform(-60, 60, (30, 2))
    first = graded_net(water(DISC), places, fine=9, coarse=45)
    again = graded_net(water(DISC), places[::-1], fine=9, coarse=45)
    for name in ("nodes", "triangles", "kind"):
        np.testing.assert_array_equal(getattr(first, name), getattr(again, name))


# ---- a net too coarse ----


def test_a_net_far_too_coarse_for_its_water_is_still_told_in_one_line() -> None:
    # a lake of 10 m on a net of 50 m has no node of its own at all
    small = water(shapely.Polygon([(0, 0), (10, 0), (0, 10)]))
    with pytest.raises(LayerError, match=r"^the water must hold 3 .+got 0$"):
        graded_net(small, NOWHERE, fine=50, coarse=250)


# ---- distances and elements ----


def test_distance_from_shore_knows_islands_and_open_edges() -> None:
    isle = shapely.box(90, 50, 110, 70)
    ends = [shapely.LineString([(0, 0), (0, 120)])]
    lake = water(BOX.difference(isle)).with_open_edges(ends, within=0.5)
    net = graded_net(lake, NOWHERE, fine=10, coarse=20)
    closed = shapely.union_all(
        [shapely.LineString([(0, 0), (200, 0), (200, 120), (0, 120)]), isle.boundary]
    )
    wanted = shapely.distance(closed, shapely.points(net.nodes))
    np.testing.assert_allclose(net.shore_distance, wanted, atol=1e-9)
    west = net.kind == VertexKind.OPEN_EDGE
    assert west.sum() >= 11
    assert (net.nodes[west, 0] == 0).all()
    assert not net.on_shore[west].any()


def test_the_ends_of_an_open_edge_belong_to_the_bank() -> None:
    lake = water(BOX).with_open_edges([shapely.LineString([(0, 0), (0, 120)])], within=0.5)
    net = graded_net(lake, NOWHERE, fine=10, coarse=20)
    corner = (net.nodes[:, 0] == 0) & np.isin(net.nodes[:, 1], [0, 120])
    assert corner.sum() == 2
    assert net.on_shore[corner].all()


def test_values_of_planes_pass_through_the_elements() -> None:
    net = graded_net(water(blob(4, islands=2)), NOWHERE, fine=10, coarse=50)
    plane = net.nodes @ [0.03, -0.07] + 5
    np.testing.assert_allclose(net.gradients(plane), [[0.03, -0.07]] * len(net.areas), atol=1e-12)
    np.testing.assert_allclose(
        net.to_nodes(net.gradients(plane)), [[0.03, -0.07]] * len(net.nodes), atol=1e-12
    )
    np.testing.assert_allclose(net.to_nodes(np.full(len(net.areas), 2.5)), 2.5)
    places = np.random.default_rng(5).uniform(-90, 90, (200, 2))
    weights = net.weights(places)
    inside = np.diff(weights.indptr) > 0
    assert (inside == water(blob(4, islands=2)).contains(places)).all()
    np.testing.assert_allclose((weights @ plane)[inside], places[inside] @ [0.03, -0.07] + 5)
    assert not (weights @ plane)[~inside].any()


def test_averages_to_nodes_conserve_the_whole() -> None:
    net = graded_net(water(blob(6)), NOWHERE, fine=10, coarse=50)
    values = np.random.default_rng(6).normal(3, 1, len(net.areas))
    assert net.to_nodes(values) @ net.mass == pytest.approx(values @ net.areas, rel=1e-12)
    assert net.mass @ net.nodes == pytest.approx(
        net.areas @ net.nodes[net.triangles].mean(axis=1), rel=1e-9
    )
