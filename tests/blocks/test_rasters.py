"""Rasters gone through in pieces: the bits of one go, whatever the size of piece, within a cap."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.bed.gridding import grid_bed, grid_bed_blocks
from toolbox.blocks.rasters import derived_blocks, too_large, write_derived
from toolbox.catalogue import CHAPTERS, record
from toolbox.cli import main
from toolbox.errors import ParameterError, TooLargeError
from toolbox.formats.bed_file import write_bed
from toolbox.formats.geotiff import write_grid
from toolbox.formats.raster_blocks import read_grid_windows, write_grid_blocks
from toolbox.layers import Grid, Tin
from toolbox.layers.crs import parse_crs
from toolbox.layers.grid_blocks import GridBlocks
from toolbox.layers.grid_windows import GridWindows
from toolbox.tool import Tool

UTM = parse_crs("EPSG:32633")
Said = pytest.CaptureFixture[str]


def lake(rows: int = 331, cols: int = 283, cell: float = 1.7) -> Grid:
    """Grid a lake with islands and gaps, so that a shore crosses every seam."""
    random = np.random.default_rng(9)
    y, x = np.mgrid[:rows, :cols]
    depth = 8 + 4 * np.sin(x / 37) + 3 * np.cos(y / 23) + random.normal(0, 0.2, (rows, cols))
    depth[np.hypot(x - 130, y - 160) > 155] = np.nan
    depth[np.hypot(x - 150, y - 130) < 20] = np.nan
    depth[random.random((rows, cols)) < 0.01] = np.nan
    depth[200:204, 40:90] = 5.0  # level, where an aspect has no direction
    return Grid(depth, Affine(cell, 0, 5e5, 0, -cell, 5.2e6), UTM, "depth", "m")


LAKE = lake()
OPTIONS: dict[str, list[dict[str, Any]]] = {
    "slope": [{}, {"method": "zevenbergen-thorne", "unit": "percent"}],
    "curvature": [{}, {"kind": "profile", "spacing": 8.0}],
    "shaded_relief": [{"lights": "four"}],
    "ruggedness_index": [{}, {"kind": "riley"}],
    "arc_chord_ratio": [{}, {"window": 25.0}],
    "vector_ruggedness": [{}, {"window": 25.0}],
    "relative_position": [{}, {"outer": 60.0, "known": 0.2}, {"outer": 9.0, "shore": "mean"}],
    "relative_position_scales": [{}, {"radii": (6.0, 50.0), "result": "radius"}],
    "landforms": [{}, {"radius": 20.0, "skip": 5.0}],
}
NAMES = [place.split(":") for place in CHAPTERS["Terrain"]]
CASES = [
    pytest.param(module, name, options, id=f"{name} {options or ''}")
    for module, name in NAMES
    for options in OPTIONS.get(name, [{}])
]


def tool_of(module: str, name: str) -> Tool:
    return record(getattr(import_module(module), name))


def bits(values: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(values, np.float32).view(np.uint32)


def stacked(blocks: GridBlocks) -> np.ndarray:
    return np.vstack([block.values for block in blocks])


# ---- seams ----


@pytest.mark.parametrize(("module", "name", "options"), CASES)
@pytest.mark.parametrize("size", [(97, 101), (64, 4000)])
def test_windows_make_the_same_bits_as_the_whole(
    module: str, name: str, options: dict[str, Any], size: tuple[int, int]
) -> None:
    tool = tool_of(module, name)
    whole = tool.function(LAKE, **options)
    blocks = derived_blocks(tool, GridWindows.of(LAKE), options, size)
    assert blocks.shape == LAKE.shape
    parts = list(blocks)
    assert np.isfinite(whole.values).any()
    assert (bits(np.vstack([part.values for part in parts])) == bits(whole.values)).all()
    told = {(part.name, part.unit, part.crs, part.notes) for part in parts}
    assert told == {(whole.name, whole.unit, whole.crs, whole.notes)}
    assert [part.bounds[0] for part in parts] == [LAKE.bounds[0]] * len(parts)
    tops = [LAKE.bounds[3] - LAKE.cell * row for row in range(0, LAKE.shape[0], size[0])]
    np.testing.assert_allclose([part.bounds[3] for part in parts], tops, rtol=1e-12)


@settings(max_examples=40)
@given(
    st.sampled_from(NAMES),
    st.tuples(st.integers(5, 60), st.integers(5, 60)),
    st.tuples(st.integers(1, 70), st.integers(1, 70)),
    st.floats(0, 0.4),
    st.integers(0, 2**32 - 1),
)
def test_no_size_of_window_shows(
    place: list[str], shape: tuple[int, int], size: tuple[int, int], missing: float, seed: int
) -> None:
    random = np.random.default_rng(seed)
    values = random.normal(8, 2, shape).astype(np.float32)
    values[random.random(shape) < missing] = np.nan
    depth = Grid(values, Affine(1.3, 0, 0, 0, -1.3, 0), None, "depth", "m")
    tool = tool_of(*place)
    options = {"radius": 6.0} if tool.name == "landforms" else {}
    options |= {"outer": 7.0} if tool.name == "relative-position" else {}
    whole = tool.function(depth, **options).values
    found = stacked(derived_blocks(tool, GridWindows.of(depth), options, size))
    assert (bits(found) == bits(whole)).all()


# a wall changes the range of depths, in the steps of which rings are summed
@pytest.mark.parametrize(
    ("module", "name", "options"), [c for c in CASES if not c.id.startswith("relative_position")]
)
def test_a_window_that_reaches_less_than_declared_would_show(
    module: str, name: str, options: dict[str, Any]
) -> None:
    # what lies beyond the reach changes nothing: a wall is put there, and the kept cells stay;
    # a reach that were declared too short would let it through
    tool = tool_of(module, name)
    reach = tool.reach(LAKE, options)
    middle = (160, 130)
    walled = LAKE.values.copy()
    y, x = np.mgrid[: LAKE.shape[0], : LAKE.shape[1]]
    far = np.maximum(abs(y - middle[0]), abs(x - middle[1])) > reach
    walled[far] = 500.0
    found = tool.function(LAKE.of(walled, "depth", "m"), **options).values[middle]
    assert bits(found) == bits(tool.function(LAKE, **options).values[middle])


def test_a_window_in_memory_begins_where_it_is_asked_to() -> None:
    part = GridWindows.of(LAKE).read((10, 30), (5, 9))
    assert (bits(part.values) == bits(LAKE.values[10:30, 5:9])).all()
    left, _, _, top = LAKE.bounds
    assert part.bounds[0] == pytest.approx(left + 5 * 1.7, abs=1e-9)
    assert part.bounds[3] == pytest.approx(top - 10 * 1.7, abs=1e-9)


# ---- gridding ----


def bed(seed: int = 4) -> Tin:
    import scipy.spatial

    random = np.random.default_rng(seed)
    place = np.vstack([[[0, 0], [90, 0], [90, 70], [0, 70]], random.uniform(0, [90, 70], (80, 2))])
    triangles = scipy.spatial.Delaunay(place).simplices
    a, b, c = (place[triangles[:, corner]] for corner in range(3))
    (u, v), (s, w) = (b - a).T, (c - a).T
    turn = u * w - v * s
    triangles = np.where(turn[:, None] < 0, triangles[:, ::-1], triangles)
    keep = random.random(len(triangles)) > 0.2
    kind = np.full(len(place), 2)
    place = place + np.array([5e5, 5.2e6])
    return Tin(place, random.uniform(0, 20, len(place)), triangles[keep], kind, UTM)


@pytest.mark.parametrize("rows", [1, 32, 33, 100, 10_000])
@pytest.mark.parametrize("cell", [0.37, 1.0, None])
def test_a_bed_is_gridded_in_blocks_to_the_same_bits(rows: int, cell: float | None) -> None:
    whole = grid_bed(bed(), cell=cell)
    blocks = grid_bed_blocks(bed(), cell=cell, rows=rows)
    assert blocks.shape == whole.shape
    assert (bits(stacked(blocks)) == bits(whole.values)).all()
    assert next(iter(blocks)).transform == whole.transform
    assert {block.shape[0] % 32 for block in list(blocks)[:-1]} <= {0}


def test_blocks_of_a_bed_without_a_cell_in_the_water_are_refused() -> None:
    small = Tin(
        np.array([[0.1, 0.1], [0.2, 0.1], [0.1, 0.2]]),
        np.ones(3),
        np.array([[0, 1, 2]]),
        np.full(3, 2),
        None,
    )
    with pytest.raises(ParameterError, match="no cell centre lies in the water: cell = 1 m is too"):
        list(grid_bed_blocks(small, cell=1.0))


# ---- files ----


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("rasters") / "depth.tif"
    write_grid(lake(700, 1100), path)
    return path


def spare(amount: int) -> int:
    """Return a cap that leaves so many bytes beside what this process uses."""
    import psutil

    return int(psutil.Process().memory_info().rss) + amount


@pytest.mark.parametrize(("module", "name"), NAMES)
def test_a_file_made_in_pieces_is_the_one_made_in_one_go(
    module: str, name: str, source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tool = tool_of(module, name)
    asked: list[tuple[int, int]] = []

    def odd(*_: Any) -> tuple[int, int]:
        asked.append((301, 517))
        return asked[-1]

    monkeypatch.setattr("toolbox.blocks.rasters.window_size", odd)
    options = {"radii": (10.0, 60.0)} if name == "relative_position_scales" else {}
    depth = read_grid_windows(source)
    written = write_derived(tool, depth, options, tmp_path / "parts.tif", spare(2**30))
    whole = tool.function(read_whole(source), **options)
    write_grid(whole, tmp_path / "whole.tif")
    assert asked
    assert (written.known, written.notes) == (True, whole.notes)
    assert (tmp_path / "parts.tif").read_bytes() == (tmp_path / "whole.tif").read_bytes()
    # cell by cell by an independent reader, overviews too
    for level in ({}, {"overview_level": 0}):
        with (
            rasterio.open(tmp_path / "parts.tif", **level) as one,
            rasterio.open(tmp_path / "whole.tif", **level) as other,
        ):
            assert (bits(one.read(1)) == bits(other.read(1))).all()


def read_whole(path: Path) -> Grid:
    windows = read_grid_windows(path)
    return windows.read((0, windows.shape[0]), (0, windows.shape[1]))


def command(*words: str | Path, memory: str) -> list[str]:
    return [*map(str, words), "--memory", memory]


def test_the_command_makes_the_same_file_whatever_the_memory(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: Said
) -> None:
    taken: list[bool] = []

    def large(shape: tuple[int, int], path: Path, allowed: int) -> bool:
        taken.append(too_large(shape, path, allowed))
        return True

    words = ("landforms", source, "--radius", "20", "--out")
    assert main(command(*words, tmp_path / "whole.tif", memory="64 GiB")) == 0
    told = capfd.readouterr().err
    monkeypatch.setattr("toolbox.blocks.rasters.too_large", large)
    assert main(command(*words, tmp_path / "parts.tif", memory="64 GiB")) == 0
    assert taken == [False]
    assert capfd.readouterr().err == told
    assert "note: landform codes: 1 flat, 2 peak" in told
    assert (tmp_path / "parts.tif").read_bytes() == (tmp_path / "whole.tif").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["parts.tif", "whole.tif"]


def test_the_command_grids_a_bed_in_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_bed(bed(), tmp_path / "bed.gpkg")
    words = ("grid-bed", tmp_path / "bed.gpkg", "--cell", "0.1", "--out")
    assert main(command(*words, tmp_path / "whole.tif", memory="64 GiB")) == 0
    monkeypatch.setattr("toolbox.blocks.rasters.too_large", lambda *_: True)
    assert main(command(*words, tmp_path / "parts.tif", memory="64 GiB")) == 0
    assert (tmp_path / "parts.tif").read_bytes() == (tmp_path / "whole.tif").read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--memory", "much"], r"memory must be an amount such as '2 GiB' or '800 MB', got 'much'"),
        (["--memory", "1 MiB"], r"memory must be \d+ MiB or more, got 1 MiB"),
        (
            ["--memory", "1 MiB", "--out", "s.xyz"],
            r"700 x 1,100 cells need 0\.0229 GiB of memory, 0\.000977 GiB are allowed; a raster as "
            r"large is written as \.tif, got 's\.xyz'",
        ),
    ],
)
def test_what_memory_does_not_allow_is_told_in_a_line(
    words: list[str], said: str, source: Path, tmp_path: Path, capfd: Said
) -> None:
    os.chdir(tmp_path)
    out = [] if "--out" in words else ["--out", "s.tif"]
    assert main(["slope", str(source), *out, *words]) == 2
    assert re.fullmatch(f"leadline: {said}\n", capfd.readouterr().err)
    assert not list(tmp_path.iterdir())


def test_an_empty_raster_and_a_bad_option_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: Said
) -> None:
    write_grid(LAKE.of(np.full((9, 9), np.nan), "depth", "m"), tmp_path / "blank.tif")
    monkeypatch.setattr("toolbox.blocks.rasters.too_large", lambda *_: True)
    out = ["--out", str(tmp_path / "s.tif")]
    assert main(["slope", str(tmp_path / "blank.tif"), *out]) == 0
    assert capfd.readouterr().err == "note: no cell of the result has a value\n"
    position = ["relative-position", str(tmp_path / "blank.tif"), "--overwrite", *out]
    assert main([*position, "--outer", "1"]) == 2
    assert "outer must be at least 2.55 m (a ring 3 cells of 1.7 m" in capfd.readouterr().err


def test_a_raster_that_fits_is_not_cut(tmp_path: Path) -> None:
    assert not too_large((1000, 1000), tmp_path / "a.kmz", spare(2**27))
    assert too_large((1000, 10_000), tmp_path / "a.TIF", spare(2**27))
    with pytest.raises(TooLargeError, match=r"1,000 x 10,000 cells need 0\.298 GiB of memory"):
        too_large((1000, 10_000), tmp_path / "a.kmz", spare(2**27))


# ---- memory ----


def large_depths(rows: int, cols: int) -> Iterator[Grid]:
    """Give a wide lake, block by block, cheap to pack: waves, and land in the corners."""
    x = np.arange(cols, dtype=np.float32)
    wave = (8 + 4 * np.sin(x / 370)).round(2)
    for top in range(0, rows, 512):
        y = np.arange(top, min(top + 512, rows), dtype=np.float32)[:, None]
        depth = wave + (3 * np.cos(y / 230)).round(1)
        depth[np.hypot(x - cols / 2, y - rows / 2) > 0.49 * cols] = np.nan
        yield Grid(depth, Affine(1, 0, 5e5, 0, -1, 5.2e6 - top), UTM, "depth", "m")


MEASURED = """
import sys
from pathlib import Path
from toolbox.cli import main
code = main(sys.argv[1:])
# not ru_maxrss, in which the kernel counts the process that started this one
(peak,) = [line for line in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line]
print(peak.split()[1])
sys.exit(code)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the peak is told by Linux alone")
def test_the_cap_on_memory_is_obeyed(tmp_path: Path) -> None:
    side = 6000  # in one go: 8 layers of 137 MiB
    depths = GridBlocks(lambda: large_depths(side, side), shape=(side, side))
    write_grid_blocks(depths, tmp_path / "depth.tif")
    words = command("slope", tmp_path / "depth.tif", "--out", tmp_path / "s.tif", memory="450 MiB")
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, *words], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    assert int(done.stdout) * 1024 < 450 * 2**20
    with rasterio.open(tmp_path / "s.tif") as file:
        assert file.shape == (side, side)
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.overviews(1) == [2, 4, 8, 16]
        window = rasterio.windows.Window(2048 - 40, 1536 - 40, 80, 80)
        found = file.read(1, window=window, masked=True)
    # one part, seams of tiles in its middle, reckoned by itself
    around = read_grid_windows(tmp_path / "depth.tif").read((1490, 1582), (2002, 2094))
    alone = tool_of("toolbox.terrain.slope", "slope").function(around).values[6:-6, 6:-6]
    assert (bits(found.filled(np.nan)) == bits(alone)).all()


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
def test_slope_in_pieces_against_an_independent_program(source: Path, tmp_path: Path) -> None:
    options = {"method": "horn", "unit": "degree"}
    tool = tool_of("toolbox.terrain.slope", "slope")
    size: Callable[..., tuple[int, int]] = lambda *_: (123, 321)  # noqa: E731
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("toolbox.blocks.rasters.window_size", size)
        write_derived(tool, read_grid_windows(source), options, tmp_path / "s.tif", spare(2**30))
    made = ["gdaldem", "slope", "-q", str(source), str(tmp_path / "other.tif")]
    clean = {
        key: value for key, value in os.environ.items() if key not in ("PROJ_DATA", "PROJ_LIB")
    }
    subprocess.run(made, check=True, env=clean)
    with rasterio.open(tmp_path / "s.tif") as one, rasterio.open(tmp_path / "other.tif") as other:
        ours, theirs = one.read(1, masked=True), other.read(1, masked=True)
    both = ~theirs.mask & ~ours.mask
    assert both.sum() > 10_000
    np.testing.assert_allclose(ours[both], theirs[both], atol=2e-4)
