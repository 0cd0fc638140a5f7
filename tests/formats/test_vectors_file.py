"""GeoJSON, FlatGeobuf and GeoParquet, read by programs that share no code with the writer."""

import json
import shutil
import struct
import subprocess
from pathlib import Path

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.vectors_file import read_vectors, write_vectors
from toolbox.layers import Vectors

UTM = pyproj.CRS.from_epsg(32633)
ORIGIN = np.array([500_000.0, 5_200_000.0])
RING = ORIGIN + np.array([(0, 0), (100.5, 0), (100.5, 80), (0, 80), (0, 0)])
HOSTILE = "<script>alert('&')</script>\"\n\x1b]\u202e\U0001f3a3" + "x" * 300


def features() -> Vectors:
    columns = {"kind": ["hump", HOSTILE], "area_m2": [8040.0, 1.5], "feature": [1, 2]}
    shapes = [shapely.Polygon(RING[::-1]), shapely.Polygon(RING + 300)]
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=UTM), "features")


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="ogr2ogr is not installed")
@pytest.mark.parametrize(("suffix", "far"), [(".fgb", 1e-6), (".geojson", 0.02)])
def test_the_gdal_of_the_system_reads_the_same(suffix: str, far: float, tmp_path: Path) -> None:
    write_vectors(features(), tmp_path / f"a{suffix}")
    command = ["ogr2ogr", "-f", "GeoJSON", "-t_srs", "EPSG:32633", "-lco", "COORDINATE_PRECISION=9"]
    command += ["/vsistdout/", str(tmp_path / f"a{suffix}")]
    done = subprocess.run(command, check=True, capture_output=True)
    read = sorted(
        json.loads(done.stdout)["features"], key=lambda feature: feature["properties"]["feature"]
    )
    assert [each["properties"]["kind"] for each in read] == ["hump", HOSTILE]
    assert [each["properties"]["area_m2"] for each in read] == [8040.0, 1.5]
    for each, was in zip(read, features().frame.geometry, strict=True):
        assert shapely.geometry.shape(each["geometry"]).hausdorff_distance(was) < far


def test_a_flatgeobuf_begins_as_it_should(tmp_path: Path) -> None:
    write_vectors(features(), tmp_path / "a.fgb")
    # FlatGeobuf specification 3.0, file layout (from memory)
    assert (tmp_path / "a.fgb").read_bytes()[:4] == b"fgb\x03"


def test_geojson_needs_no_library_to_be_read(tmp_path: Path) -> None:
    write_vectors(features(), tmp_path / "a.geojson")
    read = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))
    assert read["type"] == "FeatureCollection"
    assert "crs" not in read  # RFC 7946 (Butler and others 2016), section 4
    move = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True)
    ring = np.array(read["features"][0]["geometry"]["coordinates"][0])
    wanted = np.column_stack(move.transform(*RING.T))
    assert shapely.LinearRing(ring).is_ccw  # section 3.1.6
    assert np.abs(ring[:, None] - wanted[None]).max(axis=2).min(axis=1).max() < 2e-7
    assert read["features"][1]["properties"]["kind"] == HOSTILE


def test_geoparquet_says_what_its_columns_are(tmp_path: Path) -> None:
    from pyarrow import parquet

    write_vectors(features(), tmp_path / "a.parquet")
    table = parquet.read_table(tmp_path / "a.parquet")
    told = json.loads(table.schema.metadata[b"geo"])
    # GeoParquet specification 1.0.0 (2023), metadata (from memory)
    assert told["version"].startswith("1.")
    column = told["columns"][told["primary_column"]]
    assert column["encoding"] == "WKB"
    assert pyproj.CRS.from_json_dict(column["crs"]) == UTM
    assert table["kind"].to_pylist() == ["hump", HOSTILE]
    # well-known binary by hand (OGC 06-103r4, section 8.2; from memory)
    shape = table[told["primary_column"]][0].as_py()
    order, kind, rings, count = struct.unpack_from("<BIII", shape)
    assert (order, kind, rings, count) == (1, 3, 1, 5)
    places = np.frombuffer(shape, "<f8", 10, 13).reshape(5, 2)
    assert (places == RING[::-1]).all()


@pytest.mark.parametrize("suffix", [".gpkg", ".geojson", ".fgb", ".parquet", ".csv"])
def test_what_is_written_is_read_again(suffix: str, tmp_path: Path) -> None:
    write_vectors(features(), tmp_path / f"a{suffix}")
    crs = "EPSG:32633" if suffix == ".csv" else None
    read = read_vectors(tmp_path / f"a{suffix}", crs=crs, into="EPSG:32633")
    assert read.crs == UTM
    assert read.frame.sort_values("feature")["kind"].tolist() == ["hump", HOSTILE]
    assert read.frame.area.sum() == pytest.approx(2 * 8040, rel=1e-4)


def test_text_without_shapes_or_crs_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("kind,shape\nhump,POINT (1 2)\n")
    with pytest.raises(InputFileError, match=r"has no column 'wkt', only kind, shape$"):
        read_vectors(path)
    path.write_text("kind,wkt\nhump,POINT (1 2)\n")
    with pytest.raises(InputFileError, match=r"names no CRS: give one with crs"):
        read_vectors(path)
    path.write_text("kind,wkt\nhump,POINT (1\n")
    with pytest.raises(InputFileError, match=r"a\.csv holds a bad shape: "):
        read_vectors(path, crs="EPSG:32633")
    with pytest.raises(ParameterError, match=r"^layer is not for text: a\.csv, got 'x'$"):
        read_vectors(path, layer="x")
