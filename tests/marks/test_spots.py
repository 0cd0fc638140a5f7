"""Spots: where on a feature a bait may lie."""

from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.layers import Tin, Vectors
from toolbox.marks.spots import NAMES, Spots, plant_shapes, spots_at

ALL = dict.fromkeys(NAMES, 1.0)


def bed() -> Tin:
    """Make 100 x 100 m whose depth is 10 m less the distance from the middle over 10 m."""
    x, y = np.meshgrid(np.arange(51) * 2.0, np.arange(51) * 2.0)
    vertices = np.column_stack([x.ravel(), y.ravel()])
    a = (np.arange(50)[:, None] * 51 + np.arange(50)).ravel()
    triangles = np.vstack([np.c_[a, a + 1, a + 52], np.c_[a, a + 52, a + 51]])
    depth = 10 - np.hypot(*(vertices - 50).T) / 10
    return Tin(vertices, depth, triangles, np.full(len(depth), 2), None)


def features(*rows: tuple[str, Any]) -> Vectors:
    kind, shapes = zip(*rows, strict=True)
    columns = {"kind": kind, "feature": range(len(rows)), "relief_m": 1.0, "confidence": 0.5}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=list(shapes)), "features")


def spots(*rows: tuple[str, Any], plants: Vectors | None = None, **options: Any) -> Spots:
    return spots_at(bed(), features(*rows), plants, ALL, **{"step": 2.0, "off": 1.0} | options)


def test_along_a_line_at_most_a_step_apart() -> None:
    line = shapely.MultiLineString([[(10, 10), (31, 10)], [(50, 20), (50, 20.5)]])
    found = spots(("drop-off foot", line))
    assert set(found.kind) == {"drop-off foot"}
    np.testing.assert_allclose(found.places[:11, 0], 10 + 21 / 11 * (np.arange(11) + 0.5))
    assert found.places[11:].tolist() == [[50, 20.25]]
    assert (found.feature == 0).all()
    assert (found.relief == 1).all()
    assert (found.confidence == 0.5).all()
    away = np.hypot(*(found.places - 50).T)
    np.testing.assert_allclose(found.depth, 10 - away / 10, atol=0.02)


def test_the_bottom_of_a_hole_and_top_and_side_of_a_hump() -> None:
    # derived: within 30 m of the middle the relief is 3 m; its lowest fifth lies within 6 m, and
    # upside down a hump's highest fifth beyond 24 m, its side from 9 to 21 m
    around = shapely.Point(50, 50).buffer(30)
    low = spots(("hole", around))
    assert np.hypot(*(low.places - 50).T).max() == pytest.approx(6, abs=1.5)
    hump = spots(("hump", around))
    away = np.hypot(*(hump.places - 50).T)
    assert away[hump.kind == "hump top"].min() == pytest.approx(24, abs=1.0)
    side = away[hump.kind == "hump side"]
    assert (side.min(), side.max()) == pytest.approx((9, 21), abs=1.0)
    assert set(spots(("bar", around)).kind) == {"bar top", "bar side"}


def test_small_and_thin_features_have_spots_too() -> None:
    for shape in (shapely.Point(50, 50).buffer(1), shapely.box(20, 50, 80, 50.2)):
        found = spots(("hole", shape))
        assert len(found)
        assert shapely.covers(shape, shapely.points(found.places)).all()


def test_plants_are_fished_where_the_bed_falls_away_from_them() -> None:
    stand = shapely.box(10, 35, 30, 65)
    found = spots(("plants", stand), off=2.0)
    away = shapely.distance(stand, shapely.points(found.places))
    np.testing.assert_allclose(away, 2, atol=0.05)
    assert np.isin(found.kind, "plant edge").all()
    # the bed is deepest at (50, 50): east of the plants
    assert (found.places[:, 0] > 29).all()
    assert found.places[:, 1].min() < 37
    assert found.places[:, 1].max() > 63
    around = spots(("plants", shapely.Point(50, 50).buffer(20)))  # shoals all round: no open side
    assert len(around) > 50
    shapes = [shapely.box(60, 45, 80, 55), None, shapely.Polygon()]
    given = Vectors(geopandas.GeoDataFrame(geometry=shapes), "stands")
    told = Vectors(given.frame.assign(confidence=[0.3, 0, 0], feature=7), "stands")
    assert set(spots(("shelf", stand), plants=told).confidence) == {0.3}
    both = spots(("plants", stand), plants=given)
    assert np.isnan(both.confidence[both.places[:, 0] > 50]).all()
    assert (both.confidence[both.places[:, 0] < 50] == 0.5).all()
    assert plant_shapes(features(("plants", stand)), given).area == pytest.approx(800)
    assert plant_shapes(features(("hole", stand)), None).is_empty


def test_rims_of_plateaus_and_changes_of_bottom() -> None:
    box = shapely.box(20, 20, 40, 40)
    for kind, mark in (("plateau", "plateau edge"), ("change of bottom", "bottom change")):
        found = spots((kind, box))
        assert set(found.kind) == {mark}
        assert shapely.distance(box.boundary, shapely.points(found.places)).max() < 1e-9
    line = spots(("change of bottom", shapely.LineString([(20, 20), (40, 20)])))
    assert len(line) == 10


def test_what_has_no_weight_lies_outside_or_is_told_otherwise_has_no_spot() -> None:
    shelf = shapely.box(20, 20, 40, 40)
    assert len(spots(("shelf", shelf), ("gully", shelf))) == 0
    assert len(spots(("hole", shapely.box(120, 20, 140, 40)))) == 0
    assert len(spots(("drop-off lip", shapely.LineString([(90, 50), (130, 50)])))) == 5
    assert len(spots(("hole", shapely.Polygon()))) == 0
    some = spots_at(bed(), features(("hump", shelf)), None, {"hump top": 1.0}, step=2.0, off=1.0)
    assert set(some.kind) == {"hump top"}


@pytest.mark.parametrize(
    ("column", "value", "told"),
    [
        ("confidence", 1.2, "confidence must be 0 to 1, got 1.2"),
        ("confidence", "sure", "confidence must be 0 to 1, got 'sure'"),
        ("relief_m", np.inf, "relief_m must be a number, got inf"),
        ("feature", "F1", "feature must be a number, got 'F1'"),
    ],
)
def test_numbers_that_are_none(column: str, value: object, told: str) -> None:
    given = features(("hole", shapely.box(20, 20, 40, 40)))
    wrong = Vectors(given.frame.assign(**{column: value}), "features")
    with pytest.raises(LayerError, match=rf"^feature 1: {told}$"):
        spots_at(bed(), wrong, None, ALL, step=2.0, off=1.0)
    empty = Vectors(given.frame.assign(**{column: None}), "features")
    assert len(spots_at(bed(), empty, None, ALL, step=2.0, off=1.0)) > 3


def test_shapes_that_do_not_fit_their_kind() -> None:
    line = shapely.LineString([(20, 20), (40, 20)])
    with pytest.raises(LayerError, match="feature 1: a gully axis must be lines, got Polygon"):
        spots(("gully axis", line.buffer(2)))
    with pytest.raises(LayerError, match="feature 2: a plants must be polygons, got LineString"):
        spots(("hole", line.buffer(2)), ("plants", line))
