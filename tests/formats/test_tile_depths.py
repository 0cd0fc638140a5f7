"""Steps of colour lie where the grid lies, at the colour of its depth, also on wider cells."""

import numpy as np
import pyproj
import pytest
from affine import Affine

from toolbox.formats.depth_colours import DepthColours, extent
from toolbox.formats.tile_depths import TileDepths
from toolbox.layers import Grid

MERCATOR = "EPSG:3857"
GREY = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)


def plane(epsg: int, left: float, top: float, side: int = 121) -> Grid:
    """Depth grows to the north-east, from 0 to 10 m; outside a disk there is no water."""
    north, east = np.mgrid[side - 0.5 : -0.5 : -1, 0.5:side] / side
    depth = np.where(np.hypot(east - 0.5, north - 0.5) < 0.45, 5 * (north + east), np.nan)
    place = Affine(5, 0, left, 0, -5, top)
    return Grid(depth, place, pyproj.CRS.from_epsg(epsg), "depth", "m")


def picture_of(grid: Grid, size: int = 384) -> tuple[Affine, np.ndarray, np.ndarray]:
    """Return a transform over a grid, and share of its side at each pixel by pyproj itself."""
    west, south, east, north = extent(grid, MERCATOR)
    transform = Affine((east - west) / size, 0, west, 0, (south - north) / size, north)
    row, col = np.mgrid[0:size, 0:size] + 0.5
    assert grid.crs is not None
    back = pyproj.Transformer.from_crs(MERCATOR, grid.crs, always_xy=True)
    easting, northing = back.transform(*(transform @ (col, row)))
    left, bottom, right, top = grid.bounds
    return transform, (easting - left) / (right - left), (northing - bottom) / (top - bottom)


@pytest.mark.parametrize(
    ("epsg", "left", "top"),
    [
        (32633, 780_000, 7_200_000),  # far from the middle of its zone: turned by more than 5 deg
        (2056, 2_600_000, 1_200_000),  # another datum
        (32756, 334_000, 6_250_000),  # south of the equator
    ],
)
@pytest.mark.parametrize("coarser", [0, 30])
def test_steps_lie_where_pyproj_says(epsg: int, left: float, top: float, coarser: int) -> None:
    grid = plane(epsg, left, top)
    colours = DepthColours(grid, GREY)
    depths = TileDepths.of(colours, MERCATOR).coarse(coarser)
    assert depths.transform.a == (20 if coarser else 5)  # 40 m would be more than a pixel of 30
    transform, east, north = picture_of(grid)
    steps = depths.steps(transform, east.shape)
    off = np.hypot(east - 0.5, north - 0.5)
    rim = 0.04 if coarser else 0.01
    inside, outside = off < 0.45 - rim, off > 0.45 + rim
    assert (steps[outside] == 256).all()
    assert (steps[inside] < 256).all()
    low, high = colours.limits
    depth = low + (high - low) * steps / 255.0
    clear = off < 0.41  # wide cells on the rim are the mean of their wet part
    # half a step of colour is 0.02 m
    assert np.abs(depth - 5 * (east + north))[clear].max() < 0.03


def test_values_of_the_grid_come_back_at_its_own_pixels() -> None:
    values = np.random.default_rng(1).uniform(0, 10, (64, 96))
    values[10:20, 30:40] = np.nan
    crs = pyproj.CRS.from_epsg(3857)
    grid = Grid(values, Affine(2, 0, 1e6, 0, -2, 6e6), crs, "depth", "m")
    colours = DepthColours(grid, GREY)
    steps = TileDepths.of(colours, MERCATOR).steps(grid.transform, grid.shape)
    assert (colours.table[steps] == colours.rgba(values)).mean() > 0.999  # ties may round apart
    assert ((steps == 256) == np.isnan(values)).all()


def test_wide_cells_are_means_and_need_two_values() -> None:
    values = np.array([[1.0, 3, np.nan], [5, 7, 4], [np.nan, 2, np.nan]])
    grid = Grid(values, Affine(1, 0, 0, 0, -1, 3), pyproj.CRS.from_epsg(3857), "depth", "m")
    depths = TileDepths.of(DepthColours(grid, GREY), MERCATOR)
    wide = depths.coarse(2.0)
    kept = wide.values[1:-1, 1:-1] / 255 * 7
    np.testing.assert_allclose(kept, [[4, np.nan], [np.nan, np.nan]], atol=1e-6)
    assert wide.transform @ (1, 1) == (1, 2)  # middle of the first four
    assert depths.coarse(1.9) is depths


def test_far_away_is_nothing() -> None:
    grid = plane(32633, 500_000, 5_200_000)
    depths = TileDepths.of(DepthColours(grid, GREY), MERCATOR)
    for west, north in ((0.0, 0.0), (1.9e7, 1.9e7), (-2e7, -2e7)):
        steps = depths.steps(Affine(4, 0, west, 0, -4, north), (64, 64))
        assert (steps == 256).all()
