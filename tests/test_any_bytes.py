"""Any bytes give a result or one of our errors: in bounded time and memory, with nothing left over.

The harness in ``tests/fuzz`` looks for new faults; here a few damaged files of every kind are read
each time, and what was once found stays found.
"""

import json
import random
import re
import shutil
import sqlite3
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import psutil
import pyarrow
import pytest
from fuzz.mutations import MUTATIONS, mutate
from fuzz.readers import READERS, UTM, fault, lay_out, make_seeds
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from toolbox.errors import InputFileError, ParameterError, TooLargeError, ToolboxError
from toolbox.formats.geotiff import read_grid
from toolbox.formats.point_chunks import Choices, open_points
from toolbox.formats.shoreline_file import read_shoreline
from toolbox.formats.vectors_file import read_vectors
from toolbox.stocking.rates import spelled
from toolbox.units import convert

Damage = Callable[[bytes], bytes]

EXAMPLES = 12
LONGEST = 10.0
"""Seconds that any of the hostile files below may take; a hundredth of what most took once."""


@pytest.fixture(scope="module")
def seeds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_seeds(tmp_path_factory.mktemp("seeds"))


@pytest.mark.parametrize("name", READERS)
def test_the_files_to_begin_from_are_good(name: str, seeds: Path, tmp_path: Path) -> None:
    reader = READERS[name]
    lay_out(reader, seeds, tmp_path)
    content = (seeds / reader.file).read_bytes()
    assert fault(reader, content, tmp_path) is None
    reader.read(tmp_path / reader.file)


# a library tells the terminal what it makes of names that are no text, and stumbles over them
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("name", READERS)
def test_a_damaged_file_gives_a_result_or_one_of_our_errors(
    name: str, seeds: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    reader = READERS[name]
    folder = tmp_path_factory.mktemp("damaged")
    lay_out(reader, seeds, folder)
    good = (seeds / reader.file).read_bytes()

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.integers(0, 2**32))
    def damaged(seed: int) -> None:
        found = fault(reader, mutate(good, random.Random(seed)), folder)
        assert found is None, found

    damaged()


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(name=st.sampled_from(sorted(READERS)), content=st.binary(min_size=1, max_size=300))
def test_bytes_out_of_nowhere_give_one_of_our_errors(
    name: str, content: bytes, seeds: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("nowhere")
    lay_out(READERS[name], seeds, folder)
    assert fault(READERS[name], content, folder) is None


@pytest.mark.parametrize("mutation", MUTATIONS)
def test_every_mutation_changes_a_file_the_same_way_each_time(
    mutation: Callable[[bytes, random.Random], bytes],
) -> None:
    good = b"easting,northing,depth\n1,2,3\n4,5,6\n"
    found = [mutation(good, random.Random(seed)) for seed in range(20)]
    assert found == [mutation(good, random.Random(seed)) for seed in range(20)]
    assert any(content != good for content in found)


def _tags(**values: int) -> Damage:
    """Make a GeoTIFF say other sizes of itself (TIFF 6.0, 1992, section 2: entries of 12 bytes)."""
    numbers = {"width": 256, "height": 257, "rows": 278}

    def change(good: bytes) -> bytes:
        data = bytearray(good)
        place = struct.unpack_from("<I", data, 4)[0]
        for entry in range(struct.unpack_from("<H", data, place)[0]):
            at = place + 2 + 12 * entry
            for name, value in values.items():
                if struct.unpack_from("<H", data, at)[0] == numbers[name]:
                    struct.pack_into("<H", data, at + 2, 4)
                    struct.pack_into("<I", data, at + 8, value)
        return bytes(data)

    return change


def _at(place: int, form: str, *values: int) -> Damage:
    def change(good: bytes) -> bytes:
        data = bytearray(good)
        struct.pack_into(form, data, place, *values)
        return bytes(data)

    return change


def _chunk_table(good: bytes) -> bytes:
    """Make a LAZ file say that it holds four thousand million chunks."""
    (points,) = struct.unpack_from("<I", good, 96)
    (table,) = struct.unpack_from("<q", good, points)
    return _at(table + 4, "<I", 2**32 - 1)(good)


def _chunk_size(size: int) -> Damage:
    """Make a LAZ file say how many points a chunk of it has (LASzip: 12 bytes into its record)."""

    def change(good: bytes) -> bytes:
        return _at(good.index(b"laszip encoded") + 64, "<I", size)(good)

    return change


def _only(content: bytes) -> Damage:
    return lambda _: content


LAUGHS = b"".join(
    [b'<!DOCTYPE gpx [<!ENTITY a0 "aaaaaaaaaa">']
    + [b'<!ENTITY a%d "%s">' % (k, b"&a%d;" % (k - 1) * 10) for k in range(1, 10)]
    + [b"]>"]
)
SPECIES = b"[[species]]\nname = 'a'\n"
DEEP = b".".join([b"a"] * 20_000)
NESTED = b".".join([b"a"] * 3000)


def _sheet(cells: bytes, before: bytes = b"") -> bytes:
    form = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    data = b"<sheetData>%s</sheetData>" % cells
    return before + b'<worksheet xmlns="%s">%s</worksheet>' % (form, data)


def _text_cell(reference: bytes) -> bytes:
    return b'<row><c r="%s" t="str"><v>a</v></c></row>' % reference


HOSTILE: dict[str, tuple[str, Damage, str]] = {
    "raster of 10^18 cells": ("grid tif", _tags(width=10**9, height=10**9, rows=10**9), "cells"),
    "raster of 10^18 cells in blocks": (
        "grid blocks",
        _tags(width=10**9, height=10**9, rows=10**9),
        "cells|raster",
    ),
    "a virtual raster named as a GeoTIFF": (
        "grid tif",
        _only(b'<VRTDataset rasterXSize="2" rasterYSize="2"></VRTDataset>'),
        "cannot be read as a raster",
    ),
    "a command named as GeoJSON": (
        "shoreline geojson",
        _only(
            json.dumps(
                {"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read a.gpkg"}
            ).encode()
        ),
        "cannot be read",
    ),
    "JSON nested deep": ("shoreline geojson", _only(b'{"a":' * 100_000 + b"1"), "cannot be read"),
    "LAS of many records": (
        "points las",
        _at(100, "<I", 2**32 - 1),
        "counts more than it has room for",
    ),
    "LAS of many late records": (
        "points las",
        _at(235, "<QI", 300, 2**32 - 1),
        "counts more than it has room for",
    ),
    "LAS whose points begin beyond its end": (
        "points las",
        _at(96, "<I", 2**31),
        "counts more than it has room for",
    ),
    "LAS of 10^18 points": ("points las", _at(247, "<Q", 10**18), "says it holds 10{18} points"),
    "LAZ of 10^18 points": ("points laz", _at(247, "<Q", 10**18), "which need"),
    "LAZ of 4 billion chunks": ("points laz", _chunk_table, "counts more than it has room for"),
    "LAZ of chunks of one point": ("points laz", _chunk_size(1), "is damaged after point 0"),
    "LAZ of chunks of any size": ("points laz", _chunk_size(2**32 - 1), "is damaged after point 0"),
    "sheet with entities in entities": (
        "part sheet",
        _only(_sheet(_text_cell(b"A1"), LAUGHS.replace(b"gpx", b"worksheet"))),
        "declares a document type, in its part 'xl/worksheets/sheet1.xml'",
    ),
    "sheet of cells far apart": (
        "part sheet",
        _only(_sheet(_text_cell(b"A1") + _text_cell(b"XFD1048576"))),
        "has no sheet that holds a table",
    ),
    "sheet with a row beyond all sheets": (
        "part sheet",
        _only(_sheet(b'<row r="1000000000000"><c><v>1</v></c></row>')),
        "sheet 'depths' is too large",
    ),
    "sheet of wide rows": (
        "part sheet",
        _only(_sheet(b'<row><c r="XFD1"><v>1</v></c></row>' * 30_000)),
        "sheet 'depths' is too large",
    ),
    "sheet of many cells": (
        "part sheet",
        _only(_sheet(b"<row>%s</row>" % (b"<c/>" * 4_100_000))),
        "has a sheet of more than 1,000,000 cells",
    ),
    "sheet with a number of many digits": (
        "part sheet",
        _only(_sheet(b"<row><c><v>%s</v></c></row>" % (b"9" * 100_000))),
        "cannot be read as a workbook",
    ),
    "styles of many formats": (
        "part styles",
        lambda good: good.replace(b"</cellXfs>", b"<xf/>" * 300_000 + b"</cellXfs>"),
        "has too much in its part 'xl/styles.xml'",
    ),
    "texts of many texts": (
        "part strings",
        lambda good: good.replace(b"</sst>", b"<si/>" * 1_100_000 + b"</sst>"),
        "has too much in its part 'xl/sharedStrings.xml'",
    ),
    "workbook of one sheet many times": (
        "part workbook",
        lambda good: re.sub(rb"(<sheet [^>]*>)", rb"\1" * 190_000, good),
        "has 189,999 sheets, some of them large",
    ),
    "workbook that Office encrypted": (
        "soundings xlsx",
        _only(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1000)),
        "has a password, or is a workbook of the old kind",
    ),
    "GPX with entities in entities": (
        "soundings gpx",
        lambda good: good.replace(b"<gpx", LAUGHS + b"<gpx", 1).replace(b"1.5", b"&a9;"),
        "declares the entity 'a0'",
    ),
    "GPX with a parameter entity": (
        "soundings gpx",
        lambda good: good.replace(
            b"<gpx", b'<!DOCTYPE gpx [<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;]><gpx', 1
        ),
        "declares the entity 'p'",
    ),
    "KML with entities in entities": (
        "shoreline kml",
        lambda good: LAUGHS + good,
        "declares a document type",
    ),
    "species with a key of many names": ("species", _only(DEEP + b" = 1\n"), "line 1 has a key"),
    "stocking with a key of many names": ("stocking", _only(DEEP + b" = 1\n"), "line 1 has a key"),
    "survey with a key of many names": ("survey", _only(DEEP + b" = 1\n"), "line 1 has a key"),
    "survey with a table of many names": ("survey", _only(b"[" + DEEP + b"]\n"), "line 1 has"),
    "survey nested deep": ("survey", _only(b"x=" + b"{a=" * 100_000), "nested too deep"),
    "survey of lists in lists": ("survey", _only(b"x=" + b"[" * 100_000), "nested too deep"),
    "survey without an end": ("survey", _only(b"#" * 2**21), "more than 1048576 characters"),
    "species with a value nested deep": (
        "species",
        _only(SPECIES + b"temperature = {least." + NESTED + b" = 1}\n"),
        "line 3 has a key",
    ),
    "species with a number beyond floats": (
        "species",
        _only(SPECIES + b"temperature = { least = " + b"9" * 400 + b", source = 'a' }\n"),
        "number",
    ),
    "species with a quantity of digits": (
        "species",
        _only(SPECIES + b"light = { least = '" + b"1" * 200_000 + b"!', source = 'a' }\n"),
        "at most 100 characters",
    ),
    "species with a quantity of blanks": (
        "species",
        _only(SPECIES + b"temperature = { least = '" + b" " * 200_000 + b"!', source = 'a' }\n"),
        "at most 100 characters",
    ),
    "survey with a quantity of digits": (
        "survey",
        lambda good: good + b"\n[stage]\nstep = '" + b"1" * 200_000 + b"!'\n",
        "stage|make",
    ),
    "quantity of digits": ("quantity", _only(b"1" * 200_000 + b"!"), "number in m"),
    "quantity of many units": ("quantity", _only(b"1 m" + b"_m" * 50_000), "number in m"),
    "CRS with NUL": ("crs", _only(b"EPSG:\x00"), "crs is unknown"),
    "CRS nested deep": ("crs", _only(b"PROJCS[" * 20_000), "crs is unknown"),
    "table of one quotation mark": ("soundings blanks", _only(b'"'), "no delimiter divides"),
    "table of many columns": (
        "table",
        _only(2 * (b"a," * 30_000 + b"\n")),
        "1000 columns",
    ),
    "table with a name of marks": (
        "soundings csv",
        _only(b"easting,northing,depth" + b"_" * 60_000 + b"x\n1,2,3\n"),
        "1000 characters",
    ),
    "table with a long cell beside a fault": (
        "soundings csv",
        lambda good: good.replace(b",a1,", b',"' + b"a" * 200_000 + b'",', 1) + b"1,2,x,a,\n",
        "line 14: column 'depth' must hold a number or empty, got 'x'",
    ),
    "names of columns with line breaks of their own": (
        "breaklines",
        lambda good: good.replace(b'"depth"', '"a\u2028b"'.encode()),
        "no column that is plainly the depth",
    ),
    "Shapefile of many parts": ("shoreline shp", _at(144, "<i", 2**31 - 1), "."),
    "NMEA without an end": ("nmea", _only(b"$GPGGA," + b"," * 2_000_000), "."),
}
"""Reader, damage, and what the error must say; each once hung, crashed or raised something else,
or is the textbook attack on its format."""


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_files_are_refused_soon(case: str, seeds: Path, tmp_path: Path) -> None:
    name, damage, words = HOSTILE[case]
    reader = READERS[name]
    lay_out(reader, seeds, tmp_path)
    content = damage((seeds / reader.file).read_bytes())
    begin = time.process_time()
    assert fault(reader, content, tmp_path) is None
    assert time.process_time() - begin < LONGEST
    with pytest.raises(ToolboxError, match=words):
        reader.read(tmp_path / reader.file)


def _changed(path: Path, *statements: str) -> Path:
    with closing(sqlite3.connect(path)) as file:
        for statement in statements:
            file.execute(statement)
        file.commit()
    return path


def test_views_that_never_end_are_refused(seeds: Path, tmp_path: Path) -> None:
    path = Path(shutil.copy(seeds / "water.gpkg", tmp_path))
    _changed(
        path,
        "CREATE VIEW endless AS WITH RECURSIVE r(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM r) "
        "SELECT x AS fid, x AS geom FROM r",
        "INSERT INTO gpkg_contents (table_name, data_type, identifier) "
        "VALUES ('endless', 'features', 'endless')",
    )
    with pytest.raises(InputFileError, match=r"water\.gpkg holds the view 'endless'"):
        read_shoreline(path)


def test_a_database_that_is_no_geopackage_is_refused(tmp_path: Path) -> None:
    path = _changed(tmp_path / "a.gpkg", "CREATE TABLE a (b)")
    with pytest.raises(InputFileError, match=r"a\.gpkg is no GeoPackage: .* gpkg_contents$"):
        read_shoreline(path)


@pytest.mark.parametrize(
    "geo",
    [
        b"{",
        b"[]",
        b"7",
        b"null",
        b"\xff",
        b'{"primary_column": 3}',
        b'{"primary_column": "x"}',
        b'{"primary_column": "x", "columns": {"x": 1}}',
        b'{"primary_column": []}',
        b'{"primary_column": "x", "columns": {"x": {"crs": null}}}',
        b"[" * 100000,
    ],
)
def test_parquet_whose_description_is_broken_is_refused(geo: bytes, tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    table = pyarrow.table({"shape": [b"1"], "depth": [1.0]}).replace_schema_metadata({"geo": geo})
    parquet.write_table(table, path)
    with pytest.raises(InputFileError, match=r"a\.parquet is no GeoParquet: what it says of its"):
        open_points(path, Choices())
    with pytest.raises(InputFileError, match=r"a\.parquet cannot be read as GeoParquet"):
        read_shoreline(path)


def test_chunks_of_a_thousand_million_points_take_no_room(seeds: Path, tmp_path: Path) -> None:
    path = tmp_path / "a.laz"
    path.write_bytes(_chunk_size(2**32 - 2)((seeds / "points.laz").read_bytes()))
    assert sum(len(part.place) for part in open_points(path, Choices(crs=UTM)).chunks(10)) == 50


def test_parquet_that_swells_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred thousand rows of one value are run-length encoded in a few hundred bytes."""
    geo = {"primary_column": "a", "columns": {"a": {"encoding": "WKB", "geometry_types": []}}}
    kind = pyarrow.schema(
        [("a", pyarrow.binary())], {"geo": json.dumps(geo | {"version": "1.0.0"})}
    )
    path = tmp_path / "a.parquet"
    parquet.write_table(
        pyarrow.table([pyarrow.nulls(100_000, pyarrow.binary())], schema=kind), path
    )
    assert path.stat().st_size < 5000
    memory = psutil.virtual_memory()._replace(available=2**20)
    monkeypatch.setattr(psutil, "virtual_memory", lambda: memory)
    with pytest.raises(TooLargeError, match=r"a\.parquet holds 100,000 rows, which need 0\.0 GiB"):
        read_shoreline(path)


COLLECTIONS = {
    "little": b"\x01\x07\x00\x00\x00\x01\x00\x00\x00",
    "big": b"\x00\x00\x00\x00\x07\x00\x00\x00\x01",
    "with Z": b"\x01\xef\x03\x00\x00\x01\x00\x00\x00",
    "polygons": b"\x01\x06\x00\x00\x00\x01\x00\x00\x00",
}


@pytest.mark.parametrize("form", COLLECTIONS)
def test_collections_in_collections_do_not_end_the_process(form: str, tmp_path: Path) -> None:
    shape = COLLECTIONS[form] * 200_000 + b"\x01\x01\x00\x00\x00" + bytes(16)
    told = {"primary_column": "a", "version": "1.0.0"}
    geo = told | {"columns": {"a": {"encoding": "WKB", "geometry_types": []}}}
    table = pyarrow.table({"a": [b"", shape], "depth": [1.0, 2.0]})
    path = tmp_path / "a.parquet"
    parquet.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), path)
    with pytest.raises(InputFileError, match=r"a\.parquet cannot .*: a shape of collections"):
        read_shoreline(path)
    with pytest.raises(InputFileError, match=r"a\.parquet must hold points"):
        list(open_points(path, Choices()).chunks(10))


def test_text_of_collections_in_collections_does_not_end_the_process(tmp_path: Path) -> None:
    text = "GEOMETRYCOLLECTION(" * 100_000 + "POINT(1 2)" + ")" * 100_000
    (tmp_path / "a.csv").write_text(f'wkt,a\n"{text}",1\n"POINT(1 2)",2\n', encoding="utf-8")
    with pytest.raises(InputFileError, match=r"a\.csv holds a bad shape: collections within"):
        read_vectors(tmp_path / "a.csv", crs="EPSG:32633")


@pytest.mark.parametrize("unit", ["g*9**9**9", "g*9**99999999", "g*(9**9**9)", "g^9^9^9"])
def test_units_are_looked_up_and_never_reckoned(unit: str) -> None:
    for text in (unit, spelled(unit)):
        with pytest.raises(ParameterError, match="a unit must be plain, such as"):
            convert(1.0, text, "kg")
    with pytest.raises(ParameterError, match="a unit must be plain, such as"):
        convert(1.0, "kg", unit)


class _Listener(BaseHTTPRequestHandler):
    asked: list[str] = []  # noqa: RUF012

    def do_GET(self) -> None:
        self.asked.append(self.path)
        self.send_error(404)

    do_HEAD = do_GET  # noqa: N815

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def address() -> Iterator[str]:
    _Listener.asked.clear()
    with ThreadingHTTPServer(("127.0.0.1", 0), _Listener) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


POINTERS = {
    "virtual layer.gpkg": '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>{there}'
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "virtual layer.kml": '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>{there}'
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "service.gpkg": "<OGRWFSDataSource><URL>{there}</URL></OGRWFSDataSource>",
    "service.geojson": '{{"stac_version": "1.0.0", "type": "FeatureCollection", "features": [],'
    '"links": [{{"rel": "next", "href": "{there}"}}]}}',
    "command.geojson": '{{"type": "gdal_streamed_alg", "command_line": '
    '"gdal vector pipeline ! read {there} ! write a --format stream"}}',
    "features.json": '{{"type": "FeatureCollection", "features": [], "$schema": "{there}"}}',
    "virtual raster.tif": '<VRTDataset rasterXSize="2" rasterYSize="2"><SRS>EPSG:32633</SRS>'
    '<VRTRasterBand dataType="Byte" band="1"><SimpleSource><SourceFilename>{there}'
    "</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>",
    "service.tif": '<GDAL_WMS><Service name="TMS"><ServerUrl>{there}</ServerUrl></Service>'
    "<DataWindow><SizeX>2</SizeX><SizeY>2</SizeY></DataWindow></GDAL_WMS>",
}


@pytest.mark.parametrize("where", ["beside", "network"])
@pytest.mark.parametrize("name", POINTERS)
def test_files_that_point_elsewhere_are_not_followed(
    name: str, where: str, seeds: Path, address: str, tmp_path: Path
) -> None:
    raster = name.endswith(".tif")
    good = seeds / ("depth.tif" if raster else "water.gpkg")
    there = str(good) if where == "beside" else f"/vsicurl/{address}/{good.name}"
    path = tmp_path / name
    path.write_text(POINTERS[name].format(there=there), encoding="utf-8")
    with pytest.raises(InputFileError, match=r"cannot be read|is no KML|holds no features"):
        _ = read_grid(path) if raster else read_shoreline(path)
    assert _Listener.asked == []


@pytest.mark.parametrize(
    "name",
    [
        "/vsicurl/{address}/a.tif",
        "{address}/a.tif",
        "/vsizip/{zip}/water.gpkg",
        "PG:dbname=a",
        "GTIFF_DIR:1:{tif}",
        "GPKG:{gpkg}:water",
        "/vsimem/a.tif",
        "/vsistdin/",
        "WFS:{address}",
    ],
)
def test_names_that_are_no_files_are_not_opened(
    name: str, seeds: Path, address: str, tmp_path: Path
) -> None:
    (tmp_path / "in").mkdir()
    shutil.copy(seeds / "water.gpkg", tmp_path / "in")
    packed = shutil.make_archive(str(tmp_path / "a"), "zip", tmp_path / "in")
    places = {"zip": packed, "tif": seeds / "depth.tif", "gpkg": seeds / "water.gpkg"}
    path = Path(name.format(address=address, **places))
    for read in (read_grid, read_shoreline):
        with pytest.raises(InputFileError, match="does not exist"):
            read(path)
    assert _Listener.asked == []


def test_archives_are_not_opened(seeds: Path, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    shutil.copy(seeds / "water.gpkg", tmp_path / "in")
    packed = Path(shutil.make_archive(str(tmp_path / "a"), "zip", tmp_path / "in"))
    with pytest.raises(InputFileError, match=r"a\.zip is an archive: unpack it"):
        read_shoreline(packed)
    with pytest.raises(InputFileError, match=r"a\.gpkg cannot be read as a GeoPackage"):
        read_shoreline(packed.rename(tmp_path / "a.gpkg"))
