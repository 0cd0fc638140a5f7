"""Well-known binary of many shapes: read by an independent library (GEOS, by shapely)."""

import numpy as np
import pytest
import shapely

from toolbox.formats.well_known import nested_deep, points_as_binary, triangles_as_binary

PLACES = np.random.default_rng(2).uniform(-1e6, 6e6, (50, 2))


def test_points_are_read_as_they_are() -> None:
    read = shapely.from_wkb(points_as_binary(PLACES).to_pylist())
    np.testing.assert_array_equal(shapely.get_coordinates(read), PLACES)
    assert set(shapely.get_type_id(read)) == {shapely.GeometryType.POINT}


def test_points_that_are_not_known_are_none() -> None:
    known = np.arange(50) % 3 > 0
    read = points_as_binary(PLACES, known).to_pylist()
    assert [shape is not None for shape in read] == known.tolist()
    expected = shapely.to_wkb(shapely.points(PLACES[known]), byte_order=1).tolist()
    assert [shape for shape in read if shape is not None] == expected


def test_triangles_are_closed_polygons() -> None:
    corners = PLACES[:48].reshape(-1, 3, 2)
    read = triangles_as_binary(corners).to_pylist()
    assert read == shapely.to_wkb(shapely.polygons(corners), byte_order=1).tolist()


def test_there_may_be_none() -> None:
    assert points_as_binary(PLACES[:0]).to_pylist() == []


def collections(levels: int) -> shapely.Geometry:
    shape: shapely.Geometry = shapely.Point(1, 2)
    for _ in range(levels):
        shape = shapely.GeometryCollection([shape, shapely.Point(3, 4)])
    return shape


@pytest.mark.parametrize("order", [0, 1])
@pytest.mark.parametrize("flavor", ["iso", "extended"])
def test_collections_in_collections_are_counted(order: int, flavor: str) -> None:
    for levels, deep in ((5, False), (900, False), (1100, True)):
        shape = shapely.force_3d(collections(levels), 1.0)
        binary = shapely.to_wkb(shape, byte_order=order, flavor=flavor)
        assert len(binary) < 9000 or nested_deep(binary) == deep
        assert not nested_deep(binary[:-1]) or deep
    assert nested_deep("GEOMETRYCOLLECTION(POINT(1 2)," * 1100 + "POINT(1 2)" + ")" * 1100)


def test_large_shapes_are_not_deep() -> None:
    rings = shapely.buffer(shapely.points(np.arange(5000) % 70, np.arange(5000) // 70), 0.4)
    large = shapely.multipolygons(rings.tolist())
    assert not nested_deep(shapely.to_wkb(large))
    assert not nested_deep(shapely.to_wkt(large))
    whole = shapely.LineString(np.column_stack([500_000 + np.arange(9000), np.arange(9000)]))
    assert not nested_deep(shapely.to_wkb(whole))
    assert not nested_deep(None)
