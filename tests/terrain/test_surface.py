"""Arc-chord ratio and vector ruggedness: published figures, closed forms, plain reckonings."""

from collections.abc import Callable

import numba
import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.terrain.ruggedness import surface_area_ratio
from toolbox.terrain.surface import arc_chord_ratio, vector_ruggedness

# Jenness 2004, Wildlife Society Bulletin 32:829: elevations of the worked example, cell 100 m
JENNESS = np.array([[190, 170, 155], [183, 165, 145], [175, 160, 122]], float)
Measure = Callable[..., Grid]
BOTH = pytest.mark.parametrize(
    ("measure", "level"), [(arc_chord_ratio, 1.0), (vector_ruggedness, 0.0)]
)


def grid(values: np.ndarray, cell: float = 1.0) -> Grid:
    return Grid(np.asarray(values, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def rough(shape: tuple[int, int], seed: int, missing: float = 0.0) -> np.ndarray:
    random = np.random.default_rng(seed)
    values = random.normal(0, 1, shape).astype(np.float32).astype(float)
    return np.where(random.random(shape) < missing, np.nan, values)


# ---- figures and closed forms ----


def test_arc_chord_ratio_on_the_grid_of_jenness() -> None:
    # defined by Du Preez 2015, Landscape Ecology 30:181; derived from Jenness's elevations:
    # 1.0280771 over sqrt(1 + 0.21^2 + 0.0966667^2), the plane of least squares through nine depths
    found = arc_chord_ratio(grid(JENNESS, 100.0), window=300.0).values[1, 1]
    assert found == pytest.approx(1.001659, abs=1e-6)


@BOTH
@pytest.mark.parametrize(("east", "north"), [(0.1, 0.0), (0.3, 0.4), (1.0, 0.0), (0.0, 0.0)])
@pytest.mark.parametrize("window", [3, 5, 9])
def test_planes_are_smooth_to_the_last_cell(
    measure: Measure, level: float, east: float, north: float, window: float
) -> None:
    x, y = np.meshgrid(np.arange(12) * 2.0, np.arange(10) * 2.0)
    found = measure(grid(east * x + north * y, 2.0), window=2 * window).values
    np.testing.assert_allclose(found, level, atol=2e-6)


@pytest.mark.parametrize(
    ("degrees", "exact"), [(10, 0.015192), (30, 0.133975), (45, 0.292893), (1, 0.000152305)]
)
def test_two_facets_facing_apart(degrees: float, exact: float) -> None:
    # Sappington et al. 2007, Journal of Wildlife Management 71:1419: 1 - cos(s) where each facet is
    # half the window (derived); the crest itself is a column more, whose normal points up
    rise = np.tan(np.radians(degrees))
    roof = np.tile(-rise * np.abs(np.arange(-60.0, 61)), (9, 1))
    sides = 100  # of 101 columns, and one on the crest
    found = vector_ruggedness(grid(roof), window=101).values[4, 60]
    up = (sides * np.cos(np.radians(degrees)) + 1) / 101
    assert found == pytest.approx(1 - up, rel=1e-5)
    assert found * 101 / sides == pytest.approx(exact, rel=1e-4)


def test_vector_ruggedness_of_a_sphere() -> None:
    # normals of a sphere point from its middle: radius 50, windows of 21 cells (derived)
    x, y = np.meshgrid(np.arange(-15.0, 16), np.arange(-15.0, 16))
    height = np.sqrt(50**2 - x**2 - y**2)
    normals = np.stack([x, y, height])[:, 5:26, 5:26] / 50
    exact = 1 - np.linalg.norm(normals.mean(axis=(1, 2)))
    found = vector_ruggedness(grid(-height), window=21).values[15, 15]
    assert found == pytest.approx(exact, rel=5e-3)
    assert exact > 0.01


def test_arc_chord_ratio_of_a_paraboloid_at_its_top() -> None:
    # the plane is level there, so the ratio is the mean surface over plan within the cells that
    # do not touch the rim: 19 of 21 across (derived)
    x, y = np.meshgrid(np.arange(-15.0, 16), np.arange(-15.0, 16))
    fine = (np.arange(-950, 950) + 0.5) / 100
    exact = np.sqrt(1 + (0.1 * fine[:, None]) ** 2 + (0.1 * fine) ** 2).mean()
    found = arc_chord_ratio(grid(0.05 * (x**2 + y**2)), window=21).values[15, 15]
    assert found == pytest.approx(exact, rel=1e-3)
    assert exact > 1.2


@BOTH
def test_a_rough_slope_is_as_rough_as_a_rough_level(measure: Measure, level: float) -> None:
    x, _ = np.meshgrid(np.arange(60.0), np.arange(60.0))
    bumps = 0.02 * rough((60, 60), 1)
    plain, tilted = (measure(grid(b), window=9).values for b in (bumps, bumps + 0.2 * x))
    assert (plain - level).mean() > 0
    assert (tilted - level).mean() == pytest.approx((plain - level).mean(), rel=0.15)


# ---- plain reckonings ----


def windows(values: np.ndarray, r: int) -> np.ndarray:
    padded = np.pad(values, r, constant_values=np.nan)
    return np.lib.stride_tricks.sliding_window_view(padded, (2 * r + 1, 2 * r + 1))


def plane_of(window: np.ndarray) -> float:
    """Squared steepness of the least-squares plane through what is known."""
    rows, cols = np.nonzero(np.isfinite(window))
    design = np.column_stack([np.ones(len(rows)), rows, cols])
    if np.linalg.matrix_rank(design) < 3:
        return np.nan
    fit = np.linalg.lstsq(design, window[rows, cols], rcond=None)[0]
    return float(fit[1] ** 2 + fit[2] ** 2)


@pytest.mark.parametrize("missing", [0.0, 0.1, 0.6])
@pytest.mark.parametrize("r", [1, 2, 4])
def test_arc_chord_ratio_agrees_with_least_squares(r: int, missing: float) -> None:
    values = rough((17, 23), 3, missing)
    depth = grid(values)
    found = arc_chord_ratio(depth, window=2 * r + 1).values
    surface = surface_area_ratio(depth).values.astype(float)
    for row, col in np.ndindex(values.shape):
        if np.isnan(surface[row, col]):
            assert np.isnan(found[row, col])
            continue
        inner = np.nanmean(windows(surface, r - 1)[row, col])
        exact = inner / np.sqrt(1 + plane_of(windows(values, r)[row, col]))
        assert found[row, col] == pytest.approx(exact, rel=2e-6)


@pytest.mark.parametrize("r", [1, 3])
def test_vector_ruggedness_agrees_with_horns_normals(r: int) -> None:
    values = rough((30, 34), 4) * 2
    pad = np.pad(values, 1, constant_values=np.nan)
    w = np.lib.stride_tricks.sliding_window_view(pad, (3, 3))
    weight = np.array([1, 2, 1])
    east = ((w[..., 2] - w[..., 0]) * weight).sum(axis=-1) / 8 / 1.5
    south = ((w[..., 2, :] - w[..., 0, :]) * weight).sum(axis=-1) / 8 / 1.5
    normals = np.stack([east, south, np.ones_like(east)]) / np.sqrt(1 + east**2 + south**2)
    means = np.stack([windows(part, r).mean(axis=(2, 3)) for part in normals])
    exact = 1 - np.linalg.norm(means, axis=0)
    found = vector_ruggedness(grid(values, 1.5), window=1.5 * (2 * r + 1)).values
    inside = np.isfinite(exact)
    assert inside.sum() == (30 - 2 * r - 2) * (34 - 2 * r - 2)
    np.testing.assert_allclose(found[inside], exact[inside], rtol=1e-5, atol=1e-6)


def test_vector_ruggedness_at_the_shore_is_the_mean_of_known_normals() -> None:
    # left half slopes east, right half of the water west; beyond, nothing (derived)
    roof = np.tile(np.abs(np.arange(-8.0, 9)), (9, 1))
    roof[:, 14:] = np.nan
    found = vector_ruggedness(grid(roof), window=9).values[4, 11]
    # columns 7 to 13: one west of the crest, the crest (level), five east of it
    cos = np.cos(np.pi / 4)
    exact = 1 - np.hypot(4 * cos, 6 * cos + 1) / 7
    assert found == pytest.approx(exact, rel=1e-6)


def test_rows_shared_out_among_threads_leave_no_seam() -> None:
    values = rough((300, 12), 5, 0.1)
    for measure in (arc_chord_ratio, vector_ruggedness):
        whole = measure(grid(values), window=7).values
        part = measure(grid(values[90:]), window=7).values
        np.testing.assert_allclose(part[5:], whole[95:], rtol=1e-5, atol=1e-7)


# ---- symmetry, threads ----

masks = arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9)))


@BOTH
@settings(max_examples=40, deadline=None)
@given(mask=masks, east=st.floats(-2, 2), north=st.floats(-2, 2), reach=st.integers(1, 3))
def test_a_plane_is_smooth_at_a_shore_of_any_shape(
    measure: Measure, level: float, mask: np.ndarray, east: float, north: float, reach: int
) -> None:
    x, y = np.meshgrid(np.arange(mask.shape[1]), np.arange(mask.shape[0]))
    depth = grid(np.where(mask, east * x + north * y, np.nan))
    found = measure(depth, window=2 * reach + 1).values
    known = np.isfinite(found)
    assert not (known & ~mask).any()
    assert (known | ~np.isfinite(surface_area_ratio(depth).values)).all()
    np.testing.assert_allclose(found[known], level, atol=1e-5)


@BOTH
@settings(max_examples=40, deadline=None)
@given(mask=masks, seed=st.integers(0, 2**32 - 1), turns=st.integers(0, 3), mirrored=st.booleans())
def test_turned_and_mirrored_grids_have_turned_and_mirrored_results(
    measure: Measure, level: float, mask: np.ndarray, seed: int, turns: int, mirrored: bool
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)

    def moved(array: np.ndarray) -> np.ndarray:
        return np.rot90(array[:, ::-1] if mirrored else array, turns)

    found = measure(grid(values), window=5).values
    turned = measure(grid(moved(values)), window=5).values
    np.testing.assert_allclose(turned, moved(found), rtol=1e-5, atol=1e-6)
    under = measure(grid(-values), window=5).values
    np.testing.assert_allclose(under, found, rtol=1e-6, atol=1e-7)


@BOTH
def test_the_number_of_threads_does_not_matter(measure: Measure, level: float) -> None:
    depth = grid(rough((300, 40), 6, 0.1))
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = measure(depth, window=5).values
    finally:
        numba.set_num_threads(before)
    np.testing.assert_array_equal(one, measure(depth, window=5).values)
    assert np.nanmax(one) > level


# ---- what is refused, what is said ----


@BOTH
def test_windows_too_small_or_too_wide_are_refused(measure: Measure, level: float) -> None:
    depth = grid(np.full((5, 5), level), 2.0)
    with pytest.raises(
        ParameterError, match=r"window must be at least 6 m \(3 cells of 2 m\), got 5\.9"
    ):
        measure(depth, window=5.9)
    with pytest.raises(
        ParameterError, match=r"window must be at most 402 m \(201 cells of 2 m\), got 410"
    ):
        measure(depth, window=410.0)


@BOTH
def test_the_usual_window_fits_any_cell(measure: Measure, level: float) -> None:
    values = rough((12, 12), 7)
    for cell, window in ((2.0, 10.0), (30.0, 90.0)):
        usual = measure(grid(values, cell)).values
        np.testing.assert_array_equal(usual, measure(grid(values, cell), window=window).values)
        assert np.abs(usual - level).max() > 0


def test_the_grids_say_what_they_are() -> None:
    depth = grid(np.zeros((3, 3)), 2.0)
    for measure, name in (
        (arc_chord_ratio, "arc_chord_ratio"),
        (vector_ruggedness, "vector_ruggedness"),
    ):
        found = measure(depth)
        assert (found.name, found.unit, found.transform) == (name, "1", depth.transform)


@pytest.mark.parametrize("window", [3, 5, 9, 21])
@BOTH
def test_where_the_grid_begins_does_not_show(measure: Measure, level: float, window: int) -> None:
    # sums are taken from north to south over each window: the same bits from any row on
    values = rough((60, 50), 8, 0.1)
    whole = measure(grid(values), window=window).values
    for row in (1, 2, 7):
        cut = measure(grid(values[row:]), window=window).values
        inside = slice(window, None)
        np.testing.assert_array_equal(cut[inside], whole[row:][inside])
    assert np.nanmax(whole) > level
