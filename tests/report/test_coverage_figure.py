"""The figure of coverage shows the distance to soundings, and tells its shares rightly."""

from typing import Any

import numpy as np
import pytest
import shapely
from affine import Affine

from toolbox.errors import LayerError
from toolbox.formats.picture_file import figure_of
from toolbox.layers import Grid, Shoreline, Soundings
from toolbox.report.coverage_figure import draw_coverage


def grid(rows: int = 20, cols: int = 100) -> Grid:
    return Grid(np.full((rows, cols), 3.0), Affine(1, 0, 5e5, 0, -1, 5e6), None, "depth", "m")


def row_of_soundings(rejected: int = 0) -> Soundings:
    """Return soundings in every cell of the leftmost column, and some beyond that were rejected."""
    northing = 5e6 - np.arange(20 + rejected) % 20 - 0.5
    easting = np.r_[np.full(20, 5e5 + 0.5), np.full(rejected, 5e5 + 80.5)]
    made = Soundings.from_arrays(np.c_[easting, northing], np.ones(len(easting)), crs=None)
    return made.reject(np.arange(len(easting)) >= 20, "spike")


def shading(figure: Any) -> Any:
    (mesh,) = [part for part in figure.axes[0].collections if part.get_gid() == "distance"]
    return mesh


def told(figure: Any) -> str:
    return " ".join(figure.legends[0].get_title().get_text().split())


@pytest.mark.parametrize(("unit", "foot"), [("m", 1.0), ("ft", 0.3048)])
def test_distances_are_those_to_the_nearest_kept_sounding(unit: Any, foot: float) -> None:
    figure = figure_of(draw_coverage(grid(), row_of_soundings(5), unit=unit, dpi=60))
    # derived: cells are 1 m wide and the column of soundings is the first of 100
    values = np.asarray(shading(figure).get_array()).reshape(20, 100)
    assert values == pytest.approx(np.tile(np.arange(100), (20, 1)) / foot, rel=1e-5)
    assert figure.axes[1].get_ylabel() == f"distance to the nearest sounding, {unit}"
    half, most = np.percentile(np.arange(100), [50, 95]) / foot
    assert told(figure).startswith(
        f"Half of the water lies within {half:.3g} {unit} of a sounding, "
        f"95 % within {most:.3g} {unit}."
    )


def test_the_share_that_is_not_surveyed_is_that_of_the_grid() -> None:
    depth = grid()
    values = depth.values.copy()
    values[:, 90:] = np.nan
    guess = np.where(np.isnan(values), np.nan, np.arange(100) >= 72)  # 18 of 90 columns
    figure = figure_of(
        draw_coverage(
            *(depth.of(values, "depth", "m"), row_of_soundings(2), None),
            depth.of(guess, "unsurveyed", "1"),
            dpi=60,
        )
    )
    texts = [text.get_text() for text in figure.legends[0].get_texts()]
    assert texts == ["not surveyed: 20 % of the water", "20 soundings", "2 rejected"]


def test_without_a_shoreline_the_water_is_where_depths_are() -> None:
    depth = grid()
    values = np.full(depth.shape, np.nan)
    values[5:15, :40] = 2.0
    figure = figure_of(draw_coverage(depth.of(values, "depth", "m"), row_of_soundings(), dpi=60))
    west, east = figure.axes[0].get_xlim()
    south, north = figure.axes[0].get_ylim()
    assert (west, east) == pytest.approx((5e5 - 1.6, 5e5 + 41.6))  # 4 % of 40 m to either side
    assert (south, north) == pytest.approx((5e6 - 16.6, 5e6 - 3.4))


@pytest.mark.parametrize("grey", [False, True])
def test_far_is_darker_than_near(grey: bool) -> None:
    shore = Shoreline.from_shapes([shapely.box(*grid().bounds)], None)
    figure = figure_of(draw_coverage(grid(), row_of_soundings(), shore, grey=grey, dpi=60))
    near, far = (sum(shading(figure).to_rgba(away)[:3]) for away in (0.0, 99.0))
    assert near > 2.6
    assert far < 1.2


def test_layers_that_do_not_fit_are_refused() -> None:
    empty = grid().of(np.full((20, 100), np.nan), "depth", "m")
    with pytest.raises(LayerError, match=r"^depth must have a cell with a value, got none$"):
        draw_coverage(empty, row_of_soundings())
    away = Soundings.from_arrays(np.zeros((1, 2)), np.ones(1), crs=None)
    with pytest.raises(LayerError, match=r"^no sounding that was kept lies on the grid$"):
        draw_coverage(grid(), away)
