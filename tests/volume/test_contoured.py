"""Areas within isobaths are even-odd, and zones sum to the whole."""

from functools import cache
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
import zoo
from pyproj import CRS

from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError
from toolbox.formats.vectors_file import read_vectors
from toolbox.isobaths.isobaths import isobaths
from toolbox.isobaths.zones import depth_zones
from toolbox.layers import Vectors
from toolbox.volume.contoured import (
    even_odd,
    ground_area,
    hypsography_of_isobaths,
    hypsography_of_zones,
)
from toolbox.volume.hypsography import hypsography

SHARED = Path(__file__).resolve().parents[2].parent / "shared"
DATA = SHARED / "data" / "wisconsin_contours"

# ---- published maps ----

# NTL-LTER data sets 153 and 288 (CC-BY 4.0): digitised isobaths, their even-odd areas on the map
# and volumes by the cone rule, hm3. Two files lack their CRS, which is EPSG:3070.
LAKES = {
    "ME": ("mendota-contours-all.shp", 489.80, 0.005),
    "MO": ("monona-contours-all.shp", 112.72, 0.005),
    "AL": ("small_lakes.shp", 4.646, 0.0005),
    "CR": ("small_lakes.shp", 3.965, 0.0005),
    "SP": ("small_lakes.shp", 6.4185, 0.00005),
    "TB": ("small_lakes.shp", 0.0598, 0.00005),
}


@cache
def published(lake: str) -> tuple[Vectors, pd.DataFrame]:
    file, _, _ = LAKES[lake]
    small = file == "small_lakes.shp"
    where, crs = (f"LakeID = '{lake}'", None) if small else (None, "EPSG:3070")
    table = pd.read_csv(DATA / "even_odd_areas.csv")
    return read_vectors(DATA / file, crs=crs, where=where), table[table["lake"] == lake]


def on_the_map(vectors: Vectors) -> Vectors:
    return Vectors(vectors.frame.set_crs(None, allow_override=True), vectors.name)


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
@pytest.mark.parametrize("lake", LAKES)
def test_digitised_isobaths_have_their_published_areas_and_volume(lake: str) -> None:
    vectors, table = published(lake)
    frame = hypsography_of_isobaths(on_the_map(vectors), depth="Depth_m").frame
    np.testing.assert_allclose(frame["depth_m"], table["depth_m"], atol=1e-6)
    np.testing.assert_allclose(frame["area_m2"], table["area_net_even_odd_m2"], rtol=2e-5)
    _, volume, half = LAKES[lake]
    # to half of the last digit that is printed
    assert frame["volume_below_m3"][0] / 1e6 == pytest.approx(volume, abs=half)


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
def test_lines_measure_as_polygons_do() -> None:
    vectors, _ = published("SP")
    lines = Vectors(vectors.frame.set_geometry(vectors.frame.boundary), "lines")
    one, other = (hypsography_of_isobaths(v, depth="Depth_m").frame for v in (vectors, lines))
    np.testing.assert_allclose(one["area_m2"], other["area_m2"], rtol=1e-9)


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
def test_areas_are_on_the_ground() -> None:
    # Snyder 1987, USGS Prof. Paper 1395, p. 57: a transverse Mercator of scale 0.9996 at its middle
    vectors, _ = published("CR")
    one, other = (
        hypsography_of_isobaths(v, depth="Depth_m").frame["area_m2"]
        for v in (vectors, on_the_map(vectors))
    )
    ratio = other / one
    np.testing.assert_allclose(ratio, ratio[0], rtol=1e-5)
    assert 0.9996**2 <= ratio[0] < 1.0006


# ---- squares ----


def square(side: float, east: float = 0.0, north: float = 0.0) -> shapely.Polygon:
    return shapely.box(east - side / 2, north - side / 2, east + side / 2, north + side / 2)


def layer(shapes: list[Any], **columns: Any) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes), "map")


def test_rings_within_rings_are_islands_and_ponds() -> None:
    nested = [square(10), square(6), square(2)]
    assert even_odd(np.array(nested)).area == 100 - 36 + 4
    assert even_odd(np.array([shape.exterior for shape in nested])).area == 100 - 36 + 4
    hollow = square(10).difference(square(6))
    assert even_odd(np.array([hollow, square(2)])).area == 100 - 36 + 4


def test_a_ring_in_pieces_is_joined() -> None:
    ring = np.array(square(10).exterior.coords)
    pieces = [shapely.LineString(ring[:3]), shapely.LineString(ring[4:1:-1])]
    assert even_odd(np.array(pieces)).area == 100


def test_a_figure_of_eight_is_two_basins() -> None:
    eight = shapely.LineString([(0, 0), (2, 2), (2, 0), (0, 2), (0, 0)])
    assert even_odd(np.array([eight])).area == 2


def test_table_of_a_stepped_square() -> None:
    # derived: a pyramid's sides 10, 5 and 0 at depths 0, 2 and 4 by the frustum rule is exact
    vectors = layer([square(5), square(10)], depth_m=[2.0, 0.0])
    table = hypsography_of_isobaths(vectors, greatest_depth=4.0, datum=50.0)
    assert table.frame["area_m2"].tolist() == [100, 25, 0]
    np.testing.assert_allclose(table.frame["volume_below_m3"], [400 / 3, 50 / 3, 0])
    np.testing.assert_allclose(table.frame["volume_above_m3"], [0, 350 / 3, 400 / 3])
    assert table.frame["elevation_m"].tolist() == [50, 48, 46]
    assert table.notes == ("volumes by the frustum rule", "shares and volume above refer to 0 m")
    short = hypsography_of_isobaths(vectors, rule="trapezoid")
    assert short.frame["volume_below_m3"].tolist() == [125, 0]
    assert short.notes[-1] == "water below 2 m is not counted"


def test_water_above_a_map_without_a_shoreline_is_told_to_be_missing() -> None:
    shapes = [square(5), square(10)]
    told = "water above 1 m is not counted: no isobath is the shoreline's"
    assert told in hypsography_of_isobaths(layer(shapes, depth_m=[2.0, 1.0])).notes
    for top in (0.0, -0.5):  # a shoreline mapped at the datum, or at a higher water
        whole = hypsography_of_isobaths(layer(shapes, depth_m=[2.0, top]))
        assert not any("water above" in note for note in whole.notes)


def test_an_isobath_outside_the_one_above_is_told() -> None:
    table = hypsography_of_isobaths(layer([square(5), square(10)], depth_m=[0.0, 1.0]))
    told = "the area at 1 m is larger than that above it: look at the map"
    assert table.notes[-1] == told


@pytest.mark.parametrize(
    ("shapes", "depths", "message"),
    [
        (
            [square(4).exterior, shapely.LineString([(7, 8), (1, 1)])],
            [0.0, 1.0],
            r"^isobaths must close, 1 line do not, the first ends at 7\.0, 8\.0$",
        ),
        ([shapely.Point(1, 1)], [0.0], r"^isobaths must be lines or polygons, got a Point$"),
        ([square(4), square(3)], [0.0, np.nan], r"^isobaths must have depths, feature 2 has nan$"),
        ([square(4)], [0.0], r"^depths must ascend strictly, two or more of them$"),
        (
            [shapely.LineString([(0, 0), (1, 1), (0, 0)])],
            [0.0],
            r"^the map encloses no water$",
        ),
    ],
)
def test_refusals(shapes: list[Any], depths: list[float], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        hypsography_of_isobaths(layer(shapes, depth_m=depths))


def test_columns_and_depths_that_are_not_there_are_refused() -> None:
    vectors = layer([square(4), square(2)], depth_m=[0.0, 1.0])
    with pytest.raises(LayerError, match=r"^the isobaths have no column 'z', only \['depth_m', "):
        hypsography_of_isobaths(vectors, depth="z")
    message = r"^greatest_depth must lie below the last isobath, 1 m, got 1$"
    with pytest.raises(LayerError, match=message):
        hypsography_of_isobaths(vectors, greatest_depth=1.0)
    with pytest.raises(LayerError, match=r"^the zones have no column 'from_m', only \['depth_m', "):
        hypsography_of_zones(vectors)
    words = layer([square(4)], depth_m=["deep"], from_m=[0.0], to_m=["deep"])
    with pytest.raises(LayerError, match=r"^column 'depth_m' must hold numbers: .* 'deep'$"):
        hypsography_of_isobaths(words)
    with pytest.raises(LayerError, match=r"^column 'to_m' must hold numbers: .* 'deep'$"):
        hypsography_of_zones(words)


# ---- conservation: isobaths and zones of a bed against the bed ----


@pytest.mark.parametrize("kind", [0, 2])
def test_isobaths_and_zones_of_a_bed_have_its_areas(kind: int) -> None:
    lake = zoo.lakes(7)[kind]
    bed = triangulate(zoo.survey(lake, "points", seed=1), lake.shoreline)
    levels = tuple(np.linspace(0, float(bed.depth.max()) * 0.95, 7))
    exact = hypsography(bed, levels=levels).frame["area_m2"]
    mapped = hypsography_of_isobaths(isobaths(bed, levels=levels)).frame
    np.testing.assert_allclose(mapped["area_m2"], exact, rtol=1e-6)
    zoned = hypsography_of_zones(depth_zones(bed, levels=levels[1:])).frame
    np.testing.assert_allclose(zoned["area_m2"][:-1], exact, rtol=1e-6)
    assert zoned["depth_m"].iloc[-1] == bed.depth.max()


def test_zones_that_leave_a_gap_are_refused() -> None:
    hollow = square(4).difference(square(2))
    good = layer([hollow, square(2)], from_m=[0.0, 1.0], to_m=[1.0, 3.0])
    frame = hypsography_of_zones(good, rule="trapezoid").frame
    assert frame["area_m2"].tolist() == [16, 4, 0]
    assert frame["volume_below_m3"].tolist() == [14, 4, 0]
    bad = layer([hollow, square(2)], from_m=[0.0, 2.0], to_m=[1.0, 3.0])
    message = (
        r"^zones must follow each other in depth, feature 1 reaches from 0 to 1 m, and the next "
        r"depth is 2 m$"
    )
    with pytest.raises(LayerError, match=message):
        hypsography_of_zones(bad)


def test_ground_area_is_geodesic() -> None:
    # against pyproj's own geodesic area of the corners in degrees; a hole counts less
    crs = CRS(32633)
    water = shapely.box(4e5, 5e6, 4.2e5, 5.01e6).difference(
        shapely.box(4.05e5, 5.002e6, 4.1e5, 5.004e6)
    )
    degrees = geopandas.GeoSeries([shapely.segmentize(water, 200)], crs=crs).to_crs(4326)[0]
    exact = abs(CRS(4326).get_geod().geometry_area_perimeter(degrees)[0])  # type: ignore[union-attr]
    assert ground_area(shapely.segmentize(water, 200), crs) == pytest.approx(exact, rel=1e-9)
    assert ground_area(water, None) == water.area


def test_ground_area_of_parts_is_the_sum_of_theirs_and_of_nothing_none() -> None:
    crs = CRS(32633)
    ring = shapely.Point(4e5, 5e6).buffer(300).difference(shapely.Point(4e5, 5e6).buffer(100))
    parts = [ring, shapely.box(4.1e5, 5e6, 4.11e5, 5.001e6)]
    whole = sum(ground_area(part, crs) for part in parts)
    assert ground_area(shapely.MultiPolygon(parts), crs) == pytest.approx(whole, rel=1e-14)
    assert ground_area(shapely.MultiPolygon(), crs) == 0
