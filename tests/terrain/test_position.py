"""Relative position: closed forms, a plain reckoning, scipy's correlation, gdaldem's TPI."""

import math
import shutil
import subprocess
from pathlib import Path

import numba
import numpy as np
import pytest
import rasterio
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.ndimage import correlate

from toolbox.catalogue import record
from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.layers.grid_windows import GridWindows
from toolbox.terrain.position import relative_position, relative_position_scales


def grid(values: np.ndarray, cell: float = 1.0) -> Grid:
    return Grid(np.asarray(values, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def disc(radius: float) -> np.ndarray:
    """Octagon of whole cells nearest in area to a circle, as the docstring has it; cells."""
    wide = round(radius * math.sqrt(math.pi / 8 / math.tan(math.pi / 8)))
    y, x = np.abs(np.mgrid[-wide : wide + 1, -wide : wide + 1])
    shapes = [x + y <= wide + side for side in range(wide + 1)]
    return min(shapes, key=lambda shape: abs(shape.sum() - math.pi * radius**2))


def ring(inner: float, outer: float) -> np.ndarray:
    whole, hole = disc(outer), disc(inner)
    edge = (len(whole) - len(hole)) // 2
    return whole & ~np.pad(hole, edge)


def plain(values: np.ndarray, inner: float, outer: float, known: float) -> np.ndarray:
    """Mean of the ring's known cells less the middle one, cell by cell."""
    cells = ring(inner, outer)
    r = len(cells) // 2
    padded = np.pad(values.astype(float), r, constant_values=np.nan)
    found = np.full(values.shape, np.nan)
    for row, col in np.argwhere(np.isfinite(values)):
        around = padded[row : row + 2 * r + 1, col : col + 2 * r + 1][cells]
        around = around[np.isfinite(around)]
        if len(around) and len(around) >= known * cells.sum():
            found[row, col] = around.mean() - values[row, col]
    return found


def random_bed(shape: tuple[int, int], seed: int, missing: float = 0.0) -> np.ndarray:
    random = np.random.default_rng(seed)
    bed = random.normal(8, 3, shape).astype(np.float32)
    bed[random.random(shape) < missing] = np.nan
    return bed


# ---- sign, figures, closed forms ----


def test_a_hump_stands_above_and_a_hole_lies_below() -> None:
    x, y = np.meshgrid(np.arange(-20.0, 21), np.arange(-20.0, 21))
    hump = 8 - 3 * np.exp(-(x**2 + y**2) / 18)
    assert relative_position(grid(hump), inner=8, outer=12).values[20, 20] == pytest.approx(3, 0.02)
    hole = relative_position(grid(16 - hump), inner=8, outer=12)
    assert hole.values[20, 20] == pytest.approx(-3, rel=0.02)


def test_on_the_grid_of_jenness() -> None:
    # elevations of Jenness 2004, Wildlife Society Bulletin 32:829; centre less the mean of its
    # eight neighbours is +2.5 (derived); taken for depths the sign turns
    elevation = np.array([[190, 170, 155], [183, 165, 145], [175, 160, 122]], float)
    found = relative_position(grid(-elevation, 100.0), inner=0, outer=150)
    assert found.values[1, 1] == pytest.approx(2.5, abs=1e-5)


@pytest.mark.parametrize(("inner", "outer"), [(0, 1.5), (3, 7), (0, 12)])
@pytest.mark.parametrize("level", [0.0, 212.4])
def test_a_plane_is_level_with_its_surroundings(inner: float, outer: float, level: float) -> None:
    x, y = np.meshgrid(np.arange(40.0), np.arange(40.0))
    found = relative_position(grid(level + 0.3 * x - 0.2 * y), inner=inner, outer=outer, known=1)
    inside = slice(12, -12)
    np.testing.assert_allclose(found.values[inside, inside], 0, atol=3e-5)


@pytest.mark.parametrize(("inner", "outer"), [(0, 1.5), (2, 6), (6, 14)])
def test_a_paraboloid_stands_out_alike_everywhere(inner: float, outer: float) -> None:
    # the mean of k r^2 over a symmetric ring is k times its mean square radius more (derived)
    x, y = np.meshgrid(np.arange(-25.0, 26), np.arange(-25.0, 26))
    cells = ring(inner, outer)
    r = len(cells) // 2
    away = np.argwhere(cells) - r
    exact = 0.01 * (away**2).sum(axis=1).mean()
    found = relative_position(grid(0.01 * (x**2 + y**2)), inner=inner, outer=outer, known=1)
    np.testing.assert_allclose(found.values[r:-r, r:-r], exact, rtol=1e-4)


@pytest.mark.parametrize("radius", [4, 10, 25, 50.5])
def test_a_disc_is_a_disc(radius: float) -> None:
    # its mean square distance is that of a circle, half the squared radius, within 1.5 % and cells
    cells = disc(radius)
    away = (np.argwhere(cells) - len(cells) // 2).astype(float)
    assert (away**2).sum(axis=1).mean() == pytest.approx(radius**2 / 2, rel=0.015 + 0.6 / radius)
    assert np.hypot(*away.T).max() < 1.06 * radius + 1
    assert cells.sum() == pytest.approx(math.pi * radius**2, rel=0.6 / radius)


# ---- at the shore ----


def kidney(side: int) -> np.ndarray:
    """Tell where a water with a bay, an island and a straight shore lies."""
    y, x = np.mgrid[0:side, 0:side] / side - 0.5
    wet = (np.hypot(x, y) < 0.47) & (x > -0.3) & (np.hypot(x - 0.5, y) > 0.2)
    return np.asarray(wet & (np.hypot(x - 0.05, y + 0.2) > 0.05))


@pytest.mark.parametrize(("inner", "outer"), [(0, 1.5), (3, 7), (10, 20), (0, 24), (25, 50)])
def test_a_plane_is_level_to_the_very_shore(inner: float, outer: float) -> None:
    # derived: the plane of least squares through points of a plane is that plane
    x, y = np.meshgrid(np.arange(160.0), np.arange(160.0))
    bed = np.where(kidney(160), 30 + 0.2 * x - 0.1 * y, np.nan)
    found = relative_position(grid(bed), inner=inner, outer=outer, known=0.3).values
    assert np.isfinite(found).sum() > 0.8 * np.isfinite(bed).sum()
    np.testing.assert_allclose(found[np.isfinite(found)], 0, atol=1e-5)


def test_the_mean_makes_a_rise_of_a_falling_bank() -> None:
    # derived: about the middle of a half disc of radius r the mean lies 4 r / (3 pi) off
    x, _ = np.meshgrid(np.arange(80.0), np.arange(80.0))
    bank = grid(1 + 0.1 * x)
    mean = relative_position(bank, inner=0, outer=20, shore="mean").values[40, 0]
    assert mean == pytest.approx(0.1 * 4 * 20 / (3 * np.pi), rel=0.05)
    assert abs(relative_position(bank, inner=0, outer=20).values[40, 0]) < 1e-5


@pytest.mark.parametrize(("inner", "outer"), [(0, 1.5), (1, 2), (2.5, 6), (6, 14)])
def test_planes_through_cut_rings_agree_with_numpys_least_squares(
    inner: float, outer: float
) -> None:
    bed = np.where(kidney(40), random_bed((40, 40), 9, 0.1), np.nan).astype(np.float32)
    cells = ring(inner, outer)
    r = len(cells) // 2
    padded = np.pad(bed.astype(float), r, constant_values=np.nan)
    dy, dx = np.argwhere(cells).T - r
    found = relative_position(grid(bed), inner=inner, outer=outer, known=0.4).values
    for row, col in np.argwhere(np.isfinite(found)):
        around = padded[row + r + dy, col + r + dx]
        wet = np.isfinite(around)
        sides = np.column_stack([np.ones(wet.sum()), dx[wet], dy[wet]])
        plane = np.linalg.lstsq(sides, around[wet], rcond=None)[0]
        assert found[row, col] == pytest.approx(plane[0] - bed[row, col], abs=1e-5)


def test_a_hump_by_the_shore_stands_out_as_one_in_the_open() -> None:
    x, y = np.meshgrid(np.arange(120.0), np.arange(120.0))
    fall = 1 + 0.15 * x

    def height(east: int) -> float:
        hump = np.exp(-((x - east) ** 2 + (y - 60) ** 2) / (2 * 3**2))
        return float(relative_position(grid(fall - hump), inner=8, outer=16).values[60, east])

    assert height(60) == pytest.approx(1, abs=0.02)
    assert height(6) == pytest.approx(height(60), abs=0.05)


def test_in_a_strip_one_cell_wide_the_plane_is_a_line() -> None:
    strip = np.full((15, 15), np.nan)
    strip[7] = 2 + 0.5 * np.arange(15)
    np.testing.assert_allclose(
        relative_position(grid(strip), inner=0, outer=4, known=0.01).values[7], 0, atol=1e-5
    )
    slanting = np.where(np.eye(15) > 0, np.arange(15.0), np.nan)
    found = relative_position(grid(slanting), inner=0, outer=4, known=0.01).values
    np.testing.assert_allclose(np.diag(found), 0, atol=1e-5)


# ---- independent reckonings ----


@pytest.mark.parametrize("missing", [0.0, 0.3, 0.9])
@pytest.mark.parametrize(
    ("inner", "outer"), [(0, 1.5), (1, 2), (0, 3), (2.5, 6), (5, 11.3), (3, 40)]
)
def test_random_beds_agree_with_a_plain_reckoning(
    inner: float, outer: float, missing: float
) -> None:
    for shape in ((19, 26), (1, 7), (31, 2)):
        bed = random_bed(shape, 1, missing)
        depth = grid(bed)
        found = relative_position(depth, inner=inner, outer=outer, known=0.2, shore="mean").values
        np.testing.assert_allclose(found, plain(bed, inner, outer, 0.2), rtol=1e-5, atol=2e-6)


@pytest.mark.parametrize("shape", [(2700, 60), (60, 4300)])
def test_large_grids_agree_with_scipy_across_the_pieces_they_are_cut_into(
    shape: tuple[int, int],
) -> None:
    bed = random_bed(shape, 2)
    cells = ring(5, 10)
    r = len(cells) // 2
    mean = correlate(bed.astype(float), cells / cells.sum(), mode="constant")
    found = relative_position(grid(bed), inner=5, outer=10, known=1).values
    exact = (mean - bed)[r:-r, r:-r]
    np.testing.assert_allclose(found[r:-r, r:-r], exact, rtol=1e-5, atol=5e-6)
    assert np.isnan(found[: r - 1]).all()


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
def test_an_independent_program_gives_the_same_for_three_by_three(tmp_path: Path) -> None:
    bed = random_bed((70, 90), 3)
    bed[30:45, 20:40] = np.nan
    source, target = tmp_path / "depth.tif", tmp_path / "tpi.tif"
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 70, "width": 90}
    place = {"transform": Affine(2, 0, 5e5, 0, -2, 5e6), "crs": "EPSG:32633", "nodata": -9999.0}
    with rasterio.open(source, "w", **profile, **place) as file:
        file.write(np.nan_to_num(bed, nan=-9999.0), 1)
    subprocess.run(["gdaldem", "TPI", "-q", source, target], check=True, timeout=60, env={})
    with rasterio.open(target) as file:
        other = file.read(1, masked=True).astype(float).filled(np.nan)
    found = relative_position(grid(bed, 2.0), inner=0, outer=3).values
    inside = np.isfinite(other)
    assert inside.sum() > 5000
    np.testing.assert_allclose(found[inside], -other[inside], rtol=0, atol=1e-5)


@pytest.mark.parametrize("level", [0.0, 1800.0])
def test_nothing_is_lost_on_top_of_a_high_level(level: float) -> None:
    bed = (random_bed((60, 60), 4) / 8).astype(float)
    whole = (level + bed).astype(np.float32)
    found = relative_position(grid(whole), inner=4, outer=9, shore="mean").values
    np.testing.assert_allclose(found, plain(whole, 4, 9, 0.5), rtol=1e-5, atol=1e-6)


# ---- symmetry, threads, missing cells ----

masks = arrays(bool, st.tuples(st.integers(1, 12), st.integers(1, 12)))


@settings(max_examples=25, deadline=None)
@given(masks, st.integers(0, 2**32 - 1), st.integers(0, 3), st.booleans())
def test_turned_mirrored_and_negated_beds(
    mask: np.ndarray, seed: int, turns: int, mirrored: bool
) -> None:
    bed = np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)

    def moved(array: np.ndarray) -> np.ndarray:
        return np.rot90(array[:, ::-1] if mirrored else array, turns)

    def position(array: np.ndarray) -> np.ndarray:
        return relative_position(grid(array), inner=1, outer=4, known=0.1).values

    found = position(bed)
    np.testing.assert_allclose(position(moved(bed)), moved(found), atol=2e-6)
    np.testing.assert_allclose(position(-bed), -found, atol=2e-6)
    np.testing.assert_allclose(position(bed + 5), found, atol=5e-6)


def test_the_number_of_threads_does_not_matter() -> None:
    depth = grid(random_bed((2700, 300), 5, 0.1))
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = relative_position(depth, outer=20).values
    finally:
        numba.set_num_threads(before)
    np.testing.assert_array_equal(one, relative_position(depth, outer=20).values)


def test_a_cell_whose_ring_is_mostly_dry_stays_empty() -> None:
    # at a straight shore just over half of a ring is water; at the corner about a quarter
    bed = np.full((40, 40), 3.0)
    found = relative_position(grid(bed), inner=0, outer=10).values
    assert found[20, 0] == 0
    assert np.isnan(found[0, 0])
    assert np.isfinite(relative_position(grid(bed), inner=0, outer=10, known=0.2).values).all()
    assert np.isnan(relative_position(grid(bed), inner=0, outer=10, known=0.7).values[20, 0])


def test_a_water_of_one_cell_or_none_has_no_surroundings() -> None:
    bed = np.full((9, 9), np.nan)
    assert np.isnan(relative_position(grid(bed), outer=3).values).all()
    bed[4, 4] = 2.0
    assert np.isnan(relative_position(grid(bed), outer=3).values).all()


# ---- several radii ----


def bumps() -> tuple[np.ndarray, np.ndarray]:
    """Return a bed with a narrow and a wide hump of one height, and how high each stands."""
    x, y = np.meshgrid(np.arange(160.0), np.arange(120.0))
    narrow = np.exp(-((x - 35) ** 2 + (y - 60) ** 2) / (2 * 3**2))
    wide = np.exp(-((x - 105) ** 2 + (y - 60) ** 2) / (2 * 12**2))
    return 9 - 2 * narrow - 2 * wide, 2 * narrow + 2 * wide


def test_the_radius_found_grows_with_the_hump() -> None:
    depth = grid(bumps()[0])
    radius = relative_position_scales(depth, radii=(5, 10, 20, 40), result="radius").values
    position = relative_position_scales(depth, radii=(5, 10, 20, 40)).values
    assert radius[60, 105] > radius[60, 35]
    assert position[60, 35] > 3
    assert position[60, 105] > 2


def test_several_radii_give_the_greatest_of_each_over_its_spread() -> None:
    depth = grid(random_bed((50, 60), 6, 0.2))
    radii = (12.0, 3.0, 6.0)
    each = np.stack([relative_position(depth, outer=r).values for r in sorted(radii)])
    each = each / np.sqrt(np.nanmean(each.astype(float) ** 2, axis=(1, 2)))[:, None, None]
    known = np.isfinite(each).any(axis=0)
    best = np.abs(np.nan_to_num(each, nan=0.0)).argmax(axis=0)
    exact = np.take_along_axis(each, best[None], axis=0)[0]
    found = relative_position_scales(depth, radii=radii)
    np.testing.assert_allclose(found.values[known], exact[known], rtol=1e-5)
    assert np.isnan(found.values[~known]).all()
    where = relative_position_scales(depth, radii=radii, result="radius")
    np.testing.assert_array_equal(where.values[known], np.sort(radii)[best][known])
    assert (found.name, found.unit) == ("standardised_position", "1")
    assert (where.name, where.unit) == ("position_radius", "m")


def test_the_usual_radii_double_from_three_cells() -> None:
    depth = grid(random_bed((100, 130), 7), 2.0)
    for result in ("position", "radius"):
        usual = relative_position_scales(depth, known=0.2, result=result).values
        same = relative_position_scales(
            depth, radii=(6, 12, 24, 48), known=0.2, result=result
        ).values
        np.testing.assert_array_equal(usual, same)
    assert set(np.unique(usual)) == {6, 12, 24, 48}


def test_a_level_bed_has_no_spread_to_divide_by() -> None:
    level = grid(np.full((20, 20), 4.0))
    assert (relative_position_scales(level, radii=(3, 6), known=0.1).values == 0).all()
    assert (
        relative_position_scales(level, radii=(3, 6), known=0.1, result="radius").values == 3
    ).all()


# ---- what is refused, what is said ----


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            {"outer": 2.9},
            r"outer must be at least 3 m \(a ring 3 cells of 2 m across\), got 2\.9",
        ),
        (
            {"outer": 2001.0},
            r"outer must be at most 2000 m \(1000 cells of 2 m\), got 2001",
        ),
        (
            {"outer": 10.0, "inner": 8.5},
            r"inner must be at least a cell of 2 m less than outer 10, got 8\.5",
        ),
    ],
)
def test_rings_that_cannot_be_are_refused(options: dict[str, float], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        relative_position(grid(np.zeros((9, 9)), 2.0), **options)


def test_radii_that_cannot_be_are_refused_by_their_name() -> None:
    with pytest.raises(ParameterError, match=r"^radii must be at least 3 m .*, got 0\.5$"):
        relative_position_scales(grid(np.zeros((9, 9)), 2.0), radii=(0.5,))


def test_the_usual_ring_fits_any_cell() -> None:
    bed = random_bed((30, 30), 8)
    for cell, inner, outer in ((2.0, 20, 40), (25.0, 50, 100)):
        usual = relative_position(grid(bed, cell))
        same = relative_position(grid(bed, cell), inner=inner, outer=outer)
        np.testing.assert_array_equal(usual.values, same.values)
        assert (usual.name, usual.unit) == ("relative_position", "m")


# ---- far rasters ----


def test_radii_left_out_stay_within_the_widest_ring() -> None:
    # 3 cells and its doubles up to 1,000: 768, whose octagon is 748 wide, and a tile less a cell
    def unread(*_: object) -> Grid:
        raise AssertionError

    large = GridWindows((20_000, 30_000), Affine(1, 0, 0, 0, -1, 0), unread)
    assert record(relative_position_scales).reach(large, {}) == 748 + 127
