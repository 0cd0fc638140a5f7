"""Outlay: lines across and along waters whose axis or course is known."""

import numpy as np
import pytest
import shapely

from toolbox.errors import ParameterError
from toolbox.layers import Shoreline
from toolbox.planning.foresight import even_net, net_spacing
from toolbox.planning.outlay import Outlay, Water


def water(shape: shapely.Geometry) -> Water:
    shoreline = Shoreline(shapely.MultiPolygon(shapely.get_parts(shape).tolist()), None)
    return Water.of(shoreline, even_net(shoreline, net_spacing(shoreline, 0.0)))


def turned() -> shapely.Geometry:
    """Make a basin of 400 x 100 m whose long axis runs 30 degrees north of east."""
    return shapely.affinity.rotate(shapely.box(-200, -50, 200, 50), 30, origin=(0, 0))


def meander() -> shapely.LineString:
    east = np.linspace(0, 1200, 400)
    return shapely.LineString(np.column_stack([east, 120 * np.sin(2 * np.pi * east / 400)]))


def lines(laid: Outlay) -> np.ndarray:
    return shapely.linestrings(np.stack([laid.legs.start, laid.legs.end], axis=1))


def across(laid: Outlay) -> np.ndarray:
    return np.array([not name.startswith("tie") for name in laid.names])


def test_lines_across_the_long_axis_of_a_basin() -> None:
    basin = water(turned())
    assert not basin.winding
    assert basin.width == pytest.approx(50, abs=3)
    laid = basin.lay(None, 1)
    over = across(laid)
    # derived: 400 m at about 25 m, each 100 m less 1 m of clearance at either shore
    assert over.sum() == round(400 / laid.spacing)
    np.testing.assert_allclose(laid.legs.length[over], 98, atol=0.01)
    # across the axis, every other one run backwards
    first, second = laid.legs.bearing[over][:2]
    assert abs((first - 150) % 180) < 0.01 or abs((first - 150) % 180 - 180) < 0.01
    assert abs(first - second) == pytest.approx(180, abs=0.01)
    middles = (laid.legs.start + laid.legs.end)[over] / 2
    steps = np.hypot(*np.diff(middles, axis=0).T)
    np.testing.assert_allclose(steps, 400 / over.sum(), rtol=1e-6)
    (tie,) = laid.legs.length[~over]
    assert tie == pytest.approx(398, abs=0.01)


@pytest.mark.parametrize("ties", [0, 1, 2])
@pytest.mark.parametrize("track", [1500.0, 2600.0, 5000.0])
def test_a_budget_is_kept_and_used(track: float, ties: int) -> None:
    for basin in (water(turned()), water(meander().buffer(20, cap_style="flat"))):
        if basin.winding and (ties or track < 2000):
            continue
        laid = basin.lay(track, ties)
        assert 0.9 * track - 100 < laid.track <= track
        assert len({name for name in laid.names if "tie" in name}) == ties


def test_lines_across_the_course_of_a_winding_water() -> None:
    axis = meander()
    river = water(axis.buffer(20, cap_style="flat"))
    assert river.winding
    laid = river.lay(None, 1)
    over = across(laid)
    assert 35 < laid.spacing < 45
    # from bank to bank, nearly at right angles to the course
    np.testing.assert_allclose(laid.legs.length[over], 38, rtol=0.2)
    crossed = shapely.get_coordinates(shapely.intersection(lines(laid)[over], axis))
    assert len(crossed) == over.sum()
    steps = np.diff(shapely.line_locate_point(axis, shapely.points(crossed)))
    np.testing.assert_allclose(np.abs(steps), laid.spacing, rtol=0.35)
    # the tie follows the course in straight legs that hang together
    tie = laid.legs.select(np.flatnonzero(~over))
    np.testing.assert_allclose(tie.end[:-1], tie.start[1:])
    assert tie.length.sum() == pytest.approx(axis.length, rel=0.1)
    assert shapely.distance(shapely.points(tie.start), axis).max() < 15


def test_lines_stay_in_the_water() -> None:
    holed = turned().difference(shapely.Point(60, 35).buffer(20))
    for basin in (water(holed), water(meander().buffer(20, cap_style="flat"))):
        laid = basin.lay(None, 1)
        keep = across(laid)
        assert shapely.covered_by(lines(laid)[keep], basin.shoreline.polygons).all()


def test_too_short_a_track() -> None:
    told = "track of 450 m is too short for 1 ties and a line across, give more or ask for fewer"
    with pytest.raises(ParameterError, match=told):
        water(turned()).lay(450.0, 1)
    with pytest.raises(ParameterError, match="track of 90 m is too short for 0 ties"):
        water(turned()).lay(90.0, 0)
