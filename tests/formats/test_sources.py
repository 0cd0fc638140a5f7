"""What a file is by its first bytes."""

import shutil
from pathlib import Path

import geopandas
import numpy as np
import psutil
import pytest
import rasterio
from affine import Affine
from shapely.geometry import box

from toolbox.errors import InputFileError, TooLargeError
from toolbox.formats.shoreline_file import read_shoreline
from toolbox.formats.sources import (
    RASTER_DRIVERS,
    check_cells,
    open_raster,
    refused_rasters,
    vector_source,
)

LAKE = box(500_000, 5_200_000, 500_100, 5_200_100)
KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><Polygon><outerBoundaryIs><LinearRing>'
    "<coordinates>15,47 15.001,47 15.001,47.001 15,47.001 15,47</coordinates>"
    "</LinearRing></outerBoundaryIs></Polygon></Placemark></kml>"
)


def water(path: Path) -> Path:
    frame = geopandas.GeoDataFrame({"label": ["a"]}, geometry=[LAKE], crs=32633)
    frame.to_file(path, driver={".json": "GeoJSON"}.get(path.suffix))
    return path


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "fgb"])
def test_files_are_handed_on_as_they_are(suffix: str, tmp_path: Path) -> None:
    path = water(tmp_path / f"a.{suffix}")
    assert vector_source(path) == path


@pytest.mark.parametrize("suffix", ["geojson", "json"])
def test_json_is_read_as_geojson_and_nothing_else(suffix: str, tmp_path: Path) -> None:
    path = water(tmp_path / f"a.{suffix}")
    assert vector_source(path) == f"GeoJSON:{path}"
    assert read_shoreline(path).polygons.area == pytest.approx(10_000, rel=1e-4)


def test_a_mark_of_the_encoding_and_blanks_may_come_first(tmp_path: Path) -> None:
    path = water(tmp_path / "a.geojson")
    path.write_bytes(b"\xef\xbb\xbf \r\n\t" + path.read_bytes())
    assert vector_source(path) == f"GeoJSON:{path}"


def test_a_shoreline_may_be_kml(tmp_path: Path) -> None:
    """A square of a thousandth of a degree at 47 N: 111,165 m x 76,057 m a degree.

    Derived from the formulas of a degree's length on WGS 84 (from memory; 0.1 %).
    """
    path = tmp_path / "a.kml"
    path.write_text(KML, encoding="utf-8")
    assert read_shoreline(path).polygons.area == pytest.approx(111.165 * 76.057, rel=2e-3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<gpx></gpx>", "its first element is 'gpx'"),
        ("<kml><a></kml>", "is no whole KML file: mismatched tag"),
        ("<!DOCTYPE kml SYSTEM 'a.dtd'><kml/>", "declares a document type"),
        ("kml", "cannot be read as KML: it does not begin like one"),
    ],
)
def test_kml_that_is_none_is_refused(text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "a.kml").write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=words):
        vector_source(tmp_path / "a.kml")


def test_a_file_under_the_suffix_of_another_is_refused(tmp_path: Path) -> None:
    path = water(tmp_path / "a.gpkg")
    for suffix, form in (("shp", "a Shapefile"), ("fgb", "FlatGeobuf"), ("json", "GeoJSON")):
        other = Path(shutil.copy(path, tmp_path / f"b.{suffix}"))
        with pytest.raises(InputFileError, match=rf"b\.{suffix} cannot be read as {form}: it does"):
            vector_source(other)


@pytest.mark.parametrize("suffix", ["vrt", "gml", "txt"])
def test_other_suffixes_are_refused(suffix: str, tmp_path: Path) -> None:
    (tmp_path / f"a.{suffix}").write_text("{}", encoding="utf-8")
    with pytest.raises(InputFileError, match=rf"read from \.gpkg, .*\.parquet.*got 'a\.{suffix}'"):
        vector_source(tmp_path / f"a.{suffix}")


@pytest.mark.parametrize("suffix", ["zip", "kmz", "tar"])
def test_an_archive_is_to_be_unpacked(suffix: str, tmp_path: Path) -> None:
    (tmp_path / f"a.{suffix}").write_bytes(b"PK\3\4")
    with pytest.raises(InputFileError, match=rf"a\.{suffix} is an archive: unpack it, and name"):
        vector_source(tmp_path / f"a.{suffix}")


def test_a_shapefile_alone_lacks_its_index(tmp_path: Path) -> None:
    (tmp_path / "a.shp").write_bytes(b"\0\0\x27\x0a" + bytes(96))
    with pytest.raises(
        InputFileError, match=r"a\.shp lacks its part a\.shx: a Shapefile is several"
    ):
        vector_source(tmp_path / "a.shp")
    (tmp_path / "a.shx").touch()
    assert vector_source(tmp_path / "a.shp") == tmp_path / "a.shp"


@pytest.mark.parametrize("driver", ["GTiff", "AAIGrid", "HFA"])
def test_rasters_of_the_usual_forms_are_opened(driver: str, tmp_path: Path) -> None:
    assert driver in RASTER_DRIVERS
    place = Affine(10, 0, 500_000, 0, -10, 5_200_000)
    values = np.arange(6, dtype=np.float32).reshape(1, 2, 3)
    profile = {"height": 2, "width": 3, "count": 1, "dtype": "float32", "transform": place}
    with rasterio.open(tmp_path / "a", "w", driver=driver, crs="EPSG:32633", **profile) as file:
        file.write(values)
    with open_raster(tmp_path / "a") as source:
        assert source.driver == driver
        np.testing.assert_array_equal(source.read(), values)


@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (MemoryError(), TooLargeError, r"a\.tif has more cells than fit into memory"),
        (RuntimeError("of two\nlines"), InputFileError, r"a\.tif cannot .* raster: of two lines$"),
        (InputFileError("as it is"), InputFileError, "^as it is$"),
    ],
)
def test_what_goes_wrong_with_a_raster_is_told_in_our_words(
    error: Exception, kind: type[Exception], words: str
) -> None:
    with pytest.raises(kind, match=words), refused_rasters(Path("a.tif")):
        raise error


def test_cells_beyond_memory_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    memory = psutil.virtual_memory()._replace(available=10 * 2**30)
    monkeypatch.setattr(psutil, "virtual_memory", lambda: memory)
    check_cells(Path("a.tif"), 2**30)
    with pytest.raises(
        TooLargeError, match=r"a\.tif has 1,073,741,825 cells, which need 10\.0 GiB"
    ):
        check_cells(Path("a.tif"), 2**30 + 1)
