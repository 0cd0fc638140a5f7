"""Slope against published figures, closed forms and an independent program."""

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
from scipy.ndimage import correlate

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.terrain.slope import slope

Method = Literal["horn", "zevenbergen-thorne"]
METHODS: tuple[Method, ...] = get_args(Method)


def grid(values: np.ndarray | Sequence[Sequence[float]], cell: float = 1.0) -> Grid:
    return Grid(np.asarray(values, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def surface(function: object, rows: int = 21, cols: int = 25, cell: float = 1.0) -> np.ndarray:
    """Evaluate z(x, y), y to the north, on cell centres around the origin."""
    x = (np.arange(cols) - cols // 2) * cell
    y = (rows // 2 - np.arange(rows)) * cell
    return np.asarray(function(*np.meshgrid(x, y)), float)  # type: ignore[operator]


# ---- published figures ----


def test_worked_example_of_a_gis_manual() -> None:
    # A desktop GIS's help page on slope, worked example, cell 5 m (quoted in public test data);
    # the page multiplies by 57.29578, full precision gives 75.257658
    values = grid([[50, 45, 50], [30, 30, 30], [8, 10, 10]], 5.0)
    assert slope(values).values[1, 1] == pytest.approx(75.25762, abs=1e-4)
    assert slope(values, unit="ratio").values[1, 1] == pytest.approx(3.80032, abs=1e-5)


def test_worked_example_of_aspect_gives_its_gradient() -> None:
    # The same source's example on aspect: dz/dx -8.125, dz/dy -0.375, cell 1
    values = grid([[101, 92, 85], [101, 92, 85], [101, 91, 84]])
    found = slope(values, unit="ratio").values[1, 1]
    assert found == pytest.approx(np.hypot(8.125, 0.375), rel=1e-6)


def test_on_the_grid_of_jenness() -> None:
    # Jenness 2004, Wildlife Society Bulletin 32:829, elevations, cell 100 m; slope derived
    values = grid([[190, 170, 155], [183, 165, 145], [175, 160, 122]], 100.0)
    assert slope(values).values[1, 1] == pytest.approx(12.5125, abs=5e-5)
    assert slope(values, unit="ratio").values[1, 1] == pytest.approx(np.hypot(0.205, 0.085))
    # Zevenbergen and Thorne 1987, ESPL 12:47 (formulae from memory): G -0.19, H 0.05; derived
    found = slope(values, method="zevenbergen-thorne").values[1, 1]
    assert found == pytest.approx(11.1153, abs=5e-5)


# ---- closed forms (derived) ----

PLANES = [(0.1, 0.0, 5.710593), (0.3, 0.4, 26.565051), (1.0, 0.0, 45.0), (0.0, 0.0, 0.0)]


@pytest.mark.parametrize(("east", "north", "degrees"), PLANES)
@pytest.mark.parametrize("cell", [0.5, 1.0, 30.0])
@pytest.mark.parametrize("method", METHODS)
def test_planes_are_exact_to_the_last_cell(
    east: float, north: float, degrees: float, cell: float, method: Method
) -> None:
    plane = surface(lambda x, y: east * x + north * y, cell=cell)
    found = slope(grid(plane, cell), method=method).values
    np.testing.assert_allclose(found, degrees, atol=2e-4)


@pytest.mark.parametrize("method", METHODS)
def test_paraboloid_is_exact_inside(method: Method) -> None:
    # central differences are exact for quadratics: gradient (2 k x, 2 k y)
    values = surface(lambda x, y: 0.001 * ((x + 200) ** 2 + (y + 100) ** 2 - 5e4), 5, 5)
    found = slope(grid(values), unit="ratio", method=method).values[2, 2]
    assert found == pytest.approx(np.hypot(0.4, 0.2), rel=1e-5)


def test_the_crest_of_a_ridge_and_the_floor_of_a_valley_are_level() -> None:
    # derived: central differences across a symmetric fold vanish on its line, and one cell beside
    # it both methods see the plane of the flank
    for way in (1.0, -1.0):
        fold = surface(lambda x, y, way=way: way * 0.5 * np.abs(x))
        for method in METHODS:
            found = slope(grid(fold), unit="ratio", method=method).values
            np.testing.assert_allclose(found[:, 12], 0, atol=1e-7)
            np.testing.assert_allclose(np.delete(found, 12, axis=1), 0.5, rtol=1e-6)


def test_sphere() -> None:
    # radius 500 m at 100 m from its axis: exact asin(0.2) = 11.536959, Horn's windows 11.536995
    top = np.sqrt(500**2 - 100**2)
    values = surface(lambda x, y: np.sqrt(500**2 - (x + 100) ** 2 - y**2) - top, 3, 3)
    found = slope(grid(values)).values[1, 1]
    assert found == pytest.approx(11.536995, abs=1e-4)
    assert found == pytest.approx(np.degrees(np.arcsin(0.2)), abs=2e-4)


def test_horn_converges_with_the_square_of_the_cell() -> None:
    errors = []
    for cell in (8.0, 4.0, 2.0):
        values = surface(lambda x, y: np.sin(x / 20) * np.cos(y / 30) * 10, 41, 41, cell)
        exact = surface(
            lambda x, y: np.hypot(
                np.cos(x / 20) * np.cos(y / 30) / 2, np.sin(x / 20) * np.sin(y / 30) / 3
            ),
            41,
            41,
            cell,
        )
        found = slope(grid(values, cell), unit="ratio").values
        near = slice(20 - int(16 / cell), 21 + int(16 / cell))
        errors.append(np.abs(found - exact)[near, near].max())
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert ((orders > 1.7) & (orders < 2.3)).all()


# ---- an independent reckoning ----


def horn(values: np.ndarray, cell: float) -> np.ndarray:
    """Rise over run by Horn 1981, Proc. IEEE 69:14, in double precision; NaN at every edge."""
    east = np.array([[-1, 0, 1], [-2, 0, 2], [-1, 0, 1]]) / (8 * cell)
    dx, dy = (correlate(values, kernel, mode="constant", cval=np.nan) for kernel in (east, east.T))
    return np.hypot(dx, dy)


def test_random_surface_agrees_with_a_convolution() -> None:
    values = np.random.default_rng(1).normal(0, 3, (60, 80)).cumsum(axis=0).cumsum(axis=1) / 50
    found = slope(grid(values, 2.0), unit="ratio").values
    exact = horn(values.astype(np.float32).astype(float), 2.0)
    inside = np.isfinite(exact)
    assert inside.sum() == 58 * 78
    np.testing.assert_allclose(found[inside], exact[inside], rtol=1e-4, atol=1e-5)


def test_units_agree_with_the_arctangent_of_another_library() -> None:
    # from level to a cliff of 1e6: the kernel's polynomial must hold over the whole range
    random = np.random.default_rng(2)
    rough = np.concatenate([random.normal(0, 10.0**power, (40, 60)) for power in range(-5, 7)])
    values = grid(rough)
    ratio = slope(values, unit="ratio").values.astype(float)
    assert ratio.min() < 1e-4
    assert ratio.max() > 1e5
    degree = slope(values, unit="degree").values
    np.testing.assert_allclose(degree, np.degrees(np.arctan(ratio)), rtol=0, atol=1e-4)
    assert degree.max() <= 90
    percent = slope(values, unit="percent").values
    np.testing.assert_allclose(percent, 100 * ratio, rtol=1e-6)


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
@pytest.mark.parametrize(
    ("method", "name"), [("horn", "Horn"), ("zevenbergen-thorne", "ZevenbergenThorne")]
)
def test_an_independent_program_gives_the_same_degrees(
    tmp_path: Path, method: Method, name: str
) -> None:
    random = np.random.default_rng(3)
    values = random.normal(0, 1, (90, 70)).cumsum(axis=0).cumsum(axis=1).astype(np.float32) / 20
    values[30:45, 20:40] = np.nan
    source, target = tmp_path / "depth.tif", tmp_path / "slope.tif"
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 90, "width": 70}
    place = {"transform": Affine(2, 0, 5e5, 0, -2, 5e6), "crs": "EPSG:32633", "nodata": -9999.0}
    with rasterio.open(source, "w", **profile, **place) as file:
        file.write(np.nan_to_num(values, nan=-9999.0), 1)
    command = ["gdaldem", "slope", "-q", "-alg", name, source, target]
    subprocess.run(command, check=True, timeout=60, env={})
    with rasterio.open(target) as file:
        other = file.read(1, masked=True).astype(float).filled(np.nan)
    found = slope(grid(values, 2.0), method=method).values
    inside = np.isfinite(other)
    assert inside.sum() > 5000
    assert np.isfinite(found[inside]).all()
    assert np.abs(found - other)[inside].max() < 1e-3


# ---- at the shore ----


def knowable(mask: np.ndarray) -> np.ndarray:
    """Tell where a window holds a difference along both axes, so that a slope can be known."""
    padded = np.pad(mask, 1)
    rows, cols = mask.shape

    def shifted(down: int, right: int) -> np.ndarray:
        return padded[1 + down : 1 + down + rows, 1 + right : 1 + right + cols]

    across = np.zeros_like(mask)
    along = np.zeros_like(mask)
    for k in (-1, 0, 1):
        a, b, c = shifted(k, -1), shifted(k, 0), shifted(k, 1)
        across |= (a & c) | (b & (a | c))
        a, b, c = shifted(-1, k), shifted(0, k), shifted(1, k)
        along |= (a & c) | (b & (a | c))
    return np.asarray(mask & across & along)


def rise(line: np.ndarray) -> float:
    """Rise per cell along three cells: across, else one-sided, else unknown."""
    before, here, after = line
    if np.isfinite([before, after]).all():
        return float(after - before) / 2
    known = [step for step in (after - here, here - before) if np.isfinite(step)]
    return known[0] if known else np.nan


def rise_at_shore(values: np.ndarray, row: int, col: int, method: Method) -> float:
    """Horn's weights 1, 2, 1 over the rises that are known, or the middle one, as is written."""
    window = np.pad(values, 1, constant_values=np.nan)[row : row + 3, col : col + 3]
    gradient = []
    for lines in (window, window.T):
        rises = np.array([rise(line) for line in lines])
        known = np.isfinite(rises)
        if not known.any():
            return np.nan
        middle = method == "zevenbergen-thorne" and known[1]
        weights = np.array([0, 1, 0] if middle else [1, 2, 1])[known]
        gradient.append(np.average(rises[known], weights=weights))
    return float(np.hypot(*gradient))


@settings(max_examples=60, deadline=None)
@given(
    arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9))),
    st.integers(0, 2**32 - 1),
    st.sampled_from(METHODS),
)
def test_shores_agree_with_an_independent_reckoning(
    mask: np.ndarray, seed: int, method: Method
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    found = slope(grid(values), unit="ratio", method=method).values
    for row, col in np.argwhere(mask):
        exact = rise_at_shore(values, row, col, method)
        assert found[row, col] == pytest.approx(exact, rel=1e-4, abs=1e-5, nan_ok=True)


def two_wide(mask: np.ndarray) -> np.ndarray:
    """Cells that belong to a full block of two by two cells: no strip one cell wide."""
    block = mask[:-1, :-1] & mask[1:, :-1] & mask[:-1, 1:] & mask[1:, 1:]
    kept = np.zeros_like(mask)
    for down in (0, 1):
        for right in (0, 1):
            rows, cols = block.shape
            kept[down : down + rows, right : right + cols] |= block
    return kept


masks = arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9)))


@settings(max_examples=150, deadline=None)
@given(masks, st.floats(-2, 2), st.floats(-2, 2), st.sampled_from(METHODS))
def test_a_plane_is_exact_at_a_shore_of_any_shape(
    mask: np.ndarray, east: float, north: float, method: Method
) -> None:
    plane = surface(lambda x, y: east * x + north * y, *mask.shape)
    found = slope(grid(np.where(mask, plane, np.nan)), unit="ratio", method=method).values
    known = np.isfinite(found)
    np.testing.assert_array_equal(known, knowable(mask))
    assert known[two_wide(mask)].all()
    np.testing.assert_allclose(found[known], np.hypot(east, north), atol=1e-5)


@pytest.mark.parametrize("shape", [(1, 1), (1, 12), (12, 1)])
def test_a_strip_one_cell_wide_stays_empty(shape: tuple[int, int]) -> None:
    assert np.isnan(slope(grid(np.arange(12.0)[: shape[0] * shape[1]].reshape(shape))).values).all()


@settings(max_examples=60, deadline=None)
@given(
    masks,
    st.integers(0, 2**32 - 1),
    st.integers(0, 3),
    st.booleans(),
    st.sampled_from(METHODS),
)
def test_turned_and_mirrored_grids_have_turned_and_mirrored_slopes(
    mask: np.ndarray, seed: int, turns: int, mirrored: bool, method: Method
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)

    def moved(array: np.ndarray) -> np.ndarray:
        return np.rot90(array[:, ::-1] if mirrored else array, turns)

    here = slope(grid(values), unit="ratio", method=method).values
    there = slope(grid(moved(values)), unit="ratio", method=method).values
    np.testing.assert_allclose(there, moved(here), rtol=1e-4, atol=1e-5)


def test_depth_and_elevation_slope_alike() -> None:
    values = np.random.default_rng(5).normal(0, 1, (20, 20))
    np.testing.assert_array_equal(slope(grid(values)).values, slope(grid(-values)).values)


# ---- the layer ----


@pytest.mark.parametrize(
    ("unit", "written"), [("degree", "degree"), ("percent", "%"), ("ratio", "1")]
)
def test_the_grid_says_what_it_is(unit: str, written: str) -> None:
    depth = grid(np.zeros((3, 3)), 2.0)
    found = slope(depth, unit=unit)  # type: ignore[arg-type]
    assert (found.name, found.unit, found.transform) == ("slope", written, depth.transform)
    assert found.values.dtype == np.float32


def test_an_unknown_unit_is_refused() -> None:
    message = r"^unit must be one of 'degree', 'percent', 'ratio', got 'radian'$"
    with pytest.raises(ParameterError, match=message):
        slope(grid(np.zeros((3, 3))), unit="radian")  # type: ignore[arg-type]
