"""Shaded relief against closed forms and an independent program."""

import shutil
import subprocess
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
import rasterio
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.terrain.relief import shaded_relief
from toolbox.terrain.slope import slope

Lights = Literal["one", "four"]


def grid(values: np.ndarray, cell: float = 1.0) -> Grid:
    return Grid(np.asarray(values, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def plane(rows: int, cols: int, east: float, north: float) -> np.ndarray:
    x, y = np.meshgrid(np.arange(cols), -np.arange(rows))
    return np.asarray(east * x + north * y, float)


# ---- closed forms (derived) ----


@pytest.mark.parametrize("altitude", [0.0, 30.0, 45.0, 90.0])
@pytest.mark.parametrize("lights", ["one", "four"])
def test_a_level_bed_has_the_sine_of_the_altitude(altitude: float, lights: Lights) -> None:
    found = shaded_relief(grid(np.full((4, 5), 3.0)), altitude=altitude, lights=lights).values
    np.testing.assert_allclose(found, np.sin(np.radians(altitude)), atol=1e-6)


@pytest.mark.parametrize("azimuth", [0.0, 77.0, 180.0, 315.0, 360.0])
def test_a_bank_square_to_the_light_is_brightest_and_its_back_is_dark(azimuth: float) -> None:
    # the bank falls towards the light at 90 degrees less the altitude, in cells of 2 m
    towards, steep = np.radians(azimuth), 2 * np.tan(np.radians(90 - 30))
    bank = plane(6, 7, steep * np.sin(towards), steep * np.cos(towards))
    lit = shaded_relief(grid(bank, 2.0), azimuth=azimuth, altitude=30).values
    np.testing.assert_allclose(lit, 1, atol=1e-6)
    back = shaded_relief(grid(-bank, 2.0), azimuth=azimuth, altitude=30).values
    np.testing.assert_array_equal(back, 0)


def test_a_hump_is_bright_towards_the_light_and_a_hole_away_from_it() -> None:
    x, y = np.meshgrid(np.arange(-5.0, 6), np.arange(5.0, -6, -1))
    hump = 0.05 * (x**2 + y**2)
    north_west, south_east = (2, 2), (8, 8)
    lit = shaded_relief(grid(hump)).values
    assert lit[north_west] > lit[5, 5] > lit[south_east]
    hollow = shaded_relief(grid(-hump)).values
    assert hollow[north_west] < hollow[5, 5] < hollow[south_east]


def test_exaggeration_is_a_factor_on_the_depths() -> None:
    values = np.random.default_rng(1).normal(0, 1, (9, 9))
    for lights in ("one", "four"):
        found = shaded_relief(grid(values), exaggeration=5, lights=lights).values  # type: ignore[arg-type]
        again = shaded_relief(grid(5 * values), lights=lights).values  # type: ignore[arg-type]
        np.testing.assert_allclose(found, again, atol=1e-5)


def test_four_lights_are_the_weighted_mean_of_each() -> None:
    # Mark 1992, USGS Open-File Report 92-422: lights at 225, 270, 315 and 360 degrees (from
    # memory); weights as the independent program below has them
    for bearing in (0.0, 20.0, 100.0, 240.0, 315.0):
        towards = np.radians(bearing)
        bed = grid(plane(3, 3, 0.7 * np.sin(towards), 0.7 * np.cos(towards)))
        azimuths = [225, 270, 315, 360]
        each = [shaded_relief(bed, azimuth=a, altitude=30).values[1, 1] for a in azimuths]
        weights = np.cos(towards - np.radians(azimuths)) ** 2
        found = shaded_relief(bed, altitude=30, lights="four").values[1, 1]
        assert found == pytest.approx(np.average(each, weights=weights), abs=1e-6)


# ---- an independent program ----


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
@pytest.mark.parametrize(
    ("lights", "options"),
    [("one", ["-az", "300"]), ("four", ["-multidirectional"])],
)
def test_an_independent_program_gives_the_same_shades(
    tmp_path: Path, lights: Lights, options: list[str]
) -> None:
    random = np.random.default_rng(3)
    values = random.normal(0, 1, (90, 70)).cumsum(axis=0).cumsum(axis=1).astype(np.float32) / 20
    values[30:45, 20:40] = np.nan
    source, target = tmp_path / "elevation.tif", tmp_path / "shade.tif"
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 90, "width": 70}
    place = {"transform": Affine(2, 0, 5e5, 0, -2, 5e6), "crs": "EPSG:32633", "nodata": -9999.0}
    with rasterio.open(source, "w", **profile, **place) as file:
        file.write(np.nan_to_num(-values, nan=-9999.0), 1)
    command = ["gdaldem", "hillshade", "-q", "-alt", "40", "-z", "1.5", *options, source, target]
    subprocess.run(command, check=True, timeout=60, env={})
    with rasterio.open(target) as file:
        other = file.read(1, masked=True).astype(float).filled(np.nan)
    azimuth = 300 if lights == "one" else 315
    found = shaded_relief(
        grid(values, 2.0), azimuth=azimuth, altitude=40, exaggeration=1.5, lights=lights
    ).values
    inside = np.isfinite(other)
    assert inside.sum() > 5000
    # it writes whole numbers from 1, in the shade, to 255
    assert np.abs(1 + 254 * found - other)[inside].max() < 0.501


# ---- at the shore ----

masks = arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9)))
seeds = st.integers(0, 2**32 - 1)
sides = st.sampled_from(["one", "four"])


@settings(max_examples=100, deadline=None)
@given(masks, st.floats(-2, 2), st.floats(-2, 2), sides)
def test_a_plane_is_evenly_lit_to_a_shore_of_any_shape(
    mask: np.ndarray, east: float, north: float, lights: Lights
) -> None:
    bed = grid(np.where(mask, plane(*mask.shape, east, north), np.nan))
    found = shaded_relief(bed, lights=lights).values
    known = np.isfinite(found)
    np.testing.assert_array_equal(known, np.isfinite(slope(bed).values))
    whole = shaded_relief(grid(plane(3, 3, east, north)), lights=lights).values[1, 1]
    np.testing.assert_allclose(found[known], whole, atol=2e-3 if lights == "four" else 1e-5)


@settings(max_examples=80, deadline=None)
@given(masks, seeds, st.integers(0, 3), st.booleans(), sides)
def test_the_light_turns_with_the_grid(
    mask: np.ndarray, seed: int, turns: int, mirrored: bool, lights: Lights
) -> None:
    # np.rot90 turns anticlockwise; four lights are symmetric about 22.5 degrees before `azimuth`
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    here = shaded_relief(grid(values), azimuth=100, lights=lights).values
    azimuth = 100.0
    if mirrored:
        values, here = values[:, ::-1], here[:, ::-1]
        azimuth = -100.0 if lights == "one" else -(100.0 - 45)
    azimuth = (azimuth - 90 * turns) % 360
    there = shaded_relief(grid(np.rot90(values, turns)), azimuth=azimuth, lights=lights).values
    np.testing.assert_allclose(there, np.rot90(here, turns), atol=2e-3)


@settings(max_examples=60, deadline=None)
@given(masks, seeds)
def test_relief_turned_inside_out_is_lit_from_the_other_side(mask: np.ndarray, seed: int) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    found = shaded_relief(grid(-values), azimuth=135).values
    np.testing.assert_allclose(found, shaded_relief(grid(values), azimuth=315).values, atol=1e-5)


@settings(max_examples=60, deadline=None)
@given(masks, seeds, sides)
def test_brightness_stays_between_shade_and_full_light(
    mask: np.ndarray, seed: int, lights: Lights
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 3, mask.shape), np.nan)
    found = shaded_relief(grid(values), exaggeration=10, lights=lights).values
    found = found[np.isfinite(found)]
    assert ((found >= 0) & (found <= 1 + 1e-6)).all()


# ---- the layer ----


def test_the_grid_says_what_it_is() -> None:
    depth = grid(np.zeros((3, 3)), 2.0)
    found = shaded_relief(depth)
    assert (found.name, found.unit, found.transform) == ("shaded_relief", "1", depth.transform)
    assert found.values.dtype == np.float32


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("azimuth", 361, r"^azimuth must be >= 0 and <= 360 degree, got 361$"),
        ("altitude", -1, r"^altitude must be >= 0 and <= 90 degree, got -1$"),
        ("exaggeration", 0, r"^exaggeration must be > 0, got 0$"),
        ("lights", "two", r"^lights must be one of 'one', 'four', got 'two'$"),
    ],
)
def test_what_is_not_allowed_is_refused(name: str, value: object, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        shaded_relief(grid(np.zeros((3, 3))), **{name: value})  # type: ignore[arg-type]
