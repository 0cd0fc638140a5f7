"""The map on paper: what is drawn is what was given, in either unit, at any width."""

import io
import itertools
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from affine import Affine
from PIL import Image
from pyproj import CRS

from toolbox.errors import LayerError
from toolbox.formats.picture_file import figure_of, picture_bytes
from toolbox.layers import Grid, Picture, Shoreline, Soundings, Vectors
from toolbox.report.map_figure import draw_map, map_height

UTM = CRS(32633)


def grid(rows: int = 60, cols: int = 80, cell: float = 2.0) -> Grid:
    down, right = np.mgrid[0:rows, 0:cols]
    depth = 9 * np.sin(np.pi * (right + 0.5) / cols) * np.sin(np.pi * (down + 0.5) / rows)
    return Grid(depth, Affine(cell, 0, 5e5, 0, -cell, 5e6), UTM, "depth", "m")


def shoreline(depth: Grid) -> Shoreline:
    water = shapely.box(*depth.bounds)
    return Shoreline.from_shapes(
        [water.difference(water.centroid.buffer(water.length / 60))], depth.crs
    )


def soundings(depth: Grid, count: int = 30, rejected: int = 3) -> Soundings:
    left, bottom, right, top = depth.bounds
    place = np.random.default_rng(1).uniform([left, bottom], [right, top], (count, 2))
    made = Soundings.from_arrays(place, np.ones(count), crs=depth.crs)
    return made.reject(np.arange(count) < rejected, "double echo")


def isobaths(depth: Grid) -> Vectors:
    middle = shapely.box(*depth.bounds).centroid
    shapes = [
        shapely.LineString(middle.buffer(r).exterior.coords)
        for r in (depth.cell * 25, depth.cell * 15)
    ]
    columns = {"depth_m": [3.048, 6.096], "index_line": [False, True]}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=depth.crs), "isobaths")


def drawn(depth: Grid | None = None, **options: Any) -> Picture:
    depth = depth or grid()
    options = {"dpi": 60} | options
    return draw_map(depth, shoreline(depth), soundings(depth), isobaths(depth), **options)


@pytest.mark.parametrize(("unit", "foot"), [("m", 1.0), ("ft", 0.3048)])
def test_depths_and_their_bar_are_in_the_unit(unit: Any, foot: float) -> None:
    axes, bar = figure_of(drawn(unit=unit)).axes
    (shading,) = [mesh for mesh in axes.collections if mesh.get_array() is not None]
    values = np.asarray(shading.get_array()).ravel()
    assert values == pytest.approx(grid().values.ravel() / foot, rel=1e-5)
    assert bar.get_ylabel() == f"depth below datum, {unit}"
    low, high = bar.get_ylim()
    assert low > high  # deep water is at the bottom of the bar
    numbers = {text.get_text() for text in axes.texts}
    assert {"10", "20"} <= numbers if unit == "ft" else {"3.048", "6.096"} <= numbers
    assert any(number.endswith(f" {unit}") for number in numbers)


def test_soundings_stand_where_they_are_and_rejected_ones_apart() -> None:
    depth = grid()
    axes = figure_of(drawn()).axes[0]
    found = {part.get_gid(): part.get_offsets() for part in axes.collections if part.get_gid()}
    given = soundings(depth)
    assert np.asarray(found["soundings"]) == pytest.approx(given.kept.coordinates)
    assert np.asarray(found["rejected"]) == pytest.approx(given.coordinates[:3])
    (legend,) = axes.figure.legends
    assert [text.get_text() for text in legend.get_texts()] == ["27 soundings", "3 rejected"]


@pytest.mark.parametrize(
    ("placed", "told"),
    [(3, "3 rejected"), (2, "3 rejected, 1 without a position"), (0, "3 rejected, 3 without")],
)
def test_rejected_soundings_count_wherever_they_lie(placed: int, told: str) -> None:
    depth = grid()
    given = soundings(depth)
    place = given.coordinates.copy()
    place[placed:3] = np.nan
    lost = Soundings.from_arrays(place, np.ones(len(place)), crs=depth.crs)
    lost = lost.reject(np.arange(len(place)) < placed, "double echo")
    axes = figure_of(draw_map(depth, shoreline(depth), lost, dpi=60)).axes[0]
    (legend,) = axes.figure.legends
    assert legend.get_texts()[1].get_text().startswith(told)
    found = {part.get_gid(): part.get_offsets() for part in axes.collections if part.get_gid()}
    assert len(found["rejected"]) == placed


def test_numbers_of_isobaths_keep_off_rejected_soundings() -> None:
    depth, lines = grid(), isobaths(grid())
    ring = shapely.get_coordinates(lines.frame.geometry.iloc[0])
    for rejected, numbers in ((False, {"3.048", "6.096"}), (True, {"6.096"})):
        made = Soundings.from_arrays(ring, np.ones(len(ring)), crs=depth.crs)
        made = made.reject(np.full(len(ring), rejected), "spike")
        axes = figure_of(draw_map(depth, shoreline(depth), made, lines, dpi=60)).axes[0]
        assert {text.get_text() for text in axes.texts} & {"3.048", "6.096"} == numbers


def test_the_map_tells_caution_coordinates_and_crs() -> None:
    (legend,) = figure_of(drawn()).legends
    told = " ".join(legend.get_title().get_text().split())
    assert told.startswith("Not for navigation. Depths hold for the datum;")
    assert told.endswith("easting and northing in m, WGS 84 / UTM zone 33N.")
    depth = grid()
    bare = figure_of(draw_map(depth, shoreline(depth), dpi=60))
    assert bare.get_supxlabel().startswith("Not for navigation.")


@pytest.mark.parametrize("cell", [0.1, 2.0, 900.0])
@pytest.mark.parametrize(("rows", "cols"), [(60, 80), (80, 20), (20, 80)])
def test_the_height_follows_the_water(rows: int, cols: int, cell: float) -> None:
    picture = drawn(grid(rows, cols, cell))
    assert picture.width == 170
    figure = figure_of(picture)
    box = figure.axes[0].get_window_extent()
    ratio = (rows + 0.08 * max(rows, cols)) / (cols + 0.08 * max(rows, cols))
    assert box.height / box.width == pytest.approx(ratio, rel=0.02)
    if rows <= cols:  # a tall one is cut to what a page holds
        assert box.width > 0.7 * figure.bbox.width


def test_the_height_does_not_depend_on_where_the_water_lies() -> None:
    assert map_height((0, 0, 300, 200), 170) == map_height((5e5, 5e6, 5e5 + 300, 5e6 + 200), 170)
    assert map_height((0, 0, 1, 1e6), 170) == 260
    assert map_height((0, 0, 1e6, 1), 170) == 70
    assert map_height((0, 0, 3, 2), 170, lines=1) > map_height((0, 0, 3, 2), 170)


@pytest.mark.parametrize("width", [80.0, 170.0])
def test_coordinates_beside_the_axes_do_not_touch(width: float) -> None:
    figure = figure_of(drawn(width=width, dpi=100))
    figure.draw_without_rendering()
    boxes = [label.get_window_extent() for label in figure.axes[0].get_xticklabels()]
    boxes = sorted((box.x0, box.x1) for box in boxes if box.x1 > box.x0)
    assert len(boxes) >= 2
    assert all(left[1] < right[0] for left, right in itertools.pairwise(boxes))


@pytest.mark.parametrize(
    "title", ["", "$\\frac{1}{2$", "<script>" + "W" * 300, "\u05d0\u05d2\u05dd"]
)
def test_a_png_has_its_size_whatever_the_title(title: str) -> None:
    picture = drawn(title=title, width=100, height=80)
    with Image.open(io.BytesIO(picture_bytes(picture))) as image:
        assert image.size == (236, 189)  # derived: 100 and 80 mm at 60 dots to an inch


def test_grey_has_no_colour_but_the_ink() -> None:
    with Image.open(io.BytesIO(picture_bytes(drawn(grey=True)))) as image:
        colours = np.asarray(image.convert("RGB")).reshape(-1, 3).astype(int)
    # ink, #22303a, is 24 apart
    assert np.ptp(colours, axis=1).max() <= 24
    assert (np.ptp(colours, axis=1) <= 4).mean() > 0.9


def test_what_nobody_surveyed_is_hatched() -> None:
    depth = grid()
    guess = depth.of((np.indices(depth.shape)[1] < 20).astype(float), "unsurveyed", "1")
    figure = figure_of(draw_map(depth, shoreline(depth), unsurveyed=guess, dpi=60))
    assert [text.get_text() for text in figure.legends[0].get_texts()] == ["not surveyed"]


def test_layers_that_do_not_fit_are_refused() -> None:
    depth = grid()
    empty = depth.of(np.full(depth.shape, np.nan), "depth", "m")
    with pytest.raises(LayerError, match=r"^depth must have a cell with a value, got none$"):
        draw_map(empty, shoreline(depth))
    other = Shoreline.from_shapes([shapely.box(*depth.bounds)], CRS(32634))
    with pytest.raises(LayerError, match=r"^shoreline must be in the CRS of the depth, "):
        draw_map(depth, other)
    lines = isobaths(depth)
    bare = Vectors(lines.frame.drop(columns="index_line"), "isobaths")
    with pytest.raises(LayerError, match=r"^isobaths must have a column 'index_line'$"):
        draw_map(depth, shoreline(depth), isobaths=bare)
