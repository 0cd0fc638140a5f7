"""Real waters: published areas, volumes and depths, read from open data beside the repository."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from toolbox.bed.triangulation import triangulate
from toolbox.formats.doors import read_table
from toolbox.formats.shoreline_file import read_breaklines, read_shoreline
from toolbox.formats.soundings_file import read_soundings
from toolbox.layers import Breaklines, Shoreline, Soundings, Table, Tin, VertexKind
from toolbox.units import convert
from toolbox.volume.hypsography import area_and_volume, hypsography
from toolbox.volume.morphometry import morphometry
from toolbox.volume.rules import volume_from_areas

SHARED = Path(__file__).resolve().parents[1].parent / "shared"
DATA = SHARED / "data"
pytestmark = pytest.mark.skipif(
    not DATA.is_dir(), reason="needs the folder of open data beside the repository"
)

# ---- a shallow lake sounded from a boat ----

# Long Lake, Nova Scotia: soundings by the author of the R package ggspatial, shore from the Nova
# Scotia Topographic Database. His linear triangulation with a shore of 0 m gives these two.
LONG_LAKE_VOLUME, LONG_LAKE_MEAN_DEPTH = 911_488.0, 0.9387


def long_lake() -> tuple[Soundings, Shoreline]:
    folder = DATA / "long_lake_soundings"
    shore = read_shoreline(
        folder / "LongLakeMarshWaterPoly.shp", where="label = 'Long Lake'"
    ).to_crs(CRS(26920))
    soundings = read_soundings(folder / "LongLakeDepthSurvey.shp", depth="DEPTH_M")
    return soundings.to_crs(CRS(26920)), shore


def map_volume(bed: Tin) -> tuple[float, float]:
    """Area and volume on the map, as the published figures are."""
    area, volume = area_and_volume(replace(bed, crs=None), np.array([0.0]))
    return float(area[0]), float(volume[0])


def test_long_lake_as_its_author_triangulated_it() -> None:
    soundings, shore = long_lake()
    assert len(soundings) == 64
    bed = triangulate(soundings, shore, cure_flats=False)
    area, volume = map_volume(bed)
    assert area == pytest.approx(971_004, abs=1)
    assert volume == pytest.approx(LONG_LAKE_VOLUME, rel=0.005)
    assert volume / area == pytest.approx(LONG_LAKE_MEAN_DEPTH, rel=0.005)
    assert bed.notes == ("1 sounding flagged or outside the water was not used",)


def test_long_lake_holds_more_once_its_flats_are_cured() -> None:
    # no source: how much dry land a plain triangulation leaves in its bays
    area, volume = map_volume(triangulate(*long_lake()))
    assert area == pytest.approx(971_004, abs=1)
    assert 1.03 < volume / LONG_LAKE_VOLUME < 1.06


def test_long_lake_by_feet_and_by_metres() -> None:
    folder = DATA / "long_lake_soundings"
    path = folder / "LongLakeDepthSurvey.shp"
    feet = read_soundings(path, depth="DEPTH", unit="ft").depth
    metres = read_soundings(path, depth="DEPTH_M").depth
    np.testing.assert_allclose(feet, metres, atol=0.051)  # metres are given to a decimetre


# ---- lakes with islands, in any projection ----

# GSHHG 2.3.6 (Wessel & Smith 1996, LGPL-3); geodesic areas beside them in areas.csv.
PROJECTIONS = {
    "lake_of_the_woods": [
        "EPSG:32615",
        "EPSG:32614",
        "EPSG:3857",
        "+proj=laea +lat_0=49.4 +lon_0=-94.7 +datum=WGS84",
        "EPSG:5070",
        "EPSG:3978",
        "EPSG:3413",
        "EPSG:6933",
    ],
    "toba": [
        "EPSG:32647",
        "EPSG:32646",
        "EPSG:3857",
        "+proj=laea +lat_0=2.6 +lon_0=98.8 +datum=WGS84",
        "+proj=aea +lat_1=0 +lat_2=5 +lon_0=98 +datum=WGS84",
        "EPSG:6933",
        "EPSG:8857",
    ],
    "champlain": [
        "EPSG:32618",
        "EPSG:32619",
        "EPSG:3857",
        "+proj=laea +lat_0=44.5 +lon_0=-73.3 +datum=WGS84",
        "EPSG:5070",
        "EPSG:3978",
        "EPSG:3413",
        "EPSG:6933",
    ],
}
CASES = [(lake, text) for lake, texts in PROJECTIONS.items() for text in texts]


@cache
def published_areas() -> pd.DataFrame:
    return pd.read_csv(DATA / "lake_polygons" / "areas.csv").set_index("name")


def lake_shore(lake: str) -> Shoreline:
    return read_shoreline(DATA / "lake_polygons" / "lakes.geojson", where=f"name = '{lake}'")


@pytest.mark.parametrize("lake", PROJECTIONS)
def test_ground_areas_of_lakes_as_read(lake: str) -> None:
    row = published_areas().loc[lake]
    shore = lake_shore(lake)
    assert len(shore.islands) == row["n_islands_as_holes"]
    assert shore.ground_area() / 1e6 == pytest.approx(row["net_km2"], rel=1e-6)


@pytest.mark.parametrize(("lake", "projection"), CASES)
def test_ground_areas_of_lakes_in_any_projection(lake: str, projection: str) -> None:
    row = published_areas().loc[lake]
    shore = lake_shore(lake).to_crs(CRS.from_user_input(projection))
    assert shore.ground_area() / 1e6 == pytest.approx(row["net_km2"], rel=1e-6)
    inside = np.array([point.coords[0] for point in _inner_points(shore)])
    made_up = Soundings.from_arrays(inside, np.full(len(inside), 10.0), crs=shore.crs)
    bed = triangulate(made_up, shore)
    assert bed.ground_areas().sum() / 1e6 == pytest.approx(row["net_km2"], rel=1e-6)
    figures = morphometry(bed).frame.set_index("measure")["value"]
    assert figures["islands"] == row["n_islands"]
    assert figures["island area"] / 1e6 == pytest.approx(row["islands_km2"], rel=1e-3)
    length = figures["shoreline length"] + figures["island shoreline length"]
    assert length == pytest.approx(shore.ground_length(), rel=1e-6)


def _inner_points(shore: Shoreline) -> list[shapely.Point]:
    """Points deep inside the water: halves of it, cut again and again."""
    west, south, east, north = shore.polygons.bounds
    parts = []
    for step in range(5):
        low, high = (south + (north - south) * share / 5 for share in (step, step + 1))
        parts.append(shore.polygons.intersection(shapely.box(west, low, east, high)))
    return [part.representative_point() for part in parts]


# ---- digitised isobaths of six lakes ----

# Wisconsin lakes, NTL-LTER data sets 153 and 288 (CC-BY 4.0); even-odd areas on the map beside
# them. Two files lack their CRS, which their documentation gives as EPSG:3070.
FILES = {
    "ME": ("mendota-contours-all.shp", None),
    "MO": ("monona-contours-all.shp", None),
    "AL": ("small_lakes.shp", "AL"),
    "CR": ("small_lakes.shp", "CR"),
    "SP": ("small_lakes.shp", "SP"),
    "TB": ("small_lakes.shp", "TB"),
}


@cache
def contoured(lake: str) -> tuple[Shoreline, Breaklines, Tin]:
    name, code = FILES[lake]
    path, of_lake = DATA / "wisconsin_contours" / name, f" AND LakeID = '{code}'" if code else ""
    crs = None if code else "EPSG:3070"
    shore = read_shoreline(path, crs=crs, where=f"Depth_m = 0{of_lake}")
    isobaths = read_breaklines(path, crs=crs, where=f"Depth_m > 0{of_lake}", depth="Depth_m")
    nothing = Soundings.from_arrays(np.empty((0, 2)), np.empty(0), crs=shore.crs)
    return shore, isobaths, triangulate(nothing, shore, isobaths)


def digitised(lake: str) -> pd.Series:
    table = pd.read_csv(DATA / "wisconsin_contours" / "even_odd_areas.csv")
    return table[table["lake"] == lake].set_index("depth_m")["area_net_even_odd_m2"]


def rings_by_depth(isobaths: Breaklines) -> dict[float, shapely.Geometry]:
    """Even-odd area of each depth's rings."""
    shapes: dict[float, shapely.Geometry] = {}
    for line in isobaths.lines:
        depth, ring = float(line[0, 2]), shapely.make_valid(shapely.Polygon(line[:, :2]))
        shapes[depth] = shapes.get(depth, shapely.Polygon()).symmetric_difference(ring)
    return shapes


def contradictions(shore: Shoreline, isobaths: Breaklines) -> dict[float, float]:
    """Share of each depth's area that its own rings dispute.

    Rings over land, and rings of greater depths outside it, of which the bed can follow only one.
    """
    shapes = rings_by_depth(isobaths)
    shares = {}
    for depth, shape in shapes.items():
        deeper = shapely.union_all([other for z, other in shapes.items() if z > depth])
        disputed = shape.difference(shore.polygons).area + deeper.difference(shape).area
        shares[depth] = disputed / shape.area
    return shares


def errors(lake: str) -> pd.Series:
    """Relative error of the bed's area at each digitised depth."""
    _, _, bed = contoured(lake)
    published = digitised(lake)
    area, _ = area_and_volume(replace(bed, crs=None), published.index.to_numpy(float))
    return pd.Series(np.abs(area / published.to_numpy() - 1), published.index)


@pytest.mark.parametrize("lake", FILES)
def test_beds_from_isobaths_have_the_digitised_areas(lake: str) -> None:
    shore, isobaths, _ = contoured(lake)
    found = errors(lake)
    assert len(found) == 1 + len(rings_by_depth(isobaths))
    disputed = contradictions(shore, isobaths)
    for depth, error in zip(found.index.to_numpy(float), found, strict=True):
        nearest = min(disputed, key=lambda level: abs(level - depth))
        share = disputed[nearest] if depth > 0 else 0.0
        assert error <= 0.002 + share, (lake, depth, error, share)


def test_nine_in_ten_of_all_digitised_depths_are_met_plainly() -> None:
    everything = pd.concat([errors(lake) for lake in FILES])
    assert len(everything) == 76
    assert (everything <= 0.002).mean() >= 0.9


@pytest.mark.parametrize("lake", FILES)
def test_beds_from_isobaths_leave_no_flat_and_keep_order(lake: str) -> None:
    _, isobaths, bed = contoured(lake)
    level = np.ptp(bed.depth[bed.triangles], axis=1) == 0
    level &= (bed.kind[bed.triangles] != VertexKind.INFERRED).all(axis=1)
    assert bed.areas()[level].sum() < 1e-4 * bed.areas().sum()
    deepest = max(rings_by_depth(isobaths))
    assert deepest < bed.depth.max() < deepest * 1.3
    assert bed.depth.min() == 0


@pytest.mark.parametrize(
    ("lake", "cone_rule"),
    [
        ("ME", 489.80),
        ("MO", 112.72),
        ("AL", 4.646),
        ("CR", 3.965),
        ("SP", 6.4185),
        ("TB", 0.0598),
    ],
)
def test_volumes_from_isobaths_are_near_the_cone_rule(lake: str, cone_rule: float) -> None:
    # NTL-LTER's areas by the cone rule, hm3. The bed also holds the water below the last isobath
    # and curves that the rule cannot see, so the two agree to a per cent or so only.
    _, volume = map_volume(contoured(lake)[2])
    assert volume / 1e6 == pytest.approx(cone_rule, rel=0.015)
    published = digitised(lake)
    table = Table(pd.DataFrame({"depth_m": published.index, "area_m2": published.to_numpy()}))
    below = volume_from_areas(table).frame["volume_below_frustum_m3"]
    assert below[0] / 1e6 == pytest.approx(cone_rule, rel=1e-3)


def test_hypsography_of_a_lake_from_isobaths_is_on_the_ground() -> None:
    _, _, bed = contoured("TB")
    frame = hypsography(bed, levels=(0.0, 2.0, 5.0)).frame
    published = digitised("TB")
    # Snyder 1987, USGS Prof. Paper 1395, p. 57: a transverse Mercator of scale 0.9996 at its middle
    ratio = published.loc[[0.0, 2.0, 5.0]].to_numpy() / frame["area_m2"].to_numpy()
    np.testing.assert_allclose(ratio, ratio[0], rtol=1e-4)
    assert 0.9996**2 <= ratio[0] < 1.0006


# ---- tables of stage, area and volume ----

TABLES = DATA / "stage_area_volume"


def trapezoid(elevation: np.ndarray, area: np.ndarray) -> float:
    depth = elevation.max() - elevation
    table = Table(pd.DataFrame({"depth_m": depth, "area_m2": area}))
    return float(volume_from_areas(table).frame["volume_below_trapezoid_m3"].iloc[0])


@pytest.mark.parametrize(
    ("file", "elevation", "area", "volume", "tolerance"),
    [
        # Wisconsin DNR, CSLSdata (MIT); klimphyt, dam of Bautzen (GPL)
        ("long_lake_wi.csv", "elev_m", "area_m2", "vol_m3", 0.0005),
        ("bautzen.tsv", "level", "area", "volume", 0.00085),
    ],
)
def test_trapezoid_rule_meets_published_volumes(
    file: str, elevation: str, area: str, volume: str, tolerance: float
) -> None:
    table = read_table(TABLES / file)
    found = trapezoid(table.column(elevation), table.column(area))
    assert found == pytest.approx(table.column(volume).max(), rel=tolerance)


def test_trapezoid_rule_meets_carvins_cove() -> None:
    # EDI data set edi.1254 (CC-BY 4.0), litres
    table = read_table(TABLES / "carvins_cove.csv")
    found = trapezoid(-table.column("Depth_m"), table.column("SA_m2"))
    published = convert(table.column("Volume_below_L").max(), "litre", "m^3")
    assert found == pytest.approx(published, rel=0.0002)


def test_trapezoid_rule_meets_lake_mead() -> None:
    # US Bureau of Reclamation 2009: feet, acres, acre-feet; storage counts from 895 ft, and up to
    # 1230 ft there is a row for every half foot
    areas, volumes = (read_table(TABLES / f"mead_2009_{what}.txt") for what in ("area", "vol"))
    elevation = areas.column("1")
    counted = (elevation >= 895) & (elevation <= 1230)
    assert counted.sum() == 671
    found = trapezoid(
        convert(elevation[counted], "ft", "m"),
        convert(areas.column("2")[counted], "acre", "m^2"),
    )
    stored = volumes.column("2")[volumes.column("1") == 1230]
    published = convert(float(stored[0]), "acre * ft", "m^3")
    assert found == pytest.approx(published, rel=0.0003)
