"""Reference systems are read and judged rightly, and coordinates are moved between them."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Breaklines
from toolbox.layers.crs import (
    check_projected,
    check_same_crs,
    earth,
    is_metric,
    is_plane,
    parse_crs,
    project,
    project_shapes,
    working_crs,
)

LOCAL = 'LOCAL_CS["harbour grid",UNIT["metre",1]]'
KILOMETRES = "+proj=utm +zone=33 +ellps=GRS80 +units=km"
SHIFTED = "+proj=utm +zone=33 +ellps=bessel +towgs84=598.1,73.7,418.2,0.2,0.05,-2.45,6.7 +units=m"

# ---- read and judged ----


@pytest.mark.parametrize("text", ["EPSG:32633", 32633, "+proj=utm +zone=33 +datum=WGS84"])
def test_reading_what_a_person_may_name(text: object) -> None:
    crs = parse_crs(text)
    assert crs.is_projected
    assert crs.utm_zone == "33N"


def test_reading_drops_the_vertical_part() -> None:
    assert parse_crs("EPSG:25832+7837") == pyproj.CRS(25832)
    assert len(parse_crs("EPSG:4979").axis_info) == 2


@pytest.mark.parametrize("text", ["", "EPSG:999999", "the usual one", "32633 please"])
def test_reading_refuses_what_is_unknown(text: str) -> None:
    message = (
        rf"^crs is unknown: '{text}'; give an authority code such as 'EPSG:32633', "
        r"a PROJ string or WKT$"
    )
    with pytest.raises(ParameterError, match=message):
        parse_crs(text)


@pytest.mark.parametrize(
    ("text", "metric"),
    [
        (32633, True),
        (3857, True),
        ("EPSG:25832+7837", True),
        (SHIFTED, True),
        (4326, False),
        (4807, False),  # grads
        (2263, False),  # US survey feet
        (KILOMETRES, False),
        (4978, False),  # geocentric: metres, but no easting and northing
        (LOCAL, True),  # a plane of its own
    ],
)
def test_metric_is_easting_and_northing_in_metres(text: object, metric: bool) -> None:
    assert is_metric(pyproj.CRS.from_user_input(text)) is metric


def test_a_plane_is_metric() -> None:
    assert is_metric(None)
    check_projected(None, "bed")


def test_a_local_grid_in_metres_is_a_plane() -> None:
    assert is_plane(pyproj.CRS(LOCAL))
    assert is_plane(None)
    assert not is_plane(pyproj.CRS(32633))


def test_feet_are_refused_by_name() -> None:
    message = r"^bed must be in a projected CRS in metres, got 'NAD83 / New York Long Island"
    with pytest.raises(LayerError, match=message):
        check_projected(pyproj.CRS(2263), "bed")


# ---- a CRS to work in ----


@pytest.mark.parametrize(
    ("code", "bounds", "zone"),
    [
        (4326, (14.5, 47.0, 14.6, 47.1), 32633),
        (4326, (150.0, -31.0, 150.2, -30.9), 32756),
        (4326, (-0.2, 51.0, -0.1, 51.1), 32630),
        (4326, (-179.9, -17.1, -179.8, -17.0), 32701),
        (4326, (179.8, -17.1, 179.9, -17.0), 32760),
        (4326, (36.0, -0.1, 36.1, -0.05), 32737),
        (4326, (10.0, 84.5, 11.0, 85.0), 32661),
        (4326, (10.0, -85.0, 11.0, -84.0), 32761),
        (4258, (10.0, 50.0, 10.1, 50.1), 25832),
        (4269, (-64.0, 44.0, -63.9, 44.1), 26920),
        (2263, (1.00e6, 2.00e5, 1.01e6, 2.10e5), 26918),
    ],
)
def test_utm_zone_on_the_layers_own_datum(
    code: int, bounds: tuple[float, float, float, float], zone: int
) -> None:
    # EPSG registry: WGS 84 326zz/327zz, ETRS89 258zz, NAD83 269zz, UPS 32661, 32761
    assert working_crs(pyproj.CRS(code), bounds) == pyproj.CRS(zone)


@pytest.mark.parametrize("code", [32633, 3857, 3035, 27572])
def test_a_metric_crs_is_worked_in_as_it_is(code: int) -> None:
    crs = pyproj.CRS(code)
    assert working_crs(crs, (0, 0, 1, 1)) is crs


def test_longitudes_counted_to_360_mean_the_same_zone() -> None:
    crs = pyproj.CRS(4326)
    assert working_crs(crs, (194, 50, 195, 51)) == working_crs(crs, (-166, 50, -165, 51))


def test_grads_from_paris_are_not_taken_for_degrees_from_greenwich() -> None:
    # 5 grads east of Paris (2.337 E, IGN) are 6.84 E of Greenwich: zone 32, not 31
    zone = working_crs(pyproj.CRS(4807), (5.0, 50.0, 5.1, 50.1))
    assert zone.utm_zone == "32N"


def test_a_layer_cut_by_the_antimeridian_is_refused() -> None:
    message = (
        r"^the layer spans longitudes -179\.9000 to 179\.9000, as one cut by the antimeridian "
        r"does; name a projected CRS in metres to work in$"
    )
    with pytest.raises(LayerError, match=message):
        working_crs(pyproj.CRS(4326), (-179.9, -17, 179.9, -16))


@pytest.mark.parametrize("bounds", [(10, 89, 11, 95), (10, -95, 10.1, -94), (5e5, 5e6, 6e5, 6e6)])
def test_coordinates_that_are_no_degrees_are_refused(
    bounds: tuple[float, float, float, float],
) -> None:
    with pytest.raises(LayerError, match=r"^coordinates \(.*\) do not fit their CRS 'WGS 84'$"):
        working_crs(pyproj.CRS(4326), bounds)


# ---- projecting ----


def test_what_cannot_be_projected_becomes_missing() -> None:
    place = np.array([[15, 47], [np.nan, 47], [15, 91.0]])
    moved = project(place, pyproj.CRS(4326), pyproj.CRS(32633))
    assert np.isfinite(moved).all(axis=1).tolist() == [True, False, False]
    assert moved[0, 0] == pytest.approx(500_000)  # derived: on the central meridian


# ---- layers side by side ----


def test_layers_must_share_a_crs() -> None:
    here = Breaklines((), pyproj.CRS(32633))
    there = Breaklines((), pyproj.CRS(32632))
    check_same_crs(shoreline=here, soundings=None, breaklines=here)
    message = r"^breaklines must be in the CRS of the shoreline, project one of them$"
    with pytest.raises(LayerError, match=message):
        check_same_crs(shoreline=here, soundings=None, breaklines=there)


def test_shapes_are_projected_flat_and_closed() -> None:
    shape = shapely.force_3d(shapely.box(14.9, 47.0, 15.1, 47.1), 5.0)
    moved = project_shapes(shape, pyproj.CRS(4326), pyproj.CRS(32633), "shoreline")
    assert not moved.has_z
    assert moved.is_valid
    assert moved.contains(shapely.Point(500_000, 5_210_000))
    assert shape.has_z  # the one given is not changed


def test_shapes_that_cannot_be_mapped_are_refused() -> None:
    message = r"^shoreline lies outside what 'WGS 84 / UTM zone 33N' can map$"
    with pytest.raises(LayerError, match=message):
        project_shapes(
            shapely.box(14, 89, 15, 95), pyproj.CRS(4326), pyproj.CRS(32633), "shoreline"
        )


def test_the_earth_of_a_crs_counts_in_degrees_from_its_own_datum() -> None:
    degrees, geod = earth(pyproj.CRS(27572))
    assert degrees.is_geographic
    assert np.degrees(degrees.axis_info[0].unit_conversion_factor) == pytest.approx(1)
    # Clarke 1880 (IGN), EPSG ellipsoid 7011
    assert (geod.a, geod.b) == pytest.approx((6378249.2, 6356515.0), abs=0.1)


def test_coordinates_are_moved_alike_in_every_thread() -> None:
    # independent: pyproj; a transformer that threads shared would mix up their answers or fail
    places = np.random.default_rng(1).uniform([400_000, 5e6], [600_000, 6e6], (64, 200, 2))
    here, there = pyproj.CRS(32633), pyproj.CRS(3035)
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda part: project(part, here, there), places))
    move = pyproj.Transformer.from_crs(here, there, always_xy=True)
    wanted = np.stack([np.column_stack(move.transform(*part.T)) for part in places])
    np.testing.assert_array_equal(np.stack(found), wanted)
