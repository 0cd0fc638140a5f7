"""Lengths on the ground are those of geodesics."""

import numpy as np
import pyproj
import pytest
import shapely

from toolbox.isobaths.ground import ground_lengths


def ring(east: float, north: float, radius: float) -> shapely.LineString:
    angle = np.linspace(0, 2 * np.pi, 400)
    return shapely.LineString(
        np.column_stack([east + radius * np.cos(angle), north + 0.5 * radius * np.sin(angle)])
    )


@pytest.mark.parametrize(
    ("code", "east", "north"),
    [
        (32633, 500_000, 5_300_000),  # conformal, scale 0.9996
        (3857, 1_600_000, 6_100_000),  # ellipsoidal coordinates on a sphere: not conformal
        (3035, 4_500_000, 2_800_000),  # equal-area: scale depends on the direction
    ],
)
@pytest.mark.parametrize("radius", [30.0, 3_000.0, 50_000.0])
def test_rings_of_any_size_in_any_projection(
    code: int, east: float, north: float, radius: float
) -> None:
    crs = pyproj.CRS(code)
    lines = np.array([ring(east, north, radius), ring(east + radius, north, radius / 3)])
    to = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    geod = crs.get_geod()
    # independent: GeographicLib's geodesics by pyproj, segment by segment
    expected = [geod.line_length(*to.transform(*np.asarray(line.coords).T)) for line in lines]
    np.testing.assert_allclose(ground_lengths(lines, crs), expected, rtol=3e-8)


def test_on_a_plane_lengths_are_those_of_the_map() -> None:
    lines = np.array([shapely.LineString([(0, 0), (3, 4), (3, 5)]), ring(0, 0, 5)])
    np.testing.assert_allclose(ground_lengths(lines, None), shapely.length(lines), rtol=1e-14)
    assert ground_lengths(np.array([]), None).tolist() == []
    assert ground_lengths(np.array([]), pyproj.CRS(32633)).tolist() == []
