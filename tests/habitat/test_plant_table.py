"""Plants by depth over a pyramid, by exact integrals, and over the invented lake, by its truth."""

from dataclasses import dataclass, replace
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import sample_scripts
import shapely
from pyproj import CRS
from scipy.spatial import KDTree

from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError
from toolbox.formats.casts_file import read_casts
from toolbox.formats.vectors_file import read_vectors
from toolbox.habitat.plant_readings import plant_readings
from toolbox.habitat.plant_table import plant_table
from toolbox.layers import Shoreline, Soundings, Table, Tin, Vectors, VertexKind
from toolbox.notes import Caution
from toolbox.reduction.casts import place_casts
from toolbox.reduction.cleaning import clean

SIDE, DEEPEST = 100.0, 10.0
AREA, VOLUME = SIDE**2, SIDE**2 * DEEPEST / 3


def pyramid(scale: tuple[float, ...] = ()) -> Tin:
    vertices = SIDE * np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0.5, 0.5]])
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    kind = np.array([VertexKind.SHORELINE] * 4 + [VertexKind.SOUNDING])
    depth = np.array([0, 0, 0, 0, DEEPEST])
    return Tin(
        vertices, depth, triangles, kind, None, draws=np.outer(depth, scale) if scale else None
    )


def mapped(cover: float, height: float) -> Vectors:
    shapes = [shapely.box(-1, -1, 101, 101)]
    columns = {"cover_percent": [cover], "height_m": [height]}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes), "plants")


def read(
    spacing: float, cover: float = 40.0, height: float = 1.0, *, deepest: float = 99
) -> Vectors:
    """Read the pyramid on a lattice, each row a line."""
    axis = np.arange(spacing / 2, SIDE, spacing)
    places = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    depth = DEEPEST * (1 - np.abs(places / 50 - 1).max(axis=1))
    grown = depth < deepest
    columns = {
        "cover_percent": np.where(grown, cover, 0),
        "height_m": np.where(grown, height, 0),
        "line": places[:, 1].astype(str),
    }
    shapes = geopandas.points_from_xy(*places.T)
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes), "readings")


def whole(table: Table) -> pd.Series:
    row = table.frame.iloc[-1]
    assert row["zone"] == "whole water"
    return row


# derived: 40 % of 1 m over a pyramid, cut off where it is shallower: 0.4 of the water above 1 m
STAND = 0.4 * VOLUME * (1 - 0.9**3)
# derived: 0.19 of the bed is shallower than 1 m; beyond, 1 / z over 2 (1 - z / 10) / 10 dz
BIOVOLUME = 40 * (0.19 + 0.2 * (np.log(10) - 0.9))


def test_a_mapped_bed_over_all_of_a_pyramid() -> None:
    row = whole(plant_table(pyramid(), mapped(40.0, 1.0), cell=0.5))
    assert row["bed_area_m2"] == pytest.approx(AREA)
    assert row["plant_area_m2"] == pytest.approx(AREA)
    assert row["cover_percent"] == pytest.approx(40)
    assert row["plant_volume_m3"] == pytest.approx(STAND, rel=1e-3)
    assert row["pvi_percent"] == pytest.approx(100 * STAND / VOLUME, rel=1e-3)
    assert row["biovolume_percent"] == pytest.approx(BIOVOLUME, rel=1e-3)
    assert np.isnan(row["readings"])


def test_readings_all_over_a_pyramid() -> None:
    row = whole(plant_table(pyramid(), read(1.0), interval=1.0))
    assert row["readings"] == 10_000
    assert row["cover_percent"] == pytest.approx(40)
    assert row["plant_area_m2"] == pytest.approx(AREA)
    assert row["plant_volume_m3"] == pytest.approx(STAND, rel=5e-3)
    assert row["pvi_percent"] == pytest.approx(100 * STAND / VOLUME, rel=5e-3)
    assert row["biovolume_percent"] == pytest.approx(BIOVOLUME, rel=5e-3)
    assert row["cover_low_percent"] == pytest.approx(40)  # all lines are alike
    assert row["cover_high_percent"] == pytest.approx(40)


def test_zones_tile_the_whole_and_bare_ground_counts() -> None:
    frame = plant_table(pyramid(), read(2.0, deepest=4.0), interval=2.0).frame
    zones, total = frame.iloc[:-1], frame.iloc[-1]
    assert zones["zone"].tolist() == ["0 to 2 m", "2 to 4 m", "4 to 6 m", "6 to 8 m", "8 to 10 m"]
    for name in ("bed_area_m2", "plant_area_m2", "plant_volume_m3", "readings"):
        assert zones[name].sum() == pytest.approx(total[name])
    assert zones["cover_percent"].tolist() == pytest.approx([40, 40, 0, 0, 0])
    # derived: 1 - 0.6^2 of a pyramid is shallower than 4 m of 10
    assert total["cover_percent"] == pytest.approx(40 * 0.64)
    assert total["plants_cover_percent"] == pytest.approx(40)
    assert total["plant_area_m2"] == pytest.approx(0.64 * AREA)
    assert zones["plants_cover_percent"].isna().tolist() == [False, False, True, True, True]


def test_the_worked_row_over_level_bed() -> None:
    # Canfield et al. 1984 (from memory): 60 % cover, 1.2 m plants, 3.0 m water; derived: 24 %
    corners = np.array([[0, 0], [60, 0], [60, 60], [0, 60]], float)
    kind = np.full(4, VertexKind.SOUNDING)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    bed = Tin(corners, np.array([3.0, 3, 3, 3.0001]), triangles, kind, None)
    row = whole(plant_table(bed, mapped(60.0, 1.2), cell=1.0, interval=1.0))
    assert row["pvi_percent"] == pytest.approx(24, rel=1e-3)
    assert row["biovolume_percent"] == pytest.approx(24, rel=1e-3)


def test_bands_of_mapped_beds_are_those_of_the_draws() -> None:
    bed = pyramid(tuple(np.linspace(0.5, 1.5, 101)))
    row = whole(plant_table(bed, mapped(40.0, 1.0), cell=1.0))
    # derived: of a pyramid s m deep 1 - (1 - 1 / s)^3 of the water lies above 1 m
    assert row["pvi_high_percent"] == pytest.approx(40 * (1 - (1 - 1 / 5.5) ** 3), rel=0.01)
    assert row["pvi_low_percent"] == pytest.approx(40 * (1 - (1 - 1 / 14.5) ** 3), rel=0.01)
    assert row["plant_area_low_m2"] == pytest.approx(AREA)


def test_bands_of_readings_hold_lines_and_draws() -> None:
    plants = read(5.0)
    frame = plants.frame.assign(
        cover_percent=np.where(np.arange(400) // 20 % 2, 80.0, 0.0)  # every other line is bare
    )
    lines = Vectors(frame, "readings")
    row = whole(plant_table(pyramid(), lines, interval=5.0))
    assert row["cover_low_percent"] < 32 < 40 < 48 < row["cover_high_percent"]
    again = whole(plant_table(pyramid(), lines, interval=5.0))
    assert again.equals(row)
    other = whole(plant_table(pyramid(), lines, interval=5.0, seed=1))
    assert other["cover_percent"] == row["cover_percent"]
    assert other["cover_low_percent"] != row["cover_low_percent"]
    drawn = pyramid(tuple(np.linspace(0.5, 1.5, 101)))
    both = whole(plant_table(drawn, lines, interval=5.0))
    assert both["pvi_high_percent"] - both["pvi_low_percent"] > (
        row["pvi_high_percent"] - row["pvi_low_percent"]
    )


def test_zones_nobody_read_are_told() -> None:
    plants = read(2.0)
    frame = plants.frame[shapely.get_x(plants.frame.geometry.to_numpy()) < 30]
    table = plant_table(pyramid(), Vectors(frame, "readings"), interval=5.0)
    frame = frame[shapely.get_x(frame.geometry.to_numpy()) < 20]
    shallow = plant_table(pyramid(), Vectors(frame, "readings"), interval=5.0)
    assert table.frame["cover_percent"].isna().sum() == 0
    assert shallow.frame["cover_percent"].isna().tolist() == [False, True, False]
    assert shallow.frame["plant_area_m2"].iloc[-1] == pytest.approx(0.75 * AREA)
    assert "nobody looked for plants in zones of 2500 m2 (25.0% of the bed)" in shallow.notes


def test_single_points_are_clusters() -> None:
    plants = read(10.0)
    points = Vectors(plants.frame.drop(columns="line"), "readings")
    fine, coarse = (plant_table(pyramid(), points, cluster=width).notes for width in (10.0, 60.0))
    assert "band: 100 lines or clusters drawn again" in fine
    assert "band: 4 lines or clusters drawn again" in coarse
    assert "plants: fewer than 8 lines or clusters were read, the band is too narrow" in coarse


def test_what_was_met_deepest_is_told() -> None:
    notes = plant_table(pyramid(), read(2.0, deepest=4.0), interval=2.0).notes
    assert any(note.startswith("plants were met down to 3.80 m, 95 % of them") for note in notes)
    assert "no plants were met" in plant_table(pyramid(), read(5.0, cover=0.0)).notes


def test_beds_of_unknown_cover_have_an_area_alone() -> None:
    shapes = [shapely.box(0, 0, 50, 100)]
    table = plant_table(pyramid(), Vectors(geopandas.GeoDataFrame(geometry=shapes), "plants"))
    assert whole(table)["plant_area_m2"] == pytest.approx(AREA / 2, rel=0.01)
    assert np.isnan(whole(table)["cover_percent"])
    assert "1 bed of plants of unknown cover" in table.notes


def test_readings_off_the_bed_are_told_or_refused() -> None:
    plants = read(10.0)
    moved = plants.frame.assign(geometry=plants.frame.geometry.translate(50))
    notes = plant_table(pyramid(), Vectors(moved, "readings")).notes
    assert "50 readings of plants off the bed or above the datum left out" in notes
    gone = plants.frame.assign(geometry=plants.frame.geometry.translate(500))
    with pytest.raises(LayerError, match=r"^no reading of plants lies on the bed$"):
        plant_table(pyramid(), Vectors(gone, "readings"))


SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"


@dataclass(frozen=True)
class Lake:
    """The invented lake on cells of 5 m: its plants are known everywhere."""

    water: Shoreline
    places: np.ndarray
    depth: np.ndarray
    height: np.ndarray
    bed: Tin


@pytest.fixture(scope="module")
def lake() -> Lake:
    lake = sample_scripts.load("lake")
    shore, crs = lake.shoreline(), CRS(lake.CRS)
    east, north = lake._cell_centres(shore, 5.0)
    wet = shapely.contains_xy(shore, east, north)
    places = np.column_stack([east, north])[wet]
    depth, height = (of(*places.T) for of in (lake.bed_depth, lake.plant_height))
    height = np.where(height >= 0.1, height, 0)
    water = Shoreline(shapely.MultiPolygon([shore]), crs)
    bed = triangulate(Soundings.from_arrays(places, depth, crs=crs), water)
    return Lake(water, places, depth, height, bed)


def test_plants_of_the_invented_lake_are_recovered(lake: Lake) -> None:
    places, depth, height, bed, crs = lake.places, lake.depth, lake.height, lake.bed, lake.water.crs
    # read along lines 20 m apart, every 5 m, the top of plants to 0.07 m
    line = np.round((places[:, 0] - places[:, 0].min()) / 5).astype(int)
    run = line % 4 == 0
    noise = np.random.default_rng(5).normal(0, 0.07, run.sum())
    top = depth[run] - np.where(height[run] > 0, (height[run] + noise).clip(0.1), 0)
    soundings = Soundings.from_arrays(
        places[run], depth[run], crs=crs, canopy=top, line=line[run].astype(str)
    )
    row = whole(plant_table(bed, plant_readings(soundings), interval=1.0))
    true = {
        "plant_area": 25.0 * (height > 0).sum(),
        "plant_volume": 25.0 * height.sum(),
    }
    for name, unit in (("plant_area", "m2"), ("plant_volume", "m3")):
        assert row[f"{name}_{unit}"] == pytest.approx(true[name], rel=0.1)
        assert row[f"{name}_low_{unit}"] < true[name] < row[f"{name}_high_{unit}"]
    assert row["pvi_percent"] == pytest.approx(100 * height.sum() / depth.sum(), rel=0.1)
    assert row["plants_height_m"] == pytest.approx(height[height > 0].mean(), rel=0.1)
    # the lines lie close enough that nothing is left unlooked at
    assert row["looked_area_m2"] == pytest.approx(row["bed_area_m2"], rel=0.01)
    assert row["looked_cover_percent"] == pytest.approx(100 * (height > 0).mean(), rel=0.1)


@pytest.fixture(scope="module")
def casts(lake: Lake) -> Soundings:
    """Read the casts of the sample: thrown from the bank, into its weedy margin."""
    crs = lake.water.crs
    assert crs is not None
    files = {"pings": SAMPLE / "pings.csv", "pegs": SAMPLE / "pegs.csv"}
    log = read_casts(SAMPLE / "casts.csv", **files, crs=crs.to_string())
    return clean(place_casts(log, lake.water), lake.water)


def test_casts_tell_of_the_bed_near_them_and_of_no_more(lake: Lake, casts: Soundings) -> None:
    table = plant_table(lake.bed, plant_readings(casts, empty="bare"), interval=1.0)
    row = whole(table)
    away = KDTree(casts.kept.coordinates).query(lake.places)[0]
    near = away <= 15.0
    true = 100 * (lake.height[near] > 0).mean()
    assert row["looked_area_m2"] == pytest.approx(25.0 * near.sum(), rel=0.03)
    # 24 casts, each a few degrees off: a couple of per cent of the bed near them
    assert row["looked_cover_percent"] == pytest.approx(true, abs=2.0)
    everywhere = 25.0 * (lake.height > 0).sum()
    assert row["plant_area_low_m2"] < everywhere < row["plant_area_high_m2"]
    (told,) = [note for note in table.notes if note.startswith("somebody looked for plants on")]
    assert isinstance(told, Caution)


def test_mapped_beds_of_the_sample_cover_what_is_grown_over(lake: Lake) -> None:
    plants = read_vectors(SAMPLE / "plants.gpkg")
    row = whole(plant_table(lake.bed, plants, interval=1.0))
    # the outlines hold gaps; their cover is told to 5 %, so that the whole is good to a twelfth
    true = 100 * (lake.height > 0).mean()
    assert row["cover_percent"] == pytest.approx(true, rel=0.08)
    assert row["plant_area_m2"] > 1.5 * 25.0 * (lake.height > 0).sum()
    assert "looked_area_m2" not in row


def test_what_dwells_on_plants_makes_no_more_of_them() -> None:
    plants = read(10.0, deepest=5.0)
    grown = plants.frame[plants.frame["cover_percent"] > 0]
    dwelt = replace(plants, frame=pd.concat([plants.frame, *[grown] * 9], ignore_index=True))
    once, often = (whole(plant_table(pyramid(), given)) for given in (plants, dwelt))
    for name in ("looked_area_m2", "looked_cover_percent"):
        # 16 nearest readings are fewer places where each is told ten times
        assert often[name] == pytest.approx(once[name], rel=0.2)
    assert often["looked_area_m2"] == once["looked_area_m2"]


def test_plants_read_where_they_stand_alone_warn_that_cover_is_not_known(casts: Soundings) -> None:
    (told,) = plant_readings(casts).notes
    assert isinstance(told, Caution)
    assert "cover is that of places with plants" in told
    assert not plant_readings(casts, empty="bare").notes


def test_plants_of_another_water_are_no_bare_bed_without_a_word() -> None:
    there, away = mapped(50.0, 0.5), mapped(50.0, 0.5)
    away = replace(away, frame=away.frame.set_geometry(away.frame.translate(50_000, 0)))
    told = "no plants mapped lie in this water: see whether they and their CRS are right"
    assert told in plant_table(pyramid(), away).notes
    assert told not in plant_table(pyramid(), there).notes


@pytest.mark.parametrize(("cover", "told"), [(0.7, True), (70.0, False)])
def test_cover_that_looks_like_a_share_is_told(cover: float, told: bool) -> None:
    notes = plant_table(pyramid(), mapped(cover, 0.5)).notes
    assert ("the densest plants cover 0.7 %: cover must be per cent, not a share" in notes) == told
