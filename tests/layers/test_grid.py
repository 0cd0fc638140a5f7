"""Grids are north-up rasters of square cells."""

import numpy as np
import pyproj
import pytest
from affine import Affine

from toolbox.errors import LayerError
from toolbox.layers import Grid

TRANSFORM = Affine(2, 0, 100, 0, -2, 500)


def test_shape_cell_and_bounds() -> None:
    grid = Grid(np.zeros((3, 5)), TRANSFORM, None, "depth", "m")
    assert grid.shape == (3, 5)
    assert grid.cell == 2
    assert grid.bounds == (100, 494, 110, 500)
    assert grid.values.dtype == np.float32
    assert grid.values.flags.c_contiguous


def test_other_values_on_the_same_cells() -> None:
    crs = pyproj.CRS(32633)
    grid = Grid(np.zeros((3, 5)), TRANSFORM, crs, "depth", "m", ("note",))
    other = grid.of(np.ones((3, 5)), "slope", "degree")
    assert (other.name, other.unit, other.crs) == ("slope", "degree", crs)
    assert other.transform == TRANSFORM
    assert (other.values == 1).all()
    assert (grid.values == 0).all()


@pytest.mark.parametrize("shape", [(4,), (0, 4), (4, 0), (1, 2, 3)])
def test_arrays_that_are_refused(shape: tuple[int, ...]) -> None:
    message = r"^grid must have shape \(rows, cols\), got " + str(shape).replace(
        "(", r"\("
    ).replace(")", r"\)")
    with pytest.raises(LayerError, match=message):
        Grid(np.zeros(shape), TRANSFORM, None, "depth", "m")


@pytest.mark.parametrize(
    "transform",
    [
        Affine(2, 0, 0, 0, 2, 0),
        Affine(2, 0, 0, 0, -3, 0),
        Affine(2, 0.1, 0, 0, -2, 0),
        Affine(2, 0, 0, 0.1, -2, 0),
        Affine(-2, 0, 0, 0, 2, 0),
        Affine(np.nan, 0, 0, 0, np.nan, 0),
    ],
    ids=["south up", "oblong", "sheared", "turned", "mirrored", "nan"],
)
def test_cells_that_are_refused(transform: Affine) -> None:
    with pytest.raises(LayerError, match=r"^grid cells must be square and north up, got \("):
        Grid(np.zeros((2, 2)), transform, None, "depth", "m")


def test_geographic_grids_are_refused() -> None:
    message = r"^grid must be in a projected CRS in metres, got 'WGS 84'$"
    with pytest.raises(LayerError, match=message):
        Grid(np.zeros((2, 2)), TRANSFORM, pyproj.CRS(4326), "depth", "m")
