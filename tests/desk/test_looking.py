"""What the desk understands of files, in this process and without a browser."""

import json
import tomllib
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyarrow
import pytest
import shapely
import xlsxwriter
from pyarrow import parquet

from toolbox.desk.doubts import Raw, depth_doubts
from toolbox.desk.drafting import draft
from toolbox.desk.looking import look
from toolbox.desk.seen import Seen
from toolbox.desk.sniffing import sniff
from toolbox.formats.shoreline_file import read_shoreline
from toolbox.layers.crs import parse_crs
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import read_inputs
from toolbox.survey.settings import load_settings

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"


def seen(folder: Path, **answers: str) -> Seen:
    names = sorted(p.name for p in folder.iterdir() if p.name != "survey.toml")
    given = {key.replace("__", "/").replace("_csv", ".csv"): v for key, v in answers.items()}
    return look(folder, names, given, watch=lambda stage: None)


def doubts(found: Seen) -> list[str]:
    return [doubt.text for doubt in found.doubts]


def faults(found: Seen) -> dict[str, str]:
    fields = [f for file in found.files for f in (*file.fields, file.role)] + list(found.fields)
    return {field.key: field.fault for field in fields if field.fault}


@pytest.fixture
def folder(pond: Any, tmp_path: Path) -> Path:
    """Make a folder with the shoreline of the pond."""
    (tmp_path / "shore.geojson").write_bytes(pond.shoreline.read_bytes())
    return tmp_path


def write(folder: Path, header: str, *columns: np.ndarray) -> None:
    rows = np.column_stack(columns)
    np.savetxt(folder / "pond.csv", rows, "%.7f", ",", header=header, comments="")


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("boat_points.csv", "soundings"),
        ("plummet.csv", "soundings"),
        ("track.nmea", "log"),
        ("casts.csv", "casts"),
        ("pings.csv", "pings"),
        ("pegs.csv", "pegs"),
        ("water_level.csv", "record"),
        ("shoreline.gpkg", "shoreline"),
        ("profile.csv", "named"),
        ("species.toml", "named"),
        ("points.toml", "survey"),
    ],
)
def test_what_the_samples_files_hold_is_found_out(name: str, role: str) -> None:
    found = sniff(SAMPLE / name)
    assert (found.role, found.fault) == (role, "")


def test_the_sample_without_a_survey_file_needs_one_answer(tmp_path: Path) -> None:
    for name in ("shoreline.gpkg", "boat_points.csv", "plummet.csv"):
        (tmp_path / name).write_bytes((SAMPLE / name).read_bytes())
    before = seen(tmp_path)
    assert not before.ready
    assert list(faults(before)) == ["plummet.csv/crs"]
    ((_, answers),) = before.doubts[0].ways
    assert answers == {"plummet.csv/crs": "EPSG:32625"}
    after = look(tmp_path, sorted(f.name for f in before.files), answers, watch=lambda stage: None)
    assert after.ready, after.wanting
    assert dict(after.facts)["Soundings"] == "2,396 read, 2,383 to be used"


def test_the_survey_file_that_is_written_is_the_one_that_was_read(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    found = seen(
        folder, name='A "mere"', level="212.4", interval="2 ft", pond_csv__crs="EPSG:32633"
    )
    assert found.ready
    settings = load_settings(folder / "survey.toml")
    assert settings.water.name == 'A "mere"'
    assert settings.datum.elevation == 212.4
    assert settings.make.isobath_interval == pytest.approx(0.6096)  # 2 ft of 0.3048 m
    assert tomllib.loads(found.survey)["soundings"] == [{"file": "pond.csv", "crs": "EPSG:32633"}]


def test_a_survey_file_that_no_longer_holds_is_taken_away(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    assert seen(folder, pond_csv__crs="EPSG:32633").survey
    assert not seen(folder).survey
    assert not (folder / "survey.toml").exists()


@pytest.mark.parametrize(
    ("answers", "key", "text"),
    [
        ({"name": ""}, "name", "key 'water.name' is missing"),
        ({"level": "high"}, "level", "must be a number in m, or a number and a unit"),
        ({"crs": "EPSG:4326"}, "crs", "must be in a projected CRS in metres"),
        ({"pond_csv__crs": "EPSG:1"}, "pond.csv/crs", "crs is unknown: 'EPSG:1'"),
        ({"cell": "-1"}, "cell", "greater than 0"),
        ({"method": "best"}, "method", "'triangulated', 'fitted' or 'auto'"),
    ],
)
def test_a_wrong_answer_is_told_beside_its_field(
    folder: Path, pond: Any, answers: dict[str, str], key: str, text: str
) -> None:
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    found = seen(folder, **{"pond_csv__crs": "EPSG:32633"} | answers)
    assert not found.ready
    told = faults(found)
    assert list(told) == [key]
    assert text in told[key]
    assert "\n" not in told[key]


def test_every_wrong_answer_is_told_beside_its_field(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    found = seen(folder, level="high", cell="-1", method="best", pond_csv__crs="EPSG:1")
    told = faults(found)
    assert told.keys() == {"level", "cell", "method", "pond.csv/crs"}
    assert not any("; key" in text for text in told.values())


def test_every_file_that_cannot_be_read_is_told(folder: Path) -> None:
    for name in ("pond.csv", "mere.csv"):
        (folder / name).write_text("easting,northing,depth\n1,2,deep\n", encoding="utf-8")
    found = seen(folder, pond_csv__crs="EPSG:32633", mere_csv__crs="EPSG:32633")
    told = {key: text for key, text in faults(found).items() if "/" in key} | {
        file.name: file.fault for file in found.files if file.fault
    }
    for name in ("pond.csv", "mere.csv"):
        (text,) = {text for key, text in told.items() if key.startswith(name)}
        assert text.count(".csv") == 1
        assert text.startswith(name)


def test_depths_below_zero_have_two_ways_out(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,depth", *pond.places.T, -pond.depth)
    found = seen(folder, pond_csv__crs="EPSG:32633")
    assert "most depths in column 'depth' are negative" in faults(found)["pond.csv/meaning"]
    assert [answers for _, answers in found.doubts[0].ways] == [
        {"pond.csv/meaning": "up"},
        {"pond.csv/meaning": "elevation"},
    ]
    assert found.chart["points"][2::3] == [-1] * len(pond.depth)  # drawn, of no depth yet
    assert seen(folder, pond_csv__crs="EPSG:32633", pond_csv__meaning="up").ready


def test_elevations_give_the_same_depths(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,height", *pond.places.T, 212.4 - pond.depth)
    answers = {"pond_csv__crs": "EPSG:32633", "level": "212.4"}
    before = seen(folder, **answers)
    assert "no column that is plainly the depth" in faults(before)["pond.csv/depth"]
    after = seen(folder, pond_csv__depth="height", pond_csv__meaning="elevation", **answers)
    assert after.ready, after.wanting
    assert (after.chart["low"], after.chart["high"]) == pytest.approx(
        (pond.depth.min(), pond.depth.max()), abs=0.001
    )


def test_levels_of_a_record_are_offered_where_they_can_be_looked_up(
    folder: Path, pond: Any
) -> None:
    def asked(found: Seen) -> list[str]:
        fields = [field for file in found.files for field in file.fields]
        return [field.value for field in fields if field.key == "pond.csv/by_record"]

    places = zip(pond.places, pond.depth, strict=True)
    rows = [f"{x:.3f},{y:.3f},{z:.3f},2026-05-12T10:00:00Z" for (x, y), z in places]
    text = "\n".join(["easting,northing,depth,time", *rows])
    (folder / "pond.csv").write_text(text, encoding="utf-8")
    answers = {"pond_csv__crs": "EPSG:32633", "level": "212.4"}
    assert asked(seen(folder, **answers)) == []  # there is no record
    levels = "time,level_m\n2026-05-12T00:00:00Z,211.9\n2026-05-13T00:00:00Z,211.9\n"
    (folder / "levels.csv").write_text(levels, encoding="utf-8")
    before = seen(folder, **answers)
    assert asked(before) == [""]
    after = seen(folder, **answers, pond_csv__by_record="true")
    assert asked(after) == ["true"]
    assert after.ready, after.wanting
    given = tomllib.loads(after.survey)["soundings"][0]
    assert given["by_record"] is True
    # derived: read on water half a metre below the datum
    assert after.chart["high"] - before.chart["high"] == pytest.approx(0.5, abs=0.002)
    without = seen(folder, **answers, pond_csv__by_record="")
    assert "by_record" not in tomllib.loads(without.survey)["soundings"][0]
    both = seen(folder, **answers, pond_csv__by_record="true", pond_csv__water_level="211.9")
    assert "give water_level or by_record, not both" in faults(both)["pond.csv/by_record"]
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    assert asked(seen(folder, **answers)) == []  # no times


def test_no_water_is_doubted_that_is_in_order(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,depth_ft", *pond.places.T, pond.depth / 0.3048)
    found = seen(folder, pond_csv__crs="EPSG:32633")
    assert doubts(found) == []
    assert found.notes == ("pond.csv: column 'depth_ft' read in ft, as its name says",)


def test_soundings_of_another_water_are_doubted_without_a_way_out(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,depth", *(pond.places + 9000).T, pond.depth)
    found = seen(folder, pond_csv__crs="EPSG:32633")
    assert doubts(found) == [
        "pond.csv: none of the soundings lie in the water. Are shoreline and soundings of one "
        "water, and is the CRS right?"
    ]
    assert found.doubts[0].ways == ()
    assert not found.ready


def test_without_a_shoreline_the_soundings_are_drawn_all_the_same(folder: Path, pond: Any) -> None:
    (folder / "shore.geojson").unlink()
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    found = seen(folder, pond_csv__crs="EPSG:32633")
    assert found.wanting == (
        "The shoreline is missing: polygons of the water, or a line or track right round it.",
    )
    assert found.chart["rings"] == []
    shares = (pond.depth - pond.depth.min()) / np.ptp(pond.depth)  # derived
    assert found.chart["points"][2::3] == pytest.approx(1000 * shares, abs=0.5)


def test_two_shorelines_are_one_too_many(folder: Path, pond: Any) -> None:
    (folder / "wood.geojson").write_bytes(pond.shoreline.read_bytes())
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    found = seen(folder, pond_csv__crs="EPSG:32633")
    assert found.wanting[0].startswith("Two files are shorelines, shore.geojson and wood.geojson")
    answers = {"pond.csv/crs": "EPSG:32633", "wood.geojson/role": "none"}
    assert look(folder, [f.name for f in found.files], answers, watch=lambda stage: None).ready


def test_a_survey_file_is_read_with_its_files_beside_it(tmp_path: Path) -> None:
    text = (SAMPLE / "points.toml").read_text(encoding="utf-8")
    text = text.replace('"boat_points.csv"', '"../../far/away/boat_points.csv"')
    (tmp_path / "points.toml").write_text(text, encoding="utf-8")
    found = draft([sniff(tmp_path / "points.toml")], {})
    assert found.survey["soundings"][0]["file"] == "boat_points.csv"
    assert found.wanting == [
        f"The survey file names {name}: give that file too."
        for name in ("shoreline.gpkg", "boat_points.csv", "plummet.csv")
    ]


@pytest.mark.parametrize(
    ("name", "data", "text"),
    [
        ("a.csv", b"", "a.csv is empty"),
        ("a.csv", b"\x00\x01\x02", "a.csv is not a text file (it holds NUL bytes)"),
        ("a.gpkg", b"no database", "a.gpkg cannot be read as a "),
        ("a.parquet", b"PAR1", "a.parquet cannot be read as GeoParquet"),
        ("a.toml", b"x = ", "a.toml is not a TOML file"),
        ("a.shp", b"x" * 100, "a.shp cannot be read as a "),
    ],
)
def test_a_file_that_cannot_be_read_gets_one_line(
    tmp_path: Path, name: str, data: bytes, text: str
) -> None:
    (tmp_path / name).write_bytes(data)
    (found,) = seen(tmp_path).files
    assert found.fault.startswith(text)
    assert "\n" not in found.fault
    assert str(tmp_path) not in found.fault


def test_the_map_keeps_its_shape(folder: Path, pond: Any) -> None:
    write(folder, "easting,northing,depth", *pond.places.T, pond.depth)
    chart = seen(folder, pond_csv__crs="EPSG:32633", crs="EPSG:32633").chart
    width, height = chart["size"]
    ring = np.array(chart["rings"][0]).reshape(-1, 2)
    drawn = shapely.Polygon(ring * chart["metres"] / width)
    rim = np.array([(0, 0), (60, -6), (96, 20), (88, 60), (40, 72), (-8, 44)])
    assert drawn.area == pytest.approx(shapely.Polygon(rim).area, rel=0.005)
    assert ring.min() == 0
    assert ring.max(axis=0).tolist() == [width, height]


@pytest.mark.parametrize(
    "told",
    [
        [1],
        {"primary_column": "geometry", "columns": []},
        {"primary_column": "geometry", "columns": {"geometry": {"crs": {"type": "nonsense"}}}},
    ],
)
def test_what_a_parquet_file_says_wrongly_of_itself_is_a_fault_of_that_file(
    told: Any, folder: Path
) -> None:
    frame = geopandas.GeoDataFrame({"depth": [1.0]}, geometry=[shapely.Point(0, 0)], crs=32633)
    table = pyarrow.table(frame.to_arrow()).replace_schema_metadata({"geo": json.dumps(told)})
    parquet.write_table(table, folder / "a.parquet")
    assert "a.parquet cannot be read as GeoParquet: " in sniff(folder / "a.parquet").fault
    assert not seen(folder).ready


def test_a_parquet_file_that_names_no_crs_is_in_degrees_and_one_that_knows_none_is_asked(
    folder: Path,
) -> None:
    # OGC (2023), GeoParquet 1.0.0, column metadata: a missing key stands for OGC:CRS84
    frame = geopandas.GeoDataFrame({"depth": [1.0]}, geometry=[shapely.Point(0, 0)], crs=32633)
    for name, more, crs in (("a", {}, "OGC:CRS84"), ("b", {"crs": None}, "")):
        shape = {"encoding": "WKB", "geometry_types": ["Point"], **more}
        told = {"version": "1.0.0", "primary_column": "geometry", "columns": {"geometry": shape}}
        table = pyarrow.table(frame.to_arrow()).replace_schema_metadata({"geo": json.dumps(told)})
        parquet.write_table(table, folder / f"{name}.parquet")
        assert sniff(folder / f"{name}.parquet").crs == crs


def test_negative_depths_are_doubted_as_feet_too(pond: Any) -> None:
    places, values = np.zeros((100, 2)), np.linspace(0.1, 300, 100)
    shore = read_shoreline(pond.shoreline, into="EPSG:32633")
    told = []
    for sign, source in ((1, {}), (-1, {"positive": "up"})):
        raw = Raw("e", "n", "depth", places, sign * values)
        (doubt,) = depth_doubts("a.csv", source, raw, shore)
        told.append(doubt.text.split("file: ")[1])
    assert told[0] == told[1]
    assert "a relative depth of" in told[0]


def test_a_walk_round_the_water_is_taken_for_its_shoreline(tmp_path: Path) -> None:
    point = '<trkpt lat="50" lon="{0}">{1}</trkpt>'
    track = "<gpx><trk><trkseg>{}</trkseg></trk></gpx>"
    walk = "".join(point.format(lon, "") for lon in range(4))
    (tmp_path / "walk.gpx").write_text(track.format(walk), encoding="utf-8")
    found = sniff(tmp_path / "walk.gpx")
    assert found.role == "shoreline"
    assert found.facts == ("a path of 4 places without depths: the way round the water?",)
    deep = point.format(1, "<depth>2</depth>")
    (tmp_path / "deep.gpx").write_text(track.format(deep), encoding="utf-8")
    assert sniff(tmp_path / "deep.gpx").role == "soundings"
    kml = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><LineString>'
    kml += "<coordinates>1,1 2,1 2,2</coordinates></LineString></Placemark></Document></kml>"
    (tmp_path / "walk.kml").write_text(kml, encoding="utf-8")
    assert sniff(tmp_path / "walk.kml").role == "shoreline"


def test_text_of_a_spreadsheet_on_windows_is_looked_at(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"Rechtswert;Hochwert;Tiefe in m;G\xfcte\n1,5;2,5;3;4\n")
    found = sniff(tmp_path / "a.csv")
    assert (found.role, found.fault, found.columns[-1]) == ("soundings", "", "G\u00fcte")


def test_a_workbook_is_looked_at_as_text_is(folder: Path, pond: Any) -> None:
    rows = np.column_stack([pond.places, pond.depth]).tolist()
    with xlsxwriter.Workbook(folder / "pond.xlsx") as book:
        for name, head in (("2026", "depth"), ("2025", "level")):
            sheet = book.add_worksheet(name)
            for number, row in enumerate([["easting", "northing", head], *rows]):
                sheet.write_row(number, 0, row)
        book.add_worksheet("empty")
    found = sniff(folder / "pond.xlsx")
    assert (found.role, found.kind, found.layers) == ("soundings", "text", ("2026", "2025"))
    assert found.facts == ("sheet '2026'",)
    assert found.rows[0] == ("501003", "5201003", f"{pond.depth[0]:g}")
    names = ["pond.xlsx", "shore.geojson"]
    answers = {"pond.xlsx/crs": "EPSG:32633"}
    told = look(folder, names, answers, watch=lambda stage: None)
    assert told.ready
    assert f"{len(rows)} rows" in told.files[0].facts
    assert "sheet '2026' was read, of 2 that hold something" in " ".join(told.notes)
    other = look(folder, names, answers | {"pond.xlsx/layer": "2025"}, watch=lambda stage: None)
    assert not other.ready
    assert layers_of(other) == ["2025"]


def layers_of(found: Seen) -> list[str]:
    return [field.value for file in found.files for field in file.fields if "layer" in field.key]


def test_a_workbook_that_is_none_is_told(folder: Path) -> None:
    (folder / "pond.xlsx").write_bytes(b"PK")
    assert sniff(folder / "pond.xlsx").fault.startswith("pond.xlsx cannot be read as a workbook: ")


# ---- casts typed as peg, bearing and distance ----

PEGS = np.array([(501_010.0, 5_201_004.0), (501_080.0, 5_201_022.0), (501_040.0, 5_201_066.0)])


def pins(shapes: str = "") -> str:
    degrees = geopandas.GeoSeries(shapely.points(PEGS), crs=32633).to_crs(4326)
    place = "<Placemark><name>P{0}</name><Point><coordinates>{1},{2}</coordinates></Point>"
    marks = "".join(
        place.format(k, p.x, p.y) + "</Placemark>" for k, p in enumerate(degrees, start=1)
    )
    head = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
    return f"{head}{shapes}{marks}</Document></kml>"


@pytest.fixture
def by_peg(folder: Path) -> Path:
    """Add casts in feet by compass, whose needle points 3.5 degrees east of north."""
    rows = [
        f"P{peg},{(bearing - 3.5) % 360:g},{metres / 0.3048:.4f},{metres / 10 / 0.3048:.4f}"
        for peg, bearing in ((1, 20), (2, 300), (3, 160))
        for metres in (10, 20, 30)
    ]
    text = "\n".join(["Peg,Bearing (compass),Distance (ft),Depth (ft)", *rows])
    (folder / "casts.csv").write_text(text + "\n", encoding="utf-8")
    return folder


def values(found: Seen, name: str) -> dict[str, str]:
    (file,) = (file for file in found.files if file.name == name)
    return {field.key.partition("/")[2]: field.value for field in file.fields}


def test_casts_without_pegs_ask_for_them_and_doubt_nothing_else(by_peg: Path) -> None:
    found = seen(by_peg)
    assert [text.partition(":")[0] for text in found.wanting] == [
        "casts.csv tells places from pegs",
        "casts.csv",
    ]
    assert "pins of a KML file" in found.wanting[0]
    assert "magnetic declination" in found.wanting[1]
    assert found.doubts == ()
    assert faults(found) == {}
    assert not any(file.fault for file in found.files)
    assert "crs" not in values(found, "casts.csv")
    assert "pegs" not in values(found, "casts.csv")


@pytest.mark.parametrize("name", ["pegs.csv", "pegs.kml", "shore.kml"])
def test_pegs_are_a_table_or_the_pins_of_a_globe_viewer(name: str, by_peg: Path) -> None:
    answers = {"casts_csv__declination": "3.5 E"}
    if name == "pegs.csv":
        rows = "".join(f"P{k},{x},{y}\n" for k, (x, y) in enumerate(PEGS, start=1))
        (by_peg / name).write_text("name,easting,northing\n" + rows, encoding="utf-8")
        before = seen(by_peg, **answers)
        assert "names no CRS" in faults(before)["casts.csv/crs"]
        answers["casts_csv__crs"] = "EPSG:32633"
    elif name == "pegs.kml":
        (by_peg / name).write_text(pins(), encoding="utf-8")
        assert sniff(by_peg / name).facts == ("3 pins: pegs?",)
    else:
        outline = geopandas.read_file(by_peg / "shore.geojson").geometry[0].exterior.coords
        ring = " ".join(f"{x},{y}" for x, y in outline)
        line = f"<Placemark><LineString><coordinates>{ring}</coordinates></LineString></Placemark>"
        (by_peg / "shore.geojson").unlink()
        (by_peg / name).write_text(pins(line), encoding="utf-8")
        assert sniff(by_peg / name).facts == ("3 pins and 1 line",)
    found = seen(by_peg, **answers)
    assert found.ready, (found.wanting, faults(found))
    source = tomllib.loads(found.survey)["soundings"][0]
    assert (source["pegs"], source["declination"]) == (name, 3.5)
    assert values(found, "casts.csv")["pegs"] == name
    assert doubts(found) == []
    # derived: ten metres out, true bearing 20 degrees; the grid's north is within 0.02 degrees
    first = PEGS[0] + 10 * np.array([np.sin(np.radians(20)), np.cos(np.radians(20))])
    settings = load_settings(by_peg / "survey.toml")
    inputs = read_inputs(settings, Lineage(settings))
    utm = inputs.soundings.to_crs(parse_crs("EPSG:32633"))
    np.testing.assert_allclose(utm.coordinates[0], first, atol=0.05)
    assert inputs.soundings.depth[0] == pytest.approx(1.0, abs=1e-4)


def test_of_several_files_of_pegs_one_is_chosen(by_peg: Path) -> None:
    for name in ("one.kml", "two.kml"):
        (by_peg / name).write_text(pins(), encoding="utf-8")
    before = seen(by_peg, casts_csv__declination="3.5")
    assert before.wanting == (
        "casts.csv: choose in part 3 which file tells where its pegs are, one.kml or two.kml.",
    )
    after = seen(by_peg, casts_csv__declination="3.5", casts_csv__pegs="two.kml")
    assert after.ready
    assert tomllib.loads(after.survey)["soundings"][0]["pegs"] == "two.kml"


@pytest.mark.parametrize(
    ("old", "new", "key", "text"),
    [
        ("P3,", "P9,", "casts.csv/pegs", "no such peg 'P9', only P1, P2, P3"),
        ("", "", "casts.csv/declination", "must be degrees east, west negative"),
    ],
)
def test_what_is_wrong_with_pegs_and_declination_is_told_beside_them(
    old: str, new: str, key: str, text: str, by_peg: Path
) -> None:
    (by_peg / "pegs.kml").write_text(pins(), encoding="utf-8")
    casts = (by_peg / "casts.csv").read_text(encoding="utf-8").replace(old, new)
    (by_peg / "casts.csv").write_text(casts, encoding="utf-8")
    found = seen(by_peg, casts_csv__declination="3.5" if old else "somewhat")
    told = faults(found)
    assert list(told) == [key]
    assert text in told[key]
    assert found.wanting == ()


def test_pegs_of_another_water_are_doubted_as_pegs(by_peg: Path) -> None:
    far = "".join(f"P{k},{x + 9000},{y}\n" for k, (x, y) in enumerate(PEGS, start=1))
    (by_peg / "pegs.csv").write_text("name,easting,northing\n" + far, encoding="utf-8")
    found = seen(by_peg, casts_csv__declination="0", casts_csv__crs="EPSG:32633")
    assert doubts(found) == [
        "casts.csv: none of the soundings lie in the water. Are shoreline and pegs of one water, "
        "and bearings and distances right?"
    ]


# ---- the record of levels, and times of the clock on the wall ----


def test_a_gauge_sheet_is_understood_by_answers(folder: Path, pond: Any) -> None:
    rows = [
        f"{x:.3f},{y:.3f},{z:.3f},2026-07-01 14:00"
        for (x, y), z in zip(pond.places, pond.depth, strict=True)
    ]
    text = "\n".join(["easting,northing,depth,time", *rows])
    (folder / "pond.csv").write_text(text, encoding="utf-8")
    answers = {"pond_csv__crs": "EPSG:32633", "level": "212.4"}
    assert "timezone" not in values(seen(folder, **answers), "pond.csv")
    gauge = "Date,Time,Pegel (cm)\n01.07.2026,12:00,40\n01.07.2026,16:00,440\n"
    (folder / "gauge.csv").write_text(gauge, encoding="utf-8")
    before = seen(folder, **answers)
    assert values(before, "gauge.csv") == {"timezone": "", "date_format": "", "gauge_zero": ""}
    assert "name date_format" in faults(before)["gauge.csv/date_format"]
    answers |= {"gauge_csv__date_format": "%d.%m.%Y", "gauge_csv__gauge_zero": "210 m"}
    plain = seen(folder, **answers)
    assert plain.ready
    assert doubts(plain) == []  # no level is looked up yet
    answers["pond_csv__by_record"] = "true"
    told = seen(folder, **answers)
    assert [text.partition(":")[0] for text in doubts(told)] == ["gauge.csv", "pond.csv"]
    assert all("Give their zone in part 3" in text for text in doubts(told))
    answers |= {"gauge_csv__timezone": "Europe/Berlin", "pond_csv__timezone": "UTC"}
    after = seen(folder, **answers)
    assert doubts(after) == []
    # derived: 14 h UTC is 16 h in Berlin, when the water stood 2 m above the datum
    assert after.chart["high"] - plain.chart["high"] == pytest.approx(-2.0, abs=0.002)
    made = tomllib.loads(after.survey)
    assert made["datum"]["timezone"] == "Europe/Berlin"
    wrong = faults(seen(folder, **answers | {"gauge_csv__timezone": "Moon"}))
    assert "must be the name of a zone" in wrong["gauge.csv/timezone"]


def test_rows_that_were_exchanged_are_doubted(folder: Path, pond: Any) -> None:
    places = geopandas.GeoSeries(shapely.points(pond.places), crs=32633).to_crs(4326)
    degrees = places.get_coordinates().to_numpy().copy()
    degrees[[3, 8]] = degrees[[3, 8], ::-1]
    write(folder, "longitude,latitude,depth", *degrees.T, pond.depth)
    found = seen(folder)
    (text,) = doubts(found)
    assert text.startswith("pond.csv: 2 of 2 soundings outside the water would lie in it with long")
    assert "the first in line 5" in text
