"""Ruggedness against published and derived figures and independent reckonings."""

import shutil
import subprocess
from collections.abc import Callable
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
from toolbox.terrain.ruggedness import roughness, ruggedness_index, surface_area_ratio
from toolbox.terrain.slope import slope

Kind = Literal["riley", "wilson", "root-mean-square"]
KINDS: tuple[Kind, ...] = get_args(Kind)

JENNESS = np.array([[190, 170, 155], [183, 165, 145], [175, 160, 122]], float)


def grid(values: np.ndarray, cell: float = 1.0) -> Grid:
    return Grid(np.asarray(values, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def ratio(values: np.ndarray, cell: float = 1.0) -> np.ndarray:
    return surface_area_ratio(grid(values, cell)).values


def plane(rows: int, cols: int, east: float, north: float, cell: float = 1.0) -> np.ndarray:
    x, y = np.meshgrid(np.arange(cols) * cell, -np.arange(rows) * cell)
    return east * x + north * y


def test_published_figure() -> None:
    # Jenness 2004, Wildlife Society Bulletin 32:829, cell 100 m: 10,280.48 m2 from edge lengths
    # rounded to a centimetre; full precision (derived) gives 10,280.771
    area = ratio(JENNESS, 100.0)[1, 1] * 100**2
    assert area == pytest.approx(10_280.48, abs=0.5)
    assert area == pytest.approx(10_280.771, abs=0.01)
    assert ratio(JENNESS, 100.0)[1, 1] == pytest.approx(1.0280, abs=1e-4)


@pytest.mark.parametrize(
    ("east", "north", "exact"),
    [(0.1, 0.0, 1.0049876), (0.3, 0.4, 1.1180340), (1.0, 0.0, 1.4142136), (0.0, 0.0, 1.0)],
)
@pytest.mark.parametrize("cell", [0.5, 1.0, 30.0])
def test_planes_are_exact_to_the_last_cell(
    east: float, north: float, exact: float, cell: float
) -> None:
    # derived: sqrt(1 + a^2 + b^2)
    np.testing.assert_allclose(ratio(plane(9, 11, east, north, cell), cell), exact, rtol=2e-6)


def jenness(window: np.ndarray, cell: float) -> float:
    """Surface over plan of one window as the paper does it: half the edges in space, then Heron."""
    spots = [(-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1)]
    places = [np.array([col * cell, row * cell, window[1 + row, 1 + col]]) for row, col in spots]
    middle = np.array([0.0, 0.0, window[1, 1]])
    area = 0.0
    for one, two in zip(places, places[1:] + places[:1], strict=True):
        pairs = ((middle, one), (middle, two), (one, two))
        a, b, c = (np.linalg.norm(p - q) / 2 for p, q in pairs)
        half = (a + b + c) / 2
        area += np.sqrt(half * (half - a) * (half - b) * (half - c))
    return float(area / cell**2)


def test_random_surface_agrees_with_herons_formula() -> None:
    values = np.random.default_rng(1).normal(0, 2, (12, 14)).astype(np.float32).astype(float)
    found = ratio(values, 1.5)
    for row in range(1, 11):
        for col in range(1, 13):
            window = values[row - 1 : row + 2, col - 1 : col + 2]
            assert found[row, col] == pytest.approx(jenness(window, 1.5), rel=1e-5)


def test_roughness_adds_surface() -> None:
    smooth = plane(30, 30, 0.2, 0.1)
    rough = smooth + np.random.default_rng(2).normal(0, 0.5, smooth.shape)
    assert (ratio(rough) >= 1).all()
    assert ratio(rough).mean() > 1.05 * ratio(smooth).mean()


def test_a_finer_grid_of_a_smooth_surface_converges() -> None:
    # derived: the surface of z = 10 sin(x/20) over plan, by a fine sum of sqrt(1 + z'^2)
    exact = np.sqrt(1 + (np.cos(np.linspace(0, 2 * np.pi, 20_001)[:-1]) / 2) ** 2).mean()
    errors = []
    for count in (16, 32, 64):
        cell = 40 * np.pi / count
        values = np.tile(10 * np.sin(2 * np.pi * np.arange(3 * count) / count), (3, 1))
        errors.append(abs(ratio(values, cell)[1, count : 2 * count].mean() - exact))
    assert errors[0] > 3 * errors[1] > 9 * errors[2]


# ---- at the shore ----

masks = arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9)))


def knowable(mask: np.ndarray) -> np.ndarray:
    """Tell where a cell, one beside it and one at the corner between make a known facet."""
    padded = np.pad(mask, 1)
    known = np.zeros_like(mask)
    for row, col in np.argwhere(mask):
        window = padded[row : row + 3, col : col + 3]
        known[row, col] = any(
            window[1 + di, 1 + dj] and window[1 + di + turn * dj, 1 + dj + turn * di]
            for di, dj in ((0, 1), (1, 0), (0, -1), (-1, 0))
            for turn in (-1, 1)
        )
    return known


@settings(max_examples=150, deadline=None)
@given(masks, st.floats(-2, 2), st.floats(-2, 2))
def test_a_plane_is_exact_at_a_shore_of_any_shape(
    mask: np.ndarray, east: float, north: float
) -> None:
    found = ratio(np.where(mask, plane(*mask.shape, east, north), np.nan))
    known = np.isfinite(found)
    np.testing.assert_array_equal(known, knowable(mask))
    np.testing.assert_allclose(found[known], np.sqrt(1 + east**2 + north**2), rtol=1e-5)


def test_blocks_two_cells_wide_have_a_value_everywhere() -> None:
    mask = np.kron(np.random.default_rng(3).random((12, 12)) < 0.5, np.ones((2, 2))) > 0
    values = np.where(mask, np.random.default_rng(4).normal(size=mask.shape), np.nan)
    np.testing.assert_array_equal(np.isfinite(ratio(values)), mask)


@pytest.mark.parametrize("shape", [(1, 1), (1, 12), (12, 1)])
def test_a_strip_one_cell_wide_stays_empty(shape: tuple[int, int]) -> None:
    assert np.isnan(ratio(np.zeros(shape))).all()


@settings(max_examples=60, deadline=None)
@given(masks, st.integers(0, 2**32 - 1), st.integers(0, 3), st.booleans())
def test_turned_and_mirrored_grids_have_turned_and_mirrored_ratios(
    mask: np.ndarray, seed: int, turns: int, mirrored: bool
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)

    def moved(array: np.ndarray) -> np.ndarray:
        return np.rot90(array[:, ::-1] if mirrored else array, turns)

    np.testing.assert_allclose(ratio(moved(values)), moved(ratio(values)), rtol=1e-5)


def test_depth_and_elevation_are_alike() -> None:
    np.testing.assert_array_equal(ratio(JENNESS, 100.0), ratio(-JENNESS, 100.0))


def test_the_grid_says_what_it_is() -> None:
    depth = grid(np.zeros((3, 3)), 2.0)
    found = surface_area_ratio(depth)
    assert (found.name, found.unit, found.transform) == ("surface_area_ratio", "1", depth.transform)
    assert found.values.dtype == np.float32


# ---- roughness and the ruggedness index ----

MEASURES: dict[str, Callable[[Grid], Grid]] = {
    "roughness": roughness,
    **{kind: lambda depth, kind=kind: ruggedness_index(depth, kind=kind) for kind in KINDS},
}
"""What is measured, by name."""

measures = st.sampled_from(sorted(MEASURES))
seeds = st.integers(0, 2**32 - 1)


def measure(name: str, values: np.ndarray) -> np.ndarray:
    return MEASURES[name](grid(values)).values


@pytest.mark.parametrize(
    ("name", "figure"),
    # derived, on the elevations of Jenness 2004; definitions of Riley et al. 1999 and Wilson et al.
    # 2007, as general-purpose raster libraries document them
    [("riley", 58.7197), ("wilson", 17.0), ("root-mean-square", 20.7605), ("roughness", 68.0)],
)
def test_on_the_grid_of_jenness(name: str, figure: float) -> None:
    assert measure(name, JENNESS)[1, 1] == pytest.approx(figure, abs=5e-5)


def on_a_plane(name: str, east: float, north: float) -> float:
    """Reckon the figure of a plane (derived) from the differences to the eight neighbours."""
    spots = [(x, y) for x in (-1, 0, 1) for y in (-1, 0, 1) if x or y]
    differences = np.abs([east * x + north * y for x, y in spots])
    return {
        "riley": float(np.sqrt((differences**2).sum())),
        "wilson": float(differences.mean()),
        "root-mean-square": float(np.sqrt((differences**2).mean())),
        "roughness": 2 * (abs(east) + abs(north)),
    }[name]


@settings(max_examples=150, deadline=None)
@given(masks, st.floats(-2, 2), st.floats(-2, 2), measures)
def test_a_plane_keeps_its_figure_at_a_shore_of_any_shape(
    mask: np.ndarray, east: float, north: float, name: str
) -> None:
    values = np.where(mask, plane(*mask.shape, east, north), np.nan)
    found = measure(name, values)
    known = np.isfinite(found)
    np.testing.assert_array_equal(known, np.isfinite(slope(grid(values)).values))
    np.testing.assert_allclose(found[known], on_a_plane(name, east, north), atol=5e-5)


def test_folds_and_bumps() -> None:
    # derived: a fold falling 0.5 a cell to both sides of its line; one cell raised by 1
    fold = np.tile(0.5 * np.abs(np.arange(-4.0, 5)), (7, 1))
    for way in (fold, -fold):
        np.testing.assert_allclose(measure("roughness", way)[:, 4], 0.5)
        np.testing.assert_allclose(measure("wilson", way)[:, 4], 0.5 * 6 / 8)
        np.testing.assert_allclose(measure("riley", way)[:, 4], 0.5 * np.sqrt(6), rtol=1e-6)
    bump = np.zeros((5, 5))
    bump[2, 2] = 1
    assert measure("wilson", bump)[2, 2] == 1
    assert measure("root-mean-square", bump)[2, 2] == 1
    assert measure("riley", bump)[2, 3] == 1
    assert measure("roughness", bump).sum() == 9


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("roughness", ["roughness"]),
        ("wilson", ["TRI", "-alg", "Wilson"]),
        ("riley", ["TRI", "-alg", "Riley"]),
    ],
)
def test_an_independent_program_gives_the_same_figures(
    tmp_path: Path, name: str, options: list[str]
) -> None:
    random = np.random.default_rng(3)
    values = random.normal(0, 1, (90, 70)).cumsum(axis=0).cumsum(axis=1).astype(np.float32) / 20
    values[30:45, 20:40] = np.nan
    source, target = tmp_path / "depth.tif", tmp_path / "out.tif"
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 90, "width": 70}
    place = {"transform": Affine(2, 0, 5e5, 0, -2, 5e6), "crs": "EPSG:32633", "nodata": -9999.0}
    with rasterio.open(source, "w", **profile, **place) as file:
        file.write(np.nan_to_num(values, nan=-9999.0), 1)
    what, *more = options
    command = ["gdaldem", what, source, target, "-q", *more]
    subprocess.run(command, check=True, timeout=60, env={})
    with rasterio.open(target) as file:
        other = file.read(1, masked=True).astype(float).filled(np.nan)
    found = measure(name, values)
    inside = np.isfinite(other)
    assert inside.sum() > 5000
    np.testing.assert_allclose(found[inside], other[inside], rtol=1e-5, atol=1e-6)


def differences_at_shore(values: np.ndarray, row: int, col: int) -> list[float]:
    """Neighbours less middle; of a missing one minus the opposite, as is written."""
    window = np.pad(values, 1, constant_values=np.nan)[row : row + 3, col : col + 3]
    known = window - window[1, 1]
    filled = np.where(np.isfinite(known), known, -known[::-1, ::-1])
    return [float(d) for d in np.delete(filled.ravel(), 4)]


@settings(max_examples=80, deadline=None)
@given(masks, seeds)
def test_shores_agree_with_an_independent_reckoning(mask: np.ndarray, seed: int) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    found = {name: measure(name, values) for name in MEASURES}
    for row, col in np.argwhere(mask):
        differences = differences_at_shore(values, row, col)
        if np.isfinite(differences).all():
            size = np.abs(differences)
            here = {name: result[row, col] for name, result in found.items()}
            assert here["wilson"] == pytest.approx(size.mean(), rel=1e-5)
            assert here["riley"] == pytest.approx(np.linalg.norm(size), rel=1e-5)
            assert here["root-mean-square"] == pytest.approx(here["riley"] / np.sqrt(8), rel=1e-5)


@settings(max_examples=80, deadline=None)
@given(masks, seeds)
def test_roughness_at_the_shore_is_at_least_that_of_the_known_cells(
    mask: np.ndarray, seed: int
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    found = roughness(grid(values)).values
    wide = np.pad(values, 1, constant_values=np.nan)
    for row, col in np.argwhere(np.isfinite(found)):
        window = wide[row : row + 3, col : col + 3]
        known = np.nanmax(window) - np.nanmin(window)
        assert found[row, col] >= known - 1e-5
        if np.isfinite(window).all():
            assert found[row, col] == pytest.approx(known, rel=1e-5)


@settings(max_examples=80, deadline=None)
@given(masks, seeds, st.integers(0, 3), st.booleans(), measures)
def test_turned_and_mirrored_grids_have_turned_and_mirrored_figures(
    mask: np.ndarray, seed: int, turns: int, mirrored: bool, name: str
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)

    def moved(array: np.ndarray) -> np.ndarray:
        return np.rot90(array[:, ::-1] if mirrored else array, turns)

    np.testing.assert_allclose(
        measure(name, moved(values)), moved(measure(name, values)), rtol=1e-4, atol=1e-6
    )


@settings(max_examples=40, deadline=None)
@given(masks, seeds, measures)
def test_depth_and_elevation_are_equally_rugged(mask: np.ndarray, seed: int, name: str) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    np.testing.assert_allclose(measure(name, values), measure(name, -values), rtol=1e-6)


def test_the_grids_say_what_they_are() -> None:
    depth = grid(np.zeros((3, 3)), 2.0)
    for found, name in ((roughness(depth), "roughness"), (ruggedness_index(depth), "")):
        assert (found.name, found.unit) == (name or "ruggedness_index", "m")
        assert found.transform == depth.transform
        assert found.values.dtype == np.float32


def test_an_unknown_kind_is_refused() -> None:
    message = r"^kind must be one of 'riley', 'wilson', 'root-mean-square', got 'range'$"
    with pytest.raises(ParameterError, match=message):
        ruggedness_index(grid(np.zeros((3, 3))), kind="range")  # type: ignore[arg-type]
