"""Course: the middle of waters whose middle is known."""

import numpy as np
import shapely

from toolbox.layers import Shoreline
from toolbox.planning.course import Branch, course
from toolbox.planning.foresight import even_net


def branches(shape: shapely.Geometry, spacing: float) -> list[Branch]:
    shoreline = Shoreline(shapely.MultiPolygon(shapely.get_parts(shape).tolist()), None)
    return course(even_net(shoreline, spacing), shoreline)


def meander() -> shapely.LineString:
    east = np.linspace(0, 1200, 400)
    return shapely.LineString(np.column_stack([east, 120 * np.sin(2 * np.pi * east / 400)]))


def test_the_middle_of_a_winding_channel() -> None:
    # derived: the channel was made of its own middle
    axis = meander()
    (trunk,) = branches(axis.buffer(20, cap_style="flat"), 9.0)
    off = shapely.distance(shapely.points(trunk.places), axis)
    assert np.median(off) < 4
    assert off.max() < 12
    assert abs(trunk.length / axis.length - 1) < 0.08
    np.testing.assert_array_less(trunk.away, 21)


def test_arms_follow_the_trunk() -> None:
    # nodes lie 10 m apart, 5 m beside the middle
    # a cross of 600 x 400 m, its channels 40 m wide: two arms of 200 m less half the trunk's width
    cross = shapely.union(shapely.box(-300, -20, 300, 20), shapely.box(-20, -200, 20, 200))
    trunk, *arms = branches(cross, 10.0)
    assert abs(trunk.length - 600) < 90
    assert np.abs(np.median(trunk.places[:, 1])) < 6
    assert len(arms) == 2
    for arm in arms:
        assert np.abs(np.median(arm.places[:, 0])) < 6
        assert abs(arm.length - 200) < 60


def test_a_round_water_has_no_arms() -> None:
    (only,) = branches(shapely.Point(0, 0).buffer(150), 12.0)
    assert 200 < only.length < 330


def test_each_part_has_a_trunk() -> None:
    two = shapely.union(shapely.box(0, 0, 300, 40), shapely.box(0, 100, 300, 140))
    assert len(branches(two, 10.0)) == 2
