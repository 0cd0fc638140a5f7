"""Directions follow channels, bends and lines drawn, and let go where nothing stands out."""

from typing import Any

import numpy as np
import pytest
import shapely

from toolbox.bed.flow import Directions
from toolbox.bed.graded import Net, graded_net
from toolbox.layers import Centreline, Shoreline

NOWHERE = np.empty((0, 2))


def net_of(shape: Any, *, ends: tuple[Any, ...] = (), fine: float = 5.0) -> Net:
    water = Shoreline(shapely.MultiPolygon([shape]), None)
    if ends:
        water = water.with_open_edges(ends, within=0.5)
    return graded_net(water, NOWHERE, fine=fine, coarse=2 * fine)


def centres(net: Net) -> np.ndarray:
    return np.asarray(net.nodes[net.triangles].mean(axis=1))


def off_course(found: Directions, wanted: np.ndarray) -> np.ndarray:
    """Return the angle between directions and lines along `wanted` (m, 2), degrees."""
    wanted = wanted / np.hypot(*wanted.T)[:, None]
    return np.degrees(np.arccos(np.clip(np.abs((found.along * wanted).sum(axis=1)), 0, 1)))


def centreline(*places: tuple[float, float]) -> Centreline:
    return Centreline((np.array(places, float),), None)


# ---- from the shore ----


@pytest.mark.parametrize("bearing", [0, 25, 45, 90, 160])
def test_a_straight_channel_runs_along_itself(bearing: float) -> None:
    east, north = np.cos(np.radians(bearing)), np.sin(np.radians(bearing))
    axis = shapely.LineString([(-200 * east, -200 * north), (200 * east, 200 * north)])
    net = net_of(axis.buffer(20, cap_style="flat"))
    found = Directions.of_shore(net, 20.0)
    inner = np.abs(centres(net) @ [east, north]) < 150
    assert off_course(found, np.tile([east, north], (len(net.areas), 1)))[inner].max() < 4
    assert np.median(found.strength[inner]) > 0.7
    np.testing.assert_allclose(np.hypot(*found.along.T), 1, atol=1e-12)
    assert found.strength.min() >= 0
    assert found.strength.max() <= 1


@pytest.mark.parametrize("bearing", [25, 45])
@pytest.mark.parametrize("fine", [2.0, 4.4])
def test_a_channel_is_one_however_it_lies_on_the_net(bearing: float, fine: float) -> None:
    east, north = np.cos(np.radians(bearing)), np.sin(np.radians(bearing))
    axis = shapely.LineString([(-150 * east, -150 * north), (150 * east, 150 * north)])
    net = net_of(axis.buffer(20, cap_style="flat"), fine=fine)
    strength = Directions.of_shore(net, 20.0).strength
    inner = np.abs(centres(net) @ [east, north]) < 100
    assert strength[inner].min() > 0.75
    assert np.median(strength[inner]) > 0.92


def test_a_bent_channel_runs_round_its_bend() -> None:
    # derived: along a ring the way is at right angles to the radius
    turn = np.linspace(0, 1.5 * np.pi, 60)
    axis = shapely.LineString(np.column_stack([100 * np.cos(turn), 100 * np.sin(turn)]))
    net = net_of(axis.buffer(15, cap_style="flat"))
    found = Directions.of_shore(net, 15.0)
    middle = centres(net)
    bearing = np.arctan2(middle[:, 1], middle[:, 0]) % (2 * np.pi)
    inner = (bearing > 0.5) & (bearing < 1.5 * np.pi - 0.5)
    tangent = np.column_stack([-middle[:, 1], middle[:, 0]])
    assert off_course(found, tangent)[inner].max() < 8
    assert np.median(found.strength[inner]) > 0.6


def test_an_open_end_does_not_turn_the_direction() -> None:
    shape = shapely.box(0, 0, 300, 40)
    ends = (shapely.LineString([(0, 0), (0, 40)]), shapely.LineString([(300, 0), (300, 40)]))
    along = [1.0, 0.0]
    opened = net_of(shape, ends=ends)
    found = Directions.of_shore(opened, 20.0)
    assert off_course(found, np.tile(along, (len(opened.areas), 1))).max() < 3
    end = centres(opened)[:, 0] < 8
    assert np.median(found.strength[end]) > 0.7
    # a shore across the channel ends it
    shut = net_of(shape)
    end = centres(shut)[:, 0] < 8
    assert np.median(Directions.of_shore(shut, 20.0).strength[end]) < 0.4


def test_the_middle_of_a_disc_has_no_direction() -> None:
    net = net_of(shapely.Point(0, 0).buffer(100, quad_segs=24), fine=8)
    found = Directions.of_shore(net, 100.0)
    radius = np.hypot(*centres(net).T)
    assert found.strength[radius < 25].max() < 0.02
    assert found.strength.max() < 0.25
    middle = centres(net)
    rim = radius > 60
    tangent = np.column_stack([-middle[:, 1], middle[:, 0]])
    assert off_course(found, tangent)[rim].max() < 10


def test_a_water_without_a_closed_shore_has_no_direction() -> None:
    turn = shapely.box(-1, -1, 101, 61)
    net = net_of(shapely.box(0, 0, 100, 60), ends=(turn,))
    net = Net(net.nodes, net.triangles, np.where(net.on_shore, 5, net.kind))
    assert Directions.of_shore(net, 30.0).strength.max() == 0


# ---- from lines ----


def test_lines_give_their_own_direction_near_them() -> None:
    net = net_of(shapely.box(0, 0, 300, 100))
    found = Directions.of_lines(net, centreline((0, 20), (300, 80)), 20.0)
    course = np.array([300.0, 60.0])
    np.testing.assert_allclose(
        off_course(found, np.tile(course, (len(net.areas), 1))), 0, atol=1e-5
    )
    away = np.abs((centres(net) - [0, 20]) @ [-60.0, 300.0]) / np.hypot(*course)
    near = (away < 2) & (np.abs(centres(net)[:, 0] - 150) < 100)
    assert found.strength[near].min() > 0.98
    # a Gaussian of the distance in twice the width
    inner = np.abs(centres(net)[:, 0] - 150) < 100
    np.testing.assert_allclose(found.strength[inner], np.exp(-((away[inner] / 40) ** 2)), atol=0.01)


def test_the_nearest_of_several_lines_leads() -> None:
    net = net_of(shapely.box(0, 0, 200, 200))
    lines = Centreline(
        (np.array([[20, 10], [20, 190.0]]), np.array([[60, 150], [190, 150.0]])), None
    )
    found = Directions.of_lines(net, lines, 20.0)
    middle = centres(net)
    west, north = middle[:, 0] < 30, (middle[:, 0] > 80) & (middle[:, 1] > 130)
    assert off_course(found, np.tile([0.0, 1.0], (len(middle), 1)))[west].max() < 1e-3
    assert off_course(found, np.tile([1.0, 0.0], (len(middle), 1)))[north].max() < 1e-3


def test_a_line_runs_the_same_forwards_and_backwards() -> None:
    net = net_of(shapely.box(0, 0, 200, 80))
    there = Directions.of_lines(net, centreline((0, 10), (90, 40), (200, 70)), 20.0)
    back = Directions.of_lines(net, centreline((200, 70), (90, 40), (0, 10)), 20.0)
    np.testing.assert_allclose(back.stretched(5.0), there.stretched(5.0), atol=1e-9)


def test_a_vertex_given_twice_changes_nothing() -> None:
    net = net_of(shapely.box(0, 0, 200, 80))
    once = Directions.of_lines(net, centreline((0, 40), (90, 40), (200, 70)), 20.0)
    twice = Directions.of_lines(net, centreline((0, 40), (90, 40), (90, 40), (200, 70)), 20.0)
    np.testing.assert_allclose(np.hypot(*twice.along.T), 1, atol=1e-12)
    np.testing.assert_allclose(twice.strength, once.strength, atol=1e-9)


# ---- tensors ----


@pytest.mark.parametrize("elongation", [1.0, 1.7, 25.0])
def test_tensors_stretch_along_and_keep_their_area(elongation: float) -> None:
    rng = np.random.default_rng(1)
    bearing = rng.uniform(0, 2 * np.pi, 200)
    along = np.column_stack([np.cos(bearing), np.sin(bearing)])
    strength = np.r_[0.0, 1.0, rng.uniform(0, 1, 198)]
    tensor = Directions(along, strength).stretched(elongation)
    np.testing.assert_allclose(np.linalg.det(tensor), 1, rtol=1e-12)
    np.testing.assert_allclose(tensor, tensor.transpose(0, 2, 1), atol=1e-15)
    # derived: lengths go as roots of eigenvalues, so their ratio is elongation^strength
    reach = np.sqrt(np.linalg.eigvalsh(tensor))
    np.testing.assert_allclose(reach[:, 1] / reach[:, 0], elongation**strength, rtol=1e-9)
    np.testing.assert_allclose(
        np.einsum("mij,mj->mi", tensor, along), along * (elongation**strength)[:, None], atol=1e-12
    )
    np.testing.assert_allclose(tensor[0], np.eye(2), atol=1e-15)
