"""Aspect against a published figure, closed forms and an independent program."""

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Literal, get_args

import numpy as np
import pytest
import rasterio
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.terrain.aspect import aspect
from toolbox.terrain.slope import slope

Method = Literal["horn", "zevenbergen-thorne"]
METHODS: tuple[Method, ...] = get_args(Method)
methods = st.sampled_from(METHODS)


def grid(values: np.ndarray | Sequence[Sequence[float]], cell: float = 1.0) -> Grid:
    return Grid(np.asarray(values, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def plane(rows: int, cols: int, east: float, north: float, cell: float = 1.0) -> np.ndarray:
    x, y = np.meshgrid(np.arange(cols) * cell, -np.arange(rows) * cell)
    return east * x + north * y


def apart(one: np.ndarray, two: np.ndarray | float) -> np.ndarray:
    """Degrees between bearings, the short way round."""
    return np.asarray(np.abs((one - two + 180) % 360 - 180))


def test_worked_example_of_a_gis_manual() -> None:
    # A desktop GIS's help page on aspect, worked example on elevations (quoted in public test
    # data): dz/dx -8.125, dz/dy -0.375, compass 92.64 degrees; full precision (derived) 92.6425
    heights = np.array([[101, 92, 85], [101, 92, 85], [101, 91, 84]], float)
    assert aspect(grid(-heights)).values[1, 1] == pytest.approx(92.64, abs=0.005)
    assert aspect(grid(-heights)).values[1, 1] == pytest.approx(92.6425, abs=1e-4)
    assert aspect(grid(heights)).values[1, 1] == pytest.approx(272.6425, abs=1e-4)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("bearing", [0, 10, 45, 90, 135, 180, 225, 270, 300, 315, 359.9])
def test_planes_face_the_way_they_fall_to_the_last_cell(bearing: float, method: Method) -> None:
    # derived: depth grows towards the bearing
    towards = np.radians(bearing)
    values = plane(9, 11, 0.2 * np.sin(towards), 0.2 * np.cos(towards), 2.0)
    found = aspect(grid(values, 2.0), method=method).values
    assert (apart(found, bearing) < 1e-3).all()
    assert ((found >= 0) & (found < 360)).all()


@pytest.mark.parametrize("method", METHODS)
def test_a_hump_faces_outwards_and_a_hole_inwards(method: Method) -> None:
    # derived: gradients of a paraboloid are exact inside, so bearings from its middle are
    x, y = np.meshgrid(np.arange(-5.0, 6), np.arange(5.0, -6, -1))
    outwards = np.degrees(np.arctan2(x, y)) % 360
    inside = np.hypot(x, y) > 0
    inside[[0, -1], :] = inside[:, [0, -1]] = False
    hump = aspect(grid(x**2 + y**2), method=method).values
    hole = aspect(grid(-(x**2) - y**2), method=method).values
    assert inside.sum() == 80
    assert (apart(hump, outwards)[inside] < 1e-3).all()
    assert (apart(hole, outwards + 180)[inside] < 1e-3).all()
    assert np.isnan(hump[5, 5])


def test_the_bed_along_a_ridge_and_a_valley() -> None:
    # derived: flanks of a fold running north face away from a ridge and towards a valley
    across = np.tile(np.abs(np.arange(-6.0, 7)), (5, 1))
    ridge, valley = aspect(grid(across)).values, aspect(grid(-across)).values
    np.testing.assert_allclose(ridge[:, :6], 270, atol=1e-3)
    np.testing.assert_allclose(ridge[:, 7:], 90, atol=1e-3)
    np.testing.assert_allclose(valley[:, :6], 90, atol=1e-3)
    np.testing.assert_allclose(valley[:, 7:], 270, atol=1e-3)
    assert np.isnan(ridge[:, 6]).all()


def test_a_level_bed_faces_nowhere() -> None:
    assert np.isnan(aspect(grid(np.full((5, 5), 7.0))).values).all()


def test_agrees_with_the_two_argument_arctangent_of_another_library() -> None:
    # gradients of every direction and of sizes from 1e-6 to 1e6
    random = np.random.default_rng(1)
    size = 10 ** random.uniform(-6, 6, 2000)
    towards = random.uniform(0, 2 * np.pi, 2000)
    east = (size * np.sin(towards)).astype(np.float32)
    north = (size * np.cos(towards)).astype(np.float32)
    values = np.full((2, 6000), np.nan)  # a cell, its neighbours west and south, a gap
    values[0, 1::3], values[0, ::3], values[1, 1::3] = 0, -east, -north
    found = aspect(grid(values)).values[0, 1::3]
    exact = np.degrees(np.arctan2(east.astype(float), north.astype(float)))
    assert (apart(found, exact) < 1e-4).all()


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
@pytest.mark.parametrize(
    ("method", "name"), [("horn", "Horn"), ("zevenbergen-thorne", "ZevenbergenThorne")]
)
def test_an_independent_program_gives_the_same_bearings(
    tmp_path: Path, method: Method, name: str
) -> None:
    random = np.random.default_rng(3)
    values = random.normal(0, 1, (90, 70)).cumsum(axis=0).cumsum(axis=1).astype(np.float32) / 20
    values[30:45, 20:40] = np.nan
    source, target = tmp_path / "elevation.tif", tmp_path / "aspect.tif"
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 90, "width": 70}
    place = {"transform": Affine(2, 0, 5e5, 0, -2, 5e6), "crs": "EPSG:32633", "nodata": -9999.0}
    with rasterio.open(source, "w", **profile, **place) as file:
        file.write(np.nan_to_num(-values, nan=-9999.0), 1)
    command = ["gdaldem", "aspect", "-q", "-alg", name, source, target]
    subprocess.run(command, check=True, timeout=60, env={})
    with rasterio.open(target) as file:
        other = file.read(1, masked=True).astype(float).filled(np.nan)
    inside = np.isfinite(other)
    assert inside.sum() > 5000
    assert apart(aspect(grid(values, 2.0), method=method).values, other)[inside].max() < 0.01


# ---- at the shore ----

masks = arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9)))
seeds = st.integers(0, 2**32 - 1)


@settings(max_examples=150, deadline=None)
@given(masks, st.floats(0, 359.9), methods)
def test_a_plane_faces_one_way_at_a_shore_of_any_shape(
    mask: np.ndarray, bearing: float, method: Method
) -> None:
    towards = np.radians(bearing)
    values = np.where(mask, plane(*mask.shape, np.sin(towards), np.cos(towards)), np.nan)
    found = aspect(grid(values), method=method).values
    known = np.isfinite(found)
    np.testing.assert_array_equal(known, np.isfinite(slope(grid(values)).values))
    assert (apart(found[known], bearing) < 1e-3).all()


@settings(max_examples=60, deadline=None)
@given(masks, seeds, methods)
def test_depth_and_elevation_face_opposite_ways(
    mask: np.ndarray, seed: int, method: Method
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    down, up = (aspect(grid(way * values), method=method).values for way in (1, -1))
    np.testing.assert_array_equal(np.isfinite(down), np.isfinite(up))
    known = np.isfinite(down)
    assert (apart(down, up + 180)[known] < 1e-3).all()


@settings(max_examples=60, deadline=None)
@given(masks, seeds, st.integers(0, 3), methods)
def test_turned_grids_face_turned_ways(
    mask: np.ndarray, seed: int, turns: int, method: Method
) -> None:
    # np.rot90 turns anticlockwise, so a quarter takes 90 degrees off every bearing
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    expected = np.rot90(aspect(grid(values), method=method).values, turns) - 90 * turns
    found = aspect(grid(np.rot90(values, turns)), method=method).values
    np.testing.assert_array_equal(np.isfinite(found), np.isfinite(expected))
    assert (apart(found, expected)[np.isfinite(found)] < 0.05).all()


@settings(max_examples=60, deadline=None)
@given(masks, seeds, methods)
def test_a_mirrored_grid_faces_mirrored_ways(mask: np.ndarray, seed: int, method: Method) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    expected = -aspect(grid(values), method=method).values[:, ::-1]
    found = aspect(grid(values[:, ::-1]), method=method).values
    np.testing.assert_array_equal(np.isfinite(found), np.isfinite(expected))
    assert (apart(found, expected)[np.isfinite(found)] < 0.05).all()


# ---- the layer ----


def test_the_grid_says_what_it_is() -> None:
    depth = grid(plane(3, 3, 1, 0, 2.0), 2.0)
    found = aspect(depth)
    assert (found.name, found.unit, found.transform) == ("aspect", "degree", depth.transform)
    assert found.values.dtype == np.float32


def test_an_unknown_method_is_refused() -> None:
    message = r"^method must be one of 'horn', 'zevenbergen-thorne', got 'sobel'$"
    with pytest.raises(ParameterError, match=message):
        aspect(grid(np.zeros((3, 3))), method="sobel")  # type: ignore[arg-type]
