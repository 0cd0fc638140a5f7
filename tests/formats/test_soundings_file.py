"""Soundings come in as they were taken, whatever the file, its units, signs and coordinates."""

from collections.abc import Callable
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolbox.errors import InputFileError, LayerError, ParameterError
from toolbox.formats.doors import write
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.times import TAKEN_AS_UTC
from toolbox.layers import Soundings

UTM = "EPSG:32633"
PLACE = np.array([(500_020.25, 5_200_020.5), (500_050.0, 5_200_050.0), (500_080.0, 5_200_030.75)])
DEPTH = np.array([3.25, 4.0, 5.5])
VECTORS = ("gpkg", "shp", "geojson", "fgb", "parquet")

Unit = str


def put(folder: Path, text: str) -> Path:
    path = folder / "soundings.csv"
    path.write_text(text, encoding="utf-8")
    return path


def figures(folder: Path, name: str, values: np.ndarray = DEPTH) -> Path:
    """Write the three points with some column of values."""
    rows = [f"{x},{y},{value!r}" for (x, y), value in zip(PLACE, values.tolist(), strict=True)]
    return put(folder, "\n".join([f"easting,northing,{name}", *rows]) + "\n")


def points(crs: str = UTM) -> geopandas.GeoDataFrame:
    frame = geopandas.GeoDataFrame(
        {"depth": DEPTH, "line": ["7", "7", "8"], "peg": [1, 2, 3]},
        geometry=shapely.points(PLACE),
        crs=UTM,
    )
    return frame.to_crs(crs)


def save(frame: geopandas.GeoDataFrame, path: Path) -> Path:
    if path.suffix == ".parquet":
        frame.to_parquet(path)
    else:
        frame.to_file(path)
    return path


# ---- units ----

FACTORS = {
    # NIST Handbook 44, appendix C (from memory): the foot is 0.3048 m exactly, the fathom six feet
    "m": 1.0,
    "cm": 0.01,
    "ft": 0.3048,
    "fathom": 1.8288,
    # NIST and NOAA 2020, Federal Register 85 FR 62698 (2020-21902): 1200/3937 m exactly
    "survey_foot": 1200 / 3937,
}


@pytest.mark.parametrize(("unit", "factor"), FACTORS.items())
def test_depths_are_converted_exactly(unit: Unit, factor: float, tmp_path: Path) -> None:
    path = figures(tmp_path, "depth", np.array([1.0, 10.0, 1000.0]))
    read = read_soundings(path, crs=UTM, unit=unit)  # type: ignore[arg-type]
    assert read.depth == pytest.approx(np.array([1, 10, 1000]) * factor, rel=4e-16, abs=0)


@pytest.mark.parametrize(
    ("name", "factor"),
    [("depth_m", 1.0), ("depth_ft", 0.3048), ("Depth (feet)", 0.3048), ("depth_fm", 1.8288)],
)
def test_unit_in_the_name_of_a_column_holds_and_is_told(
    name: str, factor: float, tmp_path: Path
) -> None:
    read = read_soundings(figures(tmp_path, name), crs=UTM)
    assert read.depth == pytest.approx(DEPTH * factor, rel=4e-16, abs=0)
    assert any(repr(name) in note and "as its name says" in note for note in read.notes)


def test_unit_that_is_named_overrules_the_column(tmp_path: Path) -> None:
    read = read_soundings(figures(tmp_path, "depth_ft"), crs=UTM, unit="fathom")
    assert read.depth == pytest.approx(DEPTH * 1.8288, rel=4e-16, abs=0)
    assert read.notes == ()


# ---- signs ----


def test_depths_that_grow_upwards_are_turned(tmp_path: Path) -> None:
    read = read_soundings(figures(tmp_path, "depth", -DEPTH), crs=UTM, positive="up")
    assert read.depth.tolist() == DEPTH.tolist()


def test_elevations_become_depths_below_the_datum(tmp_path: Path) -> None:
    """Bed 97.10 m under a datum of 100.80 m lies 3.70 m deep (derived)."""
    path = figures(tmp_path, "elevation", np.array([97.10, 100.80, 101.0]))
    read = read_soundings(path, crs=UTM, datum=100.80)
    assert read.depth == pytest.approx([3.70, 0.0, -0.2], abs=1e-12)


def test_elevations_in_feet_refer_to_a_datum_in_metres(tmp_path: Path) -> None:
    path = figures(tmp_path, "elev_ft", np.array([300.0, 310.0, 320.0]))
    read = read_soundings(path, crs=UTM, datum=100.0)
    assert read.depth == pytest.approx([100 - 91.44, 100 - 94.488, 100 - 97.536], abs=1e-12)


def test_a_column_of_any_name_can_be_named(tmp_path: Path) -> None:
    path = figures(tmp_path, "z")
    assert read_soundings(path, crs=UTM, depth="z").depth.tolist() == DEPTH.tolist()
    deep = read_soundings(path, crs=UTM, elevation="z", datum=10.0)
    assert deep.depth.tolist() == (10 - DEPTH).tolist()


def test_a_depth_is_preferred_to_an_elevation(tmp_path: Path) -> None:
    path = put(tmp_path, "x,y,elevation,depth\n500020,5200020,97,3\n500021,5200020,96,4\n")
    assert read_soundings(path, crs=UTM).depth.tolist() == [3, 4]


def test_two_columns_of_depths_are_not_chosen_between_in_silence(tmp_path: Path) -> None:
    path = put(tmp_path, "x,y,depth,depth\n500020,5200020,97,3\n500021,5200020,96,4\n")
    with pytest.raises(InputFileError, match=r"depth.*(twice|several|two)"):
        read_soundings(path, crs=UTM)


def test_some_depths_above_the_water_are_no_error(tmp_path: Path) -> None:
    read = read_soundings(figures(tmp_path, "depth", np.array([3.0, 4.0, -0.2])), crs=UTM)
    assert read.depth.tolist() == [3.0, 4.0, -0.2]


def test_infinite_datum_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match="datum must be finite m, got inf"):
        read_soundings(figures(tmp_path, "elevation"), crs=UTM, datum=np.inf)


# ---- coordinates ----


@pytest.mark.parametrize(
    ("longitude", "latitude", "zone"),
    [
        (15.2, 47.3, 32633),
        (-93.4, 46.9, 32615),
        (-70.0, -15.9, 32719),
        (176.3, -38.1, 32760),
        (-179.5, 66.0, 32601),
        (100.0, 85.0, 32661),  # Universal Polar Stereographic north
        (-60.0, -82.0, 32761),  # and south
    ],
)
def test_degrees_are_projected_to_the_zone_they_lie_in(
    longitude: float, latitude: float, zone: int, tmp_path: Path
) -> None:
    """Zones count from 180 W in steps of 6 degrees (derived); places are checked with pyproj."""
    place = np.array([(longitude, latitude), (longitude + 0.01, latitude + 0.004)])
    rows = [f"{lat!r},{lon!r},3" for lon, lat in place.tolist()]
    read = read_soundings(put(tmp_path, "lat,lon,depth\n" + "\n".join(rows)))
    assert read.crs == pyproj.CRS.from_epsg(zone)
    to_map = pyproj.Transformer.from_crs(4326, zone, always_xy=True)
    wanted = np.column_stack(to_map.transform(*place.T))
    assert read.coordinates == pytest.approx(wanted, abs=1e-6)
    assert "longitude and latitude taken as WGS 84" in read.notes


@pytest.mark.parametrize(
    ("crs", "place", "zone"),
    [
        ("EPSG:4258", (9.2, 47.6), 25832),  # ETRS89
        ("EPSG:4269", (-93.4, 46.9), 26915),  # NAD83
    ],
)
def test_degrees_on_another_datum_stay_on_it(
    crs: str, place: tuple[float, float], zone: int, tmp_path: Path
) -> None:
    rows = f"longitude,latitude,depth\n{place[0]},{place[1]},3\n{place[0]},{place[1] + 0.01},4\n"
    read = read_soundings(put(tmp_path, rows), crs=crs)
    assert read.crs == pyproj.CRS.from_epsg(zone)


def test_feet_of_a_state_plane_are_not_taken_for_metres(tmp_path: Path) -> None:
    """EPSG:2264 counts US survey feet: distances are checked on the ellipsoid with pyproj."""
    feet = np.array([(1_500_000.0, 600_000.0), (1_503_937.0, 600_000.0), (1_500_000.0, 603_937.0)])
    rows = [f"{x},{y},10" for x, y in feet]
    read = read_soundings(put(tmp_path, "x,y,depth\n" + "\n".join(rows)), crs="EPSG:2264")
    assert read.depth.tolist() == [10, 10, 10]  # feet on the map say nothing about depths
    assert [axis.unit_name for axis in read.crs.axis_info] == ["metre", "metre"]

    def distances(place: np.ndarray, crs: object) -> list[float]:
        geodetic = pyproj.CRS.from_user_input(crs).geodetic_crs
        to_degrees = pyproj.Transformer.from_crs(crs, geodetic, always_xy=True)
        lon, lat = to_degrees.transform(*place.T)
        geod = pyproj.CRS.from_user_input(crs).get_geod()
        return [geod.inv(lon[0], lat[0], lon[k], lat[k])[2] for k in (1, 2)]

    assert distances(read.coordinates, read.crs) == pytest.approx(distances(feet, 2264), abs=1e-4)
    # 3937 US survey feet are 1200 m; the scale of the state plane is within 1:10,000 of one
    apart = np.hypot(*(read.coordinates[1:] - read.coordinates[0]).T)
    assert apart == pytest.approx([1200, 1200], rel=6e-4)


def test_text_without_header_is_easting_northing_and_the_column_named(tmp_path: Path) -> None:
    path = put(tmp_path, "500020.25 5200020.5 3.25\n500050 5200050 4\n")
    read = read_soundings(path, crs=UTM, depth="3")
    assert read.coordinates.tolist() == PLACE[:2].tolist()
    assert read.depth.tolist() == [3.25, 4.0]


def test_columns_of_coordinates_can_be_named(tmp_path: Path) -> None:
    path = put(tmp_path, "right,up,depth\n500020.25,5200020.5,3.25\n500050,5200050,4\n")
    read = read_soundings(path, crs=UTM, easting="right", northing="up")
    assert read.coordinates.tolist() == PLACE[:2].tolist()


def test_a_height_system_in_the_crs_does_no_harm(tmp_path: Path) -> None:
    read = read_soundings(figures(tmp_path, "depth"), crs="EPSG:25832+7837")
    assert read.crs == pyproj.CRS.from_epsg(25832)


@pytest.mark.parametrize("crs", ["EPSG:5703", "EPSG:4978"], ids=["heights", "geocentric"])
def test_a_crs_that_is_no_map_is_refused(crs: str, tmp_path: Path) -> None:
    with pytest.raises((LayerError, InputFileError, ParameterError), match="projected CRS"):
        read_soundings(figures(tmp_path, "depth"), crs=crs)


# ---- vector files ----


@pytest.mark.parametrize("suffix", VECTORS)
def test_every_vector_format_gives_the_same_soundings(suffix: str, tmp_path: Path) -> None:
    crs = "EPSG:4326" if suffix == "geojson" else UTM
    read = read_soundings(save(points(crs), tmp_path / f"soundings.{suffix}"))
    assert read.crs == pyproj.CRS.from_user_input(UTM)
    order = np.argsort(read.depth)  # a FlatGeobuf file keeps its features in an order of its own
    # GeoJSON keeps seven decimals of a degree: about a centimetre
    tolerance = 0.01 if suffix == "geojson" else 1e-9
    assert read.coordinates[order] == pytest.approx(PLACE, abs=tolerance)
    assert read.depth[order].tolist() == DEPTH.tolist()
    assert read.frame["line"].to_numpy()[order].tolist() == ["7", "7", "8"]
    assert read.flag.tolist() == [False] * 3


def test_the_third_coordinate_can_be_the_depth(tmp_path: Path) -> None:
    solid = points().set_geometry(shapely.points(np.column_stack([PLACE, DEPTH])), crs=UTM)
    path = save(solid.drop(columns="depth"), tmp_path / "soundings.gpkg")
    assert read_soundings(path, depth="Z").depth.tolist() == DEPTH.tolist()
    deep = read_soundings(path, elevation="Z", datum=10.0)
    assert deep.depth.tolist() == (10 - DEPTH).tolist()


def test_a_third_coordinate_that_is_missing_is_told(tmp_path: Path) -> None:
    path = save(points(), tmp_path / "soundings.gpkg")
    with pytest.raises(InputFileError, match="no third coordinate"):
        read_soundings(path, depth="Z")


def test_features_can_be_chosen(tmp_path: Path) -> None:
    path = save(points(), tmp_path / "soundings.gpkg")
    assert read_soundings(path, where="line = '8'").depth.tolist() == [5.5]


@pytest.mark.parametrize(("option", "value"), [("where", "line = '8'"), ("layer", "soundings")])
def test_options_of_vector_files_are_refused_for_text(
    option: str, value: str, tmp_path: Path
) -> None:
    with pytest.raises(ParameterError, match=option):
        read_soundings(figures(tmp_path, "depth"), crs=UTM, **{option: value})  # type: ignore[arg-type]


def test_a_feature_without_shape_keeps_its_row(tmp_path: Path) -> None:
    frame = points()
    frame.loc[1, "geometry"] = None
    read = read_soundings(save(frame, tmp_path / "soundings.gpkg"))
    assert read.frame["reason"].tolist() == ["", "no position", ""]
    assert read.depth.tolist() == DEPTH.tolist()


# ---- what else a sounding carries ----


def test_times_are_read_in_utc_and_the_unreadable_told(tmp_path: Path) -> None:
    path = put(
        tmp_path,
        "x,y,depth,time\n500020,5200020,3,2026-05-12T13:00:00+02:00\n"
        "500021,5200020,3,2026-05-12T11:00:01Z\n500022,5200020,3,yesterday\n",
    )
    read = read_soundings(path, crs=UTM)
    times = pd.to_datetime(read.frame["time"], utc=True)
    wanted = pd.to_datetime(["2026-05-12T11:00:00Z", "2026-05-12T11:00:01Z"])
    assert times.tolist()[:2] == wanted.tolist()
    assert pd.isna(times[2])
    assert any("1 times" in note and "'time'" in note for note in read.notes)


def test_times_of_the_clock_on_the_wall_are_read_by_their_zone(tmp_path: Path) -> None:
    rows = ["2026-05-12 13:00:00", "2026-05-12T11:00:00Z", "2026-10-25 02:30:00"]
    text = "x,y,depth,time\n" + "".join(f"500020,5200020,3,{row}\n" for row in rows)
    read = read_soundings(put(tmp_path, text), crs=UTM, timezone="Europe/Berlin")
    times = pd.to_datetime(read.frame["time"], utc=True)
    # two hours ahead of UTC in May; 02:30 comes twice in that night of October (IANA time zone
    # database, from memory)
    assert times.tolist()[:2] == [pd.Timestamp("2026-05-12T11:00Z")] * 2
    assert read.notes[-1] == (
        "1 times in column 'time' are not ISO 8601 or do not come once in Europe/Berlin and were "
        "left empty"
    )
    assert TAKEN_AS_UTC not in read.notes
    assert TAKEN_AS_UTC in read_soundings(tmp_path / "soundings.csv", crs=UTM).notes
    with pytest.raises(ParameterError, match=r"^timezone must be the name of a zone, .*'Moon'$"):
        read_soundings(tmp_path / "soundings.csv", crs=UTM, timezone="Moon")


def test_times_that_were_never_noted_are_not_called_unreadable(tmp_path: Path) -> None:
    text = "x,y,depth,time\n500020,5200020,3,\n500050,5200050,4,2026-05-12T13:00:00Z\n"
    read = read_soundings(put(tmp_path, text), crs=UTM)
    save(read.frame, tmp_path / "taken.gpkg")
    for soundings in (read, read_soundings(tmp_path / "taken.gpkg")):
        assert pd.isna(soundings.frame["time"]).sum() == 1
        assert not any("ISO 8601" in note for note in soundings.notes)


def test_lines_are_text(tmp_path: Path) -> None:
    path = put(tmp_path, "x,y,depth,track\n500020,5200020,3,7\n500021,5200020,4,12\n")
    assert read_soundings(path, crs=UTM).frame["line"].tolist() == ["7", "12"]


# ---- what is missing stays, with a reason ----


def rejected(crs: str = UTM) -> Soundings:
    """Make soundings of every fate: kept, without depth, without place, outside, spiked."""
    place = np.array([*PLACE, (np.nan, np.nan), (400_000.5, 5_200_000.125), (500_030, 5_200_020)])
    depth = np.array([3.25, np.nan, 5.5, 2.0, 1.75, 99.0])
    soundings = Soundings.from_arrays(
        place,
        depth,
        crs=pyproj.CRS.from_user_input(crs),
        line=np.array(["7", "7", "8", "", "9", "9"]),
        source=np.array(["track"] * 4 + ["plummet", "cast"]),
        sd=np.array([0.1, 0.1, np.nan, 0.2, 0.3, 0.4]),
    )
    outside = np.array([False, False, False, False, True, False])
    spike = np.array([False, False, False, False, False, True])
    return soundings.reject(outside, "outside the water").reject(spike, "spike, 99 m")


@pytest.mark.parametrize("suffix", ["gpkg", "csv", "fgb", "parquet", "shp", "geojson"])
def test_rejected_soundings_keep_row_and_reason_in_files(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"soundings.{suffix}"
    first = rejected()
    write(first, path)
    again = read_soundings(path, crs=UTM if suffix == "csv" else None)
    assert len(again) == len(first) == 6
    assert again.flag.tolist() == [False, True, False, True, True, True]
    for name in ("reason", "line", "source"):
        assert again.frame[name].fillna("").tolist() == first.frame[name].tolist(), name
    assert again.depth == pytest.approx(first.depth, nan_ok=True, abs=0)
    assert again.frame["sd"].to_numpy(float) == pytest.approx(
        first.frame["sd"].to_numpy(float), nan_ok=True, abs=0
    )
    tolerance = {"csv": 1e-3, "geojson": 0.02}.get(suffix, 0)
    assert again.coordinates == pytest.approx(first.coordinates, nan_ok=True, abs=tolerance)
    assert again.rejections() == first.rejections()


def test_a_flag_without_reason_gets_one(tmp_path: Path) -> None:
    path = put(tmp_path, "x,y,depth,flag\n500020,5200020,3,1\n500021,5200020,4,0\n")
    assert read_soundings(path, crs=UTM).frame["reason"].tolist() == ["flagged in the file", ""]


number = st.floats(0.001, 900, allow_subnormal=False).map(lambda value: round(value, 3))
row = st.tuples(
    st.none() | number.map(lambda value: 500_000 + value),
    st.none() | number.map(lambda value: 5_200_000 + value),
    st.none() | number,
    st.none() | st.sampled_from(["7", "8", "tie"]),
)


@given(
    rows=st.lists(row, min_size=1, max_size=12).filter(
        lambda rows: any(None not in row[:2] for row in rows)
    ),
    empty=st.sampled_from(["", "NA", "nan", "-"]),
    mark=st.sampled_from([",", ";", "\t", "|"]),
)
@settings(
    max_examples=80,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_as_many_soundings_come_in_as_there_are_rows(
    rows: list[tuple[float | None, float | None, float | None, str | None]],
    empty: str,
    mark: str,
    tmp_path: Path,
) -> None:
    cells = [[empty if cell is None else str(cell) for cell in row] for row in rows]
    text = "\n".join(mark.join(row) for row in [["easting", "northing", "depth", "line"], *cells])
    read = read_soundings(put(tmp_path, text + "\n"), crs=UTM)
    said = [row for row in rows if empty or any(cell is not None for cell in row)]
    assert len(read) == len(said)
    reasons = [
        "no position" if None in row[:2] else "no depth" if row[2] is None else "" for row in said
    ]
    assert read.frame["reason"].tolist() == reasons
    assert read.flag.tolist() == [reason != "" for reason in reasons]
    depths = [np.nan if row[2] is None else row[2] for row in said]
    assert read.depth == pytest.approx(np.array(depths), nan_ok=True, abs=0)
    placed = np.array([None not in row[:2] for row in said])
    wanted = np.array([row[:2] for row in said if None not in row[:2]], float)
    assert read.coordinates[placed].tolist() == wanted.tolist()


@pytest.mark.parametrize("reader", [read_soundings], ids=["soundings"])
def test_every_option_is_keyword_only(reader: Callable[..., Soundings], tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="positional argument"):
        reader(figures(tmp_path, "depth"), UTM)
