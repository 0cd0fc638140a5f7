"""Edges of plant beds along the sides of a square pit."""

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS

from toolbox.errors import LayerError
from toolbox.habitat.plant_edges import plant_edges
from toolbox.layers import Tin, Vectors, VertexKind


def pit() -> Tin:
    """Make a square pit of 200 m, 20 m deep in the middle: 1 in 5."""
    vertices = np.array([[0, 0], [200, 0], [200, 200], [0, 200], [100, 100]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    kind = np.array([VertexKind.SHORELINE] * 4 + [VertexKind.SOUNDING])
    return Tin(vertices, np.array([0, 0, 0, 0, 20.0]), triangles, kind, None)


def beds(*shapes: shapely.Polygon, **columns: list[float]) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=list(shapes)), "plants")


def ring(outer: float, inner: float) -> shapely.Polygon:
    """Return the strip between two distances from the shore."""
    return shapely.box(outer, outer, 200 - outer, 200 - outer) - shapely.box(
        inner, inner, 200 - inner, 200 - inner
    )


def test_a_belt_has_an_outer_and_an_inner_edge() -> None:
    frame = plant_edges(pit(), beds(ring(10, 30), height_m=[0.8])).frame
    assert list(frame) == [
        "bed",
        "edge",
        "length_m",
        "depth_mean_m",
        "depth_least_m",
        "depth_greatest_m",
        "height_m",
        "geometry",
    ]
    edges = frame.set_index("edge")
    assert sorted(edges.index) == ["inner", "outer"]
    # derived: squares of 140 and 180 m, 30 and 10 m from the shore, at 6 and 2 m
    assert edges["length_m"]["outer"] == pytest.approx(4 * 140, rel=0.01)
    assert edges["length_m"]["inner"] == pytest.approx(4 * 180, rel=0.01)
    for name in ("depth_mean_m", "depth_least_m", "depth_greatest_m"):
        assert edges[name]["outer"] == pytest.approx(6, abs=0.1)
        assert edges[name]["inner"] == pytest.approx(2, abs=0.1)
    assert frame["height_m"].tolist() == [0.8, 0.8]


def test_no_edge_where_plants_reach_the_shore() -> None:
    frame = plant_edges(pit(), beds(ring(0, 30))).frame
    assert frame["edge"].tolist() == ["outer"]
    assert frame["length_m"].iloc[0] == pytest.approx(560, rel=0.01)


def test_a_bed_on_one_side_has_depths_that_change_along_its_ends() -> None:
    frame = plant_edges(pit(), beds(shapely.box(60, 10, 140, 40)), shortest=5.0).frame
    edges = {row.edge: row for row in frame.itertuples()}
    assert len(frame) == 2
    assert edges["outer"].depth_greatest_m == pytest.approx(8, abs=0.05)
    assert edges["inner"].depth_least_m == pytest.approx(2, abs=0.05)
    total = sum(row.length_m for row in frame.itertuples())
    assert total == pytest.approx(2 * (80 + 30), rel=0.02)
    assert edges["outer"].geometry.distance(shapely.Point(100, 40)) < 0.1


def test_lines_have_the_plants_to_their_left() -> None:
    shape = shapely.box(60, 10, 140, 40)
    for clockwise in (shape, shapely.reverse(shape)):
        for line in plant_edges(pit(), beds(clockwise)).frame.geometry:
            left = shapely.offset_curve(line, 1.0)
            assert shape.contains(left.interpolate(0.5, normalized=True))


def test_no_edge_between_beds_that_adjoin() -> None:
    left, right = shapely.box(60, 10, 100, 40), shapely.box(100, 10, 140, 40)
    frame = plant_edges(pit(), beds(left, right), shortest=5.0).frame
    assert set(frame["bed"]) == {1, 2}
    shared = shapely.LineString([(100, 16), (100, 34)])
    assert shapely.distance(frame.geometry.to_numpy(), shared.interpolate(9)).min() > 3


def test_short_edges_are_left_out_and_counted() -> None:
    plants = beds(shapely.box(60, 10, 140, 40))
    layer = plant_edges(pit(), plants, shortest=1_000.0)
    assert len(layer) == 0
    assert layer.notes == ("2 edges shorter than 1000 m left out",)


def test_columns_keep_their_types_without_rows() -> None:
    none, some = plant_edges(pit(), beds()).frame, plant_edges(pit(), beds(ring(10, 30))).frame
    assert len(none) == 0
    for name in ("bed", "edge", "length_m"):
        assert none[name].dtype == some[name].dtype, name


def test_an_edge_may_be_finer_than_the_step() -> None:
    coarse, fine = (
        plant_edges(pit(), beds(ring(10, 30)), step=step).frame["length_m"].sum()
        for step in (5.0, 0.5)
    )
    assert coarse == pytest.approx(fine, rel=0.02)


def test_faults_are_told() -> None:
    points = Vectors(
        geopandas.GeoDataFrame({"height_m": [1.0]}, geometry=[shapely.Point(50, 50)]), "plants"
    )
    with pytest.raises(LayerError, match=r"^edges need beds of plants as polygons, got points$"):
        plant_edges(pit(), points)
    elsewhere = Vectors(beds(ring(10, 30)).frame.set_crs(CRS(32633)), "plants")
    with pytest.raises(LayerError, match="CRS"):
        plant_edges(pit(), elsewhere)
    assert len(plant_edges(pit(), Vectors(geopandas.GeoDataFrame(geometry=[]), "plants"))) == 0
