"""Soundings are checked when made, never dropped, and keep the first reason they are rejected."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.layers import Soundings

UTM33, UTM32 = pyproj.CRS(32633), pyproj.CRS(32632)
PLACE = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], float)


def soundings(crs: pyproj.CRS | None = None, **columns: object) -> Soundings:
    return Soundings.from_arrays(PLACE, np.arange(4.0), crs=crs, **columns)


# ---- made ----


def test_columns_are_added_where_missing() -> None:
    frame = soundings().frame
    assert frame["source"].tolist() == ["point"] * 4
    assert frame["line"].tolist() == [""] * 4
    assert frame["reason"].tolist() == [""] * 4
    assert not frame["flag"].any()
    assert frame[["time", "sd", "sd_xy"]].isna().all().all()


def test_columns_that_are_given_are_kept() -> None:
    found = soundings(line=np.array(list("aabb")), canopy=np.full(4, 0.5))
    assert found.frame["line"].tolist() == list("aabb")
    assert found.frame["canopy"].tolist() == [0.5] * 4


def test_missing_depths_and_places_are_flagged_with_a_reason() -> None:
    place = np.array([[0, 0], [np.nan, 0], [10, 10], [np.inf, 10]])
    found = Soundings.from_arrays(place, np.array([1, 2, np.nan, np.nan]), crs=None)
    assert found.frame["reason"].tolist() == ["", "no position", "no depth", "no position"]
    assert found.flag.tolist() == [False, True, True, True]
    assert len(found) == 4
    assert len(found.kept) == 1
    assert found.rejections() == {"no position": 2, "no depth": 1}
    np.testing.assert_array_equal(found.coordinates[0], [0, 0])
    assert np.isnan(found.coordinates[[1, 3]]).all()


def frame_of(**columns: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=shapely.points(PLACE))


@pytest.mark.parametrize(
    ("frame", "message"),
    [
        (frame_of(z=np.ones(4)), r"^soundings need a column 'depth', got \['z', 'geometry'\]$"),
        (
            frame_of(depth=[1, 2, np.nan, 4]),
            r"^sounding 2 has no depth or no place, and no flag$",
        ),
        (
            frame_of(depth=np.ones(4)).assign(geometry=[*shapely.points(PLACE[:3]), None]),
            r"^sounding 3 has no depth or no place, and no flag$",
        ),
        (
            frame_of(depth=np.ones(4), flag=[False, True, False, False]),
            r"^sounding 1 is flagged without a reason$",
        ),
        (
            frame_of(depth=np.ones(4)).set_crs(4326),
            r"^soundings must be in a projected CRS in metres, got 'WGS 84'$",
        ),
        (
            frame_of(depth=np.ones(4)).set_crs(2263),
            r"^soundings must be in a projected CRS in metres, "
            r"got 'NAD83 / New York Long Island \(ftUS\)'$",
        ),
    ],
)
def test_frames_that_are_refused(frame: gpd.GeoDataFrame, message: str) -> None:
    with pytest.raises(LayerError, match=message):
        Soundings(frame)


def test_shapes_other_than_points_are_refused_as_a_layer_error() -> None:
    frame = gpd.GeoDataFrame({"depth": [1.0]}, geometry=[shapely.box(0, 0, 1, 1)])
    with pytest.raises(LayerError, match=r"points"):
        Soundings(frame)


def test_arrays_of_different_length_are_refused_as_a_layer_error() -> None:
    with pytest.raises(LayerError, match=r"\b4\b.*\b3\b|\b3\b.*\b4\b"):
        Soundings.from_arrays(PLACE, np.ones(3), crs=None)


def test_a_frame_given_is_not_changed() -> None:
    frame = frame_of(depth=np.ones(4))
    before = list(frame.columns)
    Soundings(frame)
    assert list(frame.columns) == before


# ---- rejected ----


def test_reject_keeps_the_first_reason() -> None:
    first = soundings().reject(np.array([True, True, False, False]), "double echo")
    second = first.reject(np.array([False, True, True, False]), "outside the water")
    assert second.frame["reason"].tolist() == [
        "double echo",
        "double echo",
        "outside the water",
        "",
    ]
    assert second.rejections() == {"double echo": 2, "outside the water": 1}
    assert first.rejections() == {"double echo": 2}
    assert soundings().rejections() == {}


def test_kept_soundings_are_those_not_rejected_in_their_order() -> None:
    kept = soundings().reject(np.array([False, True, False, False]), "echo").kept
    assert kept.depth.tolist() == [0, 2, 3]
    assert not kept.flag.any()


def test_rejecting_without_a_reason_is_refused() -> None:
    with pytest.raises(LayerError, match=r"^sounding 2 is flagged without a reason$"):
        soundings().reject(np.array([False, False, True, False]), "")


# ---- joined ----


def test_joined_layers_keep_their_order_flags_and_notes() -> None:
    one = Soundings(soundings().frame, ("first",)).reject(np.arange(4) == 0, "echo")
    two = Soundings(soundings().frame, ("second",))
    both = Soundings.joined([one, two])
    assert both.depth.tolist() == [0, 1, 2, 3] * 2
    assert both.flag.tolist() == [True] + [False] * 7
    assert both.notes == ("first", "second")
    assert both.frame.index.tolist() == list(range(8))


def test_joining_a_file_with_times_to_one_without() -> None:
    times = pd.to_datetime(["2026-05-01T06:00Z"] * 4).to_numpy()
    both = Soundings.joined([soundings(), soundings(time=times)])
    seen = pd.to_datetime(both.frame["time"], utc=True)
    assert seen.isna().tolist() == [True] * 4 + [False] * 4
    assert seen.iloc[4] == pd.Timestamp("2026-05-01T06:00Z")


def test_joining_layers_in_different_crs_is_refused() -> None:
    message = r"^soundings to join must be in one CRS, project them first$"
    with pytest.raises(LayerError, match=message):
        Soundings.joined([soundings(UTM33), soundings(UTM32)])


# ---- projected ----


@settings(max_examples=30, deadline=None)
@given(st.floats(300_000, 700_000), st.floats(0, 9_000_000))
def test_there_and_back_again(easting: float, northing: float) -> None:
    there = Soundings.from_arrays(PLACE + np.array([easting, northing]), np.arange(4.0), crs=UTM33)
    moved = there.to_crs(UTM32)
    assert moved.crs == UTM32
    np.testing.assert_allclose(moved.to_crs(UTM33).coordinates, there.coordinates, atol=1e-3)
    # independent: the geodesic between the same two soundings is the same
    geod = pyproj.Geod(ellps="WGS84")
    lengths = []
    for layer in (there, moved):
        degrees = pyproj.Transformer.from_crs(layer.crs, 4326, always_xy=True)
        east, north = degrees.transform(*layer.coordinates.T)
        lengths.append(geod.inv(east[:-1], north[:-1], east[1:], north[1:])[2])
    np.testing.assert_allclose(*lengths, atol=1e-6)


def test_soundings_without_a_place_stay_without() -> None:
    place = PLACE + np.array([5e5, 5e6])
    place[1] = np.nan
    moved = Soundings.from_arrays(place, np.arange(4.0), crs=UTM33).to_crs(UTM32)
    assert np.isnan(moved.coordinates[1]).all()
    assert np.isfinite(moved.coordinates[[0, 2, 3]]).all()
    assert moved.frame["reason"].tolist() == ["", "no position", "", ""]
    assert len(moved) == 4


def test_flags_and_columns_survive_projecting() -> None:
    place = PLACE + np.array([5e5, 5e6])
    there = Soundings.from_arrays(place, np.arange(4.0), crs=UTM33, line=np.array(list("aabb")))
    moved = there.reject(np.arange(4) == 3, "echo").to_crs(UTM32)
    assert moved.frame["line"].tolist() == list("aabb")
    assert moved.flag.tolist() == [False, False, False, True]
    assert moved.depth.tolist() == [0, 1, 2, 3]


def test_a_plane_and_the_own_crs_stay_as_they_are() -> None:
    plane, there = soundings(), soundings(UTM33)
    assert plane.to_crs(UTM33) is plane
    assert there.to_crs(UTM33) is there


# ---- found once ----


def _north(layer: Soundings) -> np.ndarray:
    return layer.coordinates[:, 1].copy()


def test_what_does_not_depend_on_flags_is_found_once() -> None:
    given = soundings()
    found = given.once(_north)
    assert found.tolist() == [0, 0, 10, 10]
    assert given.reject(np.array([True, False, False, False]), "spike").once(_north) is found
    moved = Soundings(given.frame.set_geometry(shapely.points(PLACE + 5)))
    assert moved.once(_north).tolist() == [5, 5, 15, 15]


def test_coordinates_are_not_to_be_written_to() -> None:
    with pytest.raises(ValueError, match="read-only"):
        soundings().coordinates[0] = 1.0


def test_to_reject_nothing_changes_nothing() -> None:
    given = soundings()
    assert given.reject(np.zeros(4, bool), "spike") is given


def test_a_rejection_needs_a_reason() -> None:
    with pytest.raises(LayerError, match="sounding 2 is flagged without a reason"):
        soundings().reject(np.array([False, False, True, False]), "")
