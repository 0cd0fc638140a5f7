"""Rasters written block by block: the file of the whole, and what is refused."""

import subprocess
import sys
from collections import namedtuple
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine

from toolbox.errors import InputFileError, LayerError, OutputError
from toolbox.formats import raster_blocks
from toolbox.formats.geotiff import read_grid, write_grid
from toolbox.formats.raster_blocks import read_grid_windows, write_grid_blocks
from toolbox.layers import Grid
from toolbox.layers.crs import parse_crs
from toolbox.layers.grid_blocks import GridBlocks

UTM = parse_crs("EPSG:32633")
PALETTE = {code: f"#{16 * code:02x}80ff" for code in range(10)}


def made(rows: int = 1100, cols: int = 700) -> Grid:
    random = np.random.default_rng(1)
    values = random.normal(5, 1, (rows, cols)).cumsum(axis=0) / 50
    values[random.random((rows, cols)) < 0.1] = np.nan
    values[:, : cols // 4] = np.nan
    return Grid(values, Affine(2, 0, 5e5, 0, -2, 5.2e6), UTM, "depth", "m")


@pytest.mark.parametrize("rows", [1, 77, 512, 2000])
@pytest.mark.parametrize("shape", [(1100, 700), (60, 40), (600, 100)])
def test_the_file_is_that_of_the_whole(rows: int, shape: tuple[int, int], tmp_path: Path) -> None:
    grid = made(*shape)
    write_grid(grid, tmp_path / "whole.tif")
    assert write_grid_blocks(GridBlocks.of(grid, rows=rows), tmp_path / "parts.tif")
    assert (tmp_path / "parts.tif").read_bytes() == (tmp_path / "whole.tif").read_bytes()
    assert len(list(tmp_path.iterdir())) == 2


def test_codes_keep_their_colours(tmp_path: Path) -> None:
    grid = made().of(np.floor(np.clip(made().values, 0, 9)), "codes", "1")
    write_grid(grid, tmp_path / "whole.tif", palette=PALETTE)
    write_grid_blocks(GridBlocks.of(grid, rows=100), tmp_path / "parts.tif", palette=PALETTE)
    assert (tmp_path / "parts.tif").read_bytes() == (tmp_path / "whole.tif").read_bytes()
    fewer = {code: colour for code, colour in PALETTE.items() if code < 9}
    with pytest.raises(LayerError, match="codes must hold codes 0, 1, 2, 3, 4, 5, 6, 7, 8, got 9"):
        write_grid_blocks(GridBlocks.of(grid), tmp_path / "bad.tif", palette=fewer)


def test_it_is_laid_out_for_the_cloud(tmp_path: Path) -> None:
    # OGC 21-026 (2023), Cloud Optimized GeoTIFF: tiles, overviews, the directories before the
    # values; overviews' directories follow the full one, largest first (from memory)
    path = tmp_path / "a.tif"
    write_grid_blocks(GridBlocks.of(made(), rows=300), path)
    with rasterio.open(path) as file:
        assert file.profile["tiled"]
        assert file.block_shapes == [(512, 512)]
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.overviews(1) == [2, 4]
        assert file.nodata == -9999
        offsets = [
            int(file.get_tag_item(f"BLOCK_OFFSET_{x}_{y}", "TIFF", bidx=1) or 0)
            for x in range(2)
            for y in range(3)
        ]
        directories = [
            int(file.get_tag_item("IFD_OFFSET", "TIFF", bidx=1, ovr=ovr)) for ovr in (None, 0, 1)
        ]
    assert directories == sorted(directories)
    assert max(directories) < min(offset for offset in offsets if offset)


def test_no_value_at_all_is_told(tmp_path: Path) -> None:
    blank = made(40, 30).of(np.full((40, 30), np.nan), "depth", "m")
    assert write_grid_blocks(GridBlocks.of(blank), tmp_path / "a.tif") is False


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        ((70, 40), r"^blocks must make 70 rows, got 60$"),
        ((50, 40), r"^blocks must make 50 x 40 cells, got 40 columns to row 60$"),
        ((60, 41), r"^blocks must make 60 x 41 cells, got 40 columns to row 20$"),
        (None, r"^the shape of a raster must be known before it is written$"),
    ],
)
def test_blocks_of_another_shape_are_refused(
    shape: tuple[int, int] | None, said: str, tmp_path: Path
) -> None:
    blocks = GridBlocks.of(made(60, 40), rows=20)
    with pytest.raises(LayerError, match=said):
        write_grid_blocks(GridBlocks(blocks.begin, shape=shape), tmp_path / "a.tif")
    assert not list(tmp_path.iterdir())


FULL = """
import resource, sys
from pathlib import Path
import numpy as np
from affine import Affine
from toolbox.errors import OutputError
from toolbox.formats.raster_blocks import write_grid_blocks
from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks

values = np.random.default_rng(0).normal(5, 1, (1500, 1500))
grid = Grid(values, Affine(2, 0, 0, 0, -2, 9000), None, "depth", "m")
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), int(sys.argv[2])))
try:
    write_grid_blocks(GridBlocks.of(grid), Path(sys.argv[1]))
except OutputError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit can be set on the size of files")
@pytest.mark.parametrize("limit", [100_000, 5_000_000])
def test_what_stops_while_it_is_written_is_one_error(limit: int, tmp_path: Path) -> None:
    words = [sys.executable, "-c", FULL, str(tmp_path / "a.tif"), str(limit)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert "a.tif cannot be written: " in done.stdout
    assert done.stdout.count("\n") == 1
    assert "Traceback" not in done.stderr


def test_a_disk_that_is_too_small_is_told_beforehand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = namedtuple("usage", ["free"])
    monkeypatch.setattr("shutil.disk_usage", lambda _: usage(100_000_000))
    blocks = GridBlocks(made().values.__iter__, shape=(10_000, 10_000))  # type: ignore[arg-type]
    said = r"a\.tif cannot be written: it takes up to 0\.373 GiB beside it until it is done, 0\.09"
    with pytest.raises(OutputError, match=said):
        write_grid_blocks(blocks, tmp_path / "a.tif")


# ---- reading ----


def test_windows_are_parts_of_the_grid(tmp_path: Path) -> None:
    write_grid(made(), tmp_path / "a.tif")
    windows, whole = read_grid_windows(tmp_path / "a.tif"), read_grid(tmp_path / "a.tif")
    assert (windows.shape, windows.transform) == (whole.shape, whole.transform)
    part = windows.read((500, 530), (300, 340))
    np.testing.assert_array_equal(part.values, whole.values[500:530, 300:340])
    assert (part.name, part.unit, part.crs) == (whole.name, whole.unit, whole.crs)
    assert part.bounds == (5e5 + 600, 5.2e6 - 1060, 5e5 + 680, 5.2e6 - 1000)


def test_scaled_feet_come_in_metres(tmp_path: Path) -> None:
    path = tmp_path / "feet.tif"
    profile = {"driver": "GTiff", "dtype": "int16", "count": 1, "height": 2, "width": 2}
    profile |= {"crs": "EPSG:32633", "transform": Affine(1, 0, 9, 0, -1, 9), "nodata": -1}
    with rasterio.open(path, "w", **profile) as file:
        file.write(np.array([[10, 20], [-1, 40]], np.int16), 1)
        file.scales, file.offsets, file.units = (0.5,), (1.0,), ("ft",)
    found = read_grid_windows(path).read((0, 2), (0, 2))
    expected = np.array([[6.0, 11.0], [np.nan, 21.0]]) * 0.3048  # the international foot, 1959
    np.testing.assert_allclose(found.values, expected, rtol=1e-6)
    assert found.unit == "m"


def test_what_is_no_raster_is_refused(tmp_path: Path) -> None:
    write_grid(made(20, 20), tmp_path / "a.tif")
    with pytest.raises(InputFileError, match=r"a\.tif has bands 1 to 1, got 3$"):
        read_grid_windows(tmp_path / "a.tif", band=3)
    bad = tmp_path / "bad.tif"
    bad.write_text("nothing", encoding="utf-8")
    with pytest.raises(InputFileError, match=r"bad\.tif cannot be read as a raster: \S"):
        read_grid_windows(bad)
    whole = (tmp_path / "a.tif").read_bytes()
    bad.write_bytes(whole[: len(whole) - 300])
    with pytest.raises(InputFileError, match=r"bad\.tif cannot be read as a raster"):
        read_grid_windows(bad)


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises((OutputError, OSError), match="no"):
        write_grid_blocks(GridBlocks.of(made(20, 20)), tmp_path / "no" / "a.tif")


@pytest.mark.skipif(sys.platform == "win32", reason="the system knows no such limit")
@pytest.mark.parametrize("share", [0.1, 0.5, 0.8, 0.998])
def test_a_disk_that_is_full_before_the_end_is_told(
    share: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import resource

    grid = made()
    write_grid_blocks(GridBlocks.of(grid), tmp_path / "whole.tif")
    size, finish = (tmp_path / "whole.tif").stat().st_size, raster_blocks._finish

    def limited(*given: Any) -> None:
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(share * size), hard))
        try:
            finish(*given)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))

    monkeypatch.setattr(raster_blocks, "_finish", limited)
    with pytest.raises(OutputError, match=r"^a\.tif cannot be written: "):
        write_grid_blocks(GridBlocks.of(grid), tmp_path / "a.tif")
