"""Rasters: the same to the last bit, and any GIS knows what they are."""

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine

from toolbox.errors import InputFileError, LayerError, ParameterError
from toolbox.formats.geotiff import (
    NODATA,
    grid_blocks,
    read_grid,
    read_grid_blocks,
    write_grid,
)
from toolbox.layers import Grid

UTM = pyproj.CRS.from_epsg(32633)
PLACE = Affine(0.5, 0, 500_000.5, 0, -0.5, 5_200_100)


def made(rows: int = 60, cols: int = 40, *, unit: str = "m", name: str = "depth") -> Grid:
    """Make a grid whose values use all their bits, with a third of it empty."""
    chance = np.random.default_rng(7)
    values = chance.normal(5, 3, (rows, cols)).astype(np.float32)
    values[chance.random((rows, cols)) < 1 / 3] = np.nan
    return Grid(values, PLACE, UTM, name, unit)


def bits(values: np.ndarray) -> np.ndarray:
    """Return the bits of floats, with one pattern for every NaN."""
    return np.where(np.isnan(values), np.float32(np.nan), values).astype(np.float32).view(np.uint32)


@pytest.fixture
def written(tmp_path: Path) -> Path:
    write_grid(made(), tmp_path / "depth.tif")
    return tmp_path / "depth.tif"


def test_a_grid_written_is_read_again_to_the_last_bit(written: Path) -> None:
    read, first = read_grid(written), made()
    assert (bits(read.values) == bits(first.values)).all()
    assert read.transform == first.transform
    assert (read.crs, read.name, read.unit) == (UTM, "depth", "m")


def test_rasterio_reads_what_it_should(written: Path) -> None:
    with rasterio.open(written) as file:
        assert (file.driver, file.count, file.dtypes) == ("GTiff", 1, ("float32",))
        assert file.nodata == NODATA
        assert (file.descriptions, file.units) == (("depth",), ("m",))
        assert file.transform == PLACE
        assert file.crs.to_epsg() == 32633
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.tags()["AREA_OR_POINT"] == "Area"
        raw = file.read(1)
    wanted = np.where(np.isnan(made().values), np.float32(NODATA), made().values)
    assert (bits(raw) == bits(wanted)).all()


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="gdalinfo is not installed")
def test_another_reader_sees_the_same_raster(written: Path) -> None:
    done = subprocess.run(
        ["gdalinfo", "-json", "-mm", "-stats", "--config", "GDAL_PAM_ENABLED", "NO", str(written)],
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(done.stdout)
    assert told["size"] == [40, 60]
    assert told["geoTransform"] == [500_000.5, 0.5, 0, 5_200_100, 0, -0.5]
    assert 'ID["EPSG",32633]]' in told["coordinateSystem"]["wkt"]
    assert told["metadata"]["IMAGE_STRUCTURE"]["LAYOUT"] == "COG"
    (band,) = told["bands"]
    assert (band["type"], band["noDataValue"]) == ("Float32", NODATA)
    assert (band["description"], band["unit"]) == ("depth", "m")
    values = made().values.astype(float)
    assert band["computedMin"] == pytest.approx(np.nanmin(values), abs=5e-4)  # three decimals
    assert band["computedMax"] == pytest.approx(np.nanmax(values), abs=5e-4)
    assert band["mean"] == pytest.approx(np.nanmean(values), abs=5e-4)


def test_overviews_are_not_spoilt_by_what_stands_for_nothing(tmp_path: Path) -> None:
    big = made(1100, 1300)
    write_grid(big, tmp_path / "big.tif")
    with rasterio.open(tmp_path / "big.tif") as file:
        assert file.overviews(1)[:1] == [2]
        coarse = file.read(1, out_shape=(550, 650), masked=True).compressed()
    assert np.nanmin(big.values) <= coarse.min() <= coarse.max() <= np.nanmax(big.values)
    assert coarse.mean() == pytest.approx(float(np.nanmean(big.values)), abs=0.02)


@pytest.mark.parametrize(
    "values",
    [
        np.full((3, 4), np.nan, np.float32),
        np.array([[1.5]], np.float32),
        np.array([[-0.0, np.float32(1e-45), np.float32(3.4e38), np.nan]], np.float32),
    ],
    ids=["empty", "one cell", "extremes"],
)
def test_odd_grids_survive(values: np.ndarray, tmp_path: Path) -> None:
    write_grid(Grid(values, PLACE, UTM, "depth", "m"), tmp_path / "odd.tif")
    assert (bits(read_grid(tmp_path / "odd.tif").values) == bits(values)).all()


def test_a_grid_without_crs_needs_one_when_read(tmp_path: Path) -> None:
    path = tmp_path / "plane.tif"
    write_grid(Grid(np.ones((2, 2), np.float32), PLACE, None, "depth", "m"), path)
    with pytest.raises(InputFileError, match=r"plane\.tif names no CRS: .*'EPSG:32633'$"):
        read_grid(path)
    assert read_grid(path, crs="EPSG:32633").crs == UTM
    with pytest.raises(ParameterError, match="crs is unknown: 'Mars'"):
        read_grid(path, crs="Mars")


# ---- rasters of others ----


def foreign(path: Path, values: np.ndarray, **profile: object) -> Path:
    rows, cols = values.shape
    usual = {
        "driver": "GTiff",
        "height": rows,
        "width": cols,
        "count": 1,
        "dtype": values.dtype,
        "crs": UTM.to_wkt(),
        "transform": PLACE,
    }
    with rasterio.open(path, "w", **(usual | profile)) as file:
        file.write(values, 1)
    return path


def test_whatever_stands_for_nothing_becomes_nothing(tmp_path: Path) -> None:
    values = np.array([[1, 255, 3]], np.uint8)
    read = read_grid(foreign(tmp_path / "a.tif", values, nodata=255))
    assert read.values == pytest.approx(np.array([[1, np.nan, 3]]), nan_ok=True)
    assert (read.name, read.unit) == ("a", "")


def test_scaled_integers_are_scaled(tmp_path: Path) -> None:
    """GDAL raster data model: value = raw * scale + offset."""
    path = foreign(tmp_path / "cm.tif", np.array([[125, -1, 300]], np.int16), nodata=-1)
    with rasterio.open(path, "r+") as file:
        file.scales, file.offsets = (0.01,), (10.0,)
    wanted = np.array([[11.25, np.nan, 13.0]])
    assert read_grid(path).values == pytest.approx(wanted, nan_ok=True)


@pytest.mark.parametrize(("unit", "factor"), [("m", 1.0), ("ft", 0.3048)])
def test_lengths_that_say_their_unit_come_in_as_metres(
    unit: str, factor: float, tmp_path: Path
) -> None:
    path = foreign(tmp_path / "a.tif", np.array([[10, 20]], np.float32))
    with rasterio.open(path, "r+") as file:
        file.units = (unit,)
    read = read_grid(path)
    assert read.values == pytest.approx(np.array([[10, 20]]) * factor, rel=1e-6)
    assert read.unit == "m"


def test_any_band_can_be_read(tmp_path: Path) -> None:
    path = tmp_path / "two.tif"
    profile = {"driver": "GTiff", "height": 1, "width": 2, "count": 2, "dtype": "float32"}
    with rasterio.open(path, "w", crs=UTM.to_wkt(), transform=PLACE, **profile) as file:
        file.write(np.array([[[1, 2]], [[3, 4]]], np.float32))
    assert read_grid(path, band=2).values.tolist() == [[3, 4]]
    with pytest.raises(InputFileError, match=r"two\.tif has bands 1 to 2, got 3$"):
        read_grid(path, band=3)


@pytest.mark.parametrize(
    ("crs", "words"),
    [
        ("EPSG:4326", r"a\.tif must lie in a projected CRS in metres, got 'WGS 84'$"),
        ("EPSG:2264", r"a\.tif must lie in a projected CRS in metres, got 'NAD83 / North"),
    ],
    ids=["degrees", "feet"],
)
def test_rasters_off_the_metre_are_refused(crs: str, words: str, tmp_path: Path) -> None:
    path = foreign(tmp_path / "a.tif", np.ones((2, 2), np.float32), crs=crs)
    with pytest.raises(InputFileError, match=words):
        read_grid(path)


@pytest.mark.parametrize(
    "place",
    [Affine(1, 0, 7, 0, 1, 9), Affine(1, 0, 0, 0, -2, 9), Affine(1, 0.5, 0, 0.5, -1, 9)],
    ids=["south up", "oblong", "turned"],
)
def test_cells_that_are_not_square_and_north_up_are_refused(place: Affine, tmp_path: Path) -> None:
    path = foreign(tmp_path / "a.tif", np.ones((2, 2), np.float32), transform=place)
    with pytest.raises(LayerError, match="grid cells must be square and north up, got"):
        read_grid(path)


def test_what_is_no_raster_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    path.write_bytes(b"II*\0" + bytes(100))
    with pytest.raises(InputFileError, match=r"a\.tif cannot be read as a raster"):
        read_grid(path)


def test_a_raster_that_is_cut_short_is_refused(written: Path, tmp_path: Path) -> None:
    whole = written.read_bytes()
    path = tmp_path / "cut.tif"
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputFileError, match=r"cut\.tif cannot be read as a raster"):
        read_grid(path)


# ---- blocks ----


@pytest.mark.parametrize("rows", [1, 7, 60, 512])
def test_blocks_are_the_grid_from_north_to_south(written: Path, rows: int) -> None:
    blocks, whole = list(grid_blocks(written, rows=rows)), read_grid(written)
    assert (bits(np.vstack([block.values for block in blocks])) == bits(whole.values)).all()
    top = whole.bounds[3]
    for block in blocks:
        assert (block.bounds[0], block.bounds[3]) == (whole.bounds[0], top)
        assert (block.crs, block.name, block.unit) == (whole.crs, whole.name, whole.unit)
        top = block.bounds[1]
    assert top == whole.bounds[1]


def test_blocks_of_what_is_no_raster_are_refused(written: Path) -> None:
    with pytest.raises(InputFileError, match=r"depth\.tif has bands 1 to 1, got 2$"):
        read_grid_blocks(written, band=2)
    bad = written.with_name("bad.tif")
    bad.write_text("nothing", encoding="utf-8")
    with pytest.raises(InputFileError, match=r"bad\.tif cannot be read as a raster: \S"):
        read_grid_blocks(bad)


def test_blocks_can_be_gone_through_again(written: Path) -> None:
    blocks = read_grid_blocks(written)
    for _ in range(2):
        (whole,) = blocks  # 60 x 40 cells are one block
        assert (bits(whole.values) == bits(read_grid(written).values)).all()


@pytest.mark.parametrize(
    ("width", "tile", "rows"),
    [(17_400, 512, 512), (1000, 512, 4096), (100_000, 512, 41), (2**24, 1, 1)],
)
def test_blocks_are_bounded_and_of_whole_tiles_where_these_are_small(
    width: int, tile: int, rows: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "wide.tif"  # of its rows none is written or read: its shape tells the blocks
    shape: Any = {"width": width, "height": 5000, "count": 1, "dtype": "float32", "sparse_ok": True}
    tiles: Any = {"blockysize": tile} | ({"tiled": True, "blockxsize": 512} if tile > 1 else {})
    place: Any = {"crs": "EPSG:32633", "transform": Affine(1, 0, 5, 0, -1, 5)}
    with rasterio.open(path, "w", driver="GTiff", **shape, **tiles, **place):
        pass
    asked: list[int] = []

    def values(source: Any, band: int, window: Any) -> tuple[np.ndarray, str]:
        asked.append(window.height)
        return np.zeros((1, 1), np.float32), "m"

    monkeypatch.setattr("toolbox.formats.geotiff.band_values", values)
    next(grid_blocks(path))
    assert asked == [rows]
