"""The invented lake's echoes: the same every time, small, and true to the fish they are of."""

from pathlib import Path

import numpy as np
import pytest
import sample_scripts
import shapely

from toolbox.bed.triangulation import triangulate
from toolbox.fish.depth_of_fish import depth_of_fish
from toolbox.fish.fish_abundance import fish_abundance
from toolbox.fish.target_lengths import target_lengths
from toolbox.layers import Shoreline, Soundings, Table, Tin
from toolbox.layers.crs import is_plane

FOLDER = Path(__file__).resolve().parents[2] / "sample_layers"


sample = sample_scripts.load("fish")


@pytest.fixture(scope="module")
def tables() -> tuple[Table, Table]:
    return Table(sample.echoes()), Table(sample.echo_pings())


@pytest.fixture(scope="module")
def bed() -> Tin:
    """Sound the true bed every 8 m."""
    from pyproj import CRS

    lake = sample.lake
    crs = CRS.from_user_input(lake.CRS)
    assert not is_plane(crs)
    west, south, east, north = lake.shoreline().bounds
    places = np.meshgrid(np.arange(west, east, 8.0), np.arange(south, north, 8.0))
    easting, northing = (axis.ravel() for axis in places)
    inside = shapely.contains_xy(lake.shoreline().buffer(-2), easting, northing)
    at = np.column_stack([easting, northing])[inside]
    soundings = Soundings.from_arrays(at, lake.bed_depth(*at.T), crs=crs, source="plummet", sd=0.05)
    return triangulate(soundings, Shoreline.from_shapes([lake.shoreline()], crs))


def test_columns_and_size(tables: tuple[Table, Table]) -> None:
    echoes, pings = (table.frame for table in tables)
    assert list(echoes) == ["transect", "ping", "range_m", "ts_db"]
    assert list(pings) == ["transect", "ping", "period", "time", "distance_m", "bed_m"]
    size = sum(len(frame.to_csv(index=False)) for frame in (echoes, pings))
    assert size < 400_000
    lines = pings.groupby("period")["transect"].nunique()
    assert lines.between(6, 8).all()
    assert lines.index.tolist() == ["day", "night"]
    assert not pings.duplicated(["transect", "ping"]).any()


def test_the_truth() -> None:
    truth = sample.truth()
    assert truth.number == 48_000
    assert truth.weight == pytest.approx(452, abs=1)
    assert truth.mean_length == pytest.approx(8.25, abs=0.05)


@pytest.mark.parametrize("period", ["day", "night"])
def test_the_number_is_found(tables: tuple[Table, Table], bed: Tin, period: str) -> None:
    fish = sample._fish(period)
    floor = sample._floor()(fish[:, :2])
    gear = {"beam_angle": sample.BEAM_ANGLE, "draft": sample.DRAFT}
    found = fish_abundance(bed, *tables, period=period, **gear)
    whole = found.frame.iloc[-1]
    dead = (floor - sample.DRAFT) * (1 / np.cos(np.radians(10)) - 1) + 0.145
    told = int(((fish[:, 2] > 1.3) & (fish[:, 2] < floor - dead)).sum())
    assert whole["number_low"] < told < whole["number_high"]
    assert whole["number"] == pytest.approx(told, rel=0.2)
    assert whole["measure"] == "index"
    assert 0.2 < whole["unsearched_share"] < 0.4


def test_fish_rise_by_night(tables: tuple[Table, Table]) -> None:
    found = depth_of_fish(*tables, beam_angle=sample.BEAM_ANGLE, draft=sample.DRAFT).frame
    day, night = (row for _, row in found[found["layer"] == "whole"].iterrows())
    assert night["mean_depth_high_m"] < day["mean_depth_low_m"]
    assert night["above_bed_m"] > day["above_bed_m"]
    hours = {"night_start": 21.5, "night_end": 7.0}
    timed = Table(tables[1].frame.drop(columns="period"))
    again = depth_of_fish(tables[0], timed, beam_angle=20, draft=sample.DRAFT, **hours).frame
    assert again["mean_depth_m"].equals(found["mean_depth_m"])


def test_weight_with_the_scatter_known(tables: tuple[Table, Table], bed: Tin) -> None:
    growth = {"weight_a": sample.WEIGHT[0], "weight_b": sample.WEIGHT[1], "weight_source": "lake"}
    sized = target_lengths(tables[0], scatter=sample.SCATTER, **growth)
    gear = {"beam_angle": sample.BEAM_ANGLE, "draft": sample.DRAFT, "period": "night"}
    whole = fish_abundance(bed, sized, tables[1], **gear).frame.iloc[-1]
    assert whole["biomass_low_kg"] < sample.truth().weight < whole["biomass_high_kg"]
