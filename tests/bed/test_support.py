"""Distance to the nearest sounding, against a search tree."""

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from scipy.spatial import KDTree

from toolbox.bed.support import distance_to_soundings
from toolbox.errors import LayerError
from toolbox.layers import Grid, Soundings

CELL = 2.0


def depth_grid(crs: CRS | None = None) -> Grid:
    values = np.ones((40, 60), np.float32)
    values[:10, :20] = np.nan
    return Grid(values, Affine(CELL, 0, 1000, 0, -CELL, 5000), crs, "depth", "m")


def soundings(place: np.ndarray, crs: CRS | None = None) -> Soundings:
    return Soundings.from_arrays(place, np.ones(len(place)), crs=crs)


def test_distances_agree_with_a_search_tree_to_a_cell() -> None:
    grid = depth_grid()
    place = np.random.default_rng(1).uniform([1000, 4920], [1120, 5000], (25, 2))
    found = distance_to_soundings(grid, soundings(place))
    cols, rows = np.meshgrid(np.arange(60), np.arange(40))
    centres = np.column_stack(
        [1000 + (cols.ravel() + 0.5) * CELL, 5000 - (rows.ravel() + 0.5) * CELL]
    )
    exact = KDTree(place).query(centres)[0].reshape(40, 60)
    known = np.isfinite(grid.values)
    assert np.abs(found.values - exact)[known].max() <= CELL * np.sqrt(0.5) + 1e-4
    assert np.isnan(found.values[~known]).all()
    assert (found.name, found.unit, found.transform) == (
        "distance_to_sounding",
        "m",
        grid.transform,
    )


def test_distances_are_between_cell_centres() -> None:
    # derived: a sounding anywhere in a cell counts at its centre; then by Pythagoras
    found = distance_to_soundings(depth_grid(), soundings(np.array([[1100.1, 4960.1]])))
    row, col = 19, 50
    assert found.values[row, col] == 0
    assert found.values[row + 3, col - 4] == 5 * CELL


def test_flagged_soundings_do_not_count() -> None:
    two = soundings(np.array([[1100.0, 4960], [1010, 4930]])).reject(
        np.array([False, True]), "echo"
    )
    one = soundings(np.array([[1100.0, 4960]]))
    grid = depth_grid()
    np.testing.assert_array_equal(
        distance_to_soundings(grid, two).values, distance_to_soundings(grid, one).values
    )


def test_soundings_beside_the_grid_do_not_count() -> None:
    message = r"^no sounding that was kept lies on the grid$"
    with pytest.raises(LayerError, match=message):
        distance_to_soundings(depth_grid(), soundings(np.array([[999.9, 4960.0]])))


def test_layers_in_different_crs_are_refused() -> None:
    message = r"^soundings must be in the CRS of the grid, project one of them$"
    with pytest.raises(LayerError, match=message):
        distance_to_soundings(
            depth_grid(CRS(32633)), soundings(np.array([[1100.0, 4960]]), CRS(32632))
        )
