"""Blocks of a raster follow each other, and each is the raster's own rows."""

from itertools import pairwise

import numpy as np
import pytest
from affine import Affine

from toolbox.errors import LayerError
from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks, continued, overlapping, row_blocks


def grid(rows: int = 7, cols: int = 3) -> Grid:
    values = np.arange(rows * cols, dtype=np.float32).reshape(rows, cols)
    return Grid(values, Affine(2.0, 0, 5e5, 0, -2.0, 5e6), None, "depth", "m", ("by hand",))


@pytest.mark.parametrize("rows", [1, 3, 7, 100])
def test_blocks_are_the_rows_of_the_grid_each_time(rows: int) -> None:
    blocks = GridBlocks.of(grid(), rows=rows)
    assert blocks.notes == ("by hand",)
    for _ in range(2):
        several = list(blocks)
        assert (np.vstack([block.values for block in several]) == grid().values).all()
        assert [block.bounds[3] for block in several] == [5e6 - 2 * k for k in range(0, 7, rows)]
        assert several[-1].bounds[1] == grid().bounds[1]


@pytest.mark.parametrize("rows", [1, 3, 7])
def test_each_block_begins_with_the_last_row_of_the_one_before(rows: int) -> None:
    several = list(overlapping(row_blocks(grid(), rows=rows)))
    assert np.isnan(several[0].values[0]).all()
    assert np.isnan(several[-1].values[-1]).all()
    assert several[0].bounds[3] == 5e6 + 2
    assert several[-1].bounds[1] == grid().bounds[1] - 2
    for one, other in pairwise(several):
        assert (one.values[-1] == other.values[0]).all()
        assert other.bounds[3] == one.bounds[1] + 2


def test_blocks_that_do_not_follow_are_refused() -> None:
    first, second, _ = row_blocks(grid(), rows=3)
    message = r"^blocks must be whole rows of one raster from north to south, got left, top, cell"
    with pytest.raises(LayerError, match=message):
        list(continued([second, first]))
    assert len(list(continued([first, second]))) == 2
