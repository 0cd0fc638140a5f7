"""Fetch worked by hand over a square, a circle and a channel."""

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError, ParameterError, TooLargeError
from toolbox.layers import Places, Shoreline
from toolbox.volume.fetch import FAN, combined, fetch, fetch_grid

COSINES = np.cos(np.radians(FAN))


def places(*at: tuple[float, float], crs: pyproj.CRS | None = None) -> Places:
    return Places(
        np.array(at, float),
        geopandas.GeoDataFrame({"name": [f"p{k}" for k in range(len(at))]}),
        crs,
    )


def shore(shape: shapely.Polygon, crs: pyproj.CRS | None = None) -> Shoreline:
    return Shoreline.from_shapes([shape], crs)


SQUARE = shore(shapely.box(0, 0, 1000, 1000))
EFFECTIVE = ["direct_m", "effective_a_m", "effective_b_m"]


def row(shoreline: Shoreline, at: tuple[float, float], wind: float) -> list[float]:
    return list(fetch(shoreline, places(at), winds=(wind,)).frame.loc[0, EFFECTIVE])


def test_the_sum_of_cosines() -> None:
    # US Army Coastal Engineering Research Center, Shore Protection Manual (from memory): 13.512
    # printed, from cosines of three decimals; 13.5109 exact
    assert np.round(COSINES, 3).sum() == pytest.approx(13.512, abs=1e-9)
    assert COSINES.sum() == pytest.approx(13.5109, abs=5e-5)


def test_equal_radials() -> None:
    # derived: convention A gives sum(cos^2) / sum(cos) = 0.9091 of them, B all
    assert combined(np.ones(15), "a") == pytest.approx(0.9091, abs=5e-5)
    assert combined(np.ones(15), "b") == pytest.approx(1)
    assert combined(np.ones(15), "direct") == 1


@pytest.mark.parametrize("wind", [0.0, 17.0, 90.0, 222.5])
def test_middle_of_a_circle(wind: float) -> None:
    circle = shore(shapely.Point(0, 0).buffer(500, quad_segs=500))
    expected = [500, 0.9091 * 500, 500]
    assert row(circle, (0, 0), wind) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("wind", [0.0, 90.0, 180.0, 270.0])
def test_middle_of_a_square(wind: float) -> None:
    # derived: a radial at angle t off the normal is 500 / cos t long, so that A is 500 exactly and
    # B is 500 x 15 / 13.5109
    assert row(SQUARE, (500, 500), wind) == pytest.approx([500, 500, 7500 / COSINES.sum()])


def test_corner_to_corner_of_a_square() -> None:
    # derived: off the diagonal by t a radial ends on a side, 500 / cos(45 - |t|) away
    radials = 500 / np.cos(np.radians(45 - np.abs(FAN)))
    expected = [500 * np.sqrt(2), *(float(combined(radials, rule)) for rule in "ab")]
    assert row(SQUARE, (500, 500), 45.0) == pytest.approx(expected)


def test_along_and_across_a_channel() -> None:
    # derived: 200 m wide and 20 km long; along it only the middle radial is longer than
    # 100 m / sin(6 degrees)
    channel = shore(shapely.box(0, 0, 200, 20_000))
    assert row(channel, (100, 10_000), 90.0) == pytest.approx([100, 100, 1500 / COSINES.sum()])
    aside = 100 / np.sin(np.radians(np.abs(FAN[FAN != 0])))
    radials = np.insert(aside, 7, 10_000)
    expected = [10_000, *(float(combined(radials, rule)) for rule in "ab")]
    assert row(channel, (100, 10_000), 0.0) == pytest.approx(expected)


def test_the_wind_comes_from_its_bearing() -> None:
    # 200 m off the western shore: an easterly has 800 m to blow over
    frame = fetch(SQUARE, places((200, 500)), winds=(90, 270)).frame
    assert frame["direct_m"].tolist() == pytest.approx([800, 200])


def test_an_island_shelters() -> None:
    water = shore(shapely.box(0, 0, 1000, 1000).difference(shapely.box(400, 700, 600, 800)))
    assert row(water, (500, 500), 0.0)[0] == pytest.approx(200)
    assert row(water, (500, 900), 180.0)[0] == pytest.approx(100)


def test_places_on_land_and_nowhere() -> None:
    table = fetch(SQUARE, places((500, -3), (500, -30), (np.nan, 5)), winds=(0,), bank=5)
    frame = table.frame
    assert frame["moved_m"][0] == pytest.approx(3.05)
    assert frame["direct_m"][0] == pytest.approx(1000, abs=0.1)
    assert frame["direct_m"][1:].isna().all()
    assert frame["reason"].tolist() == ["", "outside the water", "no position"]
    assert table.notes == ("2 of 3 places have no fetch, see their reason",)


def test_a_row_for_each_place_and_wind_with_what_stood_beside_it() -> None:
    frame = fetch(SQUARE, places((500, 500), (200, 500))).frame
    assert frame["name"].tolist() == ["p0"] * 8 + ["p1"] * 8
    assert frame["wind_deg"].tolist() == [0, 45, 90, 135, 180, 225, 270, 315] * 2
    clash = Places(np.array([[5.0, 5]]), geopandas.GeoDataFrame({"reason": ["mine"]}), None)
    assert fetch(SQUARE, clash, winds=(0,)).frame["given_reason"].tolist() == ["mine"]


def test_open_ends_are_told() -> None:
    river = SQUARE.with_open_edges([shapely.LineString([(0, 0), (1000, 0)])], within=0.01)
    note = "the water goes on beyond its open edges: fetch through them is at least that"
    assert fetch(river, places((500, 500))).notes == (note,)
    assert fetch_grid(river, wind=0, cell=100).notes == (note,)


@pytest.mark.parametrize("code", [32633, 3857, 3035], ids=["utm", "web mercator", "europe"])
def test_bearings_and_lengths_on_the_ground(code: int) -> None:
    # a triangle with a corner 2000 m from the place on a true bearing of 30 degrees, by geodesics
    geod, crs = pyproj.Geod(ellps="WGS84"), pyproj.CRS(code)
    ends = [geod.fwd(14.5, 47.0, *way)[:2] for way in ((30, 2000), (150, 500), (270, 500))]
    move = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    ring = shapely.Polygon(np.column_stack(move.transform(*np.transpose(ends))))
    found = fetch(shore(ring, crs), places(move.transform(14.5, 47.0), crs=crs), winds=(30,))
    assert found.frame["direct_m"][0] == pytest.approx(2000, rel=2e-3)


def test_grid_agrees_with_places() -> None:
    grid = fetch_grid(SQUARE, wind=45, rule="a", cell=100)
    assert grid.shape == (10, 10)
    assert (grid.name, grid.unit) == ("fetch_a_45", "m")
    expected = fetch(SQUARE, places((250, 350)), winds=(45,)).frame["effective_a_m"][0]
    assert grid.values[6, 2] == pytest.approx(expected, rel=1e-6)


def test_winds_from_all_sides() -> None:
    # derived: the longest line from the middle of the square, and the mean over sixty winds
    frame = fetch(SQUARE, places((500, 500)), winds=tuple(np.arange(0.0, 360, 6))).frame
    for over, expected in (("greatest", "max"), ("mean", "mean")):
        for rule, column in (("direct", "direct_m"), ("b", "effective_b_m")):
            grid = fetch_grid(SQUARE, rule=rule, over=over, cell=1000 / 3)  # type: ignore[arg-type]
            assert grid.values[1, 1] == pytest.approx(frame[column].agg(expected), rel=1e-6)


def test_cells_on_land_have_no_fetch() -> None:
    water = shore(shapely.box(0, 0, 1000, 1000).difference(shapely.box(400, 400, 600, 600)))
    grid = fetch_grid(water, wind=0, rule="direct", cell=100)
    assert np.isnan(grid.values).sum() == 4
    assert np.nanmin(grid.values) == pytest.approx(50)


def test_refusals() -> None:
    with pytest.raises(ParameterError, match=r"^winds must name at least one bearing, got none$"):
        fetch(SQUARE, places((5, 5)), winds=())
    with pytest.raises(ParameterError, match=r"^winds must be >= 0 and <= 360 degree, got 400$"):
        fetch(SQUARE, places((5, 5)), winds=(400,))
    with pytest.raises(
        ParameterError, match=r"^no cell centre lies in the water: cell = 3000 m is"
    ):
        fetch_grid(SQUARE, cell=3000)
    with pytest.raises(
        TooLargeError, match=r"^cell = 0.01 m makes 100,000 x 100,000 cells, at most"
    ):
        fetch_grid(SQUARE, cell=0.01)
    with pytest.raises(LayerError, match=r"^places must be in the CRS of the shoreline"):
        fetch(SQUARE, places((5, 5), crs=pyproj.CRS(32633)))
