"""Marks for a boat: all on open water, in the order of a short tour."""

from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from scipy.spatial.distance import cdist

from toolbox.errors import LayerError
from toolbox.layers import Places, Shoreline, Tin, Vectors
from toolbox.marks.boat import boat_course, boat_marks

UTM = pyproj.CRS(32633)
AT = np.array([760_000.0, 5_300_000.0])  # far from the zone's middle
ISLAND = shapely.box(140, 60, 160, 140)


def moved(shape: Any) -> Any:
    return shapely.transform(shape, lambda place: place + AT)


def water() -> tuple[Tin, Shoreline]:
    x, y = np.meshgrid(np.arange(31) * 10.0, np.arange(21) * 10.0)
    vertices = np.column_stack([x.ravel(), y.ravel()])
    cells = [
        row * 31 + col
        for row in range(20)
        for col in range(30)
        if not (14 <= col < 16 and 6 <= row < 14)
    ]
    a = np.array(cells)
    triangles = np.vstack([np.c_[a, a + 1, a + 32], np.c_[a, a + 32, a + 31]])
    keep = np.unique(triangles)
    number = np.zeros(len(vertices), int)
    number[keep] = np.arange(len(keep))
    depth = 1 + 0.01 * vertices[keep, 0]
    bed = Tin(vertices[keep] + AT, depth, number[triangles], np.full(len(keep), 2), UTM)
    shape = moved(shapely.box(0, 0, 300, 200) - ISLAND)
    pool = moved(shapely.box(400, 0, 430, 30))
    return bed, Shoreline(shapely.MultiPolygon([shape, pool]), UTM)


BED, SHORE = water()


def vectors(name: str, shapes: list[Any], **columns: Any) -> Vectors:
    frame = geopandas.GeoDataFrame(columns, geometry=list(map(moved, shapes)), crs=UTM)
    return Vectors(frame, name)


FEATURES = vectors(
    "features",
    [
        shapely.LineString([(20, 20), (280, 20)]),
        shapely.LineString([(20, 180), (280, 180)]),
        shapely.Point(230, 100).buffer(20),
        shapely.LineString([(405, 5), (425, 25)]),
    ],
    kind=["drop-off foot", "gully axis", "hole", "drop-off foot"],
    feature=[1, 2, 3, 4],
    relief_m=[3.0, 1.0, 2.0, 3.0],
    confidence=[0.9, 0.8, 1.0, 1.0],
)


def slip(*at: tuple[float, float]) -> Places:
    return Places(np.array(at) + AT, pd.DataFrame({"name": ["slip"] * len(at)}), UTM)


def test_marks_of_a_tour_from_the_slip() -> None:
    found = boat_marks(BED, SHORE, slip((-3, 100)), FEATURES, count=10)
    frame = found.frame
    assert frame["mark"].tolist() == list(range(1, 11))
    assert sorted(frame["rank"]) == list(range(1, 11))
    ranked = frame.sort_values("rank")["score"]
    assert (np.diff(ranked) <= 0).all()
    place = frame.geometry.to_numpy()
    assert shapely.covered_by(place, SHORE.polygons.geoms[0]).all()
    at = shapely.get_coordinates(place)
    spread = cdist(at, at) + 1e9 * np.eye(10)
    assert spread.min() >= 25
    np.testing.assert_allclose(frame["total_m"], frame["leg_m"].cumsum())
    course = boat_course(found, BED, SHORE, slip((-3, 100)))
    assert len(course) == 11
    np.testing.assert_allclose(course.frame["length_m"][:10], frame["leg_m"])
    lines = course.frame.geometry.to_numpy()
    assert shapely.covered_by(lines, SHORE.polygons).all()
    assert shapely.distance(lines, moved(ISLAND)).min() >= 4.5
    begin, end = shapely.get_point(lines, 0), shapely.get_point(lines, -1)
    assert shapely.distance(begin[1:], end[:-1]).max() < 1e-9
    assert shapely.distance(begin[0], end[-1]) < 1e-9
    assert any("shallows, stones and ropes" in note for note in found.notes)
    assert "the boat stays in one part of the water" in found.notes


def test_a_straight_leg_followed_on_the_ellipsoid_leads_to_the_mark() -> None:
    # pyproj.Geod (GeographicLib; Karney 2013, J. Geod. 87:43, doi:10.1007/s00190-012-0578-z)
    frame = boat_marks(BED, SHORE, None, FEATURES, count=8).frame
    lines = boat_course(Vectors(frame, "marks"), BED, SHORE).frame.geometry
    straight = np.flatnonzero(shapely.get_num_points(lines.to_numpy()) == 2)
    assert len(straight) > 3
    geod = pyproj.Geod(ellps="WGS84")
    for leg in straight:
        here, there = frame.iloc[leg], frame.iloc[leg + 1]
        end = geod.fwd(
            here["longitude_deg"], here["latitude_deg"], there["leg_bearing_deg"], there["leg_m"]
        )
        off = geod.inv(*end[:2], there["longitude_deg"], there["latitude_deg"])[2]
        assert off < 0.01


def test_without_a_slip_the_best_mark_comes_first() -> None:
    frame = boat_marks(BED, SHORE, None, FEATURES, count=6).frame
    assert frame.loc[0, ["rank", "leg_m", "total_m"]].tolist() == [1, 0, 0]
    assert np.isnan(frame["leg_bearing_deg"][0])
    first, second = frame["sentence"][:2]
    row = frame.iloc[0]
    assert first == (
        f"Mark 1 at {row['latitude_deg']:.6f}, {row['longitude_deg']:.6f}: foot of the drop-off, "
        f"{row['depth_m']:.1f} m deep; 90 % sure to be there."
    )
    assert f", {frame['leg_m'][1]:.0f} m from mark 1, setting out on " in second


def test_exclusions_and_weights() -> None:
    closed = vectors(
        "closed", [shapely.box(0, 0, 150, 200), shapely.LineString([(300, 100), (200, 100)])]
    )
    frame = boat_marks(BED, SHORE, None, FEATURES, closed, weight_gully=0.0, count=50).frame
    place = frame.geometry.to_numpy()
    assert shapely.distance(place, closed.frame.geometry[0]).min() > 0
    assert shapely.distance(place, closed.frame.geometry[1]).min() >= 29.9
    assert set(frame["kind"]) == {"drop-off foot"}
    none = boat_marks(
        BED, SHORE, None, FEATURES, weight_drop_off_foot=0, weight_gully=0, weight_hole=0
    )
    assert len(none) == 0
    assert "no mark: no spot can be reached that has a weight" in none.notes
    assert {"mark", "rank", "leg_m", "sentence"} <= set(none.frame)
    assert [none.frame[name].dtype.kind for name in ("kind", "sentence", "leg_m")] == [
        "O",
        "O",
        "f",
    ]


def test_the_slip_chooses_the_part_of_the_water() -> None:
    frame = boat_marks(BED, SHORE, slip((395, 15)), FEATURES).frame
    assert len(frame) == 0  # no bed was made of the pool
    far = slip((350, 100))
    with pytest.raises(
        LayerError, match=r"^slip must lie within 10 m of the water, is 50.0 m from"
    ):
        boat_marks(BED, SHORE, far, FEATURES)
    with pytest.raises(LayerError, match="slip must be one place with a position, got 2 places"):
        boat_marks(BED, SHORE, slip((0, 0), (1, 1)), FEATURES)


def test_a_course_between_what_is_no_mark() -> None:
    with pytest.raises(LayerError, match="marks must be points, got LineString"):
        boat_course(vectors("marks", [shapely.LineString([(1, 1), (2, 2)])]), BED, SHORE)
    dry = vectors("marks", [shapely.Point(20, 20), shapely.Point(150, 100)])
    with pytest.raises(LayerError, match="mark 2 must lie in the part of the water sailed"):
        boat_course(dry, BED, SHORE)
