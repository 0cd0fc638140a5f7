"""Water over the bed of depth zones adds up to the water; figures of plants by arithmetic."""

import numpy as np
import pytest

from toolbox.habitat.plant_measures import UNITS, ZoneWater, measures, with_whole
from toolbox.habitat.plant_sums import PlantSums
from toolbox.layers import Tin, VertexKind


def pyramid() -> Tin:
    vertices = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    kind = np.array([VertexKind.SHORELINE] * 4 + [VertexKind.SOUNDING])
    depth = np.array([0, 0, 0, 0, 10.0])
    return Tin(vertices, depth, triangles, kind, None, draws=np.outer(depth, [1.0, 2.0]))


def test_water_over_the_bed_of_zones() -> None:
    zones, drawn = ZoneWater.of_bed(pyramid(), np.array([0.0, 4.0, 25.0]))
    # derived: over the inner 60 m stand 4 m of water and a pyramid of 6 m
    inner = 3600 * (4 + 6 / 3)
    np.testing.assert_allclose(zones.area, [6400, 3600])
    np.testing.assert_allclose(zones.water, [1e5 / 3 - inner, inner])
    assert drawn is not None
    np.testing.assert_allclose(drawn.water.sum(axis=1), [1e5 / 3, 2e5 / 3])
    assert drawn.turned(5).area.shape == (5, 2)


def test_figures_of_two_zones_and_of_both() -> None:
    sums = PlantSums(
        plants=np.array([0.5, 0.0]),
        cover=np.array([0.3, 0.0]),
        stand=np.array([0.36, 0.0]),
        biovolume=np.array([0.12, 0.0]),
    )
    zones = ZoneWater(np.array([100.0, 300.0]), np.array([150.0, 1650.0]))
    found = measures(sums, zones)
    assert list(found) == list(UNITS)
    np.testing.assert_allclose(found["plant_area"], [50, 0, 50])
    np.testing.assert_allclose(found["cover"], [30, 0, 7.5])
    np.testing.assert_allclose(found["height"], [0.36, 0, 0.09])
    np.testing.assert_allclose(found["biovolume"], [12, 0, 3])
    np.testing.assert_allclose(found["plants_cover"], [60, np.nan, 60])
    np.testing.assert_allclose(found["plants_height"], [1.2, np.nan, 1.2])
    np.testing.assert_allclose(found["plants_biovolume"], [24, np.nan, 24])
    np.testing.assert_allclose(found["plant_volume"], [36, 0, 36])
    # Canfield et al. 1984 (from memory): cover x mean height / mean depth
    np.testing.assert_allclose(found["pvi"], [30 * 1.2 / 1.5, 0, 7.5 * 1.2 / 4.5])


def test_unknown_zones_have_no_part_in_the_whole() -> None:
    sums = PlantSums(*[np.array([0.5, np.nan])] * 4)
    found = measures(sums, ZoneWater(np.array([100.0, 900.0]), np.array([50.0, 9000.0])))
    assert found["cover"][-1] == pytest.approx(50)
    assert np.isnan(found["cover"][1])
    assert np.isnan(found["plant_area"][1])
    assert found["pvi"][-1] == pytest.approx(100)


def test_sums_of_all_zones_stand_last() -> None:
    np.testing.assert_array_equal(with_whole(np.array([[1, 2], [3, 4]])), [[1, 2, 3], [3, 4, 7]])
