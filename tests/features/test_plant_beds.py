"""Plant beds are outlined where soundings met plants; thresholds are common practice, no source."""

import numpy as np
import pytest
import shapely
from pyproj import CRS

from toolbox.errors import LayerError
from toolbox.features.plant_beds import plant_beds
from toolbox.layers import Shoreline, Soundings

WATER = Shoreline(shapely.MultiPolygon([shapely.box(0, 0, 200, 100)]), None)


def sounded(height: float = 0.8, *, spacing: float = 5.0) -> Soundings:
    """Sound 3 m of water on a lattice, with plants within 25 m of (60, 50)."""
    axis = np.arange(2.5, 200, spacing), np.arange(2.5, 100, spacing)
    places = np.stack(np.meshgrid(*axis), axis=-1).reshape(-1, 2)
    depth = np.full(len(places), 3.0)
    grown = np.hypot(*(places - (60, 50)).T) <= 25
    return Soundings.from_arrays(places, depth, crs=None, canopy=depth - height * grown)


def test_a_stand_is_one_bed_about_as_large_as_it_is() -> None:
    frame = plant_beds(sounded(), WATER).frame
    assert len(frame) == 1
    bed = frame.iloc[0]
    # derived: a circle of 25 m, and at most a quarter of the 15 m that join
    assert np.pi * 25**2 < bed["area_m2"] < np.pi * (25 + 3.75) ** 2
    assert bed.geometry.centroid.distance(shapely.Point(60, 50)) < 2
    assert bed["height_mean_m"] == pytest.approx(0.8)
    assert bed["top_least_m"] == pytest.approx(2.2)
    assert bed["depth_greatest_m"] == 3.0
    assert 0.7 < bed["cover"] <= 1


def test_bare_ground_and_low_growth_are_no_bed() -> None:
    assert len(plant_beds(sounded(0.0), WATER)) == 0
    assert len(plant_beds(sounded(0.08), WATER)) == 0
    assert len(plant_beds(sounded(0.08), WATER, least_height=0.05)) == 1


def test_few_soundings_make_no_bed() -> None:
    assert len(plant_beds(sounded(), WATER, fewest=1_000)) == 0


def test_outlines_end_at_the_shore() -> None:
    soundings = sounded()
    narrow = Shoreline(shapely.MultiPolygon([shapely.box(0, 0, 60, 100)]), None)
    (shape,) = plant_beds(soundings, narrow).frame.geometry
    assert shape.bounds[2] <= 60


def test_flagged_soundings_and_those_without_a_canopy_do_not_count() -> None:
    soundings = sounded()
    assert (
        len(plant_beds(soundings.reject(soundings.coordinates[:, 0] < 100, "tested"), WATER)) == 0
    )
    canopy = soundings.frame["canopy"].where(soundings.coordinates[:, 0] > 100)
    half = Soundings(soundings.frame.assign(canopy=canopy))
    assert len(plant_beds(half, WATER)) == 0


def test_soundings_that_say_nothing_of_plants_are_refused() -> None:
    soundings = sounded()
    bare = Soundings(soundings.frame.drop(columns="canopy"))
    with pytest.raises(LayerError, match=r"^soundings need a column 'canopy' to tell plants, got"):
        plant_beds(bare, WATER)
    empty = Soundings(soundings.frame.assign(canopy=np.nan))
    with pytest.raises(LayerError, match="no sounding that was kept has a canopy"):
        plant_beds(empty, WATER)
    elsewhere = Shoreline(WATER.polygons, CRS(32633))
    with pytest.raises(LayerError, match="CRS"):
        plant_beds(soundings, elsewhere)
