"""Cells of suitable bed on a plane, where every limit draws a straight line."""

import numpy as np
import pandas as pd
import pytest
from affine import Affine

from toolbox.errors import LayerError, ParameterError
from toolbox.habitat.species import Limit, Measure, OxygenDemand, Species, SpeciesLimits
from toolbox.habitat.suitable_bed_grid import suitable_bed_areas, suitable_bed_grid
from toolbox.habitat.water_column import ColumnSeries
from toolbox.layers import Grid, Profiles

WHERE = Affine(1.0, 0.0, 0.0, 0.0, -1.0, 5.0)
ACROSS = np.tile(np.arange(0.5, 20.5), (5, 1))
PLANE = Grid(ACROSS / 2, WHERE, None, "depth", "m")
"""Half a metre of depth a metre, from 0.25 to 9.75 m."""


def kind(*limits: tuple[Measure, float | None, float | None]) -> SpeciesLimits:
    parts = tuple(Limit(*ends, "illustrative") for ends in limits)
    return SpeciesLimits((Species("carp", parts),))


def profiles(surface: float = 0.0, deepest: float = 10.0) -> Profiles:
    """T = 25 - 2 z and DO = 10 - z."""
    depth = np.array([0.0, deepest])
    time = pd.Timestamp("2026-07-01", tz="UTC")
    columns = {"temperature_c": 25 - 2 * depth, "oxygen_mg_l": 10 - depth}
    return Profiles(pd.DataFrame({"time": time, "depth_m": depth, **columns, "surface_m": surface}))


DEPTH = ACROSS[0] / 2
"""Of the cells of a row; all rows are alike."""


def cells(grid: Grid) -> np.ndarray:
    return grid.values  # noqa: PD011 - no frame


def suited(grid: Grid) -> np.ndarray:
    """Depths of the suitable cells of a row."""
    assert np.array_equal(cells(grid), np.tile(cells(grid)[0], (5, 1)), equal_nan=True)
    return DEPTH[cells(grid)[0] == 1]


def test_depth() -> None:
    found = suitable_bed_grid(PLANE, kind(("depth_m", 1, 3)), species_name="carp")
    assert suited(found).tolist() == [1.25, 1.75, 2.25, 2.75]
    assert (found.name, found.unit, found.transform) == ("suitable_bed", "1", WHERE)
    assert set(np.unique(cells(found))) == {0.0, 1.0}


def test_water_at_the_bed() -> None:
    limits = kind(("temperature_c", None, 20), ("oxygen_mg_l", 3, None))
    found = suitable_bed_grid(PLANE, limits, profiles(), species_name="carp")
    assert suited(found)[[0, -1]].tolist() == [2.75, 6.75]  # derived: 2.5 to 7 m
    fallen = suitable_bed_grid(PLANE, limits, profiles(surface=2.0), species_name="carp")
    assert suited(fallen)[[0, -1]].tolist() == [4.75, 8.75]
    # what fell dry is no water
    assert np.isnan(cells(fallen)[0][DEPTH < 2]).all()


def test_oxygen_demand() -> None:
    curve = OxygenDemand(0.40, 6e-6, 0.59, "Jacobson et al. 2008, from memory")
    species = SpeciesLimits((Species("cisco", (), curve),))
    found = suitable_bed_grid(PLANE, species, profiles(), species_name="cisco")
    depth = DEPTH
    holds = 10 - depth >= 0.40 + 6e-6 * np.exp(0.59 * (25 - 2 * depth))
    assert np.array_equal(cells(found)[0], holds)
    assert 0 < holds.sum() < len(holds)


def test_unknown_where_nobody_read() -> None:
    limits = kind(("temperature_c", None, 20), ("depth_m", None, 8))
    short = profiles(deepest=6.0)
    found = suitable_bed_grid(PLANE, limits, short, species_name="carp")
    unknown = np.isnan(cells(found)[0])
    assert DEPTH[unknown].tolist() == [6.25, 6.75, 7.25, 7.75]
    # deeper than 8 m is known to be unsuitable, whatever the temperature
    assert (cells(found)[0][DEPTH > 8] == 0).all()
    note = "20 cells of water unknown: nobody read what the species needs there"
    assert note in found.notes
    carried = suitable_bed_grid(PLANE, limits, short, species_name="carp", carry_down=True)
    assert suited(carried)[-1] == 7.75


def test_slope_in_degrees() -> None:
    steepness = np.degrees(np.arctan(0.5))  # of the plane
    for most, expected in ((steepness + 0.01, 1.0), (steepness - 0.01, 0.0)):
        found = suitable_bed_grid(PLANE, kind(("slope_deg", None, most)), species_name="carp")
        assert (cells(found) == expected).all()
        assert not any("left out" in note for note in found.notes)


def test_plants_in_per_cent_or_as_a_share() -> None:
    cover = np.where(ACROSS < 10, 30.0, 5.0)
    limits = kind(("plants", 10, 80))
    for values, unit in ((cover, "%"), (cover / 100, "1")):
        plants = Grid(values, WHERE, None, "cover", unit)
        found = suitable_bed_grid(PLANE, limits, None, plants, species_name="carp")
        assert np.array_equal(cells(found) == 1, ACROSS < 10)
    bare = Grid(np.full_like(cover, np.nan), WHERE, None, "cover", "%")
    assert np.isnan(cells(suitable_bed_grid(PLANE, limits, None, bare, species_name="carp"))).all()


def test_light() -> None:
    limits = kind(("light", 0.01, None))
    found = suitable_bed_grid(PLANE, limits, species_name="carp", secchi=2.0)
    # 5.418 m: k = 1.7 / Secchi, Poole and Atkins 1929, from memory
    assert suited(found)[-1] == 5.25


def test_outside_the_water() -> None:
    holed = PLANE.of(np.where(ACROSS < 3, np.nan, ACROSS / 2), "depth", "m")
    found = suitable_bed_grid(holed, kind(("depth_m", 0, 50)), species_name="carp")
    assert np.array_equal(np.isnan(cells(found)), ACROSS < 3)


def test_refusals() -> None:
    plants = kind(("plants", 10, None))
    with pytest.raises(ParameterError, match="'carp' has limits on plants: give plants, or take"):
        suitable_bed_grid(PLANE, plants, species_name="carp")
    with pytest.raises(ParameterError, match="'carp' has limits on light: give secchi or att"):
        suitable_bed_grid(PLANE, kind(("light", 0.1, None)), species_name="carp")
    heights = Grid(ACROSS, WHERE, None, "plant_height", "m")
    with pytest.raises(LayerError, match="plants must be in per cent or a share, got unit 'm'"):
        suitable_bed_grid(PLANE, plants, None, heights, species_name="carp")
    small = Grid(ACROSS[:, 1:], WHERE, None, "cover", "%")
    with pytest.raises(LayerError, match="depth and plants must lie on the same cells"):
        suitable_bed_grid(PLANE, plants, None, small, species_name="carp")
    with pytest.raises(ParameterError, match="species must be one of carp, got 'eel'"):
        suitable_bed_grid(PLANE, plants, species_name="eel")


def test_areas_are_the_suitable_cells_of_each_time() -> None:
    limits = kind(("temperature_c", None, 20), ("plants", 10, None), ("slope_deg", None, 30))
    plants = Grid(np.where(ACROSS < 12, 30.0, 5.0), WHERE, None, "cover", "%")
    first = profiles().frame
    later = first.assign(time=first["time"] + pd.Timedelta(days=10), temperature_c=[15.0, 15.0])
    both = Profiles(pd.concat([first, later]))
    columns = ColumnSeries.of(both)
    areas = suitable_bed_areas(PLANE, limits.species[0], columns, columns.times, plants)
    grids = [
        suitable_bed_grid(
            PLANE, limits, both, plants, species_name="carp", date=f"{time:%Y-%m-%dT%H:%M:%SZ}"
        )
        for time in columns.times
    ]
    assert areas.tolist() == [np.nansum(cells(grid)) for grid in grids]
    # derived: T = 25 - 2 z keeps to 20 from 2.5 m down, of bed 5 to 12 m along; then all of it
    assert areas.tolist() == [7 * 5, 12 * 5]


def test_areas_of_bed_need_their_plants() -> None:
    limits, columns = kind(("plants", 10, None)), ColumnSeries.of(profiles())
    with pytest.raises(ParameterError, match="'carp' has limits on plants: give plants, or take"):
        suitable_bed_areas(PLANE, limits.species[0], columns, columns.times)
