"""The worked row of plant volume, and layers of plants read as points or as outlines."""

import geopandas
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.habitat.plants import PlantBeds, PlantReadings, inhabited, plants_of
from toolbox.layers import Vectors


def layer(shapes: list[object], **columns: list[object]) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes), "plants")


POINTS = [shapely.Point(0, 0), shapely.Point(10, 0), shapely.Point(20, 0)]


def test_the_worked_row() -> None:
    # Canfield et al. 1984 (from memory): cover x mean height / mean depth; derived: 60 x 1.2 / 3
    assert inhabited(60.0, 1.2, 3.0) == pytest.approx(24.0)


def test_plants_do_not_stand_out_of_the_water() -> None:
    np.testing.assert_allclose(inhabited(np.array([50.0, 100.0]), 3.0, 2.0), [50, 100])
    assert np.isnan(inhabited(50.0, 1.0, np.array([0.0, -1.0]))).all()


@given(st.floats(0, 100), st.floats(0, 20), st.floats(0.01, 50))
def test_it_is_a_share_of_the_water(cover: float, height: float, depth: float) -> None:
    found = float(inhabited(cover, height, depth))
    assert 0 <= found <= cover
    assert found <= cover * height / depth * (1 + 1e-12)


def test_points_with_cover_and_height() -> None:
    told = plants_of(
        layer(POINTS, cover_percent=[0, 40, 100], height_m=[0.5, 1.0, np.nan], line=["a", None, ""])
    )
    assert isinstance(told, PlantReadings)
    np.testing.assert_array_equal(told.cover, [0, 40, 100])
    np.testing.assert_array_equal(told.height, [0, 1, np.nan])  # bare bed has no height
    assert told.line.tolist() == ["a", "", ""]
    assert np.isnan(told.depth).all()


def test_points_of_height_alone_are_grown_over_or_bare() -> None:
    told = plants_of(layer(POINTS, height_m=[0.0, 0.7, np.nan], depth_m=[1.0, 2.0, 3.0]))
    assert isinstance(told, PlantReadings)
    np.testing.assert_array_equal(told.cover, [0, 100])  # the third tells nothing
    np.testing.assert_array_equal(told.depth, [1, 2])


def test_text_columns_are_read() -> None:
    told = plants_of(layer(POINTS, cover_percent=["0", "35.5", ""], height_m=["", "0.8", "0.9"]))
    assert isinstance(told, PlantReadings)
    np.testing.assert_array_equal(told.cover, [0, 35.5, 100])
    with pytest.raises(LayerError, match=r"^column 'cover_percent' of plants must hold numbers: "):
        plants_of(layer(POINTS, cover_percent=["none", "some", "much"]))


def test_unknown_heights_are_taken_from_the_nearest_known() -> None:
    told = plants_of(layer(POINTS, cover_percent=[0, 40, 100], height_m=[0.0, 1.0, np.nan]))
    assert isinstance(told, PlantReadings)
    np.testing.assert_array_equal(told.with_heights().height, [0, 1, 1])
    bare = plants_of(layer(POINTS, cover_percent=[0, 40, 100]))
    assert isinstance(bare, PlantReadings)
    np.testing.assert_array_equal(bare.with_heights().height, [0, np.nan, np.nan])


def test_outlines_where_they_overlap_tell_of_most_plants() -> None:
    told = plants_of(
        layer(
            [shapely.box(0, 0, 10, 10), shapely.box(5, 0, 15, 10), None],
            cover_percent=[80, 50, 1],
            height_m=[1.0, 1.0, 1.0],
        )
    )
    assert isinstance(told, PlantBeds)
    inside, cover, height = told.at(np.array([[2.0, 5], [7, 5], [12, 5], [30, 5]]))
    assert inside.tolist() == [True, True, True, False]
    np.testing.assert_array_equal(cover, [80, 80, 50, 0])
    np.testing.assert_array_equal(height, [1, 1, 1, 0])


def test_columns_of_plant_beds_are_understood() -> None:
    told = plants_of(layer([shapely.box(0, 0, 1, 1)], cover=[0.4], height_mean_m=[0.6]))
    assert told.cover.tolist() == [pytest.approx(40)]
    assert told.height.tolist() == [0.6]


def test_an_empty_layer_is_bare_bed() -> None:
    told = plants_of(layer([]))
    assert isinstance(told, PlantBeds)
    assert not told.at(np.array([[0.0, 0.0]]))[0].any()


def test_faults_are_told() -> None:
    with pytest.raises(LayerError, match=r"^plants must be all points or all polygons, got LineS"):
        plants_of(layer([shapely.LineString([(0, 0), (1, 1)])], height_m=[1.0]))
    with pytest.raises(LayerError, match=r"^points of plants need a column cover_percent or heigh"):
        plants_of(layer(POINTS, species=["a", "b", "c"]))
    with pytest.raises(
        LayerError, match=r"^cover of plants must be 0 to 100 %, got 140 in feature 2$"
    ):
        plants_of(layer(POINTS, cover_percent=[0, 140, 0]))
    with pytest.raises(
        LayerError, match=r"^height of plants must be 0 to 100 m, got -1 in feature 3"
    ):
        plants_of(layer(POINTS, height_m=[0, 1, -1]))
