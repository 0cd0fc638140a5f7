"""Rasters of plants over a wedge, and over the invented lake whose plants are known everywhere."""

import geopandas
import numpy as np
import pytest
import sample_scripts
import shapely
from pyproj import CRS

from toolbox.bed.gridding import grid_bed
from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError
from toolbox.habitat.plant_grids import (
    cell_centres,
    near_means,
    plant_cover_grid,
    plant_height_grid,
    plant_volume_grid,
)
from toolbox.habitat.plant_readings import plant_readings
from toolbox.habitat.plants import PlantReadings
from toolbox.layers import Shoreline, Soundings, Tin, Vectors, VertexKind


def wedge() -> Tin:
    """Make 40 m of shore with a bed that falls 1 in 10 over 40 m."""
    corners = np.array([[0, 0], [40, 0], [40, 40], [0, 40]], float)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    return Tin(
        corners, np.array([0, 4.0, 4.0, 0]), triangles, np.full(4, VertexKind.SOUNDING), None
    )


def beds(**columns: list[float]) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=[shapely.box(0, 0, 40, 20)]), "plants")


def read_at(places: np.ndarray, cover: np.ndarray, height: np.ndarray) -> Vectors:
    shapes = geopandas.points_from_xy(*places.T)
    columns = {"cover_percent": cover, "height_m": height}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes), "readings")


def test_a_mapped_bed_over_a_wedge() -> None:
    plants, bed = beds(cover_percent=[50.0], height_m=[1.0]), wedge()
    depth = grid_bed(bed, cell=2.0).values
    grown = np.arange(20)[:, None] >= 10  # rows run from the north down
    cover, height = (tool(bed, plants, cell=2.0) for tool in (plant_cover_grid, plant_height_grid))
    volume = plant_volume_grid(bed, plants, cell=2.0)
    assert [(grid.name, grid.unit) for grid in (cover, height, volume)] == [
        ("plant_cover", "%"),
        ("plant_height", "m"),
        ("plant_volume", "%"),
    ]
    np.testing.assert_array_equal(cover.values, np.where(grown, 50, 0) + 0 * depth)
    np.testing.assert_allclose(height.values, np.where(grown, np.minimum(1, depth), 0), rtol=1e-6)
    # derived: cover x height / depth, up to the cover where plants reach the surface
    np.testing.assert_allclose(
        volume.values, np.where(grown, 50 * np.minimum(1, depth) / depth, 0), rtol=1e-6
    )


def test_equal_readings_give_equal_grids_within_reach() -> None:
    places = np.array([[10.0, 10], [12, 10], [10, 14]])
    plants = read_at(places, np.full(3, 60.0), np.full(3, 1.2))
    bed = wedge()
    cover = plant_cover_grid(bed, plants, cell=1.0, reach=8.0)
    away = shapely.distance(shapely.MultiPoint(places), shapely.points(cell_centres(cover)))
    assert away.max() <= 8.0
    told = ~np.isnan(cover.values)
    everywhere = cell_centres(grid_bed(bed, cell=1.0))
    far = shapely.distance(shapely.MultiPoint(places), shapely.points(everywhere)) > 8.0
    assert told.sum() == (~far).sum()
    np.testing.assert_allclose(cover.values[told], 60)
    volume = plant_volume_grid(bed, plants, cell=1.0, reach=8.0)
    depth = grid_bed(bed, cell=1.0).values
    # the worked row: 60 % of 1.2 m in 3.0 m are 24 % (Canfield et al. 1984, from memory)
    np.testing.assert_allclose(
        volume.values[told], 60 * np.minimum(1.2, depth[told]) / depth[told], rtol=1e-5
    )


def test_bare_readings_are_zeros_and_not_missing() -> None:
    plants = read_at(np.array([[20.0, 20.0]]), np.zeros(1), np.zeros(1))
    for tool in (plant_cover_grid, plant_height_grid, plant_volume_grid):
        values = tool(wedge(), plants, cell=1.0, reach=5.0).values
        assert np.nansum(values) == 0
        assert 60 < (~np.isnan(values)).sum() < 90  # derived: pi 5^2 cells


def test_heights_count_by_cover_and_unknown_ones_not() -> None:
    readings = PlantReadings(
        np.array([[-1.0, 0], [1, 0], [0, 1], [0, -1]]),
        np.array([100.0, 50, 0, 50]),
        np.array([1.0, 2, 0, np.nan]),
        np.full(4, np.nan),
        np.full(4, "", object),
    )
    cover, height = near_means(readings, np.array([[0.0, 0], [9, 9]]), 2.0, 1.0)
    np.testing.assert_allclose(cover, [50, np.nan])
    np.testing.assert_allclose(height, [(1 * 1 + 0.5 * 2) / 1.5, np.nan])


def test_layers_in_other_crs_are_refused() -> None:
    plants = Vectors(geopandas.GeoDataFrame(geometry=[shapely.Point(0, 0)], crs=32633), "plants")
    with pytest.raises(LayerError, match="CRS"):
        plant_cover_grid(wedge(), plants)


def test_plants_of_the_invented_lake_are_recovered() -> None:
    lake = sample_scripts.load("lake")
    shore, crs = lake.shoreline(), CRS(lake.CRS)
    east, north = lake._cell_centres(shore, 6.0)
    wet = shapely.contains_xy(shore, east, north)
    places = np.column_stack([east, north])[wet]
    depth, height = (of(*places.T) for of in (lake.bed_depth, lake.plant_height))
    water = Shoreline(shapely.MultiPolygon([shore]), crs)
    bed = triangulate(Soundings.from_arrays(places, depth, crs=crs), water)
    # read along lines 12 m apart, every 6 m, the top of plants to 0.07 m
    line = np.round((places[:, 0] - places[:, 0].min()) / 6).astype(int)
    run = line % 2 == 0
    noise = np.random.default_rng(5).normal(0, 0.07, run.sum())
    read = np.where(height[run] >= 0.1, (height[run] + noise).clip(0.1), 0)
    soundings = Soundings.from_arrays(places[run], depth[run], crs=crs, canopy=depth[run] - read)
    found = plant_volume_grid(bed, plant_readings(soundings), cell=6.0)
    centres = cell_centres(found)
    true = lake.plant_height(*centres.T)
    water = grid_bed(bed, cell=6.0).values
    share = 100 * np.where(true >= 0.1, true, 0) / water[~np.isnan(water)]
    error = found.values[~np.isnan(found.values)] - share.clip(0, 100)
    assert len(centres) == (~np.isnan(water)).sum()
    assert abs(error.mean()) < 0.15 * share.mean()
    assert np.sqrt((error**2).mean()) < 0.5 * share.std()
