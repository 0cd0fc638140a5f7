"""Places are checked when made, and move between reference systems with all that is beside them."""

import numpy as np
import pandas as pd
import pyproj
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Places

UTM, NEXT = pyproj.CRS(32633), pyproj.CRS(32632)
PLACE = np.array([[500_000, 5_200_000], [500_100, 5_200_050], [np.nan, np.nan]])
FRAME = pd.DataFrame({"name": ["slip", "dock", "lost"]})


def test_places_keep_what_is_beside_them_in_another_crs() -> None:
    moved = Places(PLACE, FRAME, UTM, ("read",)).to_crs(NEXT)
    # independent: pyproj
    move = pyproj.Transformer.from_crs(UTM, NEXT, always_xy=True)
    wanted = np.column_stack(move.transform(*PLACE[:2].T))
    np.testing.assert_allclose(moved.coordinates[:2], wanted, atol=1e-6)
    assert np.isnan(moved.coordinates[2]).all()
    assert moved.crs == NEXT
    assert moved.frame is FRAME
    assert moved.notes == ("read",)
    assert len(moved) == 3


def test_places_in_the_crs_asked_for_and_on_a_plane_stay_as_they_are() -> None:
    for crs in (UTM, None):
        one = Places(PLACE, FRAME, crs)
        assert one.to_crs(UTM) is one


def test_coordinates_that_do_not_fit_are_refused() -> None:
    message = r"^coordinates of 3 places must have shape \(3, 2\), got \(2, 2\)$"
    with pytest.raises(LayerError, match=message):
        Places(PLACE[:2], FRAME, None)


def test_degrees_are_refused() -> None:
    message = r"^places must be in a projected CRS in metres, got 'WGS 84'$"
    with pytest.raises(LayerError, match=message):
        Places(PLACE, FRAME, pyproj.CRS(4326))
