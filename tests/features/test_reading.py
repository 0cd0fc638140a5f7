"""Reading the bed: as the query of places reads it, and slopes on the ground."""

import numpy as np
import pandas as pd
import pyproj
import pytest

from toolbox.bed.location import locate
from toolbox.bed.query import query_bed
from toolbox.features.reading import bed_at, depth_at, directed_slope, map_scale, weights_in
from toolbox.layers import Places, Tin

CORNERS = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)
TRIANGLES = np.array([[0, 1, 2], [0, 2, 3]])
INSIDE = np.random.default_rng(3).uniform((0, 0), (60, 40), (50, 2))


def plane(crs: pyproj.CRS | None = None, at: tuple[float, float] = (0, 0), **more: object) -> Tin:
    """Make a bed that deepens by 3 m in 100 eastwards and 4 m in 100 northwards."""
    depth = 1 + CORNERS @ np.array([0.03, 0.04])
    return Tin(CORNERS + np.array(at), depth, TRIANGLES, np.full(4, 2), crs, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("drawn", [False, True])
def test_it_agrees_with_the_query_of_places(drawn: bool) -> None:
    draws = np.random.default_rng(4).normal(3, 0.5, (4, 70))
    known = {"draws": draws} if drawn else {"sd": np.array([0.1, 0.2, 0.3, 0.2])}
    bed = plane(support=np.array([0.2, 0.4, 0.6, 0.8]), **known)
    asked = query_bed(bed, Places(INSIDE, pd.DataFrame(index=range(50)), None)).frame
    triangle, weights = locate(bed.vertices, bed.triangles, INSIDE)
    read = bed_at(bed, INSIDE, triangle)
    np.testing.assert_allclose(weights_in(bed, INSIDE, triangle), weights, atol=1e-12)
    pairs = {"depth_m": "depth_m", "depth_low_m": "depth_low_m", "depth_high_m": "depth_high_m"}
    pairs |= {"slope_deg": "slope_deg", "support": "support"}
    pairs |= {} if drawn else {"depth_sd_m": "sd_m"}
    for own, other in pairs.items():
        np.testing.assert_allclose(read[own], asked[other], atol=1e-9)
    np.testing.assert_allclose(depth_at(bed, INSIDE), read["depth_m"], atol=1e-12)


def test_outside_nothing_is_read() -> None:
    bed = plane(sd=np.full(4, 0.1))
    read = bed_at(bed, np.array([[-1.0, 5.0], [6.0, 5.0]]), np.array([-1, 1]))
    assert np.isnan([column[0] for column in read.values()]).all()
    assert np.isnan(read["support"][1])
    assert read["depth_m"][1] == pytest.approx(1.38)
    assert np.isnan(directed_slope(bed, INSIDE[:1], np.array([-1]), np.array([[1.0, 0]]))).all()
    assert len(bed_at(plane(draws=np.ones((4, 3))), np.empty((0, 2)), np.empty(0, int))) == 6


def test_slopes_are_those_on_the_ground() -> None:
    # derived: at 60 degrees north a map of Mercator's is 1 / (cos 60 N(60) / a) = 1.99665 times too
    # wide, N the ellipsoid's radius across the meridian over its greatest
    crs = pyproj.CRS(3857)
    at = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(10.0, 60.0)
    across = 1 / np.sqrt(1 - 0.00669437999 * 0.75)
    along = (1 - 0.00669437999) * across**3
    scale = np.sqrt(4 / (across * along))
    bed = plane(crs, at)
    places, triangle = CORNERS[2:3] / 2 + at, np.array([0])
    assert map_scale(bed, places)[0] == pytest.approx(scale, rel=1e-5)
    steep = np.degrees(np.arctan(0.05 * scale))
    assert bed_at(bed, places, triangle)["slope_deg"][0] == pytest.approx(steep, rel=1e-5)
    south = directed_slope(bed, places, triangle, np.array([[0.0, -1.0]]))
    assert south[0] == pytest.approx(-np.degrees(np.arctan(0.04 * scale)), rel=1e-5)
