"""Grids of trust: closed forms of planes whose error is known, and their agreement with draws."""

from collections.abc import Callable

import numba
import numpy as np
import pytest
import scipy.spatial
from scipy.stats import norm

from toolbox.bed.gridding import default_cell, grid_bed
from toolbox.bed.uncertainty import (
    band,
    deeper_than_grid,
    depth_sd_grid,
    support_grid,
    unsurveyed_grid,
)
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Grid, Tin, VertexKind

DRAWS = 200
LEVELS = norm.ppf((np.arange(DRAWS) + 0.5) / DRAWS)
"""A normal distribution in as many equal parts, so that draws hold it without chance."""


def fitted(**changes: object) -> Tin:
    """Make a sloping plane over 60 m by 40 m: 2 to 8 m deep, sd 0.2 to 0.6 m along its width."""
    inner = np.random.default_rng(1).uniform([0, 0], [60, 40], (150, 2))
    place = np.vstack([[[0, 0], [60, 0], [60, 40], [0, 40]], inner])
    depth, sd = 2 + place[:, 0] / 10, 0.2 + place[:, 1] / 100
    parts: dict[str, object] = {
        "vertices": place,
        "depth": depth,
        "triangles": scipy.spatial.Delaunay(place).simplices,
        "kind": np.full(len(place), VertexKind.SOUNDING),
        "crs": None,
        "sd": sd,
        "draws": depth[:, None] + sd[:, None] * LEVELS,
        "support": place[:, 0] / 60,
    }
    return Tin(**(parts | changes))  # type: ignore[arg-type]


def centres(grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    left, _, _, top = grid.bounds
    rows, cols = grid.shape
    return np.meshgrid(
        left + (np.arange(cols) + 0.5) * grid.cell, top - (np.arange(rows) + 0.5) * grid.cell
    )


def test_spread_and_support_of_a_plane_are_exact() -> None:
    # derived: both are planes themselves
    sd, support = depth_sd_grid(fitted(), cell=0.5), support_grid(fitted(), cell=0.5)
    easting, northing = centres(sd)
    np.testing.assert_allclose(sd.values, 0.2 + northing / 100, atol=1e-6)
    np.testing.assert_allclose(support.values, easting / 60, atol=1e-6)
    assert (sd.name, sd.unit, support.name, support.unit) == ("depth_sd", "m", "support", "1")


def test_the_probability_of_deeper_water_is_that_of_a_normal_distribution() -> None:
    # derived: P(depth > d) = 1 - Phi((d - mean) / sd), in steps of one draw
    grid = deeper_than_grid(fitted(), depth=5.2, cell=1.0)
    easting, northing = centres(grid)
    exact = norm.sf((5.2 - (2 + easting / 10)) / (0.2 + northing / 100))
    np.testing.assert_allclose(grid.values, exact, atol=0.5 / DRAWS + 1e-6)
    assert grid.values.min() == 0
    assert grid.values.max() == 1
    assert (grid.name, grid.unit) == ("deeper_than_5.2_m", "1")


def test_the_probability_falls_with_the_depth_asked_for() -> None:
    grids = [deeper_than_grid(fitted(), depth=depth, cell=1.0).values for depth in (3, 5, 6, 20)]
    assert (np.diff(grids, axis=0) <= 0).all()
    assert (grids[-1] == 0).all()


def test_at_the_depth_of_a_draw_itself_the_bed_is_not_deeper() -> None:
    level = fitted(draws=np.full((154, 4), [3.0, 4.0, 5.0, 6.0]))
    assert np.unique(deeper_than_grid(level, depth=4.0).values) == pytest.approx([0.5])


def test_draws_above_the_shore_count_as_the_shore() -> None:
    kind = np.full(154, VertexKind.SOUNDING)
    kind[0] = VertexKind.SHORELINE  # at a depth of 2 m
    bed = fitted(draws=np.full((154, 2), [-5.0, 9.0]), kind=kind)
    assert np.unique(deeper_than_grid(bed, depth=1.9).values) == pytest.approx([1.0])
    assert np.unique(deeper_than_grid(bed, depth=2.0).values) == pytest.approx([0.5])


def test_the_probability_is_the_share_of_the_grids_of_single_draws() -> None:
    # rough draws, more than are counted at once
    draws = np.random.default_rng(4).normal(4, 2, (154, 70))
    single = [grid_bed(fitted(depth=draw), cell=0.7).values > 4.5 for draw in draws.T]
    grid = deeper_than_grid(fitted(draws=draws), depth=4.5, cell=0.7)
    np.testing.assert_allclose(np.nan_to_num(grid.values), np.mean(single, axis=0), atol=1e-6)


def test_the_same_bits_whatever_the_number_of_threads() -> None:
    before, bits = numba.get_num_threads(), []
    try:
        for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
            numba.set_num_threads(threads)
            bits.append(deeper_than_grid(fitted(), depth=5.0, cell=0.25).values.tobytes())
    finally:
        numba.set_num_threads(before)
    assert bits[0] == bits[1]


@pytest.mark.parametrize(("least", "edge"), [(0.5, 30.0), (0.25, 15.0)])
def test_the_unsurveyed_part_ends_where_support_reaches_the_least(
    least: float, edge: float
) -> None:
    grid = unsurveyed_grid(fitted(), least_support=least, cell=1.0)
    easting, _ = centres(grid)
    np.testing.assert_array_equal(grid.values, (easting < edge).astype(np.float32))
    assert (grid.name, grid.unit) == ("unsurveyed", "1")


@pytest.mark.parametrize(
    "made",
    [depth_sd_grid, support_grid, unsurveyed_grid, lambda bed: deeper_than_grid(bed, depth=4.0)],
)
def test_grids_of_trust_lie_on_the_cells_of_the_depth_grid(made: Callable[[Tin], Grid]) -> None:
    # a third of the triangles is taken out: empty cells stay empty
    whole = fitted()
    keep = np.random.default_rng(2).random(len(whole.triangles)) > 0.33
    bed = fitted(triangles=whole.triangles[keep])
    depth, grid = grid_bed(bed), made(bed)
    assert grid.cell == default_cell(bed)
    assert grid.transform == depth.transform
    np.testing.assert_array_equal(np.isnan(grid.values), np.isnan(depth.values))
    assert 0 < np.isnan(grid.values).mean() < 1


@pytest.mark.parametrize(
    ("made", "lacking"),
    [
        (depth_sd_grid, "sd"),
        (support_grid, "support"),
        (unsurveyed_grid, "support"),
        (lambda bed: deeper_than_grid(bed, depth=4.0), "draws"),
    ],
)
def test_a_bed_that_was_not_fitted_is_refused(made: Callable[[Tin], Grid], lacking: str) -> None:
    message = rf"^the bed has no {lacking}: only a fitted bed tells its own error$"
    with pytest.raises(LayerError, match=message):
        made(fitted(**{lacking: None}))


def test_support_is_asked_for_between_nothing_and_one() -> None:
    message = r"^least_support must be >= 0 and <= 1, got 1\.5$"
    with pytest.raises(ParameterError, match=message):
        unsurveyed_grid(fitted(), least_support=1.5)


def test_the_band_holds_ninety_of_a_hundred() -> None:
    # derived: of 101 values the 6th and the 96th are the 5 % and 95 % quantiles
    values = np.random.default_rng(3).permutation(101.0 * np.arange(101))
    low, high = band(np.column_stack([values, -values]))
    np.testing.assert_allclose(low, [505, -9595], rtol=1e-13)
    np.testing.assert_allclose(high, [9595, -505], rtol=1e-13)
