"""Rasters of a page keep their values, and large ones their means."""

import base64
import zlib
from typing import Any

import numpy as np
from affine import Affine

from toolbox.layers import Grid
from toolbox.report.page.rasters import packed_grid, thinned

WEST, NORTH = 500_000.0, 5_000_000.0


def grid(values: np.ndarray, cell: float = 2.0) -> Grid:
    return Grid(values, Affine(cell, 0, WEST, 0, -cell, NORTH), None, "depth", "m")


def read(pack: dict[str, Any]) -> np.ndarray:
    raw = zlib.decompress(base64.b64decode(pack["values"]["z"]))
    words = np.frombuffer(raw, np.uint8).reshape(4, -1).astype(np.int64)
    folded = words[0] | words[1] << 8 | words[2] << 16 | words[3] << 24
    steps = ((folded >> 1) ^ -(folded & 1)).reshape(pack["rows"], pack["cols"])
    values = steps.cumsum(axis=1).cumsum(axis=0) * pack["step"]
    known = np.unpackbits(
        np.frombuffer(zlib.decompress(base64.b64decode(pack["known"]["z"])), "u1")
    )
    return np.where(known[: values.size].reshape(values.shape) > 0, values, np.nan)


def test_values_and_gaps_survive_to_the_step() -> None:
    values = np.random.default_rng(5).uniform(-2, 60, (30, 41)).astype(np.float32)
    values[:4], values[10:15, 5:30], values[:, -1] = np.nan, np.nan, np.nan
    pack = packed_grid(grid(values), step=0.001, shown=10, west=WEST - 10, north=NORTH + 6)
    np.testing.assert_allclose(read(pack), values, atol=0.001)
    np.testing.assert_allclose(np.round(read(pack), 2), np.round(values.astype(float), 2))
    assert (pack["left"], pack["top"], pack["cell"]) == (10, 6, 2)


def test_small_grid_is_left_alone() -> None:
    small = grid(np.ones((5, 6)))
    assert thinned(small, most=30) is small


def test_larger_cells_hold_the_mean_of_what_is_known() -> None:
    values = np.arange(36.0).reshape(6, 6)
    values[0, 0], values[3:, 3:] = np.nan, np.nan
    few = thinned(grid(values), most=4)
    assert few.shape == (2, 2)
    assert few.cell == 6
    assert few.values[0, 0] == np.float32(np.nanmean(values[:3, :3]))
    assert np.isnan(few.values[1, 1])


def test_mean_over_all_cells_is_kept() -> None:
    values = np.random.default_rng(6).uniform(0, 9, (60, 60))
    few = thinned(grid(values), most=400)
    assert few.shape == (20, 20)
    np.testing.assert_allclose(few.values.mean(), values.mean(), rtol=1e-6)


def test_a_guess_anywhere_in_a_larger_cell_makes_it_a_guess() -> None:
    values = np.zeros((4, 4))
    values[0, 1] = 1
    few = thinned(grid(values), most=4, greatest=True)
    np.testing.assert_array_equal(few.values, [[1, 0], [0, 0]])


def test_shape_that_does_not_divide_keeps_its_corner() -> None:
    few = thinned(grid(np.ones((7, 5))), most=6)
    assert few.shape == (3, 2)
    assert (few.bounds[0], few.bounds[3]) == (WEST, NORTH)
