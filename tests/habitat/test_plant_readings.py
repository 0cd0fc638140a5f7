"""Soundings with a canopy and points of a table become readings, bare ones as zeros."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.habitat.plant_readings import plant_points, plant_readings
from toolbox.layers import Places, Soundings

PLACES = np.array([[0.0, 0], [1, 0], [2, 0], [3, 0]])


def sounded(canopy: list[float], **columns: list[str]) -> Soundings:
    depth = np.full(len(canopy), 2.0)
    return Soundings.from_arrays(PLACES, depth, crs=None, canopy=np.array(canopy), **columns)


def test_height_cover_and_biovolume_of_soundings() -> None:
    # derived: 100 h / d
    frame = plant_readings(sounded([2.0, 1.5, 1.95, np.nan])).frame
    assert frame["height_m"].tolist() == [0, 0.5, 0]
    assert frame["cover_percent"].tolist() == [0, 100, 0]
    assert frame["biovolume_percent"].tolist() == [0, 25, 0]
    assert frame["depth_m"].tolist() == [2, 2, 2]
    assert list(frame) == [
        "depth_m",
        "height_m",
        "cover_percent",
        "biovolume_percent",
        "line",
        "geometry",
    ]


def test_low_growth_counts_if_asked_for() -> None:
    low = plant_readings(sounded([2.0, 1.5, 1.95, 2.0]), least_height=0.0).frame
    assert low["cover_percent"].tolist() == [0, 100, 100, 0]


def test_an_empty_canopy_may_mean_bare() -> None:
    soundings = sounded(
        [np.nan, 1.5, np.nan, np.nan], source=["cast", "cast", "track", "cast"], line=["1"] * 4
    )
    assert len(plant_readings(soundings)) == 1
    frame = plant_readings(soundings, empty="bare").frame
    assert frame["cover_percent"].tolist() == [0, 100, 0]  # nobody looked from the track
    assert frame["line"].tolist() == ["cast 1"] * 3


def test_flagged_soundings_do_not_count() -> None:
    soundings = sounded([2.0, 1.5, 1.0, 2.0]).reject(PLACES[:, 0] == 1, "tested")
    assert plant_readings(soundings).frame["height_m"].tolist() == [0, 1, 0]


def test_points_of_a_table() -> None:
    columns = pd.DataFrame({"cover_percent": ["0", "60", "5"], "height_m": ["", "1.2", "0.3"]})
    columns["depth_m"] = 3.0
    coordinates = np.array([[0.0, 0], [5, 5], [np.nan, np.nan]])
    points = plant_points(Places(coordinates, columns, None))
    # Canfield et al. 1984 (from memory); derived: 60 x 1.2 / 3
    assert points.frame["biovolume_percent"].tolist() == [0, pytest.approx(24)]
    assert points.notes == ("1 point of plants without a position left out",)


def test_points_without_plants_columns_are_refused() -> None:
    places = Places(np.zeros((1, 2)), pd.DataFrame({"peg": ["A"]}), None)
    with pytest.raises(
        LayerError,
        match=r"^points of plants need a column cover_percent or height_m, got \['peg'\]",
    ):
        plant_points(places)


def test_soundings_that_say_nothing_of_plants_are_refused() -> None:
    soundings = sounded([np.nan] * 4)
    with pytest.raises(LayerError, match="no sounding that was kept has a canopy"):
        plant_readings(soundings)
    bare = Soundings(soundings.frame.drop(columns="canopy"))
    with pytest.raises(LayerError, match=r"^soundings need a column 'canopy' to tell plants, got"):
        plant_readings(bare)
