"""KML and KMZ: valid, where it should lie, read by others, and harmless whatever was typed."""

import csv
import functools
import io
import shutil
import subprocess
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
import xmlschema
from affine import Affine
from PIL import Image

from toolbox.errors import LayerError, OutputError
from toolbox.formats.kml import write_kml, write_kmz
from toolbox.layers import Grid, Vectors

SCHEMAS = Path(__file__).resolve().parents[2].parent / "shared" / "schemas"
UTM = pyproj.CRS.from_epsg(32633)
CORNER = np.array([700_000.0, 6_800_000.0])  # well off the middle of its zone
DEEP = CORNER + np.array([250, 130])
SPACE = "{http://www.opengis.net/kml/2.2}"
HOSTILE = "<script>alert('&')</script>\"\n\x00\x1b]\u202e]]>\U0001f3a3" + "x" * 300
WATER = shapely.box(*CORNER, *CORNER + 100).difference(shapely.box(*CORNER + 40, *CORNER + 60))


def depth() -> Grid:
    """Make water 1 m deep with land to its west, and four cells round one place that are deep."""
    values = np.full((100, 120), 1.0)
    values[:, :20] = np.nan
    values[73:75, 49:51] = 9.0
    return Grid(values, Affine(5, 0, CORNER[0], 0, -5, CORNER[1] + 500), UTM, "depth", "m")


def isobaths() -> Vectors:
    lines = [shapely.LineString(CORNER + np.array([(0, 0), (50, 20), (90, 90)])) for _ in range(2)]
    columns = {"depth_m": [1.0, 2.5], "index_line": [False, True]}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=lines, crs=UTM), "isobaths")


def marks(words: str = "From peg P1 cast 39 m.") -> Vectors:
    columns = {"mark": [1, 2], "depth_m": [6.71, 1.24], "sentence": [words] * 2}
    places = shapely.points([CORNER + 10, DEEP])
    return Vectors(geopandas.GeoDataFrame(columns, geometry=list(places), crs=UTM), "marks")


def areas() -> Vectors:
    columns = {"kind": ["plateau", "bar"], "feature": [1, 2]}
    shapes = [WATER, shapely.MultiPolygon([WATER, shapely.box(*CORNER + 200, *CORNER + 210)])]
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=UTM), "features")


@pytest.fixture
def written(tmp_path: Path) -> Path:
    path = tmp_path / "water.kmz"
    write_kmz(path, isobaths(), areas(), marks(), depth=depth(), title="Figment Mere")
    return path


def document(path: Path) -> ET.Element:
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        assert archive.namelist()[0] == "doc.kml"  # the first is what viewers open
        return ET.fromstring(archive.read("doc.kml"))


def picture(path: Path) -> np.ndarray:
    with (
        zipfile.ZipFile(path) as archive,
        Image.open(io.BytesIO(archive.read("files/depth.png"))) as read,
    ):
        return np.asarray(read)


def box(root: ET.Element) -> tuple[float, ...]:
    found = root.find(f"{SPACE}Document/{SPACE}GroundOverlay/{SPACE}LatLonBox")
    assert found is not None
    return tuple(
        float(found.findtext(f"{SPACE}{side}", "")) for side in ("west", "south", "east", "north")
    )


def test_the_deep_place_lies_where_it_is_on_earth(written: Path) -> None:
    west, south, east, north = box(document(written))
    seen = picture(written).astype(float)
    dark = seen[..., :3].sum(axis=2) < 200
    opaque = seen[..., 3] == 255
    row, col = (places.mean() + 0.5 for places in np.nonzero(dark & opaque))
    found = (
        west + (east - west) * col / seen.shape[1],
        north - (north - south) * row / seen.shape[0],
    )
    # pyproj (PROJ); distance on the ellipsoid by GeographicLib
    wanted = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True).transform(*DEEP)
    assert pyproj.Geod(ellps="WGS84").inv(*found, *wanted)[2] < 1.0  # of cells of 5 m
    # four pixels to a cell: between the centres of the four cells it is dark, beyond them not
    assert 16 <= (dark & opaque).sum() <= 64


def test_land_is_transparent(written: Path) -> None:
    seen = picture(written)
    assert set(np.unique(seen[..., 3])) == {0, 255}
    left = seen[:, : seen.shape[1] // 100, 3]
    # trimmed to the water: only what the turning of the grid leaves empty
    assert 0 < (left == 0).mean() < 1


def test_what_it_says_of_each_feature(written: Path) -> None:
    root = document(written)
    assert root.findtext(f"{SPACE}Document/{SPACE}name") == "Figment Mere"
    assert "Not for navigation" in root.findtext(f"{SPACE}Document/{SPACE}description", "")
    folders = root.findall(f"{SPACE}Document/{SPACE}Folder")
    assert [folder.findtext(f"{SPACE}name") for folder in folders] == [
        "isobaths", "features", "marks",
    ]  # fmt: skip
    names = [place.findtext(f"{SPACE}name") for place in root.iter(f"{SPACE}Placemark")]
    assert names == ["1 m", "2.5 m", "plateau 1", "bar 2", "1 6.7 m", "2 1.2 m"]
    told = [place.findtext(f"{SPACE}description") for place in root.iter(f"{SPACE}Placemark")]
    assert told[-1] == "From peg P1 cast 39 m."


def test_every_style_and_picture_that_is_named_is_there(written: Path) -> None:
    root = document(written)
    styles = {f"#{style.get('id')}" for style in root.iter(f"{SPACE}Style")}
    used = {url.text for url in root.iter(f"{SPACE}styleUrl")}
    assert used == styles
    with zipfile.ZipFile(written) as archive:
        files = set(archive.namelist())
    assert {link.text for link in root.iter(f"{SPACE}href")} == files - {"doc.kml"}


def local(address: str) -> str:
    """Return where a published schema lies on this machine."""
    found = sorted(SCHEMAS.rglob(address.rsplit("/", 1)[-1]))
    return found[0].as_uri() if address.startswith("http") and found else address


@functools.cache
def schema() -> Any:
    if not SCHEMAS.is_dir():
        pytest.skip("../shared/schemas is not there")
    file = SCHEMAS / "ogc" / "kml" / "2.2.0" / "ogckml22.xsd"
    return xmlschema.XMLSchema(str(file), uri_mapper=local, allow="local")


def faults(content: bytes) -> list[str]:
    """Check against the published schema (OGC 07-147r2, ogckml22.xsd)."""
    return [f"{fault.path}: {fault.reason}" for fault in schema().iter_errors(content.decode())]


def test_it_is_valid(written: Path) -> None:
    with zipfile.ZipFile(written) as archive:
        assert faults(archive.read("doc.kml")) == []


def libkml() -> bool:
    if shutil.which("ogr2ogr") is None:
        return False
    done = subprocess.run(["ogrinfo", "--formats"], capture_output=True, text=True, check=True)
    return "LIBKML" in done.stdout


@pytest.mark.skipif(not libkml(), reason="no ogr2ogr that reads KMZ is installed")
def test_gdal_reads_the_same_places(written: Path, tmp_path: Path) -> None:
    for layer, count in (("isobaths", 2), ("features", 2), ("marks", 2)):
        out = tmp_path / f"{layer}.csv"
        command = ["ogr2ogr", "-f", "CSV", "-lco", "GEOMETRY=AS_WKT", str(out), str(written), layer]
        subprocess.run(command, check=True, capture_output=True)
        with out.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert len(rows) == count
        read = geopandas.GeoSeries.from_wkt([row["WKT"] for row in rows], crs=4326).to_crs(UTM)
        first = {"isobaths": isobaths, "features": areas, "marks": marks}[layer]().frame.geometry
        far = [a.hausdorff_distance(b) for a, b in zip(shapely.force_2d(read), first, strict=True)]
        assert max(far) < 0.02
        for shape, was in zip(read, first, strict=True):
            assert shape.area == pytest.approx(was.area, rel=1e-3)


def test_outer_rings_run_counter_clockwise(tmp_path: Path) -> None:
    turned = areas().frame.assign(geometry=areas().frame.geometry.reverse())
    write_kml(tmp_path / "a.kml", Vectors(turned, "features"))
    root = ET.parse(tmp_path / "a.kml").getroot()
    for kind, sign in (("outerBoundaryIs", 1), ("innerBoundaryIs", -1)):
        rings = list(root.iter(f"{SPACE}{kind}"))
        assert rings
        for ring in rings:
            text = ring.findtext(f".//{SPACE}coordinates", "")
            places = np.array([place.split(",") for place in text.split()], float)
            assert np.sign(shapely.LinearRing(places).is_ccw - 0.5) == sign


def test_hostile_text_is_harmless_and_readable(tmp_path: Path) -> None:
    path = tmp_path / "a.kmz"
    write_kmz(path, marks(HOSTILE), Vectors(areas().frame, HOSTILE), depth=depth(), title=HOSTILE)
    with zipfile.ZipFile(path) as archive:
        content = archive.read("doc.kml")
    text = content.decode()
    assert "<script" not in text
    assert "&lt;" not in text  # a viewer that shows descriptions as web pages finds no tag either
    assert all(char.isprintable() or char == "\n" for char in text)
    name = document(path).findtext(f"{SPACE}Document/{SPACE}name", "")
    assert name.startswith("\u2039script\u203aalert('&')\u2039/script\u203a\" ")
    assert "\U0001f3a3" in name


def test_hostile_text_is_valid_too(tmp_path: Path) -> None:
    write_kml(tmp_path / "a.kml", Vectors(marks(HOSTILE).frame, HOSTILE), title=HOSTILE)
    assert faults((tmp_path / "a.kml").read_bytes()) == []


def test_the_schema_finds_what_is_out_of_order(written: Path) -> None:
    root = document(written)
    overlay = root.find(f"{SPACE}Document/{SPACE}GroundOverlay")
    assert overlay is not None
    overlay[:] = overlay[::-1]
    assert faults(ET.tostring(root)) != []


def test_the_same_input_gives_the_same_bytes(written: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.kmz"
    write_kmz(again, isobaths(), areas(), marks(), depth=depth(), title="Figment Mere")
    assert again.read_bytes() == written.read_bytes()


def test_a_large_grid_is_scaled_down(tmp_path: Path) -> None:
    wide = Grid(np.ones((20, 3000)), Affine(2, 0, *CORNER[:1], 0, -2, CORNER[1]), UTM, "depth", "m")
    write_kmz(tmp_path / "a.kmz", depth=wide)
    assert max(picture(tmp_path / "a.kmz").shape[:2]) == 2048


def test_what_is_there_stays(written: Path) -> None:
    before = written.read_bytes()
    with pytest.raises(OutputError, match=r"water\.kmz exists already"):
        write_kmz(written, marks())
    with pytest.raises(OutputError, match=r"water\.kmz exists already"):
        write_kml(written, marks())
    assert written.read_bytes() == before


def test_nothing_to_write_and_planes_are_told(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"at least one feature with a place, got none$"):
        write_kmz(tmp_path / "a.kmz", Vectors(marks().frame[:0], "marks"))
    plane = Vectors(marks().frame.set_crs(None, allow_override=True), "marks")
    with pytest.raises(LayerError, match=r"^marks must be tied to the earth"):
        write_kml(tmp_path / "a.kml", plane)
    assert list(tmp_path.iterdir()) == []
