"""A file written in parts is the file written at once."""

import json
from pathlib import Path

import fiona
import geopandas
import numpy as np
import pytest
import shapely
from pyarrow import parquet
from pyproj import CRS

from toolbox.errors import ParameterError
from toolbox.formats import growing_points
from toolbox.formats.growing_points import GrowingPoints
from toolbox.formats.soundings_file import read_soundings

UTM = CRS.from_epsg(32633)


def part(first: int, count: int) -> geopandas.GeoDataFrame:
    number = np.arange(first, first + count)
    columns = {
        "depth": number / 8,
        "line": [f"{k % 3}" for k in number],
        "source": "point",
        "sd": np.where(number % 2, 0.125, np.nan),
        "sd_xy": np.nan,
        "count": number + 1,
        "lines": 1,
        "cell": 1.0,
        "flag": False,
    }
    places = shapely.points(500_000 + number, 5_200_000 + number / 4)
    return geopandas.GeoDataFrame(columns, geometry=places, crs=UTM)


@pytest.mark.parametrize("suffix", [".parquet", ".gpkg"])
def test_parts_one_below_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    monkeypatch.setattr(growing_points, "_TOGETHER", 25)
    path = tmp_path / f"a{suffix}"
    with GrowingPoints(path, UTM) as file:
        for first in range(0, 60, 10):
            file.add(part(first, 10))
    read = geopandas.read_parquet if suffix == ".parquet" else geopandas.read_file
    found, expected = read(path), part(0, 60)
    assert found.crs == UTM
    assert list(found.columns) == [*growing_points._FIELDS, "geometry"]
    for name in ("depth", "line", "source", "sd", "count", "lines", "cell"):
        np.testing.assert_array_equal(found[name].to_numpy(), expected[name].to_numpy())
    assert found["sd_shared"].isna().all()
    np.testing.assert_array_equal(found.geometry.to_wkb(), expected.geometry.to_wkb())


@pytest.mark.parametrize("suffix", [".geoparquet", ".gpkg"])
def test_soundings_of_a_survey_are_read_from_it(tmp_path: Path, suffix: str) -> None:
    with GrowingPoints(tmp_path / f"a{suffix}", UTM) as file:
        file.add(part(1, 20))
    found = read_soundings(tmp_path / f"a{suffix}")
    np.testing.assert_array_equal(found.depth, np.arange(1, 21) / 8)
    assert not found.flag.any()


def test_says_what_geoparquet_asks_for(tmp_path: Path) -> None:
    with GrowingPoints(tmp_path / "a.parquet", UTM) as file:
        file.add(part(0, 3))
    geo = json.loads(parquet.read_schema(tmp_path / "a.parquet").metadata[b"geo"])
    # OGC 2023, GeoParquet 1.0.0, "File metadata" and "Column metadata" (from memory)
    assert geo["version"] == "1.0.0"
    column = geo["columns"][geo["primary_column"]]
    assert (column["encoding"], column["geometry_types"]) == ("WKB", ["Point"])
    assert CRS.from_json_dict(column["crs"]) == UTM


def test_geopackage_holds_one_layer_with_an_index(tmp_path: Path) -> None:
    with GrowingPoints(tmp_path / "a.gpkg", UTM) as file:
        file.add(part(0, 30))
    assert fiona.listlayers(tmp_path / "a.gpkg") == ["soundings"]
    with fiona.open(tmp_path / "a.gpkg") as layer:
        near = layer.filter(bbox=(500_004.5, 0, 500_006.5, 6e6))
        assert [row["properties"]["count"] for row in near] == [6, 7]


def test_formats_that_grow(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match=r"written as .parquet, .geoparquet, .gpkg, got 'a.s"):
        GrowingPoints(tmp_path / "a.shp", UTM)
