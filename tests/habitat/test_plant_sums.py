"""Sums of readings and of mapped beds by depth, and how often a band holds the truth."""

import numpy as np
import shapely

from toolbox.habitat.plant_sums import resampled, sums_of_beds, sums_of_readings
from toolbox.habitat.plants import PlantBeds, PlantReadings
from toolbox.layers import Tin, VertexKind


def readings(cover: list[float], height: list[float]) -> PlantReadings:
    none = np.full(len(cover), np.nan)
    places = np.zeros((len(cover), 2))
    lines = np.full(len(cover), "", object)
    return PlantReadings(places, np.array(cover), np.array(height), none, lines)


def test_readings_are_added_up_by_line_and_zone() -> None:
    told = readings([100, 50, 0, 100], [1.0, 2.0, 0.0, 3.0])
    depth, unit = np.array([2.0, 4.0, 0.5, 9.0]), np.array([0, 0, 1, 1])
    sums = sums_of_readings(told, depth, np.array([0.0, 1.0, 5.0]), unit)
    # readings, with plants, cover, cover x height, cover x height / depth; 9 m is no zone
    np.testing.assert_allclose(sums[0], [[0, 0, 0, 0, 0], [2, 2, 1.5, 2.0, 0.5 + 0.25]])
    np.testing.assert_allclose(sums[1], [[1, 0, 0, 0, 0], [0, 0, 0, 0, 0]])


def test_plants_at_the_very_edge_fill_what_water_there_is() -> None:
    sums = sums_of_readings(
        readings([80], [1.0]), np.array([0.0]), np.array([0.0, 1.0]), np.array([0])
    )
    np.testing.assert_allclose(sums[0, 0], [1, 1, 0.8, 0, 0.8])


def test_a_zone_nobody_read_is_unknown_and_stays_so() -> None:
    sums = np.array([[[2.0, 1, 1, 1, 0.5], [0, 0, 0, 0, 0]], [[2, 2, 2, 2, 1], [0, 0, 0, 0, 0]]])
    found, drawn = resampled(sums, 50, seed=1)
    np.testing.assert_allclose(found.plants, [0.75, np.nan])
    assert np.isnan(drawn.cover[:, 1]).all()
    assert set(drawn.plants[:, 0]) == {0.5, 1.0}  # one line of the two at a time


def test_nine_in_ten_bands_hold_the_truth() -> None:
    # derived: the bootstrap of 30 lines, a binomial sd of 1.7 % over 300 surveys
    rng = np.random.default_rng(7)
    lines = rng.beta(0.8, 2.0, 3_000)  # share grown over of every line there could be
    held = 0
    for seed in range(300):
        share = rng.choice(lines, 30)
        count = rng.integers(30, 60, 30)
        grown = rng.binomial(count, share)
        sums = np.stack([count, grown, grown, grown, grown], axis=-1)[:, None].astype(float)
        low, high = np.quantile(resampled(sums, 200, seed)[1].cover[:, 0], (0.05, 0.95))
        held += low <= lines.mean() <= high
    assert 0.84 <= held / 300 <= 0.94


def test_cells_of_a_mapped_bed() -> None:
    corners = np.array([[0, 0], [40, 0], [40, 40], [0, 40]], float)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    depth = np.full(4, 2.0)
    kind = np.full(4, VertexKind.SOUNDING)
    bed = Tin(corners, depth, triangles, kind, None, draws=np.outer(depth, [0.4, 1.0, 3.0]))
    beds = PlantBeds(np.array([shapely.box(0, 0, 20, 40)]), np.array([50.0]), np.array([1.0]))
    axis = np.arange(0.5, 40)
    centres = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    found, drawn = sums_of_beds(beds, bed, centres, np.array([0.0, 5.0]))
    # derived: half of the bed, half of it covered, 1 m of 2 m; in 0.8 m plants are cut off
    assert drawn is not None
    assert found.plants.tolist() == [0.5]
    assert found.biovolume.tolist() == [0.125]
    np.testing.assert_allclose(drawn.cover[:, 0], [0.25, 0.25, 0])  # 6 m lie beyond the zone
    np.testing.assert_allclose(drawn.stand[:, 0], [0.2, 0.25, 0])
    np.testing.assert_allclose(drawn.biovolume[:, 0], [0.25, 0.125, 0])
