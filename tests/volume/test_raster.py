"""Areas and volumes of rasters are exact for the way their cells are read."""

from dataclasses import replace
from typing import Any, Literal

import numba
import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from scipy.integrate import quad

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks, row_blocks
from toolbox.notes import Caution
from toolbox.volume.raster import Reading, area_and_volume_of_blocks, hypsography_of_grid

READINGS: tuple[Reading, ...] = ("stepped", "bilinear")


def grid(values: Any, cell: float = 2.0, crs: CRS | None = None) -> Grid:
    return Grid(np.asarray(values), Affine(cell, 0, 5e5, 0, -cell, 5e6), crs, "depth", "m")


def measured(
    depth: Grid, levels: Any, reading: Reading, rows: int = 512
) -> tuple[np.ndarray, np.ndarray]:
    return area_and_volume_of_blocks(
        row_blocks(depth, rows=rows), np.array(levels), reading=reading
    )


def rough(seed: int, shape: tuple[int, int] = (9, 7)) -> Grid:
    rng = np.random.default_rng(seed)
    values = rng.integers(-8, 40, shape) / 4  # many ties
    return grid(np.where(rng.random(shape) < 0.15, np.nan, values))


# ---- boxes ----


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 9))
def test_boxes_are_counted(seed: int, rows: int) -> None:
    # derived: the sum over cells, one by one
    depth, levels = rough(seed), [-2.0, 0.0, 0.25, 3.1, 9.75, 11.0]
    area, volume = measured(depth, levels, "stepped", rows)
    values = depth.values[~np.isnan(depth.values)].astype(float)
    for level, found, held in zip(levels, area, volume, strict=True):
        assert found == 4 * (values >= np.float32(level)).sum()
        exact = 4 * np.maximum(values - float(np.float32(level)), 0).sum()
        assert held == pytest.approx(exact, rel=1e-12, abs=1e-9)


def test_a_cell_as_deep_as_a_level_counts() -> None:
    # 0.7 in 32 bits is less than 0.7 in 64
    area, _ = measured(grid(np.full((2, 2), 0.7, np.float32)), [0.7], "stepped")
    assert area[0] == 16


# ---- between centres ----


def numeric(a: float, b: float, c: float, d: float, level: float) -> tuple[float, float]:
    """Area and volume of one bilinear patch by an adaptive quadrature of its cross-sections."""

    def section(u: float, moment: bool) -> float:
        p, q = a + (b - a) * u - level, c + (d - c) * u - level
        if p < q:
            p, q = q, p
        if p <= 0:
            return 0.0
        if q >= 0:
            return (p + q) / 2 if moment else 1.0
        return p * p / (2 * (p - q)) if moment else p / (p - q)

    cuts = [x / (x - y) for x, y in ((a - level, b - level), (c - level, d - level)) if x * y < 0]
    found = [
        quad(section, 0, 1, args=(moment,), points=cuts or None, epsabs=1e-13, limit=200)[0]
        for moment in (False, True)
    ]
    return found[0], found[1]


corner = st.one_of(st.floats(-5, 5, width=16), st.sampled_from([0.0, 1.0, -1.0]))


@settings(max_examples=150, deadline=None)
@given(corner, corner, corner, corner, st.sampled_from([0.0, 0.5, -1.0]))
def test_one_patch_is_its_integral(a: float, b: float, c: float, d: float, level: float) -> None:
    # an independent quadrature; the four quarters of the rim lie level and are taken off
    if a == b == c == d == level:
        return
    depth = grid([[a, b], [c, d]], cell=1.0)
    area, volume = measured(depth, [level], "bilinear")
    corners = np.array([a, b, c, d])
    rim = 0.75 * (corners >= level).sum(), 0.75 * np.maximum(corners - level, 0).sum()
    exact_area, exact_volume = numeric(a, b, c, d, level)
    # where a whole side lies at the level, it counts or not: no area
    assert area[0] - rim[0] == pytest.approx(exact_area, abs=1e-9)
    assert volume[0] - rim[1] == pytest.approx(exact_volume, abs=1e-10)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 9), st.sampled_from(READINGS))
def test_blocks_do_not_matter(
    seed: int, rows: int, reading: Literal["stepped", "bilinear"]
) -> None:
    levels = np.linspace(-3, 11, 30)
    whole = measured(rough(seed), levels, reading)
    parts = measured(rough(seed), levels, reading, rows)
    for one, other in zip(whole, parts, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-12, atol=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(READINGS), st.integers(1, 3), st.booleans())
def test_turned_and_mirrored_rasters_measure_the_same(
    seed: int, reading: Reading, turns: int, mirrored: bool
) -> None:
    depth, levels = rough(seed), np.linspace(-3, 11, 30)
    values = np.rot90(depth.values, turns)
    other = grid(values[:, ::-1] if mirrored else values)
    for one, two in zip(
        measured(depth, levels, reading), measured(other, levels, reading), strict=True
    ):
        np.testing.assert_allclose(one, two, rtol=1e-9, atol=1e-7)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(READINGS))
def test_the_volume_is_the_integral_of_the_area(seed: int, reading: Reading) -> None:
    # derived: between two levels the volume lies between the height times either area
    levels = np.linspace(-3, 11, 141)
    area, volume = measured(rough(seed), levels, reading)
    assert (np.diff(area) <= 1e-9).all()
    step, slack = np.diff(levels.astype(np.float32).astype(float)), 1e-9 * volume[0]
    assert (-np.diff(volume) <= step * area[:-1] + slack).all()
    assert (-np.diff(volume) >= step * area[1:] - slack).all()


def test_a_plane_is_exact_but_for_its_rim() -> None:
    # derived: depth 1 m per column; the level at 5.25 m cuts the patches from column 5 on
    values = np.tile(np.arange(11.0), (6, 1))
    area, volume = measured(grid(values, cell=1.0), [5.25], "bilinear")
    halves = np.arange(6, 11) - 5.25  # depth of the columns below it
    between = 5 * 4.75, 5 * 4.75**2 / 2
    # half cells beyond the first and the last row, and beyond the last column
    ends, side = (2 * 0.5 * 5, 2 * 0.5 * halves.sum()), (5 * 0.5, 5 * 0.5 * 4.75)
    assert area[0] == pytest.approx(between[0] + ends[0] + side[0], rel=1e-12)
    assert volume[0] == pytest.approx(between[1] + ends[1] + side[1], rel=1e-12)


def test_both_readings_have_all_cells_and_all_water() -> None:
    # derived: at a level above every cell, the mean of a patch is that of its corners
    depth = replace(rough(3), values=np.abs(rough(3).values))
    (boxes, water), (patches, held) = (measured(depth, [0.0], reading) for reading in READINGS)
    assert patches[0] == pytest.approx(boxes[0], rel=1e-12)
    assert held[0] == pytest.approx(water[0], rel=1e-12)


@pytest.mark.parametrize("reading", READINGS)
def test_a_paraboloid_comes_nearer_as_cells_shrink(reading: Reading) -> None:
    # derived: pi R^2 z / 2 in all, and (1 - z / zm) of the area at a depth
    off = []
    for count in (40, 80, 160):
        centre = (np.arange(count) + 0.5) / count * 2 - 1
        values = 10 * (1 - np.add.outer(centre**2, centre**2))
        depth = grid(np.where(values > 0, values, np.nan), cell=1000 / count)
        area, volume = measured(depth, [2.5], reading)
        whole = np.pi * 500**2
        off.append((abs(area[0] / whole / 0.75 - 1), abs(volume[0] / whole / (5 * 0.75**2) - 1)))
    assert off[-1][0] < (2e-3 if reading == "stepped" else 2e-4)
    assert off[-1][1] < 2e-4
    assert off[-1][1] < off[0][1] / 4


def test_areas_are_those_on_the_ground() -> None:
    # Snyder 1987, Map Projections, USGS Prof. Paper 1395, p. 57: scale 0.9996 on UTM's meridian
    values = np.full((40, 50), 3.0)
    for reading in READINGS:
        area, volume = measured(grid(values, 10, CRS(32633)), [0.0], reading, 7)
        assert area[0] == pytest.approx(2000 * 100 / 0.9996**2, rel=1e-6)
        assert volume[0] == pytest.approx(3 * area[0], rel=1e-12)


def test_ground_areas_are_those_of_a_bed() -> None:
    # across a whole zone the scale changes by 0.3 %: against the quadrature over triangles
    from toolbox.layers import Tin

    corners = np.array([[3e5, 5e6], [7e5, 5e6], [7e5, 5.1e6], [3e5, 5.1e6]])
    bed = Tin(corners, np.ones(4), np.array([[0, 1, 2], [0, 2, 3]]), np.full(4, 2), CRS(32633))
    fine = [[bed.vertices[0] + [x * 1e4, y * 1e4] for x in range(41)] for y in range(11)]
    node = np.arange(41 * 11).reshape(11, 41)
    a, b, c, d = node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]
    triangles = np.vstack([np.stack(t, axis=2).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    places = np.array(fine).reshape(-1, 2)
    bed = Tin(places, np.ones(len(places)), triangles, np.full(len(places), 2), CRS(32633))
    cells = Grid(np.ones((100, 400)), Affine(1e3, 0, 3e5, 0, -1e3, 5.1e6), CRS(32633), "depth", "m")
    for reading in READINGS:
        area, _ = measured(cells, [0.0], reading, 13)
        assert area[0] == pytest.approx(bed.ground_areas().sum(), rel=1e-6)


def test_figures_are_the_same_bits_whatever_the_number_of_threads() -> None:
    depth, levels, bits = rough(5, (70, 90)), np.linspace(-3, 11, 200), []
    before = numba.get_num_threads()
    try:
        for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
            numba.set_num_threads(threads)
            parts = [part.tobytes() for r in READINGS for part in measured(depth, levels, r, 16)]
            bits.append(b"".join(parts))
    finally:
        numba.set_num_threads(before)
    assert bits[0] == bits[1]


def test_memory_is_that_of_a_block() -> None:
    import tracemalloc

    def blocks() -> Any:
        for start in range(0, 4000, 50):
            place = Affine(1, 0, 0, 0, -1, 4000 - start)
            yield Grid(np.full((50, 1000), 2.0, np.float32), place, None, "depth", "m")

    area_and_volume_of_blocks(row_blocks(grid([[1.0, 2.0]])), np.zeros(1))  # compiled
    tracemalloc.start()
    area, volume = area_and_volume_of_blocks(blocks(), np.array([0.0, 1.0]))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert area.tolist() == [4e6, 4e6]
    assert volume.tolist() == [8e6, 4e6]
    assert peak < 2e6  # the whole would take 16e6 bytes


# ---- the table ----


def test_table_is_like_that_of_a_bed() -> None:
    depth = GridBlocks.of(replace(grid([[1.0, 2.0], [np.nan, 4.0]]), notes=("as sounded",)))
    table = hypsography_of_grid(depth, reading="stepped", datum=100)
    frame = hypsography_of_grid(depth, reading="stepped", levels=(0.0, 2.0), datum=100).frame
    assert table.frame["depth_m"].iloc[[0, -1]].tolist() == [0, 4]
    assert frame["elevation_m"].tolist() == [100, 98]
    assert frame["area_m2"].tolist() == [12, 8]
    assert frame["volume_below_m3"].tolist() == [28, 8]
    assert frame["volume_above_m3"].tolist() == [0, 20]
    assert frame["area_share"].tolist() == [1, 8 / 12]
    assert table.notes[0] == "as sounded"
    assert table.notes[-1] == "cells of 2 m, read stepped"


@pytest.mark.parametrize("reading", READINGS)
@pytest.mark.parametrize("seed", range(5))
def test_rounding_leaves_no_negative_water(reading: Reading, seed: int) -> None:
    values = np.random.default_rng(seed).random((40, 30)).round(2) * 30.97
    frame = hypsography_of_grid(GridBlocks.of(grid(values)), reading=reading, step=0.5).frame
    assert (frame[["area_m2", "volume_below_m3"]].to_numpy() >= 0).all()
    assert frame["volume_below_m3"].iloc[-1] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("reading", READINGS)
@pytest.mark.parametrize("rows", [1, 2, 5])
def test_table_is_the_same_by_any_blocks(reading: Reading, rows: int) -> None:
    whole = hypsography_of_grid(GridBlocks.of(rough(3)), reading=reading).frame
    parts = hypsography_of_grid(GridBlocks.of(rough(3), rows=rows), reading=reading).frame
    # derived: the same cells, summed in another order
    np.testing.assert_allclose(parts.to_numpy(), whole.to_numpy(), rtol=1e-12, atol=1e-9)


def test_land_written_as_zero_is_told() -> None:
    # derived: of 100 cells 94 hold water; of 5 or fewer in 100 at 0 m nothing is said
    values = np.full((10, 10), 3.0)
    values.flat[:6] = 0.0
    table = hypsography_of_grid(GridBlocks.of(grid(values)), reading="stepped", levels=(0.0, 1.0))
    assert table.frame["area_m2"].tolist() == [400.0, 376.0]
    assert isinstance(table.notes[-1], Caution)
    assert table.notes[-1].startswith("6% of the cells are exactly 0 m deep and count to the area")
    values.flat[0] = np.nan
    values.flat[1] = 3.0
    few = hypsography_of_grid(GridBlocks.of(grid(values)), reading="stepped", levels=(0.0, 1.0))
    assert not any(isinstance(note, Caution) for note in few.notes)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"step": 1.0, "levels": (1.0,)}, r"^give step or levels, not both$"),
        ({"levels": ()}, r"^levels must name at least one depth, got none$"),
        ({"reading": "cubic"}, r"^reading must be one of 'stepped', 'bilinear', got 'cubic'$"),
    ],
)
def test_refusals(options: dict[str, Any], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        hypsography_of_grid(GridBlocks.of(grid([[1.0]])), **options)


@pytest.mark.parametrize("values", [[[np.nan]], [[-1.0, 0.0]]])
def test_a_raster_without_water_is_refused(values: Any) -> None:
    message = r"^the raster is nowhere deeper than the datum, there is no water in it$"
    with pytest.raises(LayerError, match=message):
        hypsography_of_grid(GridBlocks.of(grid(values)))
