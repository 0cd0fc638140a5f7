"""Candidates: only over water, and where they say, followed along the geodesic."""

import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.layers import Shoreline
from toolbox.planning.candidates import BANK, CLEAR, casts_from, lines_over, pegs_along

CRS = pyproj.CRS("EPSG:32633")
# five degrees of longitude east of the zone's middle, where grid north is 4 degrees off true north
EAST, NORTH = 860_000.0, 5_800_000.0


def water(crs: pyproj.CRS | None = CRS) -> Shoreline:
    """Make a water of 300 x 200 m with a headland, a bay behind it and an island."""
    outside = shapely.Polygon(
        [(0, 0), (300, 0), (300, 200), (160, 200), (160, 90), (140, 90), (140, 200), (0, 200)]
    )
    island = shapely.box(50, 60, 80, 100)
    at = (EAST, NORTH) if crs is not None else (0.0, 0.0)
    shape = shapely.affinity.translate(outside.difference(island), *at)
    return Shoreline(shapely.MultiPolygon([shape]), crs)


@pytest.mark.parametrize("crs", [CRS, None])
def test_casts_cross_no_land(crs: pyproj.CRS | None) -> None:
    lake = water(crs)
    found = casts_from(pegs_along(lake, 15.0), lake, reach=90.0, bearing_step=10.0)
    assert len(found) > 500
    share = (found.ashore / found.length)[:, None]
    begin = found.start + share * (found.end - found.start)
    wet = shapely.linestrings(np.stack([begin, found.end], axis=1))
    assert shapely.covered_by(wet, lake.polygons).all()
    away = shapely.distance(wet, lake.polygons.boundary)
    # round corners are told by chords, 8 to a quarter
    np.testing.assert_array_less(0.995 * CLEAR, away)
    assert found.ashore.max() <= BANK
    assert found.length.max() == pytest.approx(90, abs=1e-6)


def test_bearing_and_distance_lead_to_the_end() -> None:
    # pyproj.Geod (GeographicLib; Karney 2013, J. Geod. 87:43, doi:10.1007/s00190-012-0578-z)
    lake, geod = water(), pyproj.Geod(ellps="WGS84")
    casts = casts_from(pegs_along(lake, 40.0), lake, reach=90.0, bearing_step=10.0)
    lines = lines_over(lake, spacing=30.0, headings=np.array([0.0, 50.0]), shortest=20.0)
    to_degrees = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
    for found in (casts, lines):
        start, end = to_degrees.transform(*found.start.T), to_degrees.transform(*found.end.T)
        east, north, _ = geod.fwd(*start, found.bearing, found.length)
        _, _, off = geod.inv(east, north, *end)
        assert np.max(off) < 0.01
    # and they are not bearings of the grid, which lies some degrees off
    grid = np.degrees(np.arctan2(*(casts.end - casts.start).T))
    turned = (grid - casts.bearing + 180) % 360 - 180
    assert (np.abs(turned) > 3).all()


def test_a_cast_ends_before_the_first_land() -> None:
    # derived: from (0, 80) due east to the island's shore at 50, and from (300, 150) due west to
    # the headland at 160, though there is water again behind it
    lake = water(None)
    pegs = np.array([[0.0, 80.0], [300.0, 150.0]])
    found = casts_from(pegs, lake, reach=290.0, bearing_step=90.0)
    due = found.select(np.isin(found.bearing, [90.0, 270.0]))
    np.testing.assert_allclose(due.length, [50 - CLEAR, 140 - CLEAR], atol=1e-9)
    np.testing.assert_array_equal(due.peg, [0, 1])


def test_pegs_on_the_bank_cast_over_it() -> None:
    lake = water(None)
    found = casts_from(np.array([[-6.0, 30.0]]), lake, reach=40.0, bearing_step=90.0)
    assert found.bearing.tolist() == [90.0]
    np.testing.assert_allclose([found.ashore[0], found.length[0]], [6 + CLEAR, 40], atol=1e-9)


def test_pegs_stand_along_outer_shores() -> None:
    lake = Shoreline(
        shapely.MultiPolygon(
            [shapely.box(0, 0, 200, 100).difference(shapely.box(90, 40, 110, 60))]
        ),
        None,
    )
    pegs = pegs_along(lake, 50.0)
    edge = shapely.LinearRing([(0, 0), (200, 0), (200, 100), (0, 100)])
    assert len(pegs) == 12
    assert shapely.distance(shapely.points(pegs), edge).max() < 1e-9
    at = np.sort(shapely.line_locate_point(edge, shapely.points(pegs)))
    np.testing.assert_allclose(np.diff(at), 50, atol=1e-9)
    river = lake.with_open_edges([shapely.LineString([(0, 0), (0, 100)])], within=1.0)
    assert (pegs_along(river, 50.0)[:, 0] > 0.4).all()


def test_lines_lie_at_their_headings_and_spacing() -> None:
    lake = water(None)
    found = lines_over(lake, spacing=25.0, headings=np.array([0.0, 90.0]), shortest=30.0)
    wet = shapely.linestrings(np.stack([found.start, found.end], axis=1))
    assert shapely.covered_by(wet, lake.polygons).all()
    assert found.length.min() >= 30
    north = found.select(np.flatnonzero(found.bearing % 180 < 1))
    np.testing.assert_allclose(np.diff(np.unique(north.start[:, 0].round(6))), 25, atol=1e-6)
    # the line through x = 75 is divided by the island
    assert (np.abs(north.start[:, 0] - 75) < 1e-6).sum() == 2
    assert set(found.peg) == {-1}


@pytest.mark.parametrize(("peg", "reach"), [((-12.0, 30.0), 40.0), ((-6.0, 30.0), 5.0)])
def test_a_peg_without_water(peg: tuple[float, float], reach: float) -> None:
    pegs = np.array([(0.0, 30.0), peg])
    told = f"peg 2 at {peg[0]:.1f}, 30.0 must have water within 10 m and within its reach of"
    with pytest.raises(LayerError, match=told):
        casts_from(pegs, water(None), reach=reach, bearing_step=10.0)


def test_no_line_fits() -> None:
    with pytest.raises(LayerError, match="no line of 900 m fits into the water"):
        lines_over(water(None), spacing=25.0, headings=np.array([0.0]), shortest=900.0)


def test_water_too_narrow() -> None:
    ditch = Shoreline(shapely.MultiPolygon([shapely.box(0, 0, 100, 1.5)]), None)
    with pytest.raises(LayerError, match="no water is 2 m wide"):
        casts_from(np.array([[0.0, 0.0]]), ditch, reach=30.0, bearing_step=10.0)


@pytest.mark.parametrize("crs", [CRS, None])
def test_a_way_becomes_a_line_from_its_start(crs: pyproj.CRS | None) -> None:
    lake, at = water(crs), np.array([[EAST, NORTH]]) if crs is not None else np.zeros((1, 2))
    found = casts_from(at + np.array([0.0, 80.0]), lake, reach=30.0, bearing_step=90.0)
    layer = found.features(crs)
    assert list(layer) == [
        "start_easting_m",
        "start_northing_m",
        "end_easting_m",
        "end_northing_m",
        "bearing_deg",
        "distance_m",
        "geometry",
    ]
    assert layer.crs == crs
    row = layer.iloc[list(found.bearing).index(90.0)]
    drawn = np.array(row.geometry.coords)
    np.testing.assert_array_equal(drawn[0], [row["start_easting_m"], row["start_northing_m"]])
    np.testing.assert_array_equal(drawn[1], [row["end_easting_m"], row["end_northing_m"]])
    np.testing.assert_array_equal(drawn[:1] - at, [[0, 80]])
    if crs is None:  # derived: due east on a plane
        np.testing.assert_allclose(drawn[1], [30, 80], atol=1e-9)
