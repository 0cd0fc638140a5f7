"""Cells filled by and by come to the same as all soundings at once."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.layers import Soundings
from toolbox.reduction.cell_table import CellTable
from toolbox.reduction.thinning import By, thin

ORIGIN = np.array([500_000.0, 5_400_000.0])


def figures(seed: int, count: int = 300) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.uniform(-20, 20, (count, 2)) + ORIGIN, rng.integers(0, 60, count) / 10


def filled(place: np.ndarray, depth: np.ndarray, cell: float, by: By, cuts: list[int]) -> CellTable:
    table = CellTable(cell, by=by)  # type: ignore[arg-type]
    for rows in np.split(np.arange(len(depth)), sorted(cut % (len(depth) + 1) for cut in cuts)):
        table.add(*place[rows].T, depth[rows])
    return table


@settings(max_examples=50, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from(["mean", "shoalest", "deepest"]),
    st.sampled_from([0.1, 1.0, 7.0, 1000.0]),
    st.lists(st.integers(0, 300), max_size=8),
)
def test_the_same_as_in_memory(seed: int, by: By, cell: float, cuts: list[int]) -> None:
    place, depth = figures(seed)
    order = np.random.default_rng(seed + 1).permutation(len(depth))
    table = filled(place[order], depth[order], cell, by, cuts)
    occupied = len(table)
    found = table.soundings(None)
    whole = thin(Soundings.from_arrays(place, depth, crs=None), cell=cell, by=by)
    assert occupied == len(found) == len(whole)
    for name in ("count", "lines", "cell"):
        np.testing.assert_array_equal(found.frame[name], whole.frame[name])
    exact = 0 if by != "mean" else 1e-9
    np.testing.assert_allclose(found.depth, whole.depth, rtol=0, atol=exact)
    np.testing.assert_allclose(found.coordinates, whole.coordinates, rtol=0, atol=exact)
    assert found.frame["sd"].isna().all()


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["shoalest", "deepest"]))
def test_ties_do_not_depend_on_portions(seed: int, by: By) -> None:
    rng = np.random.default_rng(seed)
    place, depth = rng.integers(0, 4, (60, 2)) * 1.0, rng.integers(0, 2, 60) * 1.0
    one = filled(place, depth, 2.0, by, [])
    order = rng.permutation(60)
    other = filled(place[order], depth[order], 2.0, by, rng.integers(0, 60, 5).tolist())
    np.testing.assert_array_equal(one.columns(), other.columns())


def test_means_of_a_moored_log_stay_exact() -> None:
    # two million soundings in one cell: rounding must not creep in
    table = CellTable(1.0)
    for _ in range(20):
        table.add(np.full(100_000, 500_000.7), np.full(100_000, 5_400_000.3), np.full(100_000, 2.3))
    (east,), (north,), (depth,) = table.columns()
    assert table.count.tolist() == [2_000_000]
    assert (east, north) == (
        pytest.approx(500_000.7, abs=1e-9),
        pytest.approx(5_400_000.3, abs=1e-9),
    )
    assert depth == pytest.approx(2.3, abs=1e-9)


def test_cells_on_all_sides_of_the_origin() -> None:
    place = np.array([[-1, -1], [-1, 1], [1, -1], [1, 1], [-5e5, 7e6], [5e5, -7e6]])
    table = CellTable(2.0)
    table.add(*place.T, np.arange(6.0))
    east, north, depth = table.columns()
    order = np.lexsort(np.floor(place / 2).T[::-1])
    np.testing.assert_array_equal(np.column_stack([east, north]), place[order])
    np.testing.assert_array_equal(depth, order)


def test_an_empty_portion_adds_nothing_and_soundings_empty_the_table() -> None:
    table = CellTable(1.0)
    table.add(np.empty(0), np.empty(0), np.empty(0))
    assert len(table) == 0
    assert len(table.soundings(None)) == 0
    table.add(np.ones(1), np.ones(1), np.ones(1))
    assert len(table.soundings(None, ("note",))) == 1
    assert len(table) == 0


def test_cells_too_small_to_be_numbered_are_refused() -> None:
    with pytest.raises(ParameterError, match=r"^cell = 0\.001 m is too small for such coordinates"):
        CellTable(0.001).add(np.ones(1), np.array([5_400_000.0]), np.ones(1))
