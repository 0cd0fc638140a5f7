"""Coordinates around a map."""

import numpy as np
import pytest

from toolbox.layers.crs import parse_crs
from toolbox.report.sheet.map_frame import corner_texts, crosses, degrees_text, grid_step
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.view import View

FRAME = Box(0, 0, 200 * MM, 100 * MM)


@pytest.mark.parametrize(("scale", "step"), [(100, 5), (1000, 50), (2500, 100), (5000, 200)])
def test_grid_lines_are_24_to_60_mm_apart(scale: float, step: float) -> None:
    found = grid_step(View(FRAME, (0.0, 0.0), scale))
    assert found == step
    assert 24 <= found * 1000 / scale <= 60


def test_crosses_stand_on_round_coordinates() -> None:
    view = View(FRAME, (500_130.0, 5_200_070.0), 5000)
    middles = np.unique(np.mean(crosses(view), axis=1).round(6), axis=0)
    ground = (middles - view.box.centre) / view.points_to_metre + view.centre
    assert ground == pytest.approx((ground / 200).round() * 200)
    assert len(middles) == 5 * 2  # 499 800 to 500 600 east, 5 200 000 and 5 200 200 north


def test_minutes_that_round_up_carry_over() -> None:
    assert degrees_text(46.99999999, "N", "S") == "47\u00b000.000' N"
    assert degrees_text(-0.5, "E", "W") == "0\u00b030.000' W"


def test_corners_are_where_the_central_meridian_puts_them() -> None:
    view = View(FRAME, (500_000.0, 0.0), 5000)
    west_south, east_south, west_north, _ = corner_texts(view, parse_crs("EPSG:32632"))
    # half a kilometre of the equator is 500 / 0.9996 / 111 319.5 degrees (radius 6 378 137 m)
    assert west_south == "0\u00b000.136' S  8\u00b059.730' E"
    assert east_south == "0\u00b000.136' S  9\u00b000.270' E"
    assert west_north.startswith("0\u00b000.136' N")
    assert corner_texts(view, None) == []
