"""Lines and numbers lie on the picture where they belong, and only where there is room."""

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine

from toolbox.formats.depth_colours import DepthColours
from toolbox.formats.map_drawing import draw_lines, pick_isobaths, pick_labels
from toolbox.layers import Grid, Vectors

MERCATOR = pyproj.CRS.from_epsg(3857)
BOUNDS = (0.0, 0.0, 200.0, 100.0)
GREY = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)


def isobaths(*eastings: float) -> Vectors:
    lines = [shapely.LineString([(east, 0), (east, 100)]) for east in eastings]
    columns = {
        "depth_m": np.arange(1.0, len(lines) + 1),
        "index_line": np.arange(1, len(lines) + 1) % 5 == 0,
    }
    return Vectors(geopandas.GeoDataFrame(columns, geometry=lines, crs=MERCATOR), "isobaths")


def colours() -> DepthColours:
    values = np.tile(np.linspace(0, 10, 20), (10, 1))
    return DepthColours(Grid(values, Affine(10, 0, 0, 0, -10, 100), MERCATOR, "depth", "m"), GREY)


def blank() -> np.ndarray:
    return np.full((100, 200, 4), (90, 90, 90, 255), np.uint8)


def test_a_line_changes_the_pixels_below_it_and_no_others() -> None:
    before = blank()
    drawn = draw_lines(before, BOUNDS, isobaths(50.5), None, colours())
    cols = np.flatnonzero((drawn != before).any(axis=(0, 2)))
    assert 50 in cols
    assert np.abs(cols - 50).max() <= 1
    assert (before == 90)[..., :3].all()  # the picture that was given stays


def test_index_lines_are_heavier_and_land_stays_transparent() -> None:
    land = np.zeros((100, 200, 4), np.uint8)
    lines = isobaths(*range(20, 120, 20))
    drawn = draw_lines(land, BOUNDS, lines, None, colours())
    ink = drawn[..., 3].sum(axis=0).astype(float)
    assert ink[97:104].sum() > 1.5 * ink[77:84].sum()
    assert ink[150:].sum() == 0


def test_numbers_part_their_line() -> None:
    lines = isobaths(100.0)
    labels = pick_labels(lines, 0.25)
    assert labels.frame["label"].tolist()[0] == "1"
    with_them = draw_lines(blank(), BOUNDS, lines, labels, colours())
    without = draw_lines(blank(), BOUNDS, lines, None, colours())
    place = shapely.get_coordinates(labels.frame.geometry)[0]
    rows, cols = np.nonzero((with_them != without).any(axis=2))
    assert len(rows)
    assert np.abs(cols - place[0]).max() < 12


def test_the_shore_is_drawn_without_isobaths() -> None:
    shore = [shapely.LineString([(0, 50), (200, 50)])]
    drawn = draw_lines(blank(), BOUNDS, None, None, colours(), shore)
    rows = np.flatnonzero((drawn != blank()).any(axis=(1, 2)))
    assert 1 <= len(rows) <= 4
    assert np.abs(rows - 49.5).max() <= 2


@pytest.mark.parametrize(("pixel", "count"), [(1.0, 10), (3.9, 10), (4.1, 2), (19.9, 2), (20.1, 0)])
def test_lines_are_drawn_where_there_is_room(pixel: float, count: int) -> None:
    # ten lines of 100 m on 200 by 100 m are 20 m apart on the mean, the two index lines 100 m
    # (derived); they are drawn from five pixels
    assert len(pick_isobaths(isobaths(*range(10, 200, 20)), 20_000, pixel)) == count


def test_no_lines_are_no_fault() -> None:
    none = Vectors(isobaths(1.0).frame[:0], "isobaths")
    assert len(pick_isobaths(none, 100.0, 1.0)) == 0
