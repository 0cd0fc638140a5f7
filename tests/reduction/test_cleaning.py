"""Soundings outside the water are flagged with a reason, never dropped."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.path import Path as Outline
from pyproj import CRS

from toolbox.errors import LayerError
from toolbox.layers import Shoreline, Soundings
from toolbox.reduction.cleaning import reject_outside

LAKE = shapely.box(0, 0, 100, 100).difference(shapely.box(40, 40, 60, 60))
SHORE = Shoreline.from_shapes([LAKE, shapely.box(200, 0, 240, 40)], None)


def soundings(*place: tuple[float, float]) -> Soundings:
    return Soundings.from_arrays(np.array(place, float), np.ones(len(place)), crs=None)


def test_land_islands_and_edges_are_outside() -> None:
    found = reject_outside(
        soundings((20, 20), (150, 20), (50, 50), (0, 50), (100, 100), (40, 50), (220, 20)), SHORE
    )
    assert found.flag.tolist() == [False, True, True, True, True, True, False]
    assert found.rejections() == {"outside the water": 5}
    assert len(found) == 7
    assert len(found.kept) == 2


def test_the_first_reason_is_kept() -> None:
    before = soundings((150, 20), (20, 20)).reject(np.array([True, False]), "double echo")
    assert reject_outside(before, SHORE).frame["reason"].tolist() == ["double echo", ""]


def test_a_sounding_without_a_place_is_not_outside() -> None:
    before = soundings((np.nan, 20), (20, 20), (150, 20))
    found = reject_outside(before, SHORE)
    assert found.frame["reason"].tolist() == ["no position", "", "outside the water"]


def test_depths_and_columns_stay_and_the_layer_given_is_not_changed() -> None:
    before = Soundings.from_arrays(
        np.array([[20, 20], [150, 20]], float),
        np.array([3, 4.0]),
        crs=None,
        line=np.array(["a", "b"]),
        notes=("read",),
    )
    found = reject_outside(before, SHORE)
    assert found.depth.tolist() == [3, 4]
    assert found.frame["line"].tolist() == ["a", "b"]
    assert found.notes == ("read",)
    assert not before.flag.any()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_an_independent_library_finds_the_same(seed: int) -> None:
    random = np.random.default_rng(seed)
    angle = np.sort(random.uniform(0, 2 * np.pi, 15))
    ring = 50 + np.column_stack([np.cos(angle), np.sin(angle)]) * random.uniform(15, 50, (15, 1))
    shape = shapely.Polygon(ring)
    if not shape.is_valid:
        return
    place = random.uniform(0, 100, (200, 2))
    found = reject_outside(soundings(*place), Shoreline.from_shapes([shape], None))
    inside = Outline(np.vstack([ring, ring[:1]])).contains_points(place)
    np.testing.assert_array_equal(~found.flag, inside)


def test_layers_in_different_crs_are_refused() -> None:
    shore = Shoreline.from_shapes([LAKE], CRS(32633))
    message = r"^soundings must be in the CRS of the shoreline, project one of them$"
    with pytest.raises(LayerError, match=message):
        reject_outside(soundings((20, 20)), shore)
