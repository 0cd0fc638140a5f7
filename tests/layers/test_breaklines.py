"""Breaklines are finite lines of two vertices or more, and move with their depths."""

import numpy as np
import pyproj
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Breaklines

UTM33, UTM32 = pyproj.CRS(32633), pyproj.CRS(32632)
LINE = np.array([[5e5, 5e6, 1], [5e5 + 100, 5e6, 2], [5e5 + 100, 5e6 + 100, 3]])


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ((LINE, LINE[:1]), r"^breakline 1 must have shape \(2 or more, 3\), got \(1, 3\)$"),
        ((LINE[:, :2],), r"^breakline 0 must have shape \(2 or more, 3\), got \(3, 2\)$"),
        ((LINE[0],), r"^breakline 0 must have shape \(2 or more, 3\), got \(3,\)$"),
        ((LINE * np.nan,), r"^breakline 0 must be finite: easting, northing, depth$"),
        (
            (LINE, LINE + np.array([0, 0, np.inf])),
            r"^breakline 1 must be finite: easting, northing, depth$",
        ),
    ],
)
def test_lines_that_are_refused(lines: tuple[np.ndarray, ...], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        Breaklines(lines, None)


def test_geographic_lines_are_refused() -> None:
    message = r"^breaklines must be in a projected CRS in metres, got 'WGS 84'$"
    with pytest.raises(LayerError, match=message):
        Breaklines((LINE,), pyproj.CRS(4326))


def test_projecting_moves_places_and_keeps_depths() -> None:
    moved = Breaklines((LINE,), UTM33, ("read",)).to_crs(UTM32)
    assert moved.crs == UTM32
    assert moved.notes == ("read",)
    np.testing.assert_array_equal(moved.lines[0][:, 2], [1, 2, 3])
    assert np.hypot(*(moved.lines[0] - LINE)[0, :2]) > 1000
    np.testing.assert_allclose(moved.to_crs(UTM33).lines[0], LINE, atol=1e-3)


def test_a_plane_and_the_own_crs_stay_as_they_are() -> None:
    plane, there = Breaklines((LINE,), None), Breaklines((LINE,), UTM33)
    assert plane.to_crs(UTM33) is plane
    assert there.to_crs(UTM33) is there
