"""Isobaths that can be told apart, and no more of them than a view shows."""

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.layers import Vectors
from toolbox.report.sheet.figures_on_map import readable_isobaths, simplified
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.view import View

WATER = shapely.MultiPolygon([shapely.box(0, 0, 1000, 100)])


def stripes(count: int) -> Vectors:
    """Draw one straight isobath a metre of depth, evenly across the water; each fifth is heavy."""
    depth = np.arange(1, count + 1)
    lines = [shapely.LineString([(0, y), (1000, y)]) for y in depth * 100 / (count + 1)]
    columns = {"depth_m": depth.astype(float), "index_line": depth % 5 == 0}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=lines), "isobaths")


def view(scale: float) -> View:
    return View(Box(0, 0, 100 * MM, 50 * MM), (500.0, 50.0), scale)


@pytest.mark.parametrize(
    ("scale", "depths"),
    [
        # 20 lines on 100 m of water are 5 m apart: 0.9 mm of paper are 4.5 m, 9 m, 22.5 m, 45 m
        (5_000, np.arange(1, 21)),
        (10_000, [5, 10, 15, 20]),
        (25_000, [5, 10, 15, 20]),
        (50_000, [10, 20]),
        (100_000, [20]),
    ],
)
def test_lines_are_left_out_until_they_can_be_told_apart(scale: float, depths: list[int]) -> None:
    found = readable_isobaths(view(scale), stripes(20), WATER)
    assert found.frame["depth_m"].tolist() == list(depths)


def test_what_lies_outside_of_a_view_is_cut_off() -> None:
    near = simplified(view(1000), stripes(20))  # 100 m by 50 m, and 3 m around
    bounds = near.frame.total_bounds
    assert bounds[[0, 2]] == pytest.approx([500 - 53, 500 + 53])
    assert bounds[1] >= 50 - 28
    assert bounds[3] <= 50 + 28
    assert len(near) == 12  # of the lines 100 / 21 m apart those between 22 and 78 m


def test_lines_keep_their_shape() -> None:
    around = np.linspace(0, 2 * np.pi, 20_000)
    ring = shapely.LineString(40 * np.column_stack([np.cos(around), np.sin(around)]) + (500, 50))
    frame = geopandas.GeoDataFrame({"depth_m": [1.0], "index_line": [False]}, geometry=[ring])
    fine = simplified(view(5000), Vectors(frame, "isobaths")).frame.geometry.iloc[0]
    assert len(fine.coords) < 500
    assert fine.hausdorff_distance(ring) <= 0.03 * 5  # 0.03 mm of paper
