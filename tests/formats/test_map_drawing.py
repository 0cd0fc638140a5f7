"""Lines and numbers lie on the picture where they belong, and only where there is room."""

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine

from toolbox.formats.depth_colours import DepthColours
from toolbox.formats.map_drawing import draw_ink, pick_isobaths, pick_labels
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


SHAPE = (100, 200)


def test_a_line_inks_the_pixels_on_it_and_no_others() -> None:
    ink = draw_ink(SHAPE, BOUNDS, isobaths(50.5), None, colours())
    cols = np.flatnonzero(ink.any(axis=(0, 2)))
    assert 50 in cols
    assert np.abs(cols - 50).max() <= 1


def test_lines_lie_the_right_way_up() -> None:
    shore = np.array([shapely.LineString([(0, 80), (200, 80)])])
    rows = np.flatnonzero(draw_ink(SHAPE, BOUNDS, None, None, colours(), shore).any(axis=(1, 2)))
    assert 1 <= len(rows) <= 4
    assert np.abs(rows - 19.5).max() <= 2  # 20 m below the northern edge, a metre a pixel


def test_index_lines_are_heavier() -> None:
    drawn = draw_ink(SHAPE, BOUNDS, isobaths(*range(20, 120, 20)), None, colours())
    ink = drawn.sum(axis=(0, 2)).astype(float)
    assert ink[97:104].sum() > 1.5 * ink[77:84].sum()
    assert ink[150:].sum() == 0


def test_ink_is_dark_on_the_pale_and_light_on_the_dark() -> None:
    # the ramp of this file is black at the water level and white in the deep
    lines = isobaths(*range(20, 200, 20))
    ink = draw_ink(SHAPE, BOUNDS, lines, None, colours())
    light, dark = (np.flatnonzero(ink[..., band].any(axis=0)) for band in (1, 0))
    assert light.min() < 25
    assert light.max() < dark.min()
    assert dark.max() > 175


def test_numbers_part_their_line() -> None:
    lines = isobaths(100.0)
    labels = pick_labels(lines, 0.25)
    assert labels.frame["label"].tolist()[0] == "1"
    with_them = draw_ink(SHAPE, BOUNDS, lines, labels, colours())
    without = draw_ink(SHAPE, BOUNDS, lines, None, colours())
    place = shapely.get_coordinates(labels.frame.geometry)[0]
    rows, cols = np.nonzero((with_them != without).any(axis=2))
    assert len(rows)
    assert np.abs(cols - place[0]).max() < 12
    rim = with_them[..., 2]
    # 1 m of 10 m (derived): below a number the bed has the colour of its depth
    assert set(np.unique(rim)) == {0, round(255 / 10)}
    # the digits have a hole of line: where the rim is and no digit, no ink is left
    assert (
        (without[..., :2] > 0).any(axis=2) & (rim > 0) & (with_them[..., :2] == 0).all(axis=2)
    ).any()


def test_numbers_turn_with_their_line() -> None:
    slanted = isobaths(100.0)
    frame = slanted.frame.set_geometry([shapely.LineString([(50, 0), (150, 100)])], crs=MERCATOR)
    labels = pick_labels(Vectors(frame.assign(depth_m=11.111), "isobaths"), 0.25)
    rim = draw_ink(SHAPE, BOUNDS, None, labels, colours())[..., 2]
    rows, cols = np.nonzero(rim)
    # a long number along a line towards the north-east: up to the right, so rows fall with columns
    assert np.corrcoef(rows, cols)[0, 1] < -0.5


def test_a_number_is_as_large_at_any_scale() -> None:
    counts = []
    for pixel in (0.25, 1.0, 4.0):
        frame = isobaths(100.0).frame
        longer = frame.set_geometry(frame.geometry.affine_transform([1, 0, 0, 40 * pixel, 0, 0]))
        labels = pick_labels(Vectors(longer, "isobaths"), pixel)
        x, y = shapely.get_coordinates(labels.frame.geometry)[0]
        bounds = (x - 50 * pixel, y - 25 * pixel, x + 50 * pixel, y + 25 * pixel)
        one = Vectors(labels.frame[:1], "labels")
        rim = draw_ink((50, 100), bounds, None, one, colours())[..., 2]
        counts.append(np.count_nonzero(rim))
        rows, cols = np.nonzero(rim)
        assert (rows.mean(), cols.mean()) == pytest.approx((24.5, 49.5), abs=1.5)
    assert max(counts) - min(counts) <= 0.1 * max(counts)


@pytest.mark.parametrize(("pixel", "count"), [(1.0, 10), (3.9, 10), (4.1, 2), (19.9, 2), (20.1, 0)])
def test_lines_are_drawn_where_there_is_room(pixel: float, count: int) -> None:
    # ten lines of 100 m on 200 by 100 m are 20 m apart on the mean, the two index lines 100 m
    # (derived); they are drawn from five pixels
    assert len(pick_isobaths(isobaths(*range(10, 200, 20)), 20_000, pixel)) == count


def test_no_lines_are_no_fault() -> None:
    none = Vectors(isobaths(1.0).frame[:0], "isobaths")
    assert len(pick_isobaths(none, 100.0, 1.0)) == 0
