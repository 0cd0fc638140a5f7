"""Columns of visits, the mean of a day, and the water cut for all of them."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles, Tin
from toolbox.water.water_columns import cut_at, layers_of_day, water_columns


def pyramid(draws: np.ndarray | None = None) -> Tin:
    """Make a pyramid of 10 m depth under a square of 100 m."""
    corners = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    depth = np.array([0.0, 0.0, 0.0, 0.0, 10.0])
    return Tin(corners, depth, triangles, np.zeros(5, int), None, draws=draws)


def profiles(*rows: tuple[str, str, float, float, float]) -> Profiles:
    """Make profiles of (time, station, depth, temperature, surface)."""
    frame = pd.DataFrame(rows, columns=["time", "station", "depth_m", "temperature_c", "surface_m"])
    return Profiles(frame.assign(time=pd.to_datetime(frame["time"], utc=True, format="ISO8601")))


TWO_DAYS = profiles(
    ("2026-05-14T10:00", "hole", 0.0, 14.0, 0.2),
    ("2026-05-14T10:00", "hole", 8.0, 6.0, 0.2),
    ("2026-05-14T14:00", "arm", 1.0, 15.0, 0.4),
    ("2026-05-14T14:00", "arm", 3.0, 13.0, 0.4),
    ("2026-05-20T10:00", "arm", 2.0, 16.0, 0.0),
)


def test_visits_and_the_mean_of_a_day_of_two_stations() -> None:
    columns = water_columns(TWO_DAYS)
    assert [c.station for c in columns] == ["hole", "arm", "all", "arm"]
    mean = columns[2]
    assert mean.time == pd.Timestamp("2026-05-14T12:00", tz="UTC")
    assert mean.surface == pytest.approx(0.3)
    assert mean.depth.tolist() == [0, 1, 3, 8]
    # derived: the arm reads from 1 m to 3 m and stands for the metre above
    np.testing.assert_allclose(mean.read["temperature_c"], [14.5, 14, 12, 6])
    assert np.isnan(mean.read["oxygen_mg_l"]).all()
    assert mean.deepest("temperature_c") == 8
    assert np.isnan(mean.deepest("temperature_c", "oxygen_mg_l"))


def test_chosen_stations() -> None:
    assert [c.station for c in water_columns(TWO_DAYS, ("arm",))] == ["arm", "arm"]
    with pytest.raises(ParameterError, match="stations must be of 'arm', 'hole', got 'pier'"):
        water_columns(TWO_DAYS, ("pier",))


def test_values_of_a_column() -> None:
    hole = water_columns(TWO_DAYS)[0]
    wanted = np.array([0.0, 4.0, 9.0])
    np.testing.assert_allclose(hole.at("temperature_c", wanted), [14, 10, 6])
    np.testing.assert_allclose(hole.at("temperature_c", wanted, carry_down=False)[:2], [14, 10])
    assert np.isnan(hole.at("temperature_c", wanted, carry_down=False)[2])
    assert np.isnan(hole.at("oxygen_mg_l", wanted)).all()


def test_the_water_has_planes_at_surfaces_readings_and_the_floor() -> None:
    layers = cut_at(pyramid(), water_columns(TWO_DAYS), 1.0, also=(4.321,))
    for plane in (0.0, 0.2, 0.3, 0.4, 1.4, 3.4, 4.321, 8.2, 10.0):
        assert np.abs(layers.edges - plane).min() < 1e-9
    assert np.diff(layers.edges).max() <= 1.0 + 1e-9
    assert layers.volume.sum() == pytest.approx(1e5 / 3)  # derived
    assert -np.diff(layers.area).sum() == pytest.approx(1e4)


def test_a_level_floor_is_counted_as_bed() -> None:
    corners = np.array([[0, 0], [100, 0], [100, 100], [0, 100]], float)
    bed = Tin(corners, np.full(4, 10.0), np.array([[0, 1, 2], [0, 2, 3]]), np.full(4, 2), None)
    layers = cut_at(bed, water_columns(TWO_DAYS), 0.25)
    assert -np.diff(layers.area).sum() == pytest.approx(1e4)
    assert layers.volume.sum() == pytest.approx(1e5)


def test_planes_reach_below_the_deepest_draw() -> None:
    draws = np.array([[0.0] * 4 + [9.0], [0.0] * 4 + [12.4]]).T
    layers = cut_at(pyramid(draws), water_columns(TWO_DAYS), 0.5)
    assert layers.edges[-1] > 12.4
    assert layers.drawn_volume is not None
    assert layers.drawn_volume.sum(axis=1) == pytest.approx([9e4 / 3, 12.4e4 / 3])


def test_the_water_of_a_day_counts_from_its_surface() -> None:
    draws = np.array([[0.0] * 4 + [10.0]] * 2).T
    layers = cut_at(pyramid(draws), water_columns(TWO_DAYS), 0.5)
    day = layers_of_day(layers, 0.4)
    assert day.edges[0] == 0
    assert day.area[0] == pytest.approx(1e4 * 0.96**2)  # derived
    assert day.volume.sum() == pytest.approx(1e5 / 3 * 0.96**3)
    assert day.drawn_area is not None
    assert day.drawn_area[:, 0] == pytest.approx(day.area[[0, 0]])


def test_a_surface_below_the_bed() -> None:
    dry = water_columns(profiles(("2026-05-14", "hole", 0.0, 14.0, 10.5)))
    with pytest.raises(LayerError, match=r"surface of 2026-05-14 lies 10\.5 m below the datum, at"):
        cut_at(pyramid(), dry, 1.0)
