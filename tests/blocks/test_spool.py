"""The spool gives back, tile by tile, what a sort of everything at once would."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.blocks.spool import Spool
from toolbox.errors import OutputError, TooLargeError


def _rows(count: int, seed: int, *, wide: float = 40.0, cell: float = 1.0) -> np.ndarray:
    """Places around the origin, in eighths of a cell, and a running number."""
    rng = np.random.default_rng(seed)
    places = np.round(rng.uniform(-wide, wide, (count, 2)) * 8) / 8 * cell
    return np.column_stack([places, np.arange(count)])


def _in_order(rows: np.ndarray, cell: float) -> np.ndarray:
    """Sort by cells from west to east, then from south to north, else as it was."""
    east, north = np.floor(rows[:, :2] / cell).T
    return rows[np.lexsort((np.arange(len(rows)), north, east))]


@settings(max_examples=60, deadline=None)
@given(
    count=st.integers(1, 400),
    most=st.integers(30, 500),
    gathered=st.integers(1, 200),
    portion=st.integers(1, 150),
    cell=st.sampled_from([0.5, 1.0, 7.0]),
    seed=st.integers(0, 2**32 - 1),
)
def test_tiles_hold_whole_cells_in_the_order_of_a_full_sort(
    count: int, most: int, gathered: int, portion: int, cell: float, seed: int
) -> None:
    rows = _rows(count, seed, cell=cell)
    with Spool(Path(), cell, 3, gathered=gathered) as spool:
        for start in range(0, count, portion):
            spool.add(rows[start : start + portion])
        tiles = list(spool.tiles(most))
    assert max(map(len, tiles)) <= most
    # each tile sorted by itself, one after the other, is the whole sorted: derived
    sorted_tiles = np.concatenate([_in_order(tile, cell) for tile in tiles])
    np.testing.assert_array_equal(sorted_tiles, _in_order(rows, cell))


def test_a_column_too_heavy_for_a_tile_is_divided_from_south_to_north(tmp_path: Path) -> None:
    rows = _rows(300, 5) * [0.01, 1.0, 1.0] + [0.5, 0.0, 0.0]  # all in one column
    with Spool(tmp_path, 1.0, 3, gathered=70) as spool:
        spool.add(rows)
        tiles = list(spool.tiles(20))
    assert len(tiles) > 15
    assert max(map(len, tiles)) <= 20
    sorted_tiles = np.concatenate([_in_order(tile, 1.0) for tile in tiles])
    np.testing.assert_array_equal(sorted_tiles, _in_order(rows, 1.0))


def test_rows_of_a_cell_keep_their_order_over_all_runs(tmp_path: Path) -> None:
    rows = np.column_stack([np.full(50, 3.5), np.full(50, 4.5), np.arange(50)])
    with Spool(tmp_path, 1.0, 3, gathered=7) as spool:
        spool.add(rows)
        (tile,) = spool.tiles(50)
    np.testing.assert_array_equal(tile, rows)


def test_places_far_apart_are_sorted_too(tmp_path: Path) -> None:
    rows = np.array([[9e6, 0.0, 1.0], [-9e6, 0.0, 2.0], [0.0, 0.0, 3.0]])
    with Spool(tmp_path, 1.0, 3, gathered=10) as spool:
        spool.add(rows)
        assert [tile[0, 2] for tile in spool.tiles(1)] == [2.0, 3.0, 1.0]


def test_a_cell_that_does_not_fit_is_named(tmp_path: Path) -> None:
    rows = np.tile([[12.5, -3.5, 1.0]], (6, 1))
    with Spool(tmp_path, 1.0, 3, gathered=4) as spool:
        spool.add(rows)
        with pytest.raises(
            TooLargeError,
            match=r"^the cell at easting 12, northing -4 holds 6 soundings, more than the 5 that "
            r"memory allows; allow more memory or take a smaller cell$",
        ):
            list(spool.tiles(5))


def test_size_on_disk_and_nothing_left_in_the_folder(tmp_path: Path) -> None:
    with Spool(tmp_path, 1.0, 4, gathered=10) as spool:
        spool.add(np.zeros((25, 4)))
        assert spool.size == 20 * 4 * 8  # five rows are still in memory
        assert spool.count == 25
        list(spool.tiles(100))
        assert spool.size == 25 * 4 * 8
        assert list(tmp_path.iterdir()) == []  # the file has no name even while it is used


def test_no_folder_to_put_it_into(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no temporary file can be made in "):
        Spool(tmp_path / "nowhere", 1.0, 3, gathered=10)
