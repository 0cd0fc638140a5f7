"""Bars are round numbers, and norths lie where they should."""

import numpy as np
import pyproj
import pytest

from toolbox.layers.crs import parse_crs
from toolbox.report.sheet.measures import bar_length, convergence
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.view import View

FRAME = Box(0, 0, 100, 100)


def at(longitude: float, latitude: float, code: str) -> View:
    to = pyproj.Transformer.from_crs(4326, code, always_xy=True)
    return View(FRAME, to.transform(longitude, latitude), 1000)


@pytest.mark.parametrize("longitude", [6.5, 9.0, 11.2])
@pytest.mark.parametrize("latitude", [47.0, -33.0])
def test_convergence_of_a_transverse_mercator_grid(longitude: float, latitude: float) -> None:
    # first term of the series, Snyder 1987, Map Projections: A Working Manual, p. 48-51:
    # (longitude - that of the central meridian) x sin(latitude); its error here is below 0.01
    code = "EPSG:32632" if latitude > 0 else "EPSG:32732"
    first = (longitude - 9.0) * np.sin(np.radians(latitude))
    assert convergence(at(longitude, latitude, code), parse_crs(code)) == pytest.approx(
        first, abs=0.01
    )


def test_convergence_of_a_conic_grid_agrees_with_the_projection_library() -> None:
    crs = parse_crs("EPSG:2154")
    known = pyproj.Proj(crs).get_factors(6.0, 45.0).meridian_convergence
    found = convergence(at(6.0, 45.0, "EPSG:2154"), crs)
    assert abs(found) == pytest.approx(abs(known), abs=1e-4)
    assert found > 0  # east of the grid's own meridian, 3 degrees, grid north lies east of true


def test_a_plane_has_no_convergence() -> None:
    assert convergence(View(FRAME, (0, 0), 1000), None) == 0


@pytest.mark.parametrize(
    ("scale", "unit", "length"), [(5000, "m", 200), (2500, "m", 100), (5000, "ft", 500)]
)
def test_bar_is_the_round_length_that_fits(scale: float, unit: str, length: float) -> None:
    # 60 mm of paper are 300 m, 150 m and 984 ft
    assert bar_length(60 * MM, scale, unit) == length
