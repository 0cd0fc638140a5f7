"""Shorelines are valid, measure on the ground, and know where their edge is open."""

import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.layers import Shoreline

SQUARE = shapely.box(0, 0, 100, 100)
UTM33, UTM32 = pyproj.CRS(32633), pyproj.CRS(32632)


def there(east: float = 5e5, north: float = 5e6) -> shapely.Polygon:
    lake = SQUARE.difference(shapely.box(40, 40, 60, 60))
    return shapely.transform(lake, lambda place: place * 50 + [east, north])


# ---- made ----


@pytest.mark.parametrize(
    ("polygons", "depth", "message"),
    [
        (
            shapely.MultiPolygon(),
            0,
            r"^shoreline must be valid polygons, got an empty or invalid shape$",
        ),
        (
            shapely.MultiPolygon([SQUARE, shapely.box(50, 50, 150, 150)]),
            0,
            r"^shoreline must be valid polygons, got an empty or invalid shape$",
        ),
        (
            shapely.MultiPolygon([shapely.box(0, 0, 0.5, 0.5)]),
            0,
            r"^shoreline must enclose 1 m2 or more, got 0\.25 m2; is its CRS right\?$",
        ),
        (
            shapely.MultiPolygon([SQUARE]),
            np.nan,
            r"^depth of the shoreline must be finite, got nan$",
        ),
    ],
)
def test_refusals(polygons: shapely.MultiPolygon, depth: float, message: str) -> None:
    with pytest.raises(LayerError, match=message):
        Shoreline(polygons, None, depth)


def test_geographic_shorelines_are_refused() -> None:
    message = r"^shoreline must be in a projected CRS in metres, got 'WGS 84'$"
    with pytest.raises(LayerError, match=message):
        Shoreline.from_shapes([SQUARE], pyproj.CRS(4326))


def test_islands_are_its_inner_rings() -> None:
    shore = Shoreline.from_shapes([SQUARE, shapely.box(40, 40, 60, 60)], None, depth=-0.5)
    assert [shapely.Polygon(ring).area for ring in shore.islands] == [400]
    assert shore.depth == -0.5
    assert shore.notes == ("1 ring stacked upon the water made islands",)


# ---- on the ground ----


def test_a_plane_measures_as_drawn() -> None:
    shore = Shoreline.from_shapes([SQUARE, shapely.box(40, 40, 60, 60)], None)
    assert shore.ground_area() == 10_000 - 400
    assert shore.ground_length() == 400 + 80


def laid_out(code: int) -> Shoreline:
    """Lay out a lake 5000 m wide by geodesics, in its middle an island 1000 m wide."""
    crs = pyproj.CRS(code)
    longitude, latitude = (2.5, 46.9) if code == 27572 else (13.0, 52.0)
    geod = pyproj.Geod(ellps="WGS84")
    move = pyproj.Transformer.from_crs(4326, crs, always_xy=True)

    def ring(half: float) -> np.ndarray:
        bearing, away = np.array([45.0, 135, 225, 315]), np.full(4, half * np.sqrt(2))
        east, north = geod.fwd(np.full(4, longitude), np.full(4, latitude), bearing, away)[:2]
        return np.column_stack(move.transform(east, north))

    return Shoreline.from_shapes([shapely.Polygon(ring(2500), [ring(500)])], crs)


@pytest.mark.parametrize("code", [32633, 32632, 25833, 3857, 3035, 3413, 6933, 27572])
def test_area_and_length_on_the_ground_in_any_crs(code: int) -> None:
    shore = laid_out(code)
    assert shore.ground_area() == pytest.approx(25e6 - 1e6, rel=3e-4)
    assert shore.ground_length() == pytest.approx(24_000, rel=3e-4)


def test_a_local_grid_measures_as_a_plane() -> None:
    local = pyproj.CRS('LOCAL_CS["harbour grid",UNIT["metre",1]]')
    shore = Shoreline.from_shapes([SQUARE], local)
    assert shore.ground_area() == 10_000
    assert shore.ground_length() == 400


def test_area_does_not_depend_on_the_direction_of_rings() -> None:
    lake = there()
    reversed_rings = shapely.Polygon(
        lake.exterior.coords[::-1], [ring.coords[::-1] for ring in lake.interiors]
    )
    one, other = (Shoreline.from_shapes([shape], UTM33) for shape in (lake, reversed_rings))
    assert one.ground_area() == pytest.approx(other.ground_area(), rel=1e-12)
    assert one.ground_area() == pytest.approx(lake.area / 0.9996**2, rel=1e-4)


# ---- projected ----


def test_projecting_keeps_ground_area_islands_depth_and_open_edges() -> None:
    lake = there()
    mark = shapely.LineString([(5e5, 5e6), (5e5, 5e6 + 5000)])
    shore = Shoreline.from_shapes([lake], UTM33, depth=0.25).with_open_edges([mark])
    moved = shore.to_crs(UTM32)
    assert moved.crs == UTM32
    assert moved.depth == 0.25
    assert len(moved.islands) == 1
    assert moved.ground_area() == pytest.approx(shore.ground_area(), rel=1e-9)
    assert moved.open_edges is not None
    assert moved.open_edges.distance(moved.polygons.boundary) < 1e-3
    assert moved.to_crs(UTM33).polygons.equals_exact(shore.polygons, 1e-3)


def test_a_plane_and_the_own_crs_stay_as_they_are() -> None:
    plane, shore = Shoreline.from_shapes([SQUARE], None), Shoreline.from_shapes([there()], UTM33)
    assert plane.to_crs(UTM33) is plane
    assert shore.to_crs(UTM33) is shore


def test_a_crs_that_cannot_map_it_is_refused() -> None:
    antipode = pyproj.CRS("+proj=gnom +lat_0=-45 +lon_0=-165 +units=m")
    shore = Shoreline.from_shapes([there()], UTM33)
    with pytest.raises(LayerError, match=r"^shoreline lies outside what 'unknown' can map$"):
        shore.to_crs(antipode)


# ---- open edges ----


def test_an_edge_near_a_line_is_open() -> None:
    mark = shapely.LineString([(98, 0), (98, 100)])
    shore = Shoreline.from_shapes([SQUARE], None).with_open_edges([mark], within=3)
    assert shore.open_edges is not None
    open_part = shapely.union_all(shore.open_edges)
    # derived: the whole side, and of the two beside it the 2 m up to the ends of the mark
    assert open_part.length == pytest.approx(100 + 2 * 2)
    assert open_part.covers(shapely.LineString([(100, 0), (100, 100)]))


def test_an_edge_inside_a_polygon_is_open() -> None:
    mark = shapely.box(90, 20, 110, 50)
    shore = Shoreline.from_shapes([SQUARE], None).with_open_edges([mark], within=0.001)
    assert shore.open_edges is not None
    assert shore.open_edges.length == pytest.approx(30, abs=0.01)


def test_open_parts_at_the_start_of_a_ring_are_one() -> None:
    mark = shapely.LineString([(-1, 50), (-1, -1), (50, -1)])
    shore = Shoreline.from_shapes([SQUARE], None).with_open_edges([mark], within=2)
    assert shore.open_edges is not None
    assert len(shore.open_edges.geoms) == 1


def test_an_island_may_be_open_too() -> None:
    shore = Shoreline.from_shapes([SQUARE, shapely.box(40, 40, 60, 60)], None)
    opened = shore.with_open_edges([shapely.box(39, 39, 61, 61)], within=0.1)
    assert opened.open_edges is not None
    assert opened.open_edges.length == pytest.approx(80)


def test_marks_far_from_the_edge_are_refused() -> None:
    message = r"^open edges must lie within 5 m of the shoreline, none does$"
    with pytest.raises(LayerError, match=message):
        Shoreline.from_shapes([SQUARE], None).with_open_edges([shapely.Point(50, 50)])
