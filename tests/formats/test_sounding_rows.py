"""Rows of a file of soundings as they stand, some at a time."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.sounding_portions import sounding_portions
from toolbox.formats.sounding_rows import sounding_rows
from toolbox.formats.soundings_file import read_soundings

METRES, COUNT = "EPSG:32633", 11


def layer(**columns: Any) -> geopandas.GeoDataFrame:
    """Make points a metre apart, with depths unless other columns are given."""
    easting = 500_000.0 + np.arange(COUNT)
    shapes = shapely.points(np.column_stack([easting, np.full(COUNT, 5_300_000.0)]))
    given = columns or {"depth": np.arange(COUNT) / 4}
    return geopandas.GeoDataFrame(given, geometry=shapes, crs=METRES)


def written(frame: geopandas.GeoDataFrame, path: Path) -> Path:
    write: Callable[..., None] = frame.to_parquet if path.suffix == ".parquet" else frame.to_file
    write(path, **({"SPATIAL_INDEX": "NO"} if path.suffix == ".fgb" else {}))  # keeps the order
    return path


def las(path: Path, unit: str) -> Path:
    """Write points whose third coordinates are in `unit`, by a CRS that says so."""
    laspy = pytest.importorskip("laspy")
    from pyproj import CRS

    # EPSG: 5703 and 6360 are the same height, in metres and in US survey feet (from memory)
    codes = {"m": "EPSG:32633+5703", "survey_foot": "EPSG:32633+6360"}
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.offsets, header.scales = [500_000, 5_300_000, 0], [0.01, 0.01, 0.01]
    header.add_crs(CRS.from_user_input(codes[unit]))
    cloud = laspy.LasData(header)
    cloud.x, cloud.y = 500_000 + np.arange(COUNT), np.full(COUNT, 5_300_000)
    cloud.z, cloud.classification = np.arange(COUNT) / 4, np.full(COUNT, 40)
    cloud.write(path)
    return path


SUFFIXES = ["gpkg", "fgb", "geojson", "shp", "parquet"]


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_rows_come_in_their_order_and_as_often_as_wanted(suffix: str, tmp_path: Path) -> None:
    frame = layer()
    file = sounding_rows(written(frame, tmp_path / f"a.{suffix}"), {})
    assert file is not None
    for _ in range(2):
        parts = list(file.portions(4))
        assert [len(place) for _, (place, _) in parts] == [4, 4, 3]
        depth = np.concatenate([table["depth"] for _, (_, table) in parts])
        assert depth.tolist() == (np.arange(COUNT) / 4).tolist()
        crs = parts[0][0]
        place = np.vstack([place for _, (place, _) in parts])
        expected = shapely.get_coordinates(frame.to_crs(crs).geometry)
        # GeoJSON keeps seven decimals of a degree, a centimetre (RFC 7946:2016, 11.2)
        assert np.abs(place - expected).max() < (1e-6 if suffix == "geojson" else 1e-9)


def test_text_is_read_with_the_options_that_are_given(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("rechts;hoch;t\n1,5;2,5;3,25\n4,5;5,5;6,75\n", encoding="utf-8")
    told = {"crs": METRES, "easting": "rechts", "northing": "hoch", "delimiter": ";"}
    file = sounding_rows(path, told)
    assert file is not None
    (crs, (first, table)), (_, (second, _)) = file.portions(1)
    assert (crs.to_epsg(), table.attrs["decimal"]) == (32633, ",")
    assert table["t"].tolist() == ["3,25"]  # as it stands
    assert (first.tolist(), second.tolist()) == ([[1.5, 2.5]], [[4.5, 5.5]])


@pytest.mark.parametrize("unit", ["survey_foot", "m"])
def test_third_coordinates_keep_the_unit_the_file_tells(unit: str, tmp_path: Path) -> None:
    path = las(tmp_path / "a.las", unit)
    file = sounding_rows(path, {})
    assert file is not None
    assert file.unit == unit
    depth = np.concatenate([table["Z"] for _, (_, table) in file.portions(4)])
    assert depth == pytest.approx(np.arange(COUNT) / 4)


@pytest.mark.parametrize(
    ("name", "options"), [("a.gpx", {}), ("a.csv", {"pegs": Path("pegs.csv")})]
)
def test_what_must_be_read_at_once_is_left_to_others(
    name: str, options: dict[str, Any], tmp_path: Path
) -> None:
    (tmp_path / name).write_text("peg,bearing,distance,depth\n", encoding="utf-8")
    assert sounding_rows(tmp_path / name, options) is None


def test_parquet_with_points_as_numbers_is_read_at_once(tmp_path: Path) -> None:
    """GeoParquet 1.1.0, Encoding: "point" keeps a coordinate in a column of numbers."""
    layer().to_parquet(tmp_path / "a.parquet", geometry_encoding="geoarrow")
    assert sounding_rows(tmp_path / "a.parquet", {}) is None
    assert len(read_soundings(tmp_path / "a.parquet")) == COUNT


@pytest.mark.parametrize("rows", [4, 100])
@pytest.mark.parametrize("suffix", [s for s in SUFFIXES if s != "geojson"])
def test_a_depth_that_is_no_number_is_told_by_its_row(
    suffix: str, rows: int, tmp_path: Path
) -> None:
    depth = ["1", "2.5", "", *"45678", "n/a", "deep", "9"]
    path = written(layer(depth=depth), tmp_path / f"a.{suffix}")
    told = rf"^\S+a\.{suffix}, row 10: column 'depth' must hold a number or empty, got 'deep'$"
    with pytest.raises(InputFileError, match=told):
        read_soundings(path)
    with pytest.raises(InputFileError, match=told):
        list(sounding_portions(path, rows=rows))


@pytest.mark.parametrize("suffix", ["gpkg", "parquet"])
def test_texts_that_are_numbers_are_depths(suffix: str, tmp_path: Path) -> None:
    depth = [" 1.5", "", "nan", *map(str, range(8))]
    path = written(layer(depth=depth), tmp_path / f"a.{suffix}")
    parts = list(sounding_portions(path, rows=4))
    found = np.concatenate([part.depth for part in parts])
    np.testing.assert_array_equal(found, [1.5, np.nan, np.nan, *range(8)])


def test_an_infinite_depth_is_told_by_its_row(tmp_path: Path) -> None:
    depth = np.where(np.arange(COUNT) == 6, np.inf, 1.0)
    path = written(layer(depth=depth), tmp_path / "a.parquet")
    with pytest.raises(InputFileError, match=r"a\.parquet, row 7: .* must hold a finite number"):
        list(sounding_portions(path, rows=4))


def test_lines_and_areas_are_no_soundings(tmp_path: Path) -> None:
    frame = layer()
    frame.loc[9, "geometry"] = shapely.LineString([(0, 0), (1, 1)])
    frame.to_parquet(tmp_path / "a.parquet")
    file = sounding_rows(tmp_path / "a.parquet", {})
    assert file is not None
    with pytest.raises(InputFileError, match=r"a\.parquet must hold points, got LineString$"):
        list(file.portions(4))


def test_a_table_without_shapes_is_told(tmp_path: Path) -> None:
    import pyogrio

    pyogrio.write_dataframe(pd.DataFrame({"depth": [1.0]}), tmp_path / "a.gpkg", layer="a")
    file = sounding_rows(tmp_path / "a.gpkg", {})
    assert file is not None
    with pytest.raises(InputFileError, match=r"a\.gpkg holds a table without geometry$"):
        list(file.portions(4))


def test_shapes_within_shapes_do_not_end_the_process(tmp_path: Path) -> None:
    import pyarrow
    from pyarrow import parquet

    layer().to_parquet(tmp_path / "a.parquet")
    table = parquet.read_table(tmp_path / "a.parquet")
    # a collection of one shape, of which that is a collection... (OGC 06-103r4, table 6: code 7)
    deep = bytes.fromhex("010700000001000000") * 100_000 + shapely.to_wkb(shapely.Point(0, 0))
    shapes = pyarrow.array([deep] * COUNT, pyarrow.binary())
    at = table.schema.get_field_index("geometry")
    parquet.write_table(table.set_column(at, "geometry", shapes), tmp_path / "a.parquet")
    file = sounding_rows(tmp_path / "a.parquet", {})
    assert file is not None
    with pytest.raises(InputFileError, match=r"cannot be read.*: a shape of collections within"):
        list(file.portions(4))


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_layer_of_nothing_is_told(suffix: str, tmp_path: Path) -> None:
    if suffix == "geojson":
        text = '{"type": "FeatureCollection", "features": []}'
        (tmp_path / "a.geojson").write_text(text, encoding="utf-8")
    else:
        written(layer().iloc[:0], tmp_path / f"a.{suffix}")
    file = sounding_rows(tmp_path / f"a.{suffix}", {})
    assert file is not None
    with pytest.raises(InputFileError, match=rf"a\.{suffix} holds no features$"):
        list(file.portions(4))


def test_a_file_that_ends_early_is_told(tmp_path: Path) -> None:
    whole = written(layer(), tmp_path / "a.parquet").read_bytes()
    (tmp_path / "b.parquet").write_bytes(whole[: len(whole) // 2])
    assert sounding_rows(tmp_path / "b.parquet", {}) is None  # reading it as a whole says so
    with pytest.raises(InputFileError, match=r"b\.parquet cannot be read as GeoParquet: "):
        list(sounding_portions(tmp_path / "b.parquet"))


def test_a_condition_chooses_rows_and_a_layer_must_be_named_among_several(tmp_path: Path) -> None:
    path = tmp_path / "a.gpkg"
    layer().to_file(path, layer="spring")
    layer(depth=np.full(COUNT, 7.0)).to_file(path, layer="autumn", mode="a")
    with pytest.raises(InputFileError, match="holds several layers, name one of spring, autumn"):
        sounding_rows(path, {})
    file = sounding_rows(path, {"layer": "spring", "where": "depth > 2"})
    assert file is not None
    depth = [float(d) for _, (_, table) in file.portions(1) for d in table["depth"]]
    assert depth == [2.25, 2.5]
    (tmp_path / "b.csv").write_text("easting,northing,depth\n1,2,3\n", encoding="utf-8")
    with pytest.raises(ParameterError, match=r"where is for vector files, not for text: b\.csv"):
        sounding_rows(tmp_path / "b.csv", {"where": "depth > 2"})
