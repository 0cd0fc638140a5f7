"""GPX for handhelds: what was written is what other programs and our own reader find."""

import json
import shutil
import subprocess
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from pathlib import Path

import geopandas
import gpxpy
import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError, OutputError
from toolbox.formats.gpx import read_gpx
from toolbox.formats.gpx_file import write_gpx
from toolbox.layers import Vectors

UTM = 32633
SPACE = "{http://www.topografix.com/GPX/1/1}"
PLACES = np.array([(500_000.0, 5_200_000.0), (500_040.0, 5_200_010.0), (500_020.0, 5_200_090.0)])
HOSTILE = "<script>alert('&')</script>\"\n\x00\x1b]\u202e]]>\U0001f3a3" + "x" * 300
ORDER = ("ele", "time", "name", "cmt", "desc", "type", "extensions")
"""Of the elements of a point that are written, as the schema has them (GPX 1.1; from memory)."""


def layer(shapes: list[shapely.Geometry], name: str, **columns: object) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=UTM), name)


def marks(words: str = "From peg P1 cast 39 m.") -> Vectors:
    return layer(
        list(shapely.points(PLACES)),
        "marks",
        mark=[1, 2, 3],
        kind=["hole", "gully", words],
        depth_m=[6.71, 1.24, 3.0],
        sentence=[words] * 3,
    )


def course() -> Vectors:
    legs = [
        shapely.LineString(PLACES[:2]),
        shapely.LineString([PLACES[1], PLACES[0] + 7, PLACES[2]]),
    ]
    return layer(legs, "boat_course", leg=[1, 2])


@pytest.fixture
def written(tmp_path: Path) -> Path:
    path = tmp_path / "handheld.gpx"
    planned = layer([shapely.LineString(PLACES[:2])], "next_soundings", order=[1], peg=["P1"])
    outline = layer([shapely.Polygon(PLACES)], "features", kind=["hump"], feature=[4])
    made = datetime(2026, 5, 12, 11, tzinfo=UTC)
    write_gpx(path, marks(), planned, outline, course=course(), title="Figment Mere", time=made)
    return path


def seen_by_ogr(path: Path, kind: str, folder: Path) -> list[dict[str, object]]:
    out = folder / f"{kind}.json"
    subprocess.run(
        ["ogr2ogr", "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=9", str(out), str(path), kind],
        check=True,
        capture_output=True,
    )
    return list(json.loads(out.read_text(encoding="utf-8"))["features"])


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="ogr2ogr is not installed")
def test_gdal_reads_waypoints_in_their_order(written: Path, tmp_path: Path) -> None:
    found = seen_by_ogr(written, "waypoints", tmp_path)
    told = [feature["properties"] for feature in found]
    assert [each["name"] for each in told] == ["1 6.7 m", "2 1.2 m", "3 3.0 m"]
    assert [each["desc"] for each in told] == ["From peg P1 cast 39 m."] * 3
    assert told[0]["type"] == "hole"
    back = pyproj.Transformer.from_crs(4326, UTM, always_xy=True)
    degrees = [feature["geometry"]["coordinates"][:2] for feature in found]
    assert np.array([back.transform(*place) for place in degrees]) == pytest.approx(
        PLACES, abs=0.02
    )


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="ogr2ogr is not installed")
def test_gdal_reads_the_course_as_one_route_and_outlines_as_tracks(
    written: Path, tmp_path: Path
) -> None:
    planned, boat = seen_by_ogr(written, "routes", tmp_path)
    assert planned["properties"]["name"] == "S1"
    assert len(planned["geometry"]["coordinates"]) == 2
    assert boat["properties"]["name"] == "boat course"
    assert len(boat["geometry"]["coordinates"]) == 4  # where legs meet is told once
    (track,) = seen_by_ogr(written, "tracks", tmp_path)
    assert track["properties"]["name"] == "hump 4"
    assert len(track["geometry"]["coordinates"][0]) == 4


def test_gpxpy_reads_the_same(written: Path) -> None:
    read = gpxpy.parse(written.read_text(encoding="utf-8"))
    assert (read.version, read.creator, read.name) == ("1.1", "Leadline", "Figment Mere")
    assert read.time == datetime(2026, 5, 12, 11, tzinfo=UTC)
    assert [point.name for point in read.waypoints] == ["1 6.7 m", "2 1.2 m", "3 3.0 m"]
    assert [point.name for point in read.routes[1].points] == ["1", "2", "2.1", "end"]
    assert (len(read.routes), len(read.tracks)) == (2, 1)


def test_our_own_reader_finds_the_depths(written: Path) -> None:
    assert read_gpx(written).depth.tolist() == [6.71, 1.24, 3.0]


def test_elements_stand_in_the_order_of_the_schema(written: Path) -> None:
    root = ET.parse(written).getroot()
    assert root.tag == f"{SPACE}gpx"
    assert [child.tag.removeprefix(SPACE) for child in root] == [
        "metadata", *["wpt"] * 3, *["rte"] * 2, "trk",
    ]  # fmt: skip
    parts = [child.tag.removeprefix(SPACE) for child in root[0]]
    assert parts == ["name", "desc", "time", "bounds"]
    for point in root.iter(f"{SPACE}wpt"):
        names = [child.tag.removeprefix(SPACE) for child in point]
        assert names == [name for name in ORDER if name in names]
        assert set(point.attrib) == {"lat", "lon"}


def test_hostile_text_is_harmless_and_readable(tmp_path: Path) -> None:
    write_gpx(tmp_path / "a.gpx", marks(HOSTILE), title=HOSTILE)
    text = (tmp_path / "a.gpx").read_text(encoding="utf-8")
    assert "<script" not in text
    assert all(char.isprintable() or char == "\n" for char in text)
    root = ET.fromstring(text)
    name = root.findtext(f"{SPACE}metadata/{SPACE}name")
    assert name is not None
    assert name.startswith("\u2039script\u203aalert('&')\u2039/script\u203a\" ")
    assert "\U0001f3a3" in name
    assert len(name) == 200
    assert len(root.findall(f"{SPACE}wpt")) == 3


def test_the_same_input_gives_the_same_bytes(written: Path, tmp_path: Path) -> None:
    for name in "ab":
        write_gpx(tmp_path / name, marks(), course=course())
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_what_is_there_stays(written: Path) -> None:
    before = written.read_bytes()
    with pytest.raises(OutputError, match=r"handheld\.gpx exists already"):
        write_gpx(written, marks())
    assert written.read_bytes() == before
    write_gpx(written, marks(), overwrite=True)
    assert written.read_bytes() != before


def test_nothing_to_write_is_told(tmp_path: Path) -> None:
    empty = Vectors(marks().frame[:0], "marks")
    with pytest.raises(LayerError, match=r"at least one feature with a place, got none$"):
        write_gpx(tmp_path / "a.gpx", empty)
    assert list(tmp_path.iterdir()) == []
