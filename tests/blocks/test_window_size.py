"""Windows fit into the memory allowed, and read little twice."""

import re

import psutil
import pytest
from affine import Affine

from toolbox.blocks.memory import raster_memory
from toolbox.blocks.window_size import window_size
from toolbox.catalogue import record
from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.layers.grid_windows import GridWindows, Span
from toolbox.terrain.landforms import landforms
from toolbox.terrain.position import relative_position
from toolbox.terrain.slope import slope
from toolbox.terrain.surface import arc_chord_ratio, vector_ruggedness

MIB = 2**20


def unread(rows: Span, cols: Span) -> Grid:
    raise AssertionError((rows, cols))


def raster(rows: int, cols: int) -> GridWindows:
    return GridWindows((rows, cols), Affine(1, 0, 0, 0, -1, 0), unread)


def allowed(amount: int) -> int:
    return int(psutil.Process().memory_info().rss) + amount


@pytest.mark.parametrize("room", [60, 150, 400, 2000])
@pytest.mark.parametrize(
    ("tool", "options"),
    [
        (slope, {}),
        (landforms, {"radius": 300.0}),
        (relative_position, {"outer": 400.0}),
        (arc_chord_ratio, {"window": 101.0}),
        (vector_ruggedness, {"window": 101.0}),
    ],
)
def test_what_a_window_takes_fits(tool: object, options: dict[str, float], room: int) -> None:
    found, depth = record(tool), raster(30_000, 12_000)  # type: ignore[arg-type]
    try:
        rows, cols = window_size(found, depth, options, allowed(room * MIB), 0)
    except ParameterError:
        assert found is not slope.tool or room < 40  # type: ignore[attr-defined]
        return
    reach = found.reach(depth, options)
    wide = min(rows + 2 * reach, 30_000), min(cols + 2 * reach, 12_000)
    held = raster_memory(wide, layers=3) + found.workspace(depth, wide, options)
    assert held + raster_memory((rows, 12_000), layers=2) < room * MIB
    assert rows % 512 == 0 or rows < 512


def test_with_memory_enough_whole_rows_of_whole_tiles_are_taken() -> None:
    rows, cols = window_size(record(slope), raster(40_000, 40_000), {}, allowed(800 * MIB), 0)
    assert (rows, cols) == (512, 40_000)


def test_far_reach_takes_taller_windows() -> None:
    depth, room = raster(20_000, 20_000), allowed(3000 * MIB)
    rows, cols = window_size(record(landforms), depth, {"radius": 900.0}, room, 0)
    reach = 900
    assert (rows + 2 * reach) * min(cols + 2 * reach, 20_000) < 3 * rows * cols
    assert rows > 512


def test_a_small_raster_is_one_window() -> None:
    assert window_size(record(slope), raster(30, 20), {}, allowed(99 * MIB), 0) == (30, 20)


def test_too_little_memory_says_what_would_do() -> None:
    depth, options = raster(30_000, 30_000), {"outer": 900.0}
    tool = record(relative_position)
    with pytest.raises(ParameterError, match=r"^memory must be \d+ MiB or more, got ") as raised:
        window_size(tool, depth, options, allowed(20 * MIB), 0)
    least = int(re.findall(r"\d+", str(raised.value))[0])
    assert window_size(tool, depth, options, (least + 8) * MIB, 0)[0] >= 32
