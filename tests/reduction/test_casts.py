"""Casts are placed where geometry says, and their spread is honest."""

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from toolbox.layers import CastLog, Shoreline
from toolbox.reduction.casts import BEYOND_LAND, NO_LINE, TOO_LONG, place_casts

UTM = pyproj.CRS.from_epsg(32625)


def log(
    *,
    bearing: float = 90.0,
    seconds: tuple[float, ...] = (0.0, 10.0),
    crs: object = None,
    **cast: float,
) -> CastLog:
    facts = {"line_out": 50.0, "rod_tip": 3.0, "speed": 0.5} | cast
    casts = pd.DataFrame(
        {"cast": ["A"], "easting": [376_500.0], "northing": [5_117_000.0], "bearing": [bearing]}
        | facts
    )
    pings = pd.DataFrame({"cast": "A", "seconds": seconds, "depth": np.full(len(seconds), 2.0)})
    return CastLog(casts, pings, crs)  # type: ignore[arg-type]


def test_distance_is_the_leg_of_the_triangle_line_rod_water() -> None:
    # by hand (docs/casts.md): L = 50 - 0.5 x 10 = 45 m, h = 3 m, r = sqrt(2025 - 9) = 44.8999 m
    placed = place_casts(log())
    away = placed.coordinates[:, 0] - 376_500.0
    assert away == pytest.approx([np.sqrt(2500 - 9), np.sqrt(2016)])
    assert placed.coordinates[:, 1] == pytest.approx(5_117_000.0)


def test_bearings_are_true_not_grid() -> None:
    # independent: pyproj's geodesic from the rod; grid north leans 1.2 degrees here
    placed = place_casts(log(bearing=154.0, crs=UTM))
    to_degrees = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True)
    rod = to_degrees.transform(376_500.0, 5_117_000.0)
    ends = to_degrees.transform(*placed.coordinates.T)
    azimuth, _, distance = pyproj.Geod(ellps="WGS84").inv([rod[0]] * 2, [rod[1]] * 2, *ends)
    assert azimuth == pytest.approx([154.0, 154.0], abs=1e-4)
    assert distance == pytest.approx([np.sqrt(2491), np.sqrt(2016)], abs=1e-4)
    on_grid = np.degrees(np.arctan2(*(placed.coordinates[0] - [376_500.0, 5_117_000.0])))
    assert abs(on_grid - 154.0) > 1.0


def test_arrival_sets_the_speed() -> None:
    placed = place_casts(log(speed=np.nan, arrival=47.0, seconds=(0.0, 23.5)))
    # half-way in time is half-way in line between 50 m and the 3 m left at the rod
    assert placed.coordinates[1, 0] - 376_500.0 == pytest.approx(np.sqrt(26.5**2 - 9))


def test_assumed_speed_is_reported() -> None:
    placed = place_casts(log(speed=np.nan))
    assert placed.coordinates[1, 0] - 376_500.0 == pytest.approx(np.sqrt(44.0**2 - 9))
    (note,) = placed.notes
    assert "assumed 0.6 m/s: 1 of 1 (100% of the pings)" in note
    assert place_casts(log()).notes == ()


def test_an_assumed_speed_is_less_sure_than_a_noted_one() -> None:
    noted, assumed = (place_casts(log(speed=v)).frame["sd_along"].iloc[1] for v in (0.6, np.nan))
    # derived: 6 m drawn in after 10 s; peg and slack 1 m each
    assert noted == pytest.approx(np.sqrt(0.6**2 + 2))
    assert assumed == pytest.approx(np.sqrt(1.5**2 + 2))
    timed = place_casts(log(speed=np.nan, arrival=47.0)).frame["sd_along"].iloc[1]
    assert timed < np.sqrt(1.0 + 2)  # both ends are known


def test_spread_grows_with_distance_across_and_with_time_along() -> None:
    placed = place_casts(log(seconds=(0.0, 40.0, 80.0))).frame
    assert (np.diff(placed["sd_across"]) < 0).all()
    assert (np.diff(placed["sd_along"]) > 0).all()
    first = placed.iloc[0]
    r = np.sqrt(2491)
    assert first["sd_across"] == pytest.approx(np.hypot(r * np.radians(3), 1.0))
    assert first["sd_along"] == pytest.approx(np.sqrt(2.0))
    assert first["sd_xy"] == pytest.approx(
        np.sqrt((first["sd_along"] ** 2 + first["sd_across"] ** 2) / 2)
    )


def test_noted_arrival_pins_both_ends() -> None:
    placed = place_casts(log(speed=np.nan, arrival=47.0, seconds=(0.0, 23.5, 46.9))).frame
    ends, middle = placed["sd_along"].iloc[[0, 2]], placed["sd_along"].iloc[1]
    assert (ends < middle).all()


def simulated(seed: int, count: int) -> tuple[CastLog, np.ndarray]:
    """Casts whose errors are known to be as large as the defaults say, and their true places."""
    draw = np.random.default_rng(seed)
    bearing, speed = draw.uniform(0, 360, count), draw.uniform(0.4, 0.8, count)
    line = draw.uniform(35, 70, count)
    casts = pd.DataFrame(
        {
            "cast": np.arange(count),
            "easting": 0.0,
            "northing": 0.0,
            "bearing": bearing,
            "line_out": line,
            "rod_tip": 2.0,
            "speed": speed,
        }
    )
    seconds = np.arange(5) * 12.0
    pings = pd.DataFrame(
        {"cast": np.repeat(np.arange(count), 5), "seconds": np.tile(seconds, count), "depth": 3.0}
    )
    true_line = line + draw.normal(0, 1.0, count)
    true_speed = speed * (1 + draw.normal(0, 0.1, count))
    left = true_line[:, None] - true_speed[:, None] * seconds
    away = np.sqrt(np.maximum(left**2 - 4.0, 0))
    turn = np.radians(bearing + draw.normal(0, 3.0, count))[:, None]
    side = draw.normal(0, 0.02, count)[:, None] * seconds
    east = away * np.sin(turn) + side * np.cos(turn) + draw.normal(0, 1, count)[:, None]
    north = away * np.cos(turn) - side * np.sin(turn) + draw.normal(0, 1, count)[:, None]
    return CastLog(casts, pings, None), np.column_stack([east.ravel(), north.ravel()])


def test_stated_spread_holds_what_it_says() -> None:
    casts, truth = simulated(7, 2000)
    placed = place_casts(casts)
    turn = np.radians(placed.frame["bearing"].to_numpy())
    error = placed.coordinates - truth
    along = (error * np.column_stack([np.sin(turn), np.cos(turn)])).sum(axis=1)
    across = (error * np.column_stack([np.cos(turn), -np.sin(turn)])).sum(axis=1)
    scaled = np.array([along / placed.frame["sd_along"], across / placed.frame["sd_across"]])
    # derived: 68.3 % and 95.4 % on each axis; an ellipse of k sd holds 1 - exp(-k^2 / 2)
    for axis in scaled:
        assert np.mean(np.abs(axis) < 1) == pytest.approx(0.683, abs=0.04)
        assert np.mean(np.abs(axis) < 2) == pytest.approx(0.954, abs=0.04)
    square = (scaled**2).sum(axis=0)
    for share in (0.3935, 0.6827, 0.8647, 0.9545):
        assert np.mean(square < -2 * np.log(1 - share)) == pytest.approx(share, abs=0.04)


def water(*shapes: shapely.Polygon) -> Shoreline:
    return Shoreline.from_shapes(shapes, None)


def test_cast_over_an_island_is_flagged_where_it_meets_land() -> None:
    lake = shapely.box(376_505, 5_116_900, 376_700, 5_117_100)
    island = shapely.box(376_520, 5_116_990, 376_530, 5_117_010)
    seconds = tuple(np.arange(0, 90, 2.0))
    placed = place_casts(log(seconds=seconds), water(lake, island))
    away = placed.coordinates[:, 0] - 376_500.0
    beyond = (placed.frame["reason"] == BEYOND_LAND).to_numpy()
    assert (beyond == (away > 20)).all()
    assert beyond.any()


def test_cast_past_the_far_bank_is_flagged_there() -> None:
    pond = shapely.box(376_500, 5_116_900, 376_530, 5_117_100)
    placed = place_casts(log(seconds=tuple(np.arange(0, 90, 2.0))), water(pond))
    away = placed.coordinates[:, 0] - 376_500.0
    assert ((placed.frame["reason"] == BEYOND_LAND).to_numpy() == (away > 30)).all()


def test_brushing_a_headland_is_no_land() -> None:
    lake = shapely.box(376_500, 5_116_900, 376_700, 5_117_100)
    spit = shapely.box(376_520, 5_116_990, 376_521, 5_117_010)
    placed = place_casts(log(), water(lake, spit))
    assert placed.rejections() == {}


def test_line_that_has_come_in_and_line_the_tackle_does_not_hold() -> None:
    placed = place_casts(log(seconds=(0.0, 93.0, 95.0, 200.0)))
    assert placed.frame["reason"].tolist() == ["", "", NO_LINE, NO_LINE]
    assert place_casts(log(), longest=49.0).rejections() == {TOO_LONG: 2}
    assert place_casts(log(), longest=51.0).rejections() == {}


@given(st.lists(st.floats(0, 500), min_size=1, max_size=30), st.floats(0, 359), st.floats(1, 90))
def test_no_ping_is_lost(seconds: list[float], bearing: float, line: float) -> None:
    lake = water(shapely.box(376_450, 5_116_980, 376_520, 5_117_020))
    placed = place_casts(
        log(seconds=tuple(seconds), bearing=bearing, line_out=line, rod_tip=0.5), lake
    )
    assert len(placed) == len(seconds) == len(placed.kept) + sum(placed.rejections().values())


def test_other_columns_stay_with_their_ping() -> None:
    given_log = log()
    pings = given_log.pings.assign(canopy=[1.0, np.nan], echo_db=[-40.0, -41.0])
    placed = place_casts(CastLog(given_log.casts, pings, None)).frame
    assert placed["echo_db"].tolist() == [-40.0, -41.0]
    assert placed["line"].tolist() == ["A", "A"]
    assert set(placed["source"]) == {"cast"}
