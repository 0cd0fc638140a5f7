"""Windows of a raster: their place, and what is computed from them."""

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st

from toolbox.layers import Grid
from toolbox.layers.grid_windows import GridWindows, by_windows


def grid(rows: int = 23, cols: int = 31) -> Grid:
    values = np.random.default_rng(5).normal(8, 2, (rows, cols))
    return Grid(values, Affine(2.0, 0, 5e5, 0, -2.0, 5e6), None, "depth", "m", ("by hand",))


def around(values: np.ndarray, reach: int) -> np.ndarray:
    """Greatest value within so many cells, by plain loops."""
    padded = np.pad(values, reach, constant_values=-np.inf)
    found = np.empty_like(values)
    for row, col in np.ndindex(values.shape):
        found[row, col] = padded[row : row + 2 * reach + 1, col : col + 2 * reach + 1].max()
    return found


@given(st.integers(0, 6), st.integers(1, 40), st.integers(1, 40))
def test_windows_read_as_far_as_they_reach_and_no_farther(reach: int, rows: int, cols: int) -> None:
    seen: list[tuple[tuple[int, int], tuple[int, int]]] = []

    def greatest(window: Grid, place: tuple[int, int]) -> Grid:
        seen.append((place, window.shape))
        return window.of(around(window.values, reach), "greatest", "m")

    whole = grid()
    blocks = by_windows(GridWindows.of(whole), greatest, reach=reach, size=(rows, cols))
    assert not seen  # nothing is done before it is asked for
    found = list(blocks)
    values = np.vstack([block.values for block in found])
    np.testing.assert_array_equal(values, around(whole.values, reach))
    assert {block.name for block in found} == {"greatest"}
    for (row, col), (high, wide) in seen:
        assert high <= min(rows, 23) + 2 * reach
        assert wide <= min(cols, 31) + 2 * reach
        assert row % rows == (0 if row == 0 else -reach % rows)
        assert col % cols == (0 if col == 0 else -reach % cols)


def test_a_window_narrower_than_it_reaches_shows() -> None:
    def greatest(window: Grid, _: tuple[int, int]) -> Grid:
        return window.of(around(window.values, 2), "greatest", "m")

    found = by_windows(GridWindows.of(grid()), greatest, reach=1, size=(5, 7))
    values = np.vstack([block.values for block in found])
    assert (values != around(grid().values, 2)).any()


@pytest.mark.parametrize("size", [(5, 7), (23, 31), (4, 100)])
def test_blocks_keep_place_notes_and_shape(size: tuple[int, int]) -> None:
    whole = grid()
    blocks = by_windows(GridWindows.of(whole), lambda window, _: window, reach=2, size=size)
    assert (blocks.shape, blocks.notes) == (whole.shape, ("by hand",))
    top = whole.bounds[3]
    for block in blocks:
        assert (block.bounds[0], block.bounds[2]) == (whole.bounds[0], whole.bounds[2])
        assert block.bounds[3] == top
        top = block.bounds[1]
    assert top == whole.bounds[1]
    for _ in range(2):  # it can be gone through again
        np.testing.assert_array_equal(np.vstack([b.values for b in blocks]), whole.values)
