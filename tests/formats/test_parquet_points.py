"""Points in Parquet as other writers leave them."""

from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyarrow
import pytest
import shapely
from pyarrow import parquet
from pyproj import CRS

from toolbox.errors import InputFileError
from toolbox.formats.parquet_points import ParquetPoints
from toolbox.formats.point_chunks import Choices, PointChunk

UTM = CRS.from_epsg(32633)
PLACE = np.array([[500_000.25, 5_200_000.5], [500_001.75, 5_200_003.0], [500_009.0, 5_200_001.0]])


def only(file: ParquetPoints) -> PointChunk:
    (chunk,) = file.chunks(10)
    return chunk


def layer(**columns: object) -> geopandas.GeoDataFrame:
    third = columns.pop("third", None)
    coordinates = PLACE if third is None else np.column_stack([PLACE, np.asarray(third)])
    return geopandas.GeoDataFrame(columns, geometry=shapely.points(coordinates), crs=UTM)


@pytest.mark.parametrize("encoding", ["WKB", "geoarrow"])
def test_geoparquet_in_both_encodings(tmp_path: Path, encoding: str) -> None:
    frame = layer(depth=[1.0, 2.0, np.nan], line=[7, 7, 8], sd=[0.1, 0.2, np.nan])
    frame.to_parquet(tmp_path / "a.parquet", geometry_encoding=encoding)
    file = ParquetPoints(tmp_path / "a.parquet", Choices())
    assert (file.rows, file.kind, file.unit, file.columns) == (3, "depth", None, ("sd", "line"))
    assert file.crs.to_epsg() == 32633
    found = only(file)
    np.testing.assert_array_equal(found.place, PLACE)
    np.testing.assert_array_equal(found.height, [1.0, 2.0, np.nan])
    assert found.columns["line"].tolist() == ["7", "7", "8"]
    np.testing.assert_array_equal(found.columns["sd"], [0.1, 0.2, np.nan])


@pytest.mark.parametrize("encoding", ["WKB", "geoarrow"])
def test_the_third_coordinate_where_no_column_is_a_depth(tmp_path: Path, encoding: str) -> None:
    frame = layer(third=[3.0, 4.0, 5.0], name=["a", "b", "c"])
    frame.to_parquet(tmp_path / "a.parquet", geometry_encoding=encoding)
    file = ParquetPoints(tmp_path / "a.parquet", Choices())
    assert file.kind is None
    np.testing.assert_array_equal(only(file).height, [3.0, 4.0, 5.0])


def test_flat_points_without_a_depth(tmp_path: Path) -> None:
    layer(name=["a", "b", "c"]).to_parquet(tmp_path / "a.parquet")
    with pytest.raises(InputFileError, match="the points have no third coordinate, and no depth"):
        only(ParquetPoints(tmp_path / "a.parquet", Choices()))


def test_plain_columns_of_any_kind_of_number(tmp_path: Path) -> None:
    table = pyarrow.table(
        {
            "x": pyarrow.array([1, 2, None], pyarrow.int32()),
            "y": pyarrow.array([5.5, 6.5, 7.5], pyarrow.float32()),
            "depth_ft": [3.0, None, 9.0],
        }
    )
    parquet.write_table(table, tmp_path / "a.parquet")
    file = ParquetPoints(tmp_path / "a.parquet", Choices(crs="EPSG:32633"))
    assert (file.kind, file.unit) == ("depth", "ft")
    found = only(file)
    np.testing.assert_array_equal(found.place, [[1, 5.5], [2, 6.5], [np.nan, 7.5]])
    np.testing.assert_array_equal(found.height, [3.0, np.nan, 9.0])


def test_chunks_of_many_groups_keep_the_order(tmp_path: Path) -> None:
    table = pd.DataFrame({"x": np.arange(1_000.0), "y": 0.0, "elevation": np.arange(1_000.0)})
    table.to_parquet(tmp_path / "a.parquet", row_group_size=130)
    file = ParquetPoints(tmp_path / "a.parquet", Choices(crs="EPSG:32633"))
    chunks = list(file.chunks(70))
    assert max(len(chunk.height) for chunk in chunks) <= 70
    np.testing.assert_array_equal(
        np.concatenate([chunk.height for chunk in chunks]), table["elevation"]
    )
    assert file.kind == "elevation"


def test_longitude_and_latitude_are_wgs_84(tmp_path: Path) -> None:
    pd.DataFrame({"lon": [15.0], "lat": [47.0], "depth": [2.0]}).to_parquet(tmp_path / "a.parquet")
    file = ParquetPoints(tmp_path / "a.parquet", Choices())
    assert file.crs.to_epsg() == 4326


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ({"x": [1.0], "y": [1.0], "depth": [1.0]}, "a.parquet names no CRS: give one with crs"),
        ({"a": [1.0], "y": [1.0], "depth": [1.0]}, "no column that is plainly the easting"),
        ({"x": [1.0], "y": [1.0], "b": [1.0]}, "no column that is plainly the depth"),
        ({"x": [1.0], "y": [1.0], "depth": [1.0], "tiefe": [1.0]}, "several columns that may be"),
        ({"x": [], "y": [], "depth": []}, "a.parquet holds no points"),
    ],
)
def test_what_a_file_lacks(tmp_path: Path, table: dict[str, list[float]], message: str) -> None:
    pd.DataFrame(table).to_parquet(tmp_path / "a.parquet")
    choices = Choices() if "CRS" in message else Choices(crs="EPSG:32633")
    with pytest.raises(InputFileError, match=message):
        ParquetPoints(tmp_path / "a.parquet", choices)


def test_texts_and_shapes_that_are_no_depths_and_points(tmp_path: Path) -> None:
    pd.DataFrame({"x": [1.0], "y": [1.0], "depth": ["deep"]}).to_parquet(tmp_path / "a.parquet")
    with pytest.raises(InputFileError, match="column 'depth' must hold numbers"):
        only(ParquetPoints(tmp_path / "a.parquet", Choices(crs="EPSG:32633")))
    square = geopandas.GeoDataFrame({"depth": [1.0]}, geometry=[shapely.box(0, 0, 1, 1)], crs=UTM)
    square.to_parquet(tmp_path / "b.parquet")
    with pytest.raises(InputFileError, match="must hold points, it holds other shapes too"):
        only(ParquetPoints(tmp_path / "b.parquet", Choices()))


def test_no_parquet_and_damaged_parquet(tmp_path: Path) -> None:
    (tmp_path / "a.parquet").write_text("easting northing depth\n")
    with pytest.raises(InputFileError, match=r"a\.parquet cannot be read as Parquet: "):
        ParquetPoints(tmp_path / "a.parquet", Choices())
    rng = np.random.default_rng(1)
    pd.DataFrame(rng.random((5_000, 3)), columns=["x", "y", "depth"]).to_parquet(
        tmp_path / "b.parquet", row_group_size=1_000
    )
    file = ParquetPoints(tmp_path / "b.parquet", Choices(crs="EPSG:32633"))
    content = bytearray((tmp_path / "b.parquet").read_bytes())
    content[60_000:70_000] = bytes(10_000)
    (tmp_path / "b.parquet").write_bytes(content)
    with pytest.raises(InputFileError, match=r"b\.parquet is damaged after row \d+: "):
        list(file.chunks(1_000))


def test_rows_without_a_line_or_a_source_get_none_of_the_others(tmp_path: Path) -> None:
    frame = layer(depth=[1.0, 2.0, 3.0], line=["7", None, "8"], source=["track", None, "plummet"])
    frame.to_parquet(tmp_path / "a.parquet")
    found = only(ParquetPoints(tmp_path / "a.parquet", Choices())).columns
    assert found["line"].tolist() == ["7", "", "8"]
    assert found["source"].tolist() == ["track", "point", "plummet"]
