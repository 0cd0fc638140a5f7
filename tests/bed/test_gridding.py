"""Grids agree with an independent library, leave no gap, and do not depend on the threads."""

import re
from collections import namedtuple

import numba
import numpy as np
import psutil
import pytest
import scipy.spatial
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.tri import LinearTriInterpolator, Triangulation

from toolbox.bed import kernels
from toolbox.bed.gridding import default_cell, grid_bed
from toolbox.errors import ParameterError, TooLargeError
from toolbox.layers import Grid, Tin


def bed_of(vertices: np.ndarray, depth: np.ndarray, triangles: np.ndarray) -> Tin:
    a, b, c = (vertices[triangles[:, corner]] for corner in range(3))
    u, v = b - a, c - a
    doubled = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    triangles = np.where(doubled[:, None] < 0, triangles[:, ::-1], triangles)
    kind = np.full(len(depth), 2)
    return Tin(vertices, depth, triangles[np.abs(doubled) > 1e-9], kind, None)


def rectangle(seed: int, count: int = 200, *, east: float = 0, north: float = 0) -> Tin:
    """Triangulate random points over a rectangle of 60 m by 40 m, its corners included."""
    random = np.random.default_rng(seed)
    corners = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)
    place = np.vstack([corners, random.uniform([0, 0], [60, 40], (count, 2))])
    triangles = scipy.spatial.Delaunay(place).simplices
    return bed_of(place + np.array([east, north]), random.uniform(0, 20, len(place)), triangles)


def centres(grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    left, _, _, top = grid.bounds
    rows, cols = grid.shape
    return np.meshgrid(
        left + (np.arange(cols) + 0.5) * grid.cell, top - (np.arange(rows) + 0.5) * grid.cell
    )


# ---- against an independent library ----


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.23, 0.5, 1.0, 1.7, 3.0]), st.floats(-1e4, 1e4))
def test_same_cells_and_values_as_an_independent_library(
    seed: int, cell: float, east: float
) -> None:
    # a random mesh with a third of its triangles taken out, so that it has holes and a ragged rim
    whole = rectangle(seed, 60, east=east)
    keep = np.random.default_rng(seed).random(len(whole.triangles)) > 0.33
    bed = Tin(whole.vertices, whole.depth, whole.triangles[keep], whole.kind, None)
    grid = grid_bed(bed, cell=cell)
    net = Triangulation(bed.vertices[:, 0], bed.vertices[:, 1], bed.triangles)
    other = np.ma.filled(LinearTriInterpolator(net, bed.depth)(*centres(grid)), np.nan)
    decided = ~_near_an_edge(bed, grid)
    np.testing.assert_array_equal(np.isnan(grid.values)[decided], np.isnan(other)[decided])
    both = np.isfinite(grid.values) & np.isfinite(other)
    assert both.any() or cell > 1.5
    np.testing.assert_allclose(grid.values[both], other[both], atol=1e-5)


def _near_an_edge(bed: Tin, grid: Grid) -> np.ndarray:
    """Cells whose centre lies within a hair of the rim, where either answer is right."""
    import shapely

    rim = shapely.multilinestrings(bed.vertices[bed.boundary()])
    return np.asarray(shapely.distance(rim, shapely.points(*centres(grid))) < 1e-9)


def test_values_never_leave_the_range_of_their_triangle() -> None:
    # tall depths at large coordinates, and slivers, where careless arithmetic overshoots
    bed = rectangle(1, 400, east=4.5e5, north=6.1e6)
    grid = grid_bed(bed, cell=0.25)
    net = Triangulation(*(bed.vertices - bed.vertices.min(axis=0)).T, bed.triangles)
    easting, northing = centres(grid)
    shift = bed.vertices.min(axis=0)
    triangle = net.get_trifinder()(easting - shift[0], northing - shift[1])
    known = np.isfinite(grid.values) & (triangle >= 0)
    assert known.mean() > 0.99
    corners = bed.depth[bed.triangles[triangle[known]]]
    found = grid.values[known].astype(float)
    excess = np.maximum(corners.min(axis=1) - found, found - corners.max(axis=1))
    # a centre on an edge may be either neighbour's; float32 rounds 20 m to 1e-6
    assert (excess > 2e-6).mean() < 1e-4
    assert excess.max() < 1e-3
    assert bed.depth.min() - 1e-6 <= np.nanmin(grid.values)
    assert np.nanmax(grid.values) <= bed.depth.max() + 1e-6


def test_planes_are_exact() -> None:
    bed = rectangle(2)
    plane = Tin(
        bed.vertices,
        bed.vertices @ np.array([0.3, -0.2]) + 10,
        bed.triangles,
        bed.kind,
        None,
    )
    grid = grid_bed(plane, cell=0.5)
    easting, northing = centres(grid)
    np.testing.assert_allclose(grid.values, 0.3 * easting - 0.2 * northing + 10, atol=1e-5)


# ---- neither gap nor overlap ----


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.5, 1.0, 2.0]))
def test_every_centre_in_a_rectangle_gets_a_value(seed: int, cell: float) -> None:
    # points on whole and half metres, so that many edges run through cell centres
    random = np.random.default_rng(seed)
    corners = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)
    place = np.unique(
        np.vstack([corners, np.round(random.uniform(0, [60, 40], (150, 2)) * 4) / 4]), axis=0
    )
    triangles = scipy.spatial.Delaunay(place).simplices
    grid = grid_bed(bed_of(place, random.uniform(0, 9, len(place)), triangles), cell=cell)
    assert grid.shape == (40 / cell, 60 / cell)
    assert np.isfinite(grid.values).all()


@pytest.mark.parametrize("on_centres", [False, True])
def test_every_centre_is_written_exactly_once(on_centres: bool) -> None:
    # each triangle alone, gridded on the same cells: the counts must add up to one everywhere,
    # also where vertices and edges run through centres
    bed = rectangle(3, 60)
    if on_centres:
        inner = np.unique(np.floor(bed.vertices[4:]), axis=0) + 0.5
        place = np.vstack([bed.vertices[:4], inner])
        triangles = scipy.spatial.Delaunay(place).simplices
        bed = bed_of(place, np.arange(len(place), dtype=float), triangles)
    cell, rows, cols = 1.0, 40, 60
    count = np.zeros((rows, cols), int)
    for triangle in bed.triangles:
        alone = np.full((rows, cols), np.nan, np.float32)
        one = triangle[None].astype(np.int32)
        bands = kernels.sort_into_bands(bed.vertices[:, 1], one, 40.0, cell, rows)
        kernels.fill(bed.vertices, bed.depth, one, *bands, 0.0, 40.0, cell, alone)
        count += np.isfinite(alone)
    assert (count == 1).all()


@pytest.mark.parametrize("cell", [0.05, 0.1, 0.2, 0.3, 0.5, 1.0])
@pytest.mark.parametrize("north", [0.0, 1_234_567.0, 5_399_999.9])
def test_level_edges_that_run_along_a_row_of_centres_leave_no_gap(
    cell: float, north: float
) -> None:
    # soundings on a regular net whose rows coincide with cell centres, as from an older raster
    first = np.floor(north / cell)
    northing = np.repeat((first + np.arange(40) + 0.5) * cell, 2)
    easting = np.tile([0.0, 5.0], 40)
    here = 2 * np.arange(39)
    lower = np.column_stack([here, here + 1, here + 3])
    upper = np.column_stack([here, here + 3, here + 2])
    vertices = np.column_stack([easting, northing])
    bed = Tin(vertices, northing - north, np.vstack([lower, upper]), np.full(80, 2), None)
    empty = np.isnan(grid_bed(bed, cell=cell).values).all(axis=1)
    assert not empty[1:-1].any()


def test_shifted_grids_agree() -> None:
    # a bed moved by whole cells gives the same cells; moved by half a cell it gives the depths
    # halfway between their centres, here by an independent library
    bed = rectangle(4)
    here = grid_bed(bed, cell=0.5).values
    moved = Tin(bed.vertices + np.array([128, 256]), bed.depth, bed.triangles, bed.kind, None)
    there = grid_bed(moved, cell=0.5).values
    np.testing.assert_array_equal(np.isnan(there), np.isnan(here))
    np.testing.assert_allclose(there, here, atol=1e-5)
    moved = Tin(bed.vertices + np.array([0.25, 0]), bed.depth, bed.triangles, bed.kind, None)
    between = grid_bed(moved, cell=0.5).values
    net = Triangulation(bed.vertices[:, 0], bed.vertices[:, 1], bed.triangles)
    easting, northing = np.meshgrid(np.arange(0, 60.5, 0.5), np.arange(39.75, 0, -0.5))
    other = np.ma.filled(LinearTriInterpolator(net, bed.depth)(easting, northing), np.nan)
    assert between.shape == other.shape
    np.testing.assert_allclose(between[:, 1:-1], other[:, 1:-1], atol=1e-5)


# ---- alignment ----


@settings(max_examples=50, deadline=None)
@given(st.floats(-1e5, 1e6), st.floats(-1e5, 7e6), st.sampled_from([0.1, 0.25, 0.3, 1.0, 2.0, 5.0]))
def test_cell_edges_lie_on_whole_multiples_of_the_cell(
    east: float, north: float, cell: float
) -> None:
    bed = rectangle(5, 20, east=east, north=north)
    grid = grid_bed(bed, cell=cell)
    for edge in grid.bounds:
        assert edge / cell == pytest.approx(round(edge / cell), abs=1e-6)
    low, high = bed.vertices.min(axis=0), bed.vertices.max(axis=0)
    left, bottom, right, top = grid.bounds
    hair = 1e-8
    assert left - hair <= low[0] < left + cell + hair
    assert bottom - hair <= low[1] < bottom + cell + hair
    assert right - cell - hair < high[0] <= right + hair
    assert top - cell - hair < high[1] <= top + hair


def test_overlapping_beds_share_cells() -> None:
    whole = rectangle(6, 100)
    west = whole.vertices[whole.triangles].mean(axis=1)[:, 0] < 35
    east = whole.vertices[whole.triangles].mean(axis=1)[:, 0] > 25
    one, other = (grid_bed(_compact(whole, part), cell=0.7) for part in (west, east))
    shift = (other.bounds[0] - one.bounds[0]) / 0.7, (one.bounds[3] - other.bounds[3]) / 0.7
    assert np.allclose(shift, np.round(shift), atol=1e-6)
    col, row = (round(value) for value in shift)
    placed = np.full((80, 120), np.nan)
    placed[10 : 10 + one.shape[0], : one.shape[1]] = one.values
    again = np.full((80, 120), np.nan)
    again[10 + row : 10 + row + other.shape[0], col : col + other.shape[1]] = other.values
    both = np.isfinite(placed) & np.isfinite(again)
    assert both.sum() > 100
    np.testing.assert_allclose(placed[both], again[both], atol=1e-5)


def _compact(bed: Tin, keep: np.ndarray) -> Tin:
    used, triangles = np.unique(bed.triangles[keep], return_inverse=True)
    return Tin(bed.vertices[used], bed.depth[used], triangles.reshape(-1, 3), bed.kind[used], None)


# ---- threads, cells, memory ----


def test_the_same_bits_whatever_the_number_of_threads() -> None:
    bed = rectangle(7, 3000)
    before = numba.get_num_threads()
    grids = []
    try:
        for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
            numba.set_num_threads(threads)
            grids.append(grid_bed(bed, cell=0.1).values.tobytes())
    finally:
        numba.set_num_threads(before)
    assert grids[0] == grids[1]


def test_rows_beyond_one_band_are_filled() -> None:
    bed = rectangle(8)
    grid = grid_bed(bed, cell=0.2)
    assert grid.shape[0] > 3 * kernels.BAND
    assert np.isfinite(grid.values).all()


@pytest.mark.parametrize(
    ("width", "count", "cell"), [(100, 400, 2.0), (100, 100, 5.0), (1000, 10_000, 5.0)]
)
def test_default_cell_is_half_the_spacing_of_vertices(
    width: float, count: int, cell: float
) -> None:
    # a regular net: spacing about width / sqrt(count); half of it, rounded down to 1, 2 or 5
    side = int(np.sqrt(count))
    place = np.stack(np.meshgrid(*[np.linspace(0, width, side)] * 2), axis=-1).reshape(-1, 2)
    bed = bed_of(place, np.ones(count), scipy.spatial.Delaunay(place).simplices)
    assert default_cell(bed) == cell
    assert grid_bed(bed).cell == cell


def test_the_grid_says_what_it_is() -> None:
    grid = grid_bed(rectangle(9), cell=1.0)
    assert (grid.name, grid.unit, grid.crs) == ("depth", "m", None)
    assert grid.values.dtype == np.float32
    assert grid.bounds == (0, 0, 60, 40)


def test_cells_so_wide_that_none_lies_in_the_water_are_refused() -> None:
    message = r"^no cell centre lies in the water: cell = 500 m is too wide$"
    with pytest.raises(ParameterError, match=message):
        grid_bed(rectangle(10), cell=500.0)


@pytest.mark.parametrize("cell", [1e-12, 5e-324])
def test_cells_too_fine_to_count_are_refused(cell: float) -> None:
    message = rf"^cell = {cell:g} m is too fine for a water 60 m long$"
    with pytest.raises(TooLargeError, match=message):
        grid_bed(rectangle(10), cell=cell)


def test_a_grid_that_does_not_fit_is_refused_with_a_cell_that_does(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    memory = namedtuple("memory", "available")
    monkeypatch.setattr(psutil, "virtual_memory", lambda: memory(1_000_000))
    bed = rectangle(11)
    message = (
        r"^cell = 0\.01 m makes 4,000 x 6,000 cells, which need 0 GiB; 0\.0 GiB are free; "
        r"cell = ([\d.]+) m would fit$"
    )
    with pytest.raises(TooLargeError, match=message) as refused:
        grid_bed(bed, cell=0.01)
    suggestion = float(re.fullmatch(message, str(refused.value))[1])  # type: ignore[index]
    assert isinstance(refused.value, MemoryError)
    assert grid_bed(bed, cell=suggestion).cell == suggestion
    smaller = suggestion / 2.5  # the next smaller number of 1, 2 and 5 times a power of ten
    with pytest.raises(TooLargeError, match=r"would fit$"):
        grid_bed(bed, cell=smaller)


@pytest.mark.parametrize(
    ("cell", "message"),
    [
        (0.0, r"^cell must be > 0 m, got 0\.0$"),
        (-1.0, r"^cell must be > 0 m, got -1\.0$"),
        (np.nan, r"^cell must be > 0 m, got nan$"),
        (np.inf, r"^cell must be > 0 m, got inf$"),
        ("1", r"^cell must be a number \(> 0 m\), got '1'$"),
    ],
)
def test_cells_that_are_refused(cell: float, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        grid_bed(rectangle(12), cell=cell)
