"""Shorelines and breaklines come in whole, mended where they must be, and say so."""

import re
from itertools import permutations
from pathlib import Path

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from toolbox.errors import InputFileError, LayerError, ParameterError
from toolbox.formats.shoreline_file import read_breaklines, read_shoreline

UTM = 32633
EAST, NORTH = 500_000, 5_200_000


def square(width: float, *, east: float = 0, north: float = 0) -> Polygon:
    """Make a square, its south-western corner so far from the origin of these tests."""
    return box(EAST + east, NORTH + north, EAST + east + width, NORTH + north + width)


def put(
    folder: Path, *shapes: shapely.Geometry | None, crs: int | None = UTM, **columns: object
) -> Path:
    path = folder / "layer.gpkg"
    values = columns or {"number": range(len(shapes))}
    geopandas.GeoDataFrame(values, geometry=list(shapes), crs=crs).to_file(path)
    return path


LAKE = square(100)
ISLAND = square(40, east=30, north=30)
POOL = square(10, east=45, north=45)
ROCK = square(2, east=49, north=49)
WITH_ISLAND = LAKE.difference(ISLAND)

# ---- every repair is told; all areas are derived ----


@pytest.mark.parametrize(
    ("shapes", "area", "islands", "told"),
    [
        ([LAKE], 10_000, 0, []),
        ([WITH_ISLAND], 8_400, 1, []),
        ([MultiPolygon([LAKE, square(10, east=200)])], 10_100, 0, []),
        (
            [
                Polygon(
                    [
                        (EAST, NORTH),
                        (EAST + 100, NORTH + 100),
                        (EAST + 100, NORTH),
                        (EAST, NORTH + 100),
                    ]
                )
            ],
            5_000,
            0,
            ["shape 1 repaired: Self-intersection"],
        ),
        (
            [Polygon([*LAKE.exterior.coords[:-1], (EAST + 50, NORTH + 120), (EAST + 50, NORTH)])],
            None,
            0,
            ["shape 1 repaired: "],
        ),
        ([LAKE, ISLAND], 8_400, 1, ["1 ring stacked upon the water made islands"]),
        (
            [LAKE, square(10, east=10, north=10), square(20, east=60, north=60)],
            9_500,
            2,
            ["2 rings stacked upon the water made islands"],
        ),
        ([LAKE, ISLAND, POOL], 8_500, 1, ["1 ring stacked upon the water made islands"]),
        ([LAKE, ISLAND, POOL, ROCK], 8_496, 2, ["2 rings stacked upon the water made islands"]),
        ([WITH_ISLAND, POOL], 8_500, 1, []),
        ([LAKE, LAKE, LAKE], 10_000, 0, ["2 repeated polygons left out"]),
        ([LAKE, Polygon(LAKE.exterior.coords[::-1])], 10_000, 0, ["1 repeated polygon left out"]),
        ([LAKE, square(100, east=50)], 15_000, 0, ["1 overlapping part joined"]),
        (
            [LAKE, square(100, east=50), square(100, east=100)],
            20_000,
            0,
            ["2 overlapping parts joined"],
        ),
        ([WITH_ISLAND, ISLAND], 8_400, 1, ["1 polygon within an island, taken as land"]),
        ([LAKE, square(0.9, east=200)], 10_000, 0, ["1 parts below 1 m2 left out"]),
        (
            [LAKE.difference(square(0.9, east=50, north=50))],
            10_000,
            0,
            ["1 holes below 1 m2 left out"],
        ),
        ([LAKE, square(1.1, east=200)], 10_001.21, 0, []),
        (
            [LAKE, Polygon(), None],
            10_000,
            0,
            ["shape 2 is empty: left out", "shape 3 is empty: left out"],
        ),
        ([LAKE, square(100, east=100)], 20_000, 0, ["1 .*joined"]),
        ([LAKE, square(20, east=0, north=30)], 9_600, 0, ["1 ring stacked upon the water"]),
        ([LAKE, ISLAND, square(10, east=30, north=40)], 8_500, 1, ["1 ring", ".*joined"]),
        ([LAKE, square(10, east=100, north=100)], 10_100, 0, []),
    ],
    ids=[
        "nothing to mend",
        "island as hole",
        "two parts in one feature",
        "bow-tie",
        "spike and touch",
        "island stacked",
        "two islands stacked",
        "island upon island",
        "rock in the pool on the island",
        "pool in a hole",
        "repeated polygon",
        "repeated polygon drawn backwards",
        "overlapping parts",
        "chain of overlapping parts",
        "hole filled by a polygon",
        "sliver",
        "sliver of a hole",
        "small but no sliver",
        "empty geometries",
        "parts side by side",
        "island at the shore",
        "pool at the edge of an island",
        "parts that touch at a corner",
    ],
)
def test_repairs_are_right_and_told(
    shapes: list[shapely.Geometry | None],
    area: float | None,
    islands: int,
    told: list[str],
    tmp_path: Path,
) -> None:
    read = read_shoreline(put(tmp_path, *shapes))
    assert read.polygons.is_valid
    if area is not None:
        assert read.polygons.area == pytest.approx(area, rel=1e-9)
    assert len(read.islands) == islands
    assert len(read.notes) == len(told), read.notes
    for wanted, note in zip(told, read.notes, strict=True):
        assert re.match(wanted, note), note


@pytest.mark.parametrize("order", list(permutations(range(4))), ids=lambda order: str(order))
def test_the_order_of_stacked_rings_does_not_matter(order: tuple[int, ...], tmp_path: Path) -> None:
    stack = [LAKE, ISLAND, POOL, ROCK]
    read = read_shoreline(put(tmp_path, *(stack[k] for k in order)))
    assert read.polygons.area == pytest.approx(10_000 - 1_600 + 100 - 4, rel=1e-12)
    assert read.notes == ("2 rings stacked upon the water made islands",)


def test_stacked_and_cut_out_islands_give_one_water(tmp_path: Path) -> None:
    cut = read_shoreline(put(tmp_path, WITH_ISLAND)).polygons
    stacked = read_shoreline(put(tmp_path, LAKE, ISLAND)).polygons
    assert cut.equals(stacked)


@pytest.mark.parametrize("cut", [0, 1], ids=["closed", "not closed"])
def test_a_line_round_the_water_is_its_edge(cut: int, tmp_path: Path) -> None:
    round_it = shapely.segmentize(LAKE.exterior, 5.0)
    places = shapely.get_coordinates(round_it)
    found = read_shoreline(put(tmp_path, LineString(places[: len(places) - cut])))
    assert found.polygons.area == pytest.approx(
        LAKE.area, rel=1e-12
    )  # derived: the gap is straight
    (note,) = found.notes
    assert ("its ends, 5.0 m apart, are joined" in note) == bool(cut)


def test_a_walk_round_the_water_is_read_from_gpx_and_kml(tmp_path: Path) -> None:
    degrees = geopandas.GeoSeries([shapely.segmentize(LAKE, 5.0)], crs=UTM).to_crs(4326)
    places = shapely.get_coordinates(degrees.array[0])[:-1]
    points = "".join(f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"/>' for lon, lat in places)
    gpx = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    (tmp_path / "walk.gpx").write_text(f"{gpx}{points}</trkseg></trk></gpx>", encoding="utf-8")
    text = " ".join(f"{lon:.9f},{lat:.9f},0" for lon, lat in places)
    kml = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><LineString>'
    kml += f"<coordinates>{text}</coordinates></LineString></Placemark></Document></kml>"
    (tmp_path / "walk.kml").write_text(kml, encoding="utf-8")
    for name in ("walk.gpx", "walk.kml"):
        found = read_shoreline(tmp_path / name, into=f"EPSG:{UTM}")
        assert found.polygons.symmetric_difference(LAKE).area < 0.1  # of 10,000 m2
    with pytest.raises(ParameterError, match=r"^crs is not for GPX files, got 'EPSG:4326'$"):
        read_shoreline(tmp_path / "walk.gpx", crs="EPSG:4326")


@pytest.mark.parametrize(
    ("shapes", "words"),
    [
        (
            [LineString(LAKE.exterior.coords[:4])],
            "300 m long and its ends lie 100 m apart: it must",
        ),
        ([Point(EAST, NORTH)], r"polygons, got a Point \(shape 1\)$"),
        ([square(0.5)], "at least 1 m2, and no part of it does; is its CRS right\\?$"),
        (
            [Polygon([(EAST, NORTH), (EAST + 9, NORTH + 9), (EAST + 4, NORTH + 4)])],
            "at least 1 m2, and no part of it does",
        ),
    ],
    ids=["an open line", "a point alone", "nothing but a sliver", "collapsed"],
)
def test_what_is_no_water_is_refused(
    shapes: list[shapely.Geometry], words: str, tmp_path: Path
) -> None:
    with pytest.raises(LayerError, match=words):
        read_shoreline(put(tmp_path, *shapes))


@pytest.mark.parametrize("shape", [None, Polygon()], ids=["missing", "empty"])
def test_nothing_but_empty_shapes_is_refused(shape: Polygon | None, tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"layer\.gpkg holds only empty geometries$"):
        read_shoreline(put(tmp_path, shape))


# ---- where it lies ----


def test_heights_of_a_shoreline_are_left_aside(tmp_path: Path) -> None:
    read = read_shoreline(put(tmp_path, shapely.force_3d(LAKE, 212.4)))
    assert not read.polygons.has_z
    assert read.depth == 0


def test_degrees_are_projected(tmp_path: Path) -> None:
    degrees = geopandas.GeoSeries([WITH_ISLAND], crs=UTM).to_crs(4326)[0]
    read = read_shoreline(put(tmp_path, degrees, crs=4326))
    assert read.crs == pyproj.CRS.from_epsg(UTM)
    assert read.polygons.hausdorff_distance(MultiPolygon([WITH_ISLAND])) < 1e-6
    geod = pyproj.Geod(ellps="WGS84")
    area, _ = geod.geometry_area_perimeter(shapely.geometry.polygon.orient(degrees))
    rings = (degrees.exterior, *degrees.interiors)
    assert read.ground_area() == pytest.approx(abs(area), rel=1e-9)
    assert read.ground_length() == pytest.approx(sum(map(geod.geometry_length, rings)), rel=1e-9)


def test_feet_are_converted(tmp_path: Path) -> None:
    """A square of 3937 US survey feet is one of 1200 m, but for the scale of the state plane."""
    feet = box(1_500_000, 600_000, 1_503_937, 603_937)
    read = read_shoreline(put(tmp_path, feet, crs=2264))
    assert read.crs is not None
    assert read.crs.axis_info[0].unit_name == "metre"
    scale = pyproj.Proj(2264)
    to_degrees = pyproj.Transformer.from_crs(2264, 4269, always_xy=True)
    areal = scale.get_factors(*to_degrees.transform(1_501_968, 601_968)).areal_scale
    assert read.ground_area() == pytest.approx(1200**2 / areal, rel=1e-6)


def test_a_crs_can_be_given_where_the_file_names_none(tmp_path: Path) -> None:
    path = tmp_path / "lake.shp"
    geopandas.GeoDataFrame({"number": [1]}, geometry=[LAKE], crs=UTM).to_file(path)
    path.with_suffix(".prj").unlink()
    assert read_shoreline(path, crs="EPSG:32633").crs == pyproj.CRS.from_epsg(UTM)


def test_a_water_cut_by_the_antimeridian_is_told(tmp_path: Path) -> None:
    cut = MultiPolygon([box(179.99, 60, 180, 60.01), box(-180, 60, -179.99, 60.01)])
    with pytest.raises(LayerError, match=r"antimeridian does; name a projected CRS in metres"):
        read_shoreline(put(tmp_path, cut, crs=4326))


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "geojson", "fgb", "parquet"])
def test_every_vector_format_gives_the_same_water(suffix: str, tmp_path: Path) -> None:
    frame = geopandas.GeoDataFrame({"number": [1]}, geometry=[WITH_ISLAND], crs=UTM)
    path = tmp_path / f"lake.{suffix}"
    if suffix == "parquet":
        frame.to_parquet(path)
    elif suffix == "geojson":
        frame.to_crs(4326).to_file(path)
    else:
        frame.to_file(path)
    read = read_shoreline(path)
    assert read.crs == pyproj.CRS.from_epsg(UTM)
    assert len(read.islands) == 1
    far = read.polygons.hausdorff_distance(MultiPolygon([WITH_ISLAND]))
    assert far <= (0.02 if suffix == "geojson" else 0)


def test_one_of_several_waters_can_be_chosen(tmp_path: Path) -> None:
    path = put(tmp_path, LAKE, square(10, east=500), label=["mere", "pond"])
    assert read_shoreline(path, where="label = 'pond'").polygons.area == 100


# ---- its level and its open edges ----


def test_the_depth_of_the_edge_is_kept(tmp_path: Path) -> None:
    assert read_shoreline(put(tmp_path, LAKE), depth=-0.35).depth == -0.35


@pytest.mark.parametrize("within", [0.0, -1.0, np.nan])
def test_open_edges_must_be_within_something(within: float, tmp_path: Path) -> None:
    path = put(tmp_path, LAKE)
    with pytest.raises(ParameterError, match=rf"open_within must be > 0 m, got {within}"):
        read_shoreline(path, open_edges=path, open_within=within)


def test_the_depth_of_the_edge_must_be_a_number(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"depth.*finite.*nan"):
        read_shoreline(put(tmp_path, LAKE), depth=np.nan)


@pytest.mark.parametrize("crs", [UTM, 4326], ids=["as the shoreline", "in degrees"])
def test_marks_open_the_edge_beside_them(crs: int, tmp_path: Path) -> None:
    path = put(tmp_path, LAKE)
    mark = LineString([(EAST - 2, NORTH + 20), (EAST - 2, NORTH + 80)])
    ends = tmp_path / "ends.gpkg"
    frame = geopandas.GeoDataFrame({"number": [1]}, geometry=[mark], crs=UTM)
    frame.to_crs(crs).to_file(ends)
    read = read_shoreline(path, open_edges=ends, open_within=3)
    assert read.open_edges is not None
    # a mark 2 m off opens the edge between the points nearest to its ends (derived)
    assert read.open_edges.length == pytest.approx(60, abs=0.05)
    with pytest.raises(LayerError, match=r"within 1 m of the shoreline, none does$"):
        read_shoreline(path, open_edges=ends, open_within=1)


# ---- breaklines ----

DIAGONAL = LineString([(EAST + 10, NORTH + 10), (EAST + 50, NORTH + 60), (EAST + 90, NORTH + 90)])


def test_breaklines_carry_their_depth_along(tmp_path: Path) -> None:
    read = read_breaklines(put(tmp_path, DIAGONAL, depth=[2.5]))
    (line,) = read.lines
    assert line.tolist() == [[*place, 2.5] for place in DIAGONAL.coords]


def test_breaklines_may_be_rings_and_parts(tmp_path: Path) -> None:
    read = read_breaklines(put(tmp_path, WITH_ISLAND, depth_ft=[10.0]))
    assert [len(line) for line in read.lines] == [5, 5]
    assert np.vstack(read.lines)[:, 2] == pytest.approx(3.048, rel=4e-16)
    assert all((line[0] == line[-1]).all() for line in read.lines)
    assert read.notes == ("column 'depth_ft' read in ft, as its name says",)


def test_isobaths_by_elevation_need_the_datum(tmp_path: Path) -> None:
    path = put(tmp_path, DIAGONAL, elevation=[98.5])
    assert read_breaklines(path, datum=100.0).lines[0][0, 2] == 1.5
    with pytest.raises(ParameterError, match="elevations need the datum's elevation: give datum"):
        read_breaklines(path)


@pytest.mark.parametrize(
    ("shape", "depth", "words"),
    [
        (DIAGONAL, np.nan, r"layer\.gpkg: feature 2 has no depth$"),
        (Point(EAST, NORTH), 2.0, r"must hold lines or rings, got a Point$"),
        (None, 2.0, r"layer\.gpkg: feature 2 has no (shape|geometry|line)"),
        (LineString(), 2.0, r"breakline 1 must have shape|feature 2 has no (shape|geometry|line)"),
    ],
    ids=["no depth", "a point", "no shape", "empty"],
)
def test_a_breakline_is_never_left_out_in_silence(
    shape: shapely.Geometry | None, depth: float, words: str, tmp_path: Path
) -> None:
    path = put(tmp_path, DIAGONAL, shape, depth=[1.0, depth])
    with pytest.raises((InputFileError, LayerError), match=words):
        read_breaklines(path)


def test_points_beside_an_outline_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "pond.geojson"
    shapes = [shapely.box(0, 0, 100, 50), shapely.Point(3, 3), shapely.Point(9, 3)]
    geopandas.GeoDataFrame(geometry=shapes, crs=32633).to_file(path)
    shoreline = read_shoreline(path, into="EPSG:32633")
    assert shoreline.polygons.area == pytest.approx(5000, rel=1e-6)
    assert "2 points beside the outline not used" in shoreline.notes
