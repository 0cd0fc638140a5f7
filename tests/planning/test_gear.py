"""Gear: errors found again in the soundings that carry them, and those of docs/spread.md."""

import numpy as np
import pytest
import shapely

from toolbox.layers import Shoreline, Soundings
from toolbox.planning.candidates import between
from toolbox.planning.gear import Gear

WATER = Shoreline(shapely.MultiPolygon([shapely.box(-500, -500, 500, 500)]), None)


def survey(**columns: object) -> Soundings:
    """Make two casts of 60 m from one peg, readings 2 m apart from the peg on."""
    away = np.tile(np.arange(0.0, 61.0, 2.0), 2)
    bearing = np.repeat([30.0, 110.0], 31)
    ahead = np.column_stack([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    parts: dict[str, object] = {
        "line": np.repeat(["a", "b"], 31).astype(object),
        "source": "cast",
        "sd": np.hypot(0.1, 0.03),
        "sd_shared": 0.03,
        "sd_xy": 2.0,
        "bearing": bearing,
        "sd_along": np.hypot(0.03 * away, 0.5),
        "sd_across": np.hypot(0.07 * away, 0.5),
    }
    depth = np.full(len(away), 4.0)
    return Soundings.from_arrays(away[:, None] * ahead, depth, crs=None, **(parts | columns))


def test_errors_of_the_surveys_own_casts() -> None:
    gear = Gear.of("casts", survey(), 3.0)
    assert gear.own_sd == pytest.approx(0.1, rel=1e-9)
    assert gear.level_sd == pytest.approx(0.03, rel=1e-9)
    np.testing.assert_allclose(gear.along, [0.25, 0.0009], rtol=1e-6)
    np.testing.assert_allclose(gear.across, [0.25, 0.0049], rtol=1e-6)
    assert gear.ping == pytest.approx(2.0, rel=1e-9)
    assert gear.leg == np.inf


def test_errors_of_the_surveys_own_tracks() -> None:
    gear = Gear.of("lines", survey(source="track", sd_along=np.nan, sd_across=np.nan), 3.0)
    np.testing.assert_allclose([*gear.along, *gear.across], [4, 0, 4, 0], atol=1e-12)
    assert (gear.own_sd, gear.level_sd) == (pytest.approx(0.1), pytest.approx(0.03))
    assert gear.leg == 75


def test_usual_errors_where_the_survey_has_none_of_the_kind() -> None:
    # derived from the figures in docs/spread.md for tracks at a depth of 4 m on a level bed
    gear = Gear.of("lines", survey(), 4.0)
    own = np.sqrt(0.03**2 + (0.005 * 4) ** 2 + 0.1**2 / 12)
    shared = np.sqrt(0.02**2 + 0.02**2 + (4 * 43 / 1450) ** 2)
    assert gear.own_sd == pytest.approx(own, rel=1e-6)
    assert gear.level_sd == pytest.approx(shared, rel=1e-6)
    np.testing.assert_allclose([*gear.along, *gear.across], [4, 0, 4, 0], atol=1e-12)


def test_readings_of_a_cast() -> None:
    # derived: ten stretches of 6 m, each the mean of twelve readings
    gear = Gear(0.12, 0.03, (0.25, 0.0009), (0.25, 0.0049), 0.0, np.inf, 0.5)
    way = between(np.array([[0.0, 0.0]]), np.array([[36.0, 48.0]]), WATER)
    seen = gear.readings(way, 6.2)
    distance = 6 * np.arange(10) + 3.0
    np.testing.assert_allclose(seen.place, distance[:, None] * [0.6, 0.8], atol=1e-12)
    np.testing.assert_allclose(seen.own_variance, 0.0144 / 12)
    along = np.sqrt(0.25 + 0.0009 * distance**2)
    across = np.sqrt(0.25 + 0.0049 * distance**2)
    np.testing.assert_allclose(seen.shifts[:, 0], along[:, None] * [0.6, 0.8], rtol=1e-12)
    np.testing.assert_allclose(seen.shifts[:, 1], across[:, None] * [0.8, -0.6], rtol=1e-12)
    assert set(seen.leg) == {0}
    assert not seen.loose_variance.any()


def test_readings_of_lines() -> None:
    gear = Gear(0.1, 0.03, (4.0, 0.0), (4.0, 0.0), 0.25, 75.0, 1.0)
    start, end = np.array([[0.0, 0.0], [0.0, 50.0]]), np.array([[150.0, 0.0], [60.0, 50.0]])
    seen = gear.readings(between(start, end, WATER), 25.0)
    assert seen.names == ("1", "2")
    assert seen.line.tolist() == [0] * 6 + [1] * 2
    assert seen.leg.tolist() == [0, 0, 0, 1, 1, 1, 2, 2]
    np.testing.assert_allclose(seen.loose_variance, 0.25 * 4)


def test_a_line_has_no_more_than_40_readings() -> None:
    gear = Gear(0.1, 0.03, (4.0, 0.0), (4.0, 0.0), 0.25, 75.0, 1.0)
    way = between(np.array([[0.0, 0.0]]), np.array([[400.0, 0.0]]), WATER)
    seen = gear.readings(way, 1.0)
    assert len(seen) == 40
    np.testing.assert_allclose(seen.own_variance, 0.01 / 10)
