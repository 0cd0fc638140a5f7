"""Curvature against derived figures, closed forms and a fit of the quartic itself."""

from collections.abc import Callable
from typing import Literal, get_args

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.terrain.curvature import curvature

Kind = Literal["profile", "plan", "total"]
KINDS: tuple[Kind, ...] = get_args(Kind)
JENNESS = np.array([[190, 170, 155], [183, 165, 145], [175, 160, 122]], float)


def grid(values: np.ndarray, cell: float = 1.0) -> Grid:
    return Grid(np.asarray(values, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def curved(values: np.ndarray, cell: float = 1.0, kind: Kind = "total") -> np.ndarray:
    return curvature(grid(values, cell), kind=kind).values


def surface(
    function: Callable[[np.ndarray, np.ndarray], np.ndarray],
    rows: int = 9,
    cols: int = 11,
    cell: float = 1.0,
) -> np.ndarray:
    """Evaluate depth(x, y), y to the north, on cell centres around the origin."""
    x = (np.arange(cols) - cols // 2) * cell
    y = (rows // 2 - np.arange(rows)) * cell
    return np.asarray(function(*np.meshgrid(x, y)), float)


# ---- figures ----


def test_on_the_grid_of_jenness() -> None:
    # Zevenbergen and Thorne 1987, ESPL 12:47 (formulae from memory), figures derived, times 100:
    # profile +0.040855, plan +0.020855, total +0.0200, for elevations, cell 100 m. A bulge is
    # positive here in every direction: plan has the other sign, and total is a sum
    for kind, figure in (("profile", 0.040855), ("plan", -0.020855), ("total", 0.0200)):
        found = curved(-JENNESS, 100.0, kind)[1, 1]  # type: ignore[arg-type]
        assert found == pytest.approx(figure / 100, abs=5e-9)


def quartic(window: np.ndarray, cell: float) -> tuple[float, ...]:
    """Solve for the partial quartic through nine values; return its derivatives at the middle."""
    x, y = (part.ravel() * cell for part in np.meshgrid([-1.0, 0, 1], [1.0, 0, -1]))
    terms = [x**2 * y**2, x**2 * y, x * y**2, x**2, y**2, x * y, x, y, np.ones(9)]
    *_, xx, yy, xy, along, across, _ = np.linalg.solve(np.column_stack(terms), window.ravel())
    return 2 * xx, 2 * yy, xy, along, across


def directed(parts: tuple[float, ...], kind: Kind) -> float:
    """Second derivative of a quadric in a direction, by its matrix."""
    xx, yy, xy, along, across = parts
    bend = np.array([[xx, xy], [xy, yy]])
    if kind == "total":
        return float(np.trace(bend))
    way = np.array([along, across] if kind == "profile" else [-across, along])
    way /= np.linalg.norm(way)
    return float(way @ bend @ way)


@pytest.mark.parametrize("kind", KINDS)
def test_random_surface_agrees_with_a_solved_quartic(kind: Kind) -> None:
    values = np.random.default_rng(1).normal(0, 2, (12, 14)).astype(np.float32).astype(float)
    found = curved(values, 1.5, kind)
    for row in range(1, 11):
        for col in range(1, 13):
            parts = quartic(values[row - 1 : row + 2, col - 1 : col + 2], 1.5)
            assert found[row, col] == pytest.approx(directed(parts, kind), rel=1e-4, abs=1e-5)


# ---- closed forms (derived) ----


@pytest.mark.parametrize(("east", "north"), [(0.1, 0.0), (0.3, 0.4), (1.0, 0.0), (0.0, 0.0)])
@pytest.mark.parametrize("kind", KINDS)
def test_planes_are_straight_to_the_last_cell(east: float, north: float, kind: Kind) -> None:
    found = curved(surface(lambda x, y: east * x + north * y), kind=kind)
    np.testing.assert_allclose(found, 0, atol=4e-6)


@pytest.mark.parametrize(("kind", "share"), [("profile", 2.0), ("plan", 2.0), ("total", 4.0)])
def test_a_paraboloid_is_exact_to_the_last_cell_and_on_its_top(kind: Kind, share: float) -> None:
    # z = k r^2 bends by 2 k in every direction
    hump = surface(lambda x, y: 0.001 * (x**2 + y**2), cell=2.0)
    np.testing.assert_allclose(curved(hump, 2.0, kind), share * 0.001, atol=2e-6)


def test_a_sphere() -> None:
    # radius 500 m, 100 m off its top: z'' = R^2 / (R^2 - x^2)^1.5 down, 1 / sqrt(R^2 - x^2) across
    radius, off = 500.0, 100.0
    top = np.sqrt(radius**2 - off**2)
    ball = surface(lambda x, y: top - np.sqrt(radius**2 - (x + off) ** 2 - y**2), 5, 5)
    assert curved(ball, 1.0, "profile")[2, 2] == pytest.approx(radius**2 / top**3, rel=2e-3)
    assert curved(ball, 1.0, "plan")[2, 2] == pytest.approx(1 / top, rel=2e-3)


def test_lip_and_foot_of_a_drop_off() -> None:
    # a bank falling at 1 in 2 between two shelves, cell 2 m: the bend of 0.5 within one cell
    bank = np.clip(0.5 * surface(lambda x, y: x, cell=2.0), -2, 2)
    profile, plan = curved(bank, 2.0, "profile"), curved(bank, 2.0, "plan")
    expected = np.zeros(11)
    expected[[3, 7]] = 0.25, -0.25
    np.testing.assert_allclose(profile, np.tile(expected, (9, 1)), atol=1e-6)
    np.testing.assert_allclose(plan, 0, atol=1e-6)


def test_along_a_spur_and_a_gully_plan_curvature_tells_them_apart() -> None:
    # a fold falling along its line: all of its bend lies across the slope
    spur = surface(lambda x, y: 0.02 * x**2 - 0.3 * y)
    gully = surface(lambda x, y: -0.02 * x**2 - 0.3 * y)
    middle = spur.shape[1] // 2
    for bed, way in ((spur, 1), (gully, -1)):
        np.testing.assert_allclose(curved(bed, kind="plan")[:, middle], way * 0.04, atol=2e-6)
        np.testing.assert_allclose(curved(bed, kind="profile")[:, middle], 0, atol=2e-6)


def test_converges_with_the_square_of_the_cell() -> None:
    errors = []
    for cell in (8.0, 4.0, 2.0):
        bed = surface(lambda x, y: 10 * np.sin(x / 20) * np.cos(y / 30), 41, 41, cell)
        exact = -bed * (1 / 20**2 + 1 / 30**2)
        near = slice(20 - int(16 / cell), 21 + int(16 / cell))
        errors.append(np.abs(curved(bed, cell) - exact)[near, near].max())
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert ((orders > 1.7) & (orders < 2.3)).all()


# ---- spacing ----


@pytest.mark.parametrize("kind", KINDS)
def test_a_wide_window_is_that_of_the_coarser_grids_inside(kind: Kind) -> None:
    # every third cell in both directions makes a grid of its own
    values = np.random.default_rng(2).normal(0, 1, (20, 23))
    values[7:12, 9:15] = np.nan
    found = curvature(grid(values, 2.0), kind=kind, spacing=5.6).values
    for row in range(3):
        for col in range(3):
            part = curvature(grid(values[row::3, col::3], 6.0), kind=kind).values
            np.testing.assert_allclose(found[row::3, col::3], part, rtol=1e-5, atol=1e-7)


def test_spacing_takes_out_the_edges_of_triangles() -> None:
    # a paraboloid made of straight pieces 4 m long: its bend shows as stripes in cells of 1 m
    knots = np.arange(-40.0, 41, 4)
    line = np.interp(np.arange(-38.0, 39), knots, 0.01 * knots**2)
    bed = np.add.outer(line, line)
    inner = (slice(4, -4), slice(4, -4))
    assert np.ptp(curvature(grid(bed)).values[inner]) > 0.1
    np.testing.assert_allclose(curvature(grid(bed), spacing=4.0).values, 0.04, atol=1e-5)


def test_a_spacing_below_the_cell_is_the_cell() -> None:
    values = np.random.default_rng(3).normal(0, 1, (8, 8))
    narrow = curvature(grid(values, 5.0), spacing=0.1).values
    np.testing.assert_array_equal(narrow, curved(values, 5.0))


# ---- at the shore ----

masks = arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9)))
seeds = st.integers(0, 2**32 - 1)
kinds = st.sampled_from(KINDS)


def in_line(mask: np.ndarray) -> np.ndarray:
    """Tell where the cell is the middle of three, else where the next two on one side are known."""
    known = np.zeros_like(mask)
    wide = np.pad(mask, 2)
    for row, col in np.argwhere(mask):
        line = wide[row + 2, col : col + 5]
        if line[1] and line[3]:
            known[row, col] = True
        else:
            known[row, col] = line[3:].all() if line[3] else line[:2].all()
    return known


def a_quarter(mask: np.ndarray) -> np.ndarray:
    """Cells of a full block of two by two."""
    block = mask[:-1, :-1] & mask[1:, :-1] & mask[:-1, 1:] & mask[1:, 1:]
    known = np.zeros_like(mask)
    for down in (0, 1):
        for right in (0, 1):
            rows, cols = block.shape
            known[down : down + rows, right : right + cols] |= block
    return known


@settings(max_examples=150, deadline=None)
@given(masks, seeds, kinds)
def test_quadratic_beds_are_exact_at_a_shore_of_any_shape(
    mask: np.ndarray, seed: int, kind: Kind
) -> None:
    xx, yy, xy, along, across = np.random.default_rng(seed).uniform(-1, 1, 5)
    x, y = np.meshgrid(np.arange(mask.shape[1]), -np.arange(mask.shape[0]))
    values = xx * x**2 / 2 + yy * y**2 / 2 + xy * x * y + along * x + across * y
    found = curved(np.where(mask, values, np.nan), kind=kind)
    known = in_line(mask) & in_line(mask.T).T
    known &= True if kind == "total" else a_quarter(mask)
    np.testing.assert_array_equal(np.isfinite(found), known)
    for row, col in np.argwhere(known):
        slope = (
            xx * x[row, col] + xy * y[row, col] + along,
            yy * y[row, col] + xy * x[row, col] + across,
        )
        if np.hypot(*slope) > 0.2:  # elsewhere rounding of the depths decides on the direction
            exact = directed((xx, yy, xy, *slope), kind)
            assert found[row, col] == pytest.approx(exact, abs=1e-3)


@settings(max_examples=80, deadline=None)
@given(masks, seeds, kinds, st.integers(0, 3), st.booleans(), st.sampled_from([1.0, 2.0]))
def test_turned_and_mirrored_grids_have_turned_and_mirrored_curvatures(
    mask: np.ndarray, seed: int, kind: Kind, turns: int, mirrored: bool, spacing: float
) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)

    def moved(array: np.ndarray) -> np.ndarray:
        return np.rot90(array[:, ::-1] if mirrored else array, turns)

    here = curvature(grid(values), kind=kind, spacing=spacing).values
    there = curvature(grid(moved(values)), kind=kind, spacing=spacing).values
    np.testing.assert_allclose(there, moved(here), rtol=1e-3, atol=1e-4)


@settings(max_examples=60, deadline=None)
@given(masks, seeds, kinds)
def test_elevations_have_the_opposite_sign(mask: np.ndarray, seed: int, kind: Kind) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    np.testing.assert_array_equal(curved(values, kind=kind), -curved(-values, kind=kind))


@settings(max_examples=60, deadline=None)
@given(masks, seeds)
def test_profile_and_plan_make_up_the_total(mask: np.ndarray, seed: int) -> None:
    values = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)
    profile, plan, total = (curved(values, kind=kind) for kind in KINDS)
    known = np.isfinite(profile)
    np.testing.assert_array_equal(known, np.isfinite(plan))
    np.testing.assert_allclose((profile + plan)[known], total[known], rtol=1e-4, atol=1e-4)


@pytest.mark.parametrize("shape", [(1, 1), (1, 12), (12, 1), (2, 12)])
def test_less_than_three_cells_of_water_stay_empty(shape: tuple[int, int]) -> None:
    assert np.isnan(curved(np.zeros(shape))).all()


# ---- the layer ----


def test_the_grid_says_what_it_is() -> None:
    depth = grid(np.zeros((3, 3)), 2.0)
    for kind in KINDS:
        found = curvature(depth, kind=kind)
        assert (found.name, found.unit) == (f"{kind}_curvature", "1/m")
        assert found.transform == depth.transform
        assert found.values.dtype == np.float32


def test_what_is_not_allowed_is_refused() -> None:
    depth = grid(np.zeros((3, 3)))
    message = r"^kind must be one of 'profile', 'plan', 'total', got 'mean'$"
    with pytest.raises(ParameterError, match=message):
        curvature(depth, kind="mean")  # type: ignore[arg-type]
    with pytest.raises(ParameterError, match=r"^spacing must be > 0 m, got 0$"):
        curvature(depth, spacing=0)
