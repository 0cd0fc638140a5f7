"""Figures of a water as a whole: closed forms and published lakes."""

import numpy as np
import pyproj
import pytest
import shapely

from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Shoreline, Soundings, Tin, VertexKind
from toolbox.units import convert
from toolbox.volume.morphometry import morphometry

SECTORS = 720


def cone(radius: float, deepest: float, *, rings: int = 1, power: float = 1.0) -> Tin:
    """Make a round bed of depth ``deepest (1 - (r / radius) ** power)``."""
    angle = 2 * np.pi * np.arange(SECTORS) / SECTORS
    radii = radius * (1 - np.arange(rings) / rings)
    vertices = [np.column_stack([r * np.cos(angle), r * np.sin(angle)]) for r in radii]
    depth = np.repeat(deepest * (1 - (radii / radius) ** power), SECTORS)
    here, after = np.arange(SECTORS), np.roll(np.arange(SECTORS), -1)
    triangles = [np.column_stack([here, after, np.full(SECTORS, rings * SECTORS)])]
    triangles[0][:, :2] += (rings - 1) * SECTORS
    for ring in range(rings - 1):
        outer, inner = ring * SECTORS, (ring + 1) * SECTORS
        triangles += [
            np.column_stack([outer + here, outer + after, inner + after]),
            np.column_stack([outer + here, inner + after, inner + here]),
        ]
    kind = np.full(rings * SECTORS + 1, VertexKind.SOUNDING)
    kind[:SECTORS] = VertexKind.SHORELINE
    return Tin(
        np.vstack([*vertices, [[0, 0]]]), np.r_[depth, deepest], np.vstack(triangles), kind, None
    )


def rectangle(length: float, width: float, depth: float, crs: pyproj.CRS | None = None) -> Tin:
    """Make a bed with one sounding in the middle of a rectangle."""
    corners = np.array([[0, 0], [length, 0], [length, width], [0, width]], float)
    vertices = np.vstack([corners, corners.mean(axis=0)])
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    return Tin(vertices, np.array([0, 0, 0, 0, depth]), triangles, np.array([0, 0, 0, 0, 2]), crs)


def measures(bed: Tin) -> dict[str, float]:
    frame = morphometry(bed).frame
    return dict(zip(frame["measure"], frame["value"], strict=True))


# ---- closed forms (derived) ----


def test_round_cone_of_one_square_kilometre() -> None:
    found = measures(cone(1000 / np.sqrt(np.pi), 10.0))
    assert found["shoreline development"] == pytest.approx(1, abs=1e-5)
    assert found["volume development"] == pytest.approx(1, abs=1e-12)
    assert found["relative depth"] == pytest.approx(0.8862, abs=5e-5)
    assert found["water area"] == pytest.approx(1e6, rel=2e-5)
    assert found["volume"] == pytest.approx(1e7 / 3, rel=2e-5)
    assert found["mean depth"] == pytest.approx(10 / 3, rel=1e-12)
    assert found["greatest depth"] == 10
    slope = np.degrees(np.arctan(10 * np.sqrt(np.pi) / 1000))
    assert found["mean slope"] == pytest.approx(slope, rel=1e-4)
    assert found["islands"] == found["island area"] == found["open edge length"] == 0


def test_mean_slope_of_a_cone_from_its_contours() -> None:
    # Wetzel & Likens 2000, Limnological Analyses, chapter 1 (from memory): the mean slope from
    # contour lengths of a cone 500 m wide and 10 m deep is 0.0200 whatever the interval
    found = measures(cone(500.0, 10.0))
    assert np.tan(np.radians(found["mean slope"])) == pytest.approx(0.02, rel=2e-5)


def test_mean_slope_is_weighed_by_area() -> None:
    # derived: a peak off the middle of a square of 100 m makes triangles of 1000, 4000 and twice
    # 2500 m2, as steep as 8 m over 20, 80 and 50 m; together 8 m times half the rim over the area
    bed = rectangle(100, 100, 8)
    moved = np.vstack([bed.vertices[:4], [[20, 50]]])
    found = measures(Tin(moved, bed.depth, bed.triangles, bed.kind, None))
    assert np.tan(np.radians(found["mean slope"])) == pytest.approx(8 * 200 / 10_000)


def test_square() -> None:
    found = measures(rectangle(1000, 1000, 10))
    assert found["shoreline development"] == pytest.approx(1.12838, abs=5e-6)
    assert found["shoreline length"] == pytest.approx(4000)
    assert found["relative depth"] == pytest.approx(0.8862, abs=5e-5)


@pytest.mark.parametrize(("power", "development"), [(1, 1.0), (2, 1.5), (1e3, 3.0)])
def test_volume_development_of_cone_paraboloid_and_box(power: float, development: float) -> None:
    rings = 1 if power == 1 else 200
    found = measures(cone(500, 10, rings=rings, power=power))
    assert found["volume development"] == pytest.approx(development, rel=0.01)


def test_rows_and_units() -> None:
    frame = morphometry(rectangle(100, 100, 10)).frame
    assert list(frame) == ["measure", "value", "unit", "source"]
    units = dict(zip(frame["measure"], frame["unit"], strict=True))
    assert units == {
        "water area": "m2",
        "islands": "1",
        "island area": "m2",
        "shoreline length": "m",
        "island shoreline length": "m",
        "open edge length": "m",
        "volume": "m3",
        "greatest depth": "m",
        "mean depth": "m",
        "shoreline development": "1",
        "volume development": "1",
        "relative depth": "%",
        "mean slope": "degree",
        "insulosity": "%",
        "shoreline crenulation": "1",
        "maximum length": "m",
        "maximum effective length": "m",
        "effective length bearing": "degree",
        "maximum breadth": "m",
        "mean breadth": "m",
        "centroid easting": "m",
        "centroid northing": "m",
        "deepest place easting": "m",
        "deepest place northing": "m",
        "hypsographic exponent": "1",
        "median slope": "degree",
        "share shallower than 1 m": "1",
        "share shallower than 2 m": "1",
        "share shallower than 4.572 m": "1",
        "dynamic ratio": "1",
        "Osgood index": "1",
        "basin permanence": "1",
        "wave base": "m",
        "share above the wave base": "1",
    }


def test_lines_and_places_of_a_rectangle() -> None:
    # derived: the diagonal of 400 m by 300 m is 500 m; at right angles to it fit 300 / (4 / 5) m;
    # a taut string around it is its own shore
    found = measures(rectangle(400, 300, 9))
    assert found["maximum length"] == pytest.approx(500, rel=1e-6)
    assert found["maximum effective length"] == pytest.approx(500, rel=1e-6)
    off_north = abs(found["effective length bearing"] - 90)  # either diagonal
    assert off_north == pytest.approx(90 - np.degrees(np.arctan2(4, 3)), abs=1e-4)
    assert found["maximum breadth"] == pytest.approx(375, rel=1e-5)
    assert found["mean breadth"] == pytest.approx(120_000 / 500, rel=1e-6)
    assert found["shoreline crenulation"] == pytest.approx(1)
    assert (found["centroid easting"], found["centroid northing"]) == pytest.approx((200, 150))
    place = found["deepest place easting"], found["deepest place northing"]
    assert place == pytest.approx((200, 150))


def test_shallow_shares_of_a_cone() -> None:
    # derived: A(z) = A (1 - z / 10)^2
    bed = cone(1000 / np.sqrt(np.pi), 10.0)
    frame = morphometry(bed, littoral=(5.0, 2.5, 20.0)).frame.set_index("measure")["value"]
    assert frame["share shallower than 2.5 m"] == pytest.approx(1 - 0.75**2, rel=1e-9)
    assert frame["share shallower than 5 m"] == pytest.approx(0.75, rel=1e-9)
    assert frame["share shallower than 20 m"] == 1
    assert frame["hypsographic exponent"] == pytest.approx(2, rel=1e-9)
    # Hakanson & Jansson 1983 (from memory): the wave base of 1 km2 is 45.7 / 22.4 = 2.040 m
    assert frame["wave base"] == pytest.approx(2.040, abs=5e-4)
    base = frame["wave base"]
    assert frame["share above the wave base"] == pytest.approx(1 - (1 - base / 10) ** 2, rel=1e-9)


def test_ratios_of_area_and_depth() -> None:
    # GLEON, Carvins Cove Reservoir: 2.55 km2, 24.3e6 m3; the ratios are derived
    area, volume = 2.5495e6, 24.302e6
    side = np.sqrt(area)
    found = measures(rectangle(side, side, 3 * volume / area))
    assert found["Osgood index"] == pytest.approx(5.97, abs=0.005)
    assert found["dynamic ratio"] == pytest.approx(0.1675, abs=0.0005)
    permanence = volume / 1e6 / (4 * side / 1000)
    assert found["basin permanence"] == pytest.approx(permanence, rel=1e-9)


def test_a_littoral_depth_is_named_once() -> None:
    with pytest.raises(ParameterError, match=r"^littoral must name each depth once, got \(2, 2\)$"):
        morphometry(rectangle(10, 10, 3), littoral=(2, 2))


def test_median_slope_halves_the_area() -> None:
    # derived: of triangles of 1000, 2500, 2500 and 4000 m2, as steep as 8 m over 20, 50, 50 and 80
    # m, the gentlest two hold half of the area only with one that falls 8 m in 50
    bed = rectangle(100, 100, 8)
    moved = np.vstack([bed.vertices[:4], [[20, 50]]])
    found = measures(Tin(moved, bed.depth, bed.triangles, bed.kind, None))
    assert np.tan(np.radians(found["median slope"])) == pytest.approx(8 / 50)


# ---- published lakes ----


def test_textbook_pond_shoreline_development() -> None:
    # Spellman, Mathematics and Statistics for the Environment, example 20.1: 8.6 mi, 510 acres,
    # D_L 2.72; a rectangle of that area and shoreline
    found = measures(_rectangle_of(convert(510, "acre", "m^2"), convert(8.6, "mile", "m")))
    assert found["shoreline development"] == pytest.approx(2.72, abs=0.005)


def test_washington_lake() -> None:
    # Washington State Department of Ecology, lake file lklengr1: 1300 acres, shoreline 14.4 mi,
    # 19,500 acre-ft, mean depth 15 ft; D_L derived
    area = convert(1300, "acre", "m^2")
    found = measures(_rectangle_of(area, convert(14.4, "mile", "m"), convert(45, "ft", "m")))
    assert found["shoreline development"] == pytest.approx(2.850, abs=0.0005)
    assert convert(found["volume"], "m^3", "acre * ft") == pytest.approx(19_500, rel=1e-9)
    assert convert(found["mean depth"], "m", "ft") == pytest.approx(15, rel=1e-9)


def _rectangle_of(area: float, shoreline: float, depth: float = 1.0) -> Tin:
    half = shoreline / 2
    width = (half - np.sqrt(half**2 - 4 * area)) / 2
    return rectangle(half - width, width, depth)


@pytest.mark.parametrize(
    ("cubic_feet", "square_feet", "acre_feet", "acres"),
    [(590_501_000, 38_118_000, 13_600, 875), (17_831_000, 1_373_000, 410, 32)],
)
def test_iowa_lakes(cubic_feet: float, square_feet: float, acre_feet: float, acres: float) -> None:
    # US Geological Survey, Scientific Investigations Map 2933, abstract: Lakes Macbride and Meyer
    area, volume = convert(square_feet, "ft^2", "m^2"), convert(cubic_feet, "ft^3", "m^3")
    side = np.sqrt(area)
    found = measures(rectangle(side, side, 3 * volume / area))  # a pyramid is a third of its box
    assert convert(found["volume"], "m^3", "acre * ft") == pytest.approx(acre_feet, rel=0.005)
    assert convert(found["water area"], "m^2", "acre") == pytest.approx(acres, rel=0.017)
    mean_feet = convert(found["mean depth"], "m", "ft")
    assert mean_feet == pytest.approx(cubic_feet / square_feet, rel=1e-9)


def test_carvins_cove() -> None:
    # GLEON, Carvins Cove Reservoir: 630 acres, 6.42e9 gal, greatest depth 23 m; a round bed of that
    # area, volume and depth, from which V_d 1.243 and Z_r 1.277 % are derived
    area, volume, deepest = convert(630, "acre", "m^2"), convert(6.42e9, "gallon", "m^3"), 23.0
    assert area == pytest.approx(2.55e6, rel=0.001)
    assert volume == pytest.approx(24.3e6, rel=0.001)
    share = volume / area / deepest  # of a box: power / (power + 2) for the round bed
    bed = cone(np.sqrt(area / np.pi), deepest, rings=120, power=2 * share / (1 - share))
    found = measures(bed)
    assert found["volume"] == pytest.approx(volume, rel=1e-3)
    assert found["mean depth"] == pytest.approx(9.53, abs=0.01)
    assert found["volume development"] == pytest.approx(1.243, abs=0.001)
    assert found["relative depth"] == pytest.approx(1.277, abs=0.0005)


# ---- islands and open edges ----


def lake(*holes: shapely.Polygon, crs: pyproj.CRS | None = None) -> Tin:
    water = shapely.box(0, 0, 300, 200)
    for hole in holes:
        water = water.difference(hole)
    shore = Shoreline.from_shapes([water], crs)
    place = np.random.default_rng(3).uniform([5, 5], [295, 195], (60, 2))
    return triangulate(Soundings.from_arrays(place, np.full(60, 4.0), crs=crs), shore)


def test_islands_are_counted_and_measured() -> None:
    found = measures(lake(shapely.box(50, 50, 70, 80), shapely.box(150, 100, 200, 110)))
    assert found["islands"] == 2
    assert found["island area"] == pytest.approx(600 + 500)
    assert found["insulosity"] == pytest.approx(100 * 1100 / 60_000)
    assert found["island shoreline length"] == pytest.approx(100 + 120)
    assert found["shoreline length"] == pytest.approx(1000)
    assert found["water area"] == pytest.approx(60_000 - 1100)
    development = 1000 / (2 * np.sqrt(np.pi * 58_900))
    assert found["shoreline development"] == pytest.approx(development)


def test_an_island_with_a_pond_upon_it() -> None:
    # the pond is water and its shore a shoreline; water and islands fill the outer shore
    ring = shapely.box(100, 50, 200, 150).difference(shapely.box(140, 90, 160, 110))
    found = measures(lake(ring))
    assert found["islands"] == 1
    assert found["island area"] == pytest.approx(10_000 - 400)
    assert found["island area"] + found["water area"] == pytest.approx(60_000)
    assert found["island shoreline length"] == pytest.approx(400)
    assert found["shoreline length"] == pytest.approx(1000 + 80)


def test_two_islands_that_touch_in_a_point_are_two() -> None:
    found = measures(lake(shapely.box(50, 50, 70, 70), shapely.box(70, 70, 100, 100)))
    assert found["islands"] == 2
    assert found["island area"] == pytest.approx(400 + 900)
    assert found["island shoreline length"] == pytest.approx(80 + 120)


def test_an_island_that_touches_the_shore_in_a_point_stays_an_island() -> None:
    island = shapely.Polygon([(0, 100), (30, 80), (30, 120)])
    found = measures(lake(island))
    assert found["islands"] == 1
    assert found["island area"] == pytest.approx(600)
    assert found["shoreline length"] == pytest.approx(1000)


def test_open_edges_are_no_shoreline() -> None:
    ends = [shapely.LineString([(0, 0), (0, 40)]), shapely.LineString([(200, 0), (200, 40)])]
    river = Shoreline.from_shapes([shapely.box(0, 0, 200, 40)], None)
    river = river.with_open_edges(ends, within=0.01)
    place = np.random.default_rng(5).uniform([2, 2], [198, 38], (80, 2))
    found = measures(triangulate(Soundings.from_arrays(place, np.full(80, 3.0), crs=None), river))
    assert found["open edge length"] == pytest.approx(80, abs=4 * 0.01 + 1e-5)
    assert found["shoreline length"] == pytest.approx(400, abs=4 * 0.01 + 1e-5)
    assert not {"shoreline development", "shoreline crenulation", "basin permanence"} & set(found)


# ---- where the edge lies, and on the ground ----


def test_shore_mapped_off_the_datum_is_where_measuring_begins() -> None:
    bed = rectangle(100, 100, 6)
    lowered = Tin(bed.vertices, bed.depth - 0.5, bed.triangles, bed.kind, None)
    table = morphometry(lowered)
    assert table.notes == ("measured at the mapped water's edge, depth -0.5 m",)
    found = measures(lowered)
    assert found["greatest depth"] == 6
    assert found["volume"] == pytest.approx(20_000)  # derived: a pyramid
    assert found["water area"] == pytest.approx(10_000)
    assert morphometry(bed).notes == ()


@pytest.mark.parametrize("depth", [0.0, -1.0])
def test_a_bed_without_water_is_refused(depth: float) -> None:
    bed = rectangle(100, 100, depth)
    if depth < 0:
        bed = Tin(bed.vertices, np.full(5, depth), bed.triangles, np.full(5, 2), None)
    message = "^the bed is nowhere deeper than the water's edge, there is no water in it$"
    with pytest.raises(LayerError, match=message):
        morphometry(bed)


@pytest.mark.parametrize(
    "code",
    [32633, 32632, 3857, 3035, 3413, 27572, 6933],
    ids=["utm", "utm of the next zone", "web mercator", "equal-area", "polar", "grads", "world"],
)
def test_figures_hold_on_the_ground_in_any_crs(code: int) -> None:
    # An island of 400 m by 300 m in a water of 2000 m by 1500 m, laid out by geodesics from a
    # corner (independent of every projection), and one sounding ring around it.
    geod = pyproj.Geod(ellps="WGS84")
    longitude, latitude = (14.9, 47.1) if code != 27572 else (2.5, 46.9)
    crs = pyproj.CRS(code)
    move = pyproj.Transformer.from_crs(4326, crs, always_xy=True)

    def place(offset: np.ndarray) -> np.ndarray:
        distance = np.hypot(*offset.T)
        bearing = np.degrees(np.arctan2(offset[:, 0], offset[:, 1]))
        start = np.full(len(offset), longitude), np.full(len(offset), latitude)
        there = geod.fwd(*start, bearing, distance)[:2]
        return np.column_stack(move.transform(*there))

    def ring(left: float, bottom: float, right: float, top: float) -> np.ndarray:
        return place(np.array([[left, bottom], [right, bottom], [right, top], [left, top]], float))

    water = shapely.Polygon(ring(0, 0, 2000, 1500), [ring(800, 600, 1200, 900)])
    shore = Shoreline.from_shapes([water], crs)
    spots = place(np.random.default_rng(1).uniform([50, 50], [1950, 1450], (100, 2)))
    bed = triangulate(Soundings.from_arrays(spots, np.full(100, 5.0), crs=crs), shore)
    found = measures(bed)
    tolerance = 3e-4 if code == 27572 else 1e-4  # its ellipsoid is another
    assert found["water area"] == pytest.approx(2000 * 1500 - 120_000, rel=tolerance)
    assert found["island area"] == pytest.approx(120_000, rel=tolerance)
    assert found["shoreline length"] == pytest.approx(7000, rel=tolerance)
    assert found["island shoreline length"] == pytest.approx(1400, rel=tolerance)
    # around the island's corner, from one corner of the water to that across (derived)
    assert found["maximum length"] == pytest.approx(
        np.hypot(1200, 600) + np.hypot(800, 900), rel=3 * tolerance
    )
    assert found["shoreline development"] == pytest.approx(
        7000 / (2 * np.sqrt(np.pi * 2_880_000)), rel=tolerance
    )
