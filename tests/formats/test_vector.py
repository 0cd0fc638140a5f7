"""Vector layers: written so that others read them, read whoever wrote them."""

import json
import re
import shutil
import subprocess
from pathlib import Path

import geopandas
import pyproj
import pytest
import shapely

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.vector import VECTOR_SUFFIXES, layer_names, read_features, write_features

UTM = 32633
WATER = shapely.box(500_000, 5_200_000, 500_100, 5_200_100)
ISLAND = shapely.box(500_040, 5_200_040, 500_060, 5_200_060)
LAKE = shapely.Polygon(WATER.exterior.coords[::-1], [ISLAND.exterior.coords])
"""Its rings run the wrong way round for RFC 7946."""


def frame(**columns: object) -> geopandas.GeoDataFrame:
    shapes = [LAKE, shapely.box(500_200, 5_200_000, 500_210, 5_200_010)]
    values = {"name": ["mere", "pool"], "depth": [3.25, 1.0]} | columns
    return geopandas.GeoDataFrame(values, geometry=shapes, crs=UTM)


@pytest.mark.parametrize("suffix", [".gpkg", ".shp", ".geojson", ".fgb", ".parquet", ".geoparquet"])
def test_a_layer_written_is_read_again(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"lake{suffix}"
    write_features(frame(), path, layer="water")
    read = read_features(path).sort_values("name", ignore_index=True)
    assert read["name"].tolist() == ["mere", "pool"]
    assert read["depth"].tolist() == [3.25, 1.0]
    back = read.to_crs(UTM).geometry
    # GeoJSON keeps seven decimals of a degree: about a centimetre
    far = [a.hausdorff_distance(b) for a, b in zip(back, frame().geometry, strict=True)]
    assert max(far) <= (0.02 if suffix == ".geojson" else 0)
    assert read.crs == (4326 if suffix == ".geojson" else UTM)


def test_a_suffix_that_is_no_format_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match=r"written as \.gpkg, .*\.parquet.*, got 'a\.kml'$"):
        write_features(frame(), tmp_path / "a.kml", layer="water")


def test_a_shapefile_of_several_kinds_of_shape_is_refused(tmp_path: Path) -> None:
    lines = frame().assign(geometry=[LAKE, ISLAND.exterior])
    message = (
        r"^a Shapefile holds one kind of shape, a\.shp would need LineString, Polygon: "
        r"write \.gpkg or \.geojson$"
    )
    with pytest.raises(ParameterError, match=message):
        write_features(lines, tmp_path / "a.shp", layer="water")
    assert list(tmp_path.iterdir()) == []
    several = frame().assign(geometry=[LAKE, shapely.MultiPolygon([ISLAND])])
    write_features(several, tmp_path / "b.shp", layer="water")
    assert len(read_features(tmp_path / "b.shp")) == 2


def test_a_shapefile_cuts_long_names_without_a_word(tmp_path: Path) -> None:
    # warnings are errors here: at the command line this one told a place in the program
    write_features(frame(depth_greatest_m=[1.0, 2.0]), tmp_path / "a.shp", layer="water")
    assert "depth_grea" in read_features(tmp_path / "a.shp")


def test_every_suffix_that_is_offered_is_lower_case_with_a_dot() -> None:
    assert [suffix for suffix in VECTOR_SUFFIXES if not re.fullmatch(r"\.[a-z]+", suffix)] == []


def test_suffixes_in_capitals_are_the_same(tmp_path: Path) -> None:
    write_features(frame(), tmp_path / "LAKE.GPKG", layer="water")
    assert len(read_features(tmp_path / "LAKE.GPKG")) == 2


def test_an_empty_layer_can_be_written_and_is_told_when_read(tmp_path: Path) -> None:
    write_features(frame()[:0], tmp_path / "a.gpkg", layer="water")
    with pytest.raises(InputFileError, match=r"a\.gpkg holds no features$"):
        read_features(tmp_path / "a.gpkg")


# ---- GeoPackage, as the system's GDAL sees it ----


@pytest.fixture
def package(tmp_path: Path) -> Path:
    path = tmp_path / "lake.gpkg"
    write_features(frame(), path, layer="water")
    marks = geopandas.GeoDataFrame(
        {"depth": [1.5, 2.5, 3.5]}, geometry=shapely.points([(500_001, 5_200_001)] * 3), crs=UTM
    )
    write_features(marks, path, layer="marks", append=True)
    return path


def told(path: Path, layer: str) -> str:
    """Return the summary of a layer by the independent reader, whichever release it is."""
    if shutil.which("ogrinfo") is None:
        pytest.skip("ogrinfo is not installed")
    done = subprocess.run(
        ["ogrinfo", "-so", str(path), layer], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    return done.stdout


@pytest.mark.parametrize(
    ("layer", "count", "geometry", "extent"),
    [
        ("water", 2, "Polygon", (500_000, 5_200_000, 500_210, 5_200_100)),
        ("marks", 3, "Point", (500_001, 5_200_001, 500_001, 5_200_001)),
    ],
)
def test_another_reader_sees_the_same_package(
    package: Path, layer: str, count: int, geometry: str, extent: tuple[float, ...]
) -> None:
    summary = told(package, layer)
    assert f"Feature Count: {count}\n" in summary
    assert f"Geometry: {geometry}\n" in summary
    found = re.search(r"Extent: \(([-\d.]+), ([-\d.]+)\) - \(([-\d.]+), ([-\d.]+)\)", summary)
    assert found is not None
    assert tuple(map(float, found.groups())) == extent
    assert f'ID["EPSG",{UTM}]]\n' in summary
    assert "depth: Real" in summary


def test_a_package_keeps_its_layers_in_order(package: Path) -> None:
    assert layer_names(package) == ["water", "marks"]
    assert read_features(package, layer="marks")["depth"].tolist() == [1.5, 2.5, 3.5]


def test_one_of_several_layers_must_be_named(package: Path) -> None:
    with pytest.raises(InputFileError, match=r"several layers, name one of water, marks$"):
        read_features(package)
    with pytest.raises(InputFileError, match=r"has no layer 'lake', only water, marks$"):
        read_features(package, layer="lake")


def test_a_package_is_of_a_version_that_older_programs_know(package: Path) -> None:
    """OGC 12-128r18, requirement 2: user_version tells the version, 10300 stands for 1.3."""
    assert package.read_bytes()[60:64] == (10_300).to_bytes(4, "big")
    assert package.read_bytes()[68:72] == b"GPKG"


# ---- GeoJSON after RFC 7946 (Butler et al. 2016) ----


@pytest.fixture
def exchanged(tmp_path: Path) -> dict[str, object]:
    path = tmp_path / "lake.geojson"
    write_features(frame(), path, layer="water")
    document: dict[str, object] = json.loads(path.read_text(encoding="utf-8"))
    return document


def rings(document: dict[str, object]) -> list[list[list[tuple[float, float]]]]:
    features = document["features"]
    assert isinstance(features, list)
    return [feature["geometry"]["coordinates"] for feature in features]


def test_geojson_names_no_crs(exchanged: dict[str, object]) -> None:
    """Section 4: the crs member of older GeoJSON has been removed."""
    assert "crs" not in exchanged
    assert exchanged["type"] == "FeatureCollection"


def test_geojson_is_longitude_then_latitude(exchanged: dict[str, object]) -> None:
    """Section 3.1.1, with the degrees computed by pyproj."""
    to_degrees = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(500_000, 5_200_000)
    corner = rings(exchanged)[0][0]
    assert min(x for x, _ in corner) == pytest.approx(longitude, abs=1e-6)
    assert min(y for _, y in corner) == pytest.approx(latitude, abs=1e-6)


def test_geojson_rings_follow_the_right_hand_rule(exchanged: dict[str, object]) -> None:
    """Section 3.1.6: outer rings run counter-clockwise, holes clockwise."""
    for polygon in rings(exchanged):
        turns = [shapely.LinearRing(ring).is_ccw for ring in polygon]
        assert turns == [True] + [False] * (len(polygon) - 1)
    assert [len(polygon) for polygon in rings(exchanged)] == [2, 1]


def test_geojson_keeps_no_more_decimals_than_a_survey_has(exchanged: dict[str, object]) -> None:
    """Section 11.2: six decimals are about 10 cm; seven are what GDAL writes for RFC 7946."""
    numbers = re.findall(r"\d+\.(\d+)", json.dumps(rings(exchanged)))
    assert 6 <= max(map(len, numbers)) <= 7


# ---- reading ----


def test_a_crs_that_is_given_holds_only_where_the_file_names_none(tmp_path: Path) -> None:
    bare, named = tmp_path / "bare.parquet", tmp_path / "named.parquet"
    frame().set_crs(None, allow_override=True).to_parquet(bare)
    frame().to_parquet(named)
    assert read_features(bare, crs="EPSG:25833").crs == 25833
    assert read_features(named, crs="EPSG:25833").crs == UTM
    with pytest.raises(InputFileError, match=r"bare\.parquet names no CRS: .*'EPSG:32633'$"):
        read_features(bare)


def test_features_can_be_chosen_by_a_condition(tmp_path: Path) -> None:
    write_features(frame(), tmp_path / "a.gpkg", layer="water")
    assert read_features(tmp_path / "a.gpkg", where="depth > 3")["name"].tolist() == ["mere"]
    with pytest.raises(InputFileError, match=r"holds no features where depth > 9$"):
        read_features(tmp_path / "a.gpkg", where="depth > 9")


def test_a_table_without_shapes_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.gpkg"
    import pyogrio

    pyogrio.write_dataframe(frame().drop(columns="geometry"), path, layer="table")
    with pytest.raises(InputFileError, match=r"a\.gpkg holds a table without geometry$"):
        read_features(path)


def test_names_of_layers_in_a_file_that_holds_none_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.gpkg").write_bytes(b"SQLite" * 99)
    with pytest.raises(InputFileError, match=r"a\.gpkg cannot be read as a GeoPackage: \S"):
        layer_names(tmp_path / "a.gpkg")


@pytest.mark.parametrize("option", ["where", "layer"])
def test_what_parquet_cannot_do_is_refused(option: str, tmp_path: Path) -> None:
    frame().to_parquet(tmp_path / "a.parquet")
    with pytest.raises(ParameterError, match=f"{option} is not for Parquet files, got 'depth'"):
        read_features(tmp_path / "a.parquet", **{option: "depth"})  # type: ignore[arg-type]


@pytest.mark.parametrize("suffix", ["gpkg", "geojson", "fgb", "parquet"])
def test_rings_are_written_as_closed_lines(tmp_path: Path, suffix: str) -> None:
    east, north = 500_000, 5_200_000
    corners = [(east, north), (east + 4, north), (east + 4, north + 3)]
    rings = [shapely.LinearRing(corners), shapely.LineString([corners[0], (east + 1, north + 1)])]
    layer = geopandas.GeoDataFrame({"high": [True, False]}, geometry=rings, crs="EPSG:32633")
    path = tmp_path / f"rings.{suffix}"
    write_features(layer, path, layer="rings")
    read = geopandas.read_parquet(path) if suffix == "parquet" else geopandas.read_file(path)
    assert set(read.geom_type) == {"LineString"}
    assert read.to_crs(32633).length.sum() == pytest.approx(12 + 2**0.5, abs=0.05)
