"""Pictures of depths lie where the grid lies, in any projection, and their colours are depths."""

import math
from io import BytesIO

import numpy as np
import pyproj
import pytest
from affine import Affine
from PIL import Image

from toolbox.errors import LayerError
from toolbox.formats.depth_colours import DepthColours, depth_ramp, extent, png, readable, trimmed
from toolbox.layers import Grid

GREY = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
"""Tells a value by its colour."""


def plane(epsg: int, left: float, top: float, *, cell: float = 5.0, side: int = 120) -> Grid:
    """Depth grows to the north-east, from 0 to 10 m; outside a disk there is no water."""
    north, east = np.mgrid[side - 0.5 : -0.5 : -1, 0.5:side] / side
    depth = np.where(np.hypot(east - 0.5, north - 0.5) < 0.45, 5 * (north + east), np.nan)
    place = Affine(cell, 0, left, 0, -cell, top)
    return Grid(depth, place, pyproj.CRS.from_epsg(epsg), "depth", "m")


@pytest.mark.parametrize(
    ("epsg", "left", "top"),
    [
        (32633, 780_000, 7_200_000),  # far from the middle of its zone: turned by more than 5 deg
        (2056, 2_600_000, 1_200_000),  # another datum
        (32756, 334_000, 6_250_000),  # south of the equator
    ],
)
@pytest.mark.parametrize("target", ["EPSG:4326", "EPSG:3857"])
def test_colours_lie_where_pyproj_says(epsg: int, left: float, top: float, target: str) -> None:
    grid = plane(epsg, left, top)
    west, south, east, north = extent(grid, target)
    rows = cols = 400
    transform = Affine((east - west) / cols, 0, west, 0, (south - north) / rows, north)
    colours = DepthColours(grid, GREY)
    picture = colours.picture(target, transform, (rows, cols))
    # independent of the warp: pyproj, pixel by pixel, and the formula of the depths
    row, col = np.mgrid[0:rows, 0:cols] + 0.5
    back = pyproj.Transformer.from_crs(target, epsg, always_xy=True)
    easting, northing = back.transform(*(transform @ (col, row)))
    share_east, share_north = (easting - left) / 600, (northing - top + 600) / 600
    off = np.hypot(share_east - 0.5, share_north - 0.5)
    inside, outside = off < 0.44, off > 0.46
    assert (picture[inside, 3] == 255).all()
    assert (picture[outside, 3] == 0).all()
    low, high = colours.limits
    depth = low + (high - low) * picture[..., 0] / 255
    wanted = 5 * (share_north + share_east)
    # half a step of colour is 0.017 m, and a twentieth of a pixel of the warp is less
    assert np.abs(depth - wanted)[inside].max() < 0.03


def test_no_value_is_transparent_and_limits_are_kept() -> None:
    colours = DepthColours(plane(32633, 500_000, 5_200_000), GREY)
    low, high = colours.limits
    assert low == 0  # the water level has its colour even where the grid begins below
    seen = colours.rgba(np.array([np.nan, low, high, -3, 99]))
    assert seen.tolist() == [
        [0, 0, 0, 0],
        [0, 0, 0, 255],
        [255, 255, 255, 255],
        [0, 0, 0, 255],
        [255, 255, 255, 255],
    ]


def test_a_level_bed_has_a_colour() -> None:
    grid = plane(32633, 500_000, 5_200_000)
    level = grid.of(np.where(np.isfinite(grid.values), 0.0, np.nan), "depth", "m")
    assert (
        DepthColours(level).picture("EPSG:32633", grid.transform, grid.shape)[..., 3].max() == 255
    )


def test_the_ramp_darkens_step_by_step_in_grey_too() -> None:
    # luminance of sRGB (IEC 61966-2-1; weights from memory)
    grey = (depth_ramp() / 255.0) ** 2.2 @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(grey) < 0).all()
    assert grey[0] > 0.9
    assert grey[-1] < 0.03


def test_words_are_ink_on_pale_and_paper_on_dark() -> None:
    assert readable(depth_ramp()[0]) == "#22303a"
    assert readable(depth_ramp()[-1]) == "#ffffff"


def test_a_grid_is_trimmed_to_its_values_and_stays_where_it_is() -> None:
    grid = plane(32633, 500_000, 5_200_000)
    part = trimmed(grid)
    assert part.shape == (108, 108)
    row, col = np.unravel_index(np.nanargmax(part.values), part.shape)
    there = part.transform @ (col + 0.5, row + 0.5)
    first = np.unravel_index(np.nanargmax(grid.values), grid.shape)
    assert there == grid.transform @ (first[1] + 0.5, first[0] + 0.5)


def test_png_keeps_every_pixel_and_names_no_program() -> None:
    picture = np.random.default_rng(3).integers(0, 256, (5, 7, 4), np.uint8)
    with Image.open(BytesIO(png(picture))) as read:
        assert (np.asarray(read) == picture).all()
        assert "Software" not in read.info


def test_the_legend_is_a_picture_whatever_the_title() -> None:
    colours = DepthColours(plane(32633, 500_000, 5_200_000))
    plain, hostile = colours.legend("Figment Mere"), colours.legend("$x_{$ <b>\n\U0001f3a3" * 40)
    for content in (plain, hostile):
        with Image.open(BytesIO(content)) as read:
            assert min(read.size) > 150
    assert plain != hostile
    assert plain == colours.legend("Figment Mere")


def test_planes_and_empty_grids_are_refused() -> None:
    grid = plane(32633, 500_000, 5_200_000)
    with pytest.raises(LayerError, match=r"^depth must be tied to the earth .* got a plane$"):
        DepthColours(Grid(grid.values, grid.transform, None, "depth", "m"))
    with pytest.raises(LayerError, match=r"^depth must have a value somewhere, got none$"):
        DepthColours(grid.of(np.full(grid.shape, np.nan), "depth", "m"))


def test_a_water_across_the_antimeridian_is_refused() -> None:
    east = pyproj.Transformer.from_crs(4326, 32660, always_xy=True).transform(180, 10)
    grid = plane(32660, math.floor(east[0]) - 300, east[1])
    with pytest.raises(LayerError, match=r"cannot be mapped in EPSG:4326: it crosses"):
        extent(grid, "EPSG:4326")
