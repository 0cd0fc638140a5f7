"""Zones tile the water: valid, without gap or overlap, as large as the hypsographic table says."""

import json
from functools import cache
from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from toolbox.bed.triangulation import triangulate
from toolbox.errors import ParameterError
from toolbox.formats.shoreline_file import read_breaklines, read_shoreline
from toolbox.isobaths.bands import banded
from toolbox.isobaths.isobaths import isobaths
from toolbox.isobaths.zones import depth_zones, waters_edge
from toolbox.layers import Shoreline, Soundings, Tin, Vectors, VertexKind
from toolbox.volume.hypsography import area_and_volume

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data"
needs_data = pytest.mark.skipif(
    not DATA.is_dir(), reason="needs the folder of open data beside the repository"
)


def net(seed: int, *, whole: bool) -> Tin:
    """Triangulate random places of a lattice, with gaps; depths are whole numbers or any."""
    rng = np.random.default_rng(seed)
    points = rng.integers(0, 7, (rng.integers(5, 30), 2)).astype(float)
    points = np.unique(np.vstack([points, [[0, 0], [6, 0], [0, 6]]]), axis=0)
    triangles = Delaunay(points).simplices
    a, b, c = points[triangles].transpose(1, 0, 2)
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    triangles[turn < 0] = triangles[turn < 0, ::-1]
    kept = (np.abs(turn) > 1e-9) & (rng.random(len(turn)) < rng.choice([0.5, 0.8, 1]))
    kept[np.abs(turn).argmax()] = True
    size = len(points)
    depth = rng.integers(0, 5, size).astype(float) if whole else rng.normal(2, 1, size)
    kind = np.full(size, VertexKind.SOUNDING)
    return Tin(points + rng.choice([0, 5e6]), depth, triangles[kept], kind, None)


def depth_at(bed: Tin, places: np.ndarray) -> np.ndarray:
    """Depth of the bed, triangle by triangle: slow and plain."""
    found = np.full(len(places), np.nan)
    for corners, depth in zip(bed.vertices[bed.triangles], bed.depth[bed.triangles], strict=True):
        across = np.linalg.inv((corners[1:] - corners[0]).T)
        second, third = across @ (places - corners[0]).T
        weight = np.array([1 - second - third, second, third])
        inside = (weight >= -1e-9).all(axis=0)
        found[inside] = (depth @ weight)[inside]
    return found


def probes(shape: shapely.MultiPolygon) -> np.ndarray:
    """Places well inside a shape: middles of its triangles, thinnest left out."""
    faces = shapely.get_parts(shapely.delaunay_triangles(shape))
    middle = shapely.centroid(faces)
    kept = shapely.contains(shape, middle) & (shapely.distance(shape.boundary, middle) > 1e-3)
    return np.asarray(shapely.get_coordinates(middle[kept]))[:100]


LEVELS = st.lists(
    st.sampled_from([0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0]), min_size=1, max_size=5, unique=True
)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.booleans(), LEVELS)
def test_bands_tile_any_net(seed: int, whole: bool, levels: list[float]) -> None:
    bed, depth = net(seed, whole=whole), np.sort(levels)
    bands = banded(bed, depth)
    assert bands.notes == ()
    assert shapely.is_valid(bands.shapes).all()
    area = shapely.area(bands.shapes)
    # where coordinates are in millions of metres, each is rounded to 1e-9 m
    np.testing.assert_allclose(area, bands.area, rtol=1e-9, atol=1e-7)
    assert area.sum() == pytest.approx(bed.areas().sum(), abs=1e-7)
    whole_water = shapely.union_all(shapely.polygons(bed.vertices[bed.triangles]))
    together = shapely.union_all(bands.shapes, grid_size=1e-6)
    assert together.symmetric_difference(whole_water, grid_size=1e-6).area < 1e-4
    edges = np.r_[-np.inf, depth, np.inf]
    for number, shape in zip(bands.number, bands.shapes, strict=True):
        found = depth_at(bed, probes(shape))
        assert ((found > edges[number] - 1e-6) & (found < edges[number + 1] + 1e-6)).all()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.booleans(), LEVELS)
def test_areas_are_those_of_the_hypsographic_table(
    seed: int, whole: bool, levels: list[float]
) -> None:
    bed, depth = net(seed, whole=whole), np.sort(levels)
    bands = banded(bed, depth)
    area, _ = area_and_volume(bed, np.r_[min(bed.depth.min(), depth[0]) - 1, depth])
    expected = -np.diff(np.r_[area, 0])
    found = np.zeros(len(expected))
    found[bands.number] = bands.area
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-11)


def pit(*, island: bool = False) -> Tin:
    """Make a pyramid upside down, 4 m on a side and 4 m deep; an island takes its tip away."""
    outer = [(0, 0), (4, 0), (4, 4), (0, 4)]
    inner = [(1, 1), (3, 1), (3, 3), (1, 3)]
    sides = [[k, (k + 1) % 4, 4 + k] for k in range(4)]
    sides += [[(k + 1) % 4, 4 + (k + 1) % 4, 4 + k] for k in range(4)]
    core = [] if island else [[4 + k, 4 + (k + 1) % 4, 8] for k in range(4)]
    points = [*outer, *inner] + ([] if island else [(2, 2)])
    depth = [0.0] * 4 + [2.0] * 4 + ([] if island else [4.0])
    kind = [0] * 4 + [VertexKind.OPEN_EDGE if island else 2] * 4 + ([] if island else [2])
    return Tin(np.array(points, float), np.array(depth), np.array(sides + core), kind, None)


def test_zones_of_a_pyramid() -> None:
    made = depth_zones(pit(), interval=1.0)
    frame = made.frame
    assert made.name == "depth_zones"
    assert frame.columns.tolist() == ["from_m", "to_m", "area_m2", "share", "geometry"]
    assert frame["from_m"].tolist() == [0, 1, 2, 3]
    assert frame["to_m"].tolist() == [1, 2, 3, 4]
    # derived: squares of 4, 3, 2, 1 m
    np.testing.assert_allclose(frame["area_m2"], [7, 5, 3, 1])
    np.testing.assert_allclose(frame.geometry.area, [7, 5, 3, 1])
    assert frame["share"].sum() == pytest.approx(1)
    assert [len(shape.geoms[0].interiors) for shape in frame.geometry] == [1, 1, 1, 0]
    assert depth_zones(pit()).notes == ("interval of 0.5 m chosen for depths of 0 to 4 m",)


def test_islands_stay_holes() -> None:
    frame = depth_zones(pit(island=True), levels=(0.0, 1.0, 2.0)).frame
    # a level at the shore or at the greatest depth divides nothing
    assert frame["from_m"].tolist() == [0, 1]
    assert [len(shape.geoms[0].interiors) for shape in frame.geometry] == [1, 1]
    np.testing.assert_allclose(frame.geometry.area, [7, 5])


def test_one_zone_where_no_level_lies_in_the_water() -> None:
    (row,) = depth_zones(pit(), levels=(7.0,)).frame.itertuples()
    assert (row.from_m, row.to_m, row.area_m2, row.share) == (0, 4, 16, 1)
    flat = Tin(np.array([[0, 0], [2, 0], [0, 2.0]]), np.full(3, 2.0), [[0, 1, 2]], [2] * 3, None)
    (row,) = depth_zones(flat).frame.itertuples()
    assert (row.from_m, row.to_m, row.area_m2) == (2, 2, 2)


def test_what_is_left_when_the_water_falls() -> None:
    made = waters_edge(pit(), depth=1.0)
    assert made.name == "waters_edge"
    assert made.frame["area_m2"].tolist() == [9]
    assert made.frame["depth_m"].tolist() == [1]
    assert made.frame.geometry[0].equals(shapely.MultiPolygon([shapely.box(0.5, 0.5, 3.5, 3.5)]))
    assert waters_edge(pit(), depth=0).frame["area_m2"].tolist() == [16]
    message = r"^depth must be at or below the mapped water's edge \(depth 0 m\), got -1$"
    with pytest.raises(ParameterError, match=message):
        waters_edge(pit(), depth=-1)
    dry = waters_edge(pit(), depth=4.5)
    assert len(dry) == 0
    assert dry.notes == ("the bed is nowhere as deep as 4.5 m",)


def check(bed: Tin, made: Vectors) -> None:
    """Zones are valid, tile the bed, and agree with the hypsographic table."""
    frame = made.frame
    assert made.frame.geometry.is_valid.all()
    assert not any("repaired" in note for note in made.notes)
    assert frame.geometry.area.sum() == pytest.approx(bed.areas().sum(), rel=1e-9)
    area, _ = area_and_volume(bed, frame["from_m"].to_numpy())
    expected = -np.diff(np.r_[area, 0])
    np.testing.assert_allclose(frame["area_m2"], expected, rtol=1e-9, atol=1e-9 * area[0])
    assert frame["area_m2"].sum() == pytest.approx(bed.ground_areas().sum(), rel=1e-12)
    pairs = zip(frame.geometry, frame.geometry[1:], strict=False)
    assert all(one.intersection(other).area < 1e-3 for one, other in pairs)


FILES = {"ME": "mendota-contours-all.shp", "MO": "monona-contours-all.shp"}


@cache
def contoured(code: str) -> Tin:
    """Triangulate the isobaths of a lake of Wisconsin."""
    path = DATA / "wisconsin_contours" / FILES.get(code, "small_lakes.shp")
    # two files lack their CRS, which their documentation gives
    crs, of_lake = ("EPSG:3070", "") if code in FILES else (None, f" AND LakeID = '{code}'")
    shore = read_shoreline(path, crs=crs, where=f"Depth_m = 0{of_lake}")
    lines = read_breaklines(path, crs=crs, where=f"Depth_m > 0{of_lake}", depth="Depth_m")
    nothing = Soundings.from_arrays(np.empty((0, 2)), np.empty(0), crs=shore.crs)
    return triangulate(nothing, shore, lines)


@needs_data
@pytest.mark.parametrize("code", ["ME", "MO", "AL", "CR", "SP", "TB"])
def test_zones_of_published_isobaths(code: str) -> None:
    # levels lie at vertices all along the published isobaths (NTL-LTER data sets 153 and 288)
    bed = contoured(code)
    check(bed, depth_zones(bed, interval=1.0))
    check(bed, depth_zones(bed, interval=0.7))
    frame = isobaths(bed, interval=1.0).frame
    assert frame.geometry.is_simple.all()


@needs_data
def test_isobaths_of_published_isobaths_are_these() -> None:
    bed = contoured("AL")
    where = "Depth_m > 4.5 AND Depth_m < 4.6 AND LakeID = 'AL'"  # 15 ft
    path = DATA / "wisconsin_contours" / "small_lakes.shp"
    published = read_breaklines(path, where=where, depth="Depth_m")
    theirs = shapely.MultiLineString([line[:, :2] for line in published.lines])
    depth = float(published.lines[0][0, 2])
    ours = isobaths(bed, levels=(depth,)).frame
    assert ours["closed"].all()
    for line in ours.geometry:
        assert shapely.hausdorff_distance(line, theirs) < 1e-3 or theirs.buffer(0.01).covers(line)
    assert ours.geometry.length.sum() == pytest.approx(theirs.length, rel=1e-6)


@needs_data
def test_zones_of_lakes_with_islands() -> None:
    # GSHHG 2.3.6 (Wessel & Smith 1996); their depth is invented: 1 m for 50 m from shore
    features = json.loads((DATA / "lake_polygons" / "lakes.geojson").read_text())["features"]
    islands = 0
    for feature in features:
        water = shapely.geometry.shape(feature["geometry"])
        east, north = water.centroid.coords[0]
        crs = pyproj.CRS.from_proj4(f"+proj=laea +lon_0={east} +lat_0={north} +units=m")
        to = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
        moved = shapely.transform(water, lambda c, to=to: np.column_stack(to.transform(*c.T)))
        shore = Shoreline.from_shapes([moved], crs)
        bed = _by_distance(shore)
        made = depth_zones(bed)
        check(bed, made)
        top = waters_edge(bed, depth=0).frame.geometry[0]
        assert shapely.get_num_interior_rings(shapely.get_parts(top)).sum() == len(shore.islands)
        assert top.area == pytest.approx(shore.polygons.area, rel=1e-9)
        islands += len(shore.islands)
    assert islands == sum(f["properties"]["n_islands"] for f in features)


def _by_distance(shore: Shoreline) -> Tin:
    left, bottom, right, top = shore.polygons.bounds
    rng = np.random.default_rng(5)
    places = rng.uniform((left, bottom), (right, top), (3000, 2))
    places = places[shore.contains(places)]
    away = shapely.distance(shapely.points(places), shore.polygons.boundary)
    depth = np.round(away / 50)
    return triangulate(Soundings.from_arrays(places, depth, crs=shore.crs), shore)
