"""The invented lake is what its README says, and its files are what its scripts write."""

import json
import re
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import sample_scripts
import shapely
from geopandas.testing import assert_geodataframe_equal

FOLDER = Path(__file__).resolve().parents[1] / "sample_layers"
TEXT_FILES = [
    "boat_points.csv",
    "track.nmea",
    "casts.csv",
    "pings.csv",
    "pegs.csv",
    "pegs.geojson",
    "plummet.csv",
    "water_level.csv",
    "profile.csv",
    "secchi.csv",
    "echoes.csv",
    "echo_pings.csv",
]
LAYERS = ["shoreline.gpkg", "plants.gpkg"]


make = sample_scripts.load("make")
survey, lake = make.survey, make.lake
FEATURES = {feature.kind: feature for feature in lake.features()}


@pytest.fixture(scope="module")
def remade(tmp_path_factory):
    folder = tmp_path_factory.mktemp("remade")
    make.make(folder)
    return folder


@pytest.fixture(scope="module")
def boat():
    return survey.simulated_boat()


@pytest.fixture(scope="module")
def sentences():
    return (FOLDER / "track.nmea").read_bytes().decode("ascii").split("\r\n")[:-1]


def depth_around(feature, radius):
    """Return the depth on a ring around a feature."""
    angle = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    return lake.bed_depth(
        feature.easting + radius * np.cos(angle), feature.northing + radius * np.sin(angle)
    )


def checksum(sentence):
    """Return the checksum of a sentence as computed and as printed."""
    body, printed = sentence[1:].split("*")
    return f"{np.bitwise_xor.reduce(np.frombuffer(body.encode(), np.uint8)):02X}", printed


# ---- the shore ----


def test_shoreline_is_one_valid_polygon_with_two_islands():
    shore = gpd.read_file(FOLDER / "shoreline.gpkg", layer="shoreline")
    assert shore.crs == "EPSG:32625"
    assert shore.level_m.tolist() == [212.40]
    (polygon,) = shore.geometry
    assert polygon.is_valid
    assert polygon.geom_type == "Polygon"
    assert len(polygon.interiors) == 2
    assert polygon.equals(lake.shoreline())
    assert 15e4 < polygon.area < 25e4


def test_shoreline_vertices_are_evenly_spaced():
    corners = shapely.get_coordinates(lake.shoreline().exterior)
    spacing = np.hypot(*np.diff(corners, axis=0).T)
    assert spacing.min() > 5
    assert spacing.max() < 8


# ---- the bed ----


def test_bed_is_exactly_zero_at_every_vertex_of_the_shoreline():
    assert not lake.bed_depth(*shapely.get_coordinates(lake.shoreline()).T).any()


def test_bed_is_zero_along_the_shoreline_and_ashore():
    along = shapely.get_coordinates(shapely.segmentize(lake.shoreline().boundary, 1.0))
    np.testing.assert_allclose(lake.bed_depth(*along.T), 0, atol=1e-9)
    islands = [FEATURES["large island"], FEATURES["small island"]]
    assert [island.depth for island in islands] == [0, 0]
    assert not lake.bed_depth([0.0, np.nan], [0.0, np.nan]).any()


def test_bed_is_positive_inside():
    easting, northing = lake._cell_centres(lake.shoreline(), 5.0)
    inside = shapely.contains_xy(lake.shoreline(), easting, northing)
    assert (lake.bed_depth(easting[inside], northing[inside]) > 0).all()


def test_bed_keeps_the_shape_it_is_given_and_does_not_depend_on_company():
    easting, northing = np.meshgrid(lake.ORIGIN[0] + np.arange(30), lake.ORIGIN[1] + np.arange(20))
    depth = lake.bed_depth(easting, northing)
    assert depth.shape == (20, 30)
    assert depth[7, 11] == pytest.approx(
        float(lake.bed_depth(easting[7, 11], northing[7, 11])), abs=1e-12
    )


def test_bed_has_no_steps():
    places = np.column_stack([np.linspace(-380, 290, 6000), np.linspace(30, -20, 6000)])
    depth = lake.bed_depth(*(places + lake.ORIGIN).T)
    assert np.abs(np.diff(depth)).max() < 0.08


def test_sides_slope_between_one_in_three_and_one_in_sixteen():
    ring = shapely.segmentize(lake.shoreline().buffer(-6).exterior, 5)
    places = shapely.get_coordinates(ring).T
    slope = lake.bed_depth(*places) / lake.shore_distance(*places)
    assert (slope > 1 / 16).all()
    assert (slope < 1 / 3).all()


# ---- its features ----


def test_hole_is_the_greatest_depth():
    hole, deepest = FEATURES["hole"], lake.truth(cell_size=5.0).max_depth
    assert 11 < deepest < 13
    assert hole.depth == pytest.approx(deepest, abs=0.1)
    assert (depth_around(hole, 40) < hole.depth - 0.5).all()


def test_hump_rises_out_of_the_basin():
    hump = FEATURES["hump"]
    assert 2.5 < hump.depth < 3
    assert (depth_around(hump, 15) > hump.depth + 0.5).all()
    assert (depth_around(hump, 45) > 6).all()


def test_shelf_ends_in_a_drop_off():
    edge = FEATURES["drop-off"]
    northing = edge.northing + np.arange(-14.0, 36.0, 0.5)
    depth = lake.bed_depth(np.full(northing.shape, edge.easting), northing)
    assert 1 < FEATURES["shelf"].depth < 1.5
    assert depth[northing > edge.northing + 10].max() < 1.6
    assert depth[northing < edge.northing - 8].min() > 6
    assert np.gradient(depth, northing).min() < -0.4


def test_shelf_is_25_to_40_metres_wide():
    easting = FEATURES["shelf"].easting
    northing = np.arange(lake.ORIGIN[1] + 120, lake.ORIGIN[1] + 230, 0.25)
    depth = lake.bed_depth(np.full(northing.shape, easting), northing)
    assert 25 <= 0.25 * ((depth > 0) & (depth < 1.5)).sum() <= 40


def test_gully_is_deeper_than_the_bed_beside_it():
    gully = lake.gully_line()
    middle = np.array([gully.interpolate(along).coords[0] for along in np.arange(80, 200, 10)])
    ahead = np.array([gully.interpolate(along).coords[0] for along in np.arange(81, 201, 10)])
    aside = 20 * (ahead - middle)[:, ::-1] * (1, -1)
    beside = (lake.bed_depth(*(middle + aside).T) + lake.bed_depth(*(middle - aside).T)) / 2
    assert (lake.bed_depth(*middle.T) - beside > 0.8).all()


def test_bays_are_shallow_and_the_neck_is_a_sill():
    assert 1 < FEATURES["weedy bay"].depth < 2.5
    assert FEATURES["neck"].depth < 2 < FEATURES["arm"].depth


# ---- the figures ----


def test_readme_states_the_truth():
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    figures = dict(re.findall(r"^\| ([a-z ,]+) \| ([\d.]+) m", readme, flags=re.MULTILINE))
    truth = lake.truth(cell_size=4.0)
    assert truth.area == pytest.approx(float(figures["area"]), abs=0.5)
    assert truth.volume == pytest.approx(float(figures["volume"]), abs=25)
    assert truth.max_depth == pytest.approx(float(figures["greatest depth"]), abs=1e-3)
    assert truth.mean_depth == pytest.approx(float(figures["mean depth"]), abs=1e-3)
    assert truth.shore_length == pytest.approx(2939.7, abs=0.05)
    for feature in FEATURES.values():
        row = f"| {feature.kind} | {feature.easting:.0f} | {feature.northing:.0f} |"
        assert feature.depth == 0 or f"{row} {feature.depth:.2f} |" in readme


def test_volume_converges():
    coarse, fine = lake.truth(cell_size=8.0), lake.truth(cell_size=4.0)
    assert coarse.volume == pytest.approx(fine.volume, rel=3e-4)


# ---- the files ----


@pytest.mark.parametrize("name", TEXT_FILES)
def test_text_files_are_remade_byte_for_byte(remade, name):
    assert (remade / name).read_bytes() == (FOLDER / name).read_bytes()


@pytest.mark.parametrize("name", LAYERS)
def test_layers_are_remade(remade, name):
    # the bytes of a GeoPackage name the SQLite version that wrote it, so the content is compared
    assert_geodataframe_equal(gpd.read_file(remade / name), gpd.read_file(FOLDER / name))


@pytest.mark.parametrize("name", LAYERS)
def test_two_runs_write_the_same_layer_bytes(remade, tmp_path, name):
    writer = {"shoreline.gpkg": make._write_shoreline, "plants.gpkg": make._write_plants}[name]
    writer(tmp_path / name)
    assert (tmp_path / name).read_bytes() == (remade / name).read_bytes()


def test_folder_is_small():
    assert sum(path.stat().st_size for path in FOLDER.glob("*.*")) < 3e6


def test_pegs_agree_and_stand_on_the_bank():
    pegs = pd.read_csv(FOLDER / "pegs.csv")
    collection = json.loads((FOLDER / "pegs.geojson").read_text(encoding="utf-8"))
    lonlat = [feature["geometry"]["coordinates"] for feature in collection["features"]]
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", lake.CRS, always_xy=True)
    easting, northing = to_grid.transform(*np.array(lonlat).T)
    np.testing.assert_allclose(easting, pegs.easting, atol=0.02)
    np.testing.assert_allclose(northing, pegs.northing, atol=0.02)
    assert not shapely.contains_xy(lake.shoreline(), pegs.easting, pegs.northing).any()
    assert lake.shore_distance(pegs.easting, pegs.northing).max() < 1.5


def test_plants_grow_inside_the_lake_as_the_layer_says():
    plants = gpd.read_file(FOLDER / "plants.gpkg", layer="plants")
    assert plants.crs == "EPSG:32625"
    assert plants.is_valid.all()
    assert plants.within(lake.shoreline().buffer(0.02)).all()
    for bed, row in zip(lake.plant_beds(), plants.itertuples(), strict=True):
        assert row.cover_percent == pytest.approx(100 * lake.plant_cover(bed), abs=2.5)
        assert row.height_m == pytest.approx(lake.plant_stand(bed), abs=0.05)


def test_plants_never_stand_out_of_the_water():
    easting, northing = lake._cell_centres(lake.shoreline(), 5.0)
    height = lake.plant_height(easting, northing)
    assert (height >= 0).all()
    assert (height <= lake.bed_depth(easting, northing)).all()


def test_water_stood_below_the_datum_on_the_survey_days():
    record = pd.read_csv(FOLDER / "water_level.csv", parse_dates=["time"], index_col="time")
    assert len(record) == 21
    assert record.level_m["2026-05-12":"2026-05-14"].between(212.28, 212.33).all()


def test_profile_is_layered_in_summer_and_the_depths_lose_their_oxygen():
    profile = pd.read_csv(FOLDER / "profile.csv")
    assert profile.date.nunique() == 8
    for _, day in profile[profile.date.between("2026-06", "2026-09-30")].groupby("date"):
        steepest = day.depth_m.iloc[np.diff(day.temperature_c).argmin()] + 0.5
        assert 4 <= steepest <= 6
        assert day.oxygen_mg_l.iloc[-1] < 0.5 * day.oxygen_mg_l.iloc[0]


# ---- the readings ----


def test_boat_points_agree_with_the_truth(boat):
    points = pd.read_csv(FOLDER / "boat_points.csv", parse_dates=["time"])
    sailed = boat[boat.exported].reset_index(drop=True)
    error = points.depth - lake.bed_depth(sailed.true_easting, sailed.true_northing)
    assert points.depth.isna().sum() == survey.LOST_EXPORTED
    assert abs(error.mean()) < 0.01
    assert error.std() == pytest.approx(survey.DEPTH_NOISE, rel=0.1)
    assert error.abs().max() < 0.4
    pd.testing.assert_series_equal(points.time, sailed.time, check_dtype=False)


def test_boat_points_are_where_the_boat_was(boat):
    points = pd.read_csv(FOLDER / "boat_points.csv")
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", lake.CRS, always_xy=True)
    easting, northing = to_grid.transform(points.longitude, points.latitude)
    sailed = boat[boat.exported]
    good = (sailed.kind != "ashore").to_numpy()
    assert np.std((easting - sailed.true_easting)[good]) == pytest.approx(1, abs=0.15)
    assert np.std((northing - sailed.true_northing)[good]) == pytest.approx(1, abs=0.15)
    afloat = shapely.contains_xy(lake.shoreline(), easting, northing)
    assert (~afloat).sum() == survey.ASHORE
    np.testing.assert_array_equal(afloat, good)


def test_plummet_readings_agree_with_the_truth():
    readings = pd.read_csv(FOLDER / "plummet.csv", sep=";", decimal=",")
    truth = survey.simulated_plummet()
    datum_depth = readings.depth + lake.DATUM - 212.30
    error = datum_depth - lake.bed_depth(truth.true_easting, truth.true_northing)
    assert len(readings) == 26
    assert abs(error.mean()) < 0.04
    assert error.std() < 0.09


def test_pings_agree_with_the_truth_at_their_true_places():
    casts, pings = survey.simulated_casts()
    level = casts.set_index("cast").water_level_m.loc[pings["cast"]].to_numpy()
    datum_depth = pings.depth_m + lake.DATUM - level
    error = datum_depth - lake.bed_depth(pings.true_easting, pings.true_northing)
    assert abs(error.mean()) < 0.01
    assert error.std() == pytest.approx(survey.CAST_NOISE, rel=0.1)
    assert (pings.canopy_m.dropna() <= pings.depth_m[pings.canopy_m.notna()] + 0.4).all()
    assert (pings.groupby("cast").depth_m.last() < 0.5).all()


def test_pings_agree_with_the_truth_where_the_notes_place_them():
    casts = pd.read_csv(FOLDER / "casts.csv")
    pegs = pd.read_csv(FOLDER / "pegs.csv").set_index("peg")
    notes = casts[casts.retrieve_speed_m_s.notna()].set_index("cast")
    pings = pd.read_csv(FOLDER / "pings.csv").query("cast in @notes.index")
    note = notes.loc[pings["cast"]].reset_index()
    line = note.line_out_m - survey.SLACK_LINE - note.retrieve_speed_m_s * pings.seconds.to_numpy()
    away = np.sqrt(np.maximum(line**2 - note.rod_tip_height_m**2, 0))
    step = np.array([survey._towards(bearing) for bearing in note.bearing_deg_true])
    stand = pegs.loc[note.peg]
    easting = stand.easting.to_numpy() + away * step[:, 0]
    northing = stand.northing.to_numpy() + away * step[:, 1]
    error = pings.depth_m.to_numpy() + lake.DATUM - note.water_level_m
    error -= lake.bed_depth(easting, northing)
    assert abs(error.median()) < 0.25
    assert error.abs().quantile(0.9) < 1.2


def test_bearings_are_from_true_north_and_not_from_grid_north():
    step = survey._towards(70.0)
    to_sphere = pyproj.Transformer.from_crs(lake.CRS, "EPSG:4326", always_xy=True)
    start = to_sphere.transform(*lake.ORIGIN)
    end = to_sphere.transform(*(np.array(lake.ORIGIN) + 50 * step))
    bearing, _, _ = pyproj.Geod(ellps="WGS84").inv(*start, *end)
    assert bearing == pytest.approx(70.0, abs=0.01)


# ---- the log ----


def test_log_has_right_checksums_but_for_the_garbled_sentences(sentences):
    wrong = [sentence for sentence in sentences if len(set(checksum(sentence))) == 2]
    assert len(wrong) == survey.GARBLED
    assert {sentence[3:6] for sentence in wrong} == {"RMC", "DBT"}
    assert max(map(len, sentences)) + 2 <= 82


def test_log_holds_four_sentences_a_second(sentences, boat):
    kinds = pd.Series([sentence[1:6] for sentence in sentences]).value_counts()
    assert kinds.to_dict() == dict.fromkeys(["GPGGA", "GPRMC", "SDDBT", "YXMTW"], len(boat))


def test_log_reads_below_the_transducer_on_the_level_of_the_day(sentences, boat):
    metres = pd.to_numeric([line.split(",")[3] for line in sentences if line[3:6] == "DBT"])
    good = (boat.kind == "good").to_numpy() & (metres < 20)
    truth = lake.bed_depth(boat.true_easting, boat.true_northing)
    level = survey.water_level(pd.DatetimeIndex(boat.time))
    error = (metres + survey.DRAFT + lake.DATUM - level - truth)[good]
    assert np.isnan(metres).sum() == (boat.kind == "lost").sum()
    assert (metres == 0).sum() == survey.ZERO
    assert abs(np.median(error)) < 0.01
    # all but the garbled ones, which carry a wrong checksum
    assert (np.abs(error) > 0.5).sum() <= survey.GARBLED / 2


def test_log_fields_agree_in_feet_metres_and_fathoms(sentences):
    fields = [line.split(",") for line in sentences if line[3:6] == "DBT"]
    right = [row for row in fields if len(set(checksum(",".join(row)))) == 1 and row[3]]
    feet, metres, fathoms = np.array([(row[1], row[3], row[5]) for row in right], float).T
    np.testing.assert_allclose(feet * 0.3048, metres, atol=0.007)
    np.testing.assert_allclose(fathoms * 1.8288, metres, atol=0.015)


def test_log_positions_agree_with_the_exported_points(sentences):
    points = pd.read_csv(FOLDER / "boat_points.csv", parse_dates=["time"])
    log = pd.DataFrame(
        [line.split(",")[1:5] for line in sentences if line[3:6] == "GGA"],
        columns=["clock", "latitude", "_", "longitude"],
    ).set_index("clock")
    seconds = points.time.dt.strftime("%H%M%S.00")
    latitude = log.latitude[seconds].map(lambda text: float(text[:2]) + float(text[2:]) / 60)
    longitude = log.longitude[seconds].map(lambda text: -float(text[:3]) - float(text[3:]) / 60)
    np.testing.assert_allclose(latitude, points.latitude, atol=3e-7)
    np.testing.assert_allclose(longitude, points.longitude, atol=3e-7)
