"""Shading is where the depths are."""

import numpy as np
import pytest
from affine import Affine

from toolbox.layers import Grid
from toolbox.report.sheet.paper import Box
from toolbox.report.sheet.shading import depth_colours, guessed_rings, sampled
from toolbox.report.sheet.view import View


def slope(cell: float, side: float = 400.0) -> Grid:
    """Depth of a hundredth of the easting plus a fiftieth of the northing."""
    count = round(side / cell)
    middle = (np.arange(count) + 0.5) * cell
    values = middle[None] / 100 + (side - middle[:, None]) / 50
    return Grid(values.astype("f4"), Affine(cell, 0, 0, 0, -cell, side), None, "depth", "m")


@pytest.mark.parametrize("cell", [0.25, 0.5, 2.0, 10.0])
def test_a_plane_stays_a_plane_at_any_cell(cell: float) -> None:
    view = View(Box(0, 0, 144, 72), (200.0, 200.0), 5000)
    found = sampled(slope(cell), view)
    rows, cols = found.shape
    west, south, east, north = view.bounds
    easting = west + (np.arange(cols) + 0.5) * (east - west) / cols
    northing = north - (np.arange(rows) + 0.5) * (north - south) / rows
    assert (rows, cols) == (200, 400)
    assert found == pytest.approx(easting / 100 + northing[:, None] / 50, abs=2e-3)


def test_shading_reaches_beyond_the_last_depth_and_no_further() -> None:
    grid = slope(2.0)
    values = grid.values.copy()
    values[:, 100:] = np.nan
    found = sampled(grid.of(values, "depth", "m"), View(Box(0, 0, 144, 72), (200, 200), 5000))
    edge = int(np.isnan(found[100]).argmax())
    # bed to 200 m in the middle, and three cells of 2 m beyond, of which half counts between two
    assert 200 < edge < 200 + 8 / 0.635
    assert np.isnan(found[100, edge:]).all()


def test_colours_get_darker_with_depth_and_blank_is_white() -> None:
    colours = depth_colours(np.array([[0.0, 2.0, 5.0, 10.0, np.nan]]), 0, 10).astype(int)
    light = colours[0].sum(axis=1)
    assert (np.diff(light[:4]) < 0).all()
    assert colours[0, 4].tolist() == [255, 255, 255]
    assert depth_colours(np.array([[-5.0, 99.0]]), 0, 10)[0].tolist() == [
        colours[0, 0].tolist(), colours[0, 3].tolist(),
    ]  # fmt: skip


def test_guesses_are_outlined() -> None:
    grid = slope(10.0)
    guess = np.zeros(grid.shape)
    guess[2:5, 7:9] = 1
    (ring,) = guessed_rings(grid.of(guess, "unsurveyed", "1"))
    assert ring.min(axis=0).tolist() == [70, 350]
    assert ring.max(axis=0).tolist() == [90, 380]
    assert guessed_rings(grid.of(np.zeros(grid.shape), "unsurveyed", "1")) == []
