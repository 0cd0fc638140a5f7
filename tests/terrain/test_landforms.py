"""Landforms by line of sight: surfaces of known form, a plain reckoning, symmetry."""

import math
from collections.abc import Callable

import numba
import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.terrain.landforms import FORMS, landforms

Surface = Callable[[np.ndarray, np.ndarray], np.ndarray]

# Jasiewicz & Stepinski 2013, Geomorphology 182:147, fig. 4 (from memory): forms by directions that
# fall (down, 0 to 8) and rise (across, 0 to 8)
PAPER = """
flat flat flat footslope footslope valley valley valley pit
flat flat footslope footslope footslope valley valley valley
flat shoulder slope slope hollow hollow valley
shoulder shoulder slope slope slope hollow
shoulder shoulder spur slope slope
ridge ridge spur spur
ridge ridge ridge
ridge ridge
peak
"""
BY_COUNTS = {
    (fall, rise): FORMS[name]
    for fall, line in enumerate(PAPER.split("\n")[1:-1])
    for rise, name in enumerate(line.split())
}
OPPOSITE = {
    "flat": "flat",
    "peak": "pit",
    "ridge": "valley",
    "shoulder": "footslope",
    "spur": "hollow",
    "slope": "slope",
}
NEGATED = np.zeros(11, int)
for one, other in OPPOSITE.items():
    NEGATED[[FORMS[one], FORMS[other]]] = FORMS[other], FORMS[one]


def grid(depth: np.ndarray, cell: float = 1.0) -> Grid:
    return Grid(np.asarray(depth, float), Affine(cell, 0, 0, 0, -cell, 0), None, "depth", "m")


def at_middle(height: Surface, cell: float = 1.0) -> int:
    """Form in the middle of a bed whose height is given over places around the origin."""
    step = np.arange(-6.0, 7.0) * cell
    found = landforms(grid(-height(*np.meshgrid(step, -step)), cell), radius=5 * cell)
    return int(found.values[6, 6])


# ---- surfaces whose form is plain (derived) ----

HEIGHTS: dict[str, Surface] = {
    "flat": lambda x, y: 0.001 * x,
    "peak": lambda x, y: -0.3 * np.hypot(x, y),
    "ridge": lambda x, y: -0.3 * abs(x),
    "shoulder": lambda x, y: -0.3 * np.maximum(x, 0),
    "spur": lambda x, y: 0.4 * y - 0.2 * abs(x),
    "slope": lambda x, y: 0.3 * x,
    "hollow": lambda x, y: 0.4 * y + 0.2 * abs(x),
    "footslope": lambda x, y: 0.3 * np.maximum(x, 0),
    "valley": lambda x, y: 0.3 * abs(x),
    "pit": lambda x, y: 0.3 * np.hypot(x, y),
}


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("cell", [0.5, 1.0, 20.0])
def test_each_form_is_known_on_a_surface_that_is_it(name: str, cell: float) -> None:
    assert at_middle(HEIGHTS[name], cell) == FORMS[name]


def test_codes_follow_the_order_of_the_paper() -> None:
    # Jasiewicz & Stepinski 2013, fig. 3 (from memory)
    assert list(FORMS) == list(HEIGHTS)
    assert list(FORMS.values()) == list(range(1, 11))


def test_a_hump_of_a_bed_is_a_peak_and_a_hole_a_pit() -> None:
    x, y = np.meshgrid(np.arange(-20.0, 21), np.arange(-20.0, 21))
    hump = 8 - 3 * np.exp(-(x**2 + y**2) / 30)  # depths: shoalest in the middle
    assert landforms(grid(hump), radius=12).values[20, 20] == FORMS["peak"]
    assert landforms(grid(16 - hump), radius=12).values[20, 20] == FORMS["pit"]


def test_flatness_is_the_difference_of_zenith_and_nadir() -> None:
    # an even slope of 3 degrees has its zenith at 93 and its nadir at 87 downhill; where it is only
    # one cell that lies lower, the zenith stays at 90 (derived)
    tangent = math.tan(math.radians(3))
    ramp = np.tile(np.arange(21.0) * tangent, (21, 1))
    bump = np.zeros((21, 21))
    bump[[9, 11, 10, 10], [10, 10, 9, 11]] = tangent
    for bed, angle, name in ((ramp, 6, "slope"), (bump, 3, "shoulder")):
        level = landforms(grid(bed), radius=8, flatness=angle + 0.01)
        assert level.values[10, 10] == FORMS["flat"]
        strict = landforms(grid(bed), radius=8, flatness=angle * 0.7)
        assert strict.values[10, 10] == FORMS[name]


def test_the_radius_is_the_same_distance_slanting() -> None:
    # a wall 8 cells off in the diagonal direction lies 11.3 m away (derived)
    bed = np.full((25, 25), 5.0)
    bed[20, 20] = bed[4, 4] = bed[4, 20] = bed[20, 4] = 0.0
    assert landforms(grid(bed), radius=11.2).values[12, 12] == FORMS["flat"]
    assert landforms(grid(bed), radius=11.4).values[12, 12] == BY_COUNTS[0, 4]


def test_skip_passes_over_what_is_near() -> None:
    bed = np.full((25, 25), 5.0)
    bed[11:14, 11:14] = 4.9
    bed[12, 12] = 5.0
    assert landforms(grid(bed), radius=8).values[12, 12] == FORMS["pit"]
    assert landforms(grid(bed), radius=8, skip=1.5).values[12, 12] == FORMS["flat"]


# ---- at the shore ----


@settings(max_examples=100, deadline=None)
@given(
    arrays(bool, st.tuples(st.integers(2, 9), st.integers(2, 9))),
    st.floats(0.1, 2),
    st.floats(0, 2 * math.pi),
)
def test_a_slope_is_never_a_crest_or_a_hole_at_any_shore(
    mask: np.ndarray, steep: float, facing: float
) -> None:
    x, y = np.meshgrid(np.arange(mask.shape[1]), np.arange(mask.shape[0]))
    plane = steep * (x * math.cos(facing) + y * math.sin(facing))
    found = landforms(grid(np.where(mask, plane, np.nan)), radius=4).values
    np.testing.assert_array_equal(np.isfinite(found), mask)
    # as many directions rise as fall: flat, slope or hollow-spur's middle, never the others
    assert set(np.unique(found[mask])) <= {FORMS["flat"], FORMS["slope"]}


def test_sight_ends_at_an_island() -> None:
    bed = np.full((9, 21), 5.0)
    bed[:, 10] = np.nan
    bed[:, 11:] = 0.0
    assert (landforms(grid(bed), radius=8).values[:, :10] == FORMS["flat"]).all()


# ---- a plain reckoning of the definition ----


def seen(bed: np.ndarray, row: int, col: int, down: int, right: int, options: dict) -> int | None:
    """+1 rises, -1 falls, 0 level, None: nothing in sight."""
    angles = []
    k = 1
    while k * math.hypot(down, right) * options["cell"] <= options["radius"] + 1e-9:
        i, j = row + k * down, col + k * right
        if not (0 <= i < bed.shape[0] and 0 <= j < bed.shape[1]) or np.isnan(bed[i, j]):
            break
        away = k * math.hypot(down, right) * options["cell"]
        # the kernel takes skip in whole cells along each kind of line, as it does radius
        if away > options["skip"] + 1e-9:
            angles.append(math.degrees(math.atan2(bed[row, col] - bed[i, j], away)))
        k += 1
    if not angles:
        return None
    zenith, nadir = 90 - max(angles), 90 + min(angles)
    if abs(nadir - zenith) <= options["flatness"]:
        return 0
    return 1 if nadir > zenith else -1


def form(bed: np.ndarray, row: int, col: int, options: dict) -> int:
    fall = rise = 0
    for down, right in ((0, 1), (1, 1), (1, 0), (1, -1)):
        fore = seen(bed, row, col, down, right, options)
        back = seen(bed, row, col, -down, -right, options)
        if fore is None:
            fore = -back if back is not None else 0
        if back is None:
            back = -fore
        rise += (fore > 0) + (back > 0)
        fall += (fore < 0) + (back < 0)
    return BY_COUNTS[fall, rise]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("radius", "skip", "flatness"), [(3, 0, 1), (13, 0, 4), (14, 5, 20)])
def test_random_beds_agree_with_the_definition(
    seed: int, radius: float, skip: float, flatness: float
) -> None:
    random = np.random.default_rng(seed)
    bed = (random.normal(0, 1, (22, 27)) * 10.0 ** random.integers(-2, 2)).astype(np.float32)
    bed[random.random(bed.shape) < 0.1 * seed] = np.nan
    cell = 2.0
    options = {"cell": cell, "radius": radius, "skip": skip, "flatness": flatness}
    found = landforms(grid(bed, cell), radius=radius, skip=skip, flatness=flatness).values
    exact = bed.astype(float)
    for row, col in np.ndindex(bed.shape):
        if np.isnan(bed[row, col]):
            assert np.isnan(found[row, col])
        else:
            assert found[row, col] == form(exact, row, col, options), (row, col)


# ---- symmetry ----

shapes = st.tuples(st.integers(1, 12), st.integers(1, 12))


def random_bed(mask: np.ndarray, seed: int) -> np.ndarray:
    return np.where(mask, np.random.default_rng(seed).normal(0, 1, mask.shape), np.nan)


@settings(max_examples=60, deadline=None)
@given(arrays(bool, shapes), st.integers(0, 2**32 - 1), st.integers(0, 3), st.booleans())
def test_turned_and_mirrored_beds_have_turned_and_mirrored_forms(
    mask: np.ndarray, seed: int, turns: int, mirrored: bool
) -> None:
    bed = random_bed(mask, seed)

    def moved(array: np.ndarray) -> np.ndarray:
        return np.rot90(array[:, ::-1] if mirrored else array, turns)

    found = landforms(grid(bed), radius=5).values
    np.testing.assert_array_equal(landforms(grid(moved(bed)), radius=5).values, moved(found))


@settings(max_examples=60, deadline=None)
@given(arrays(bool, shapes), st.integers(0, 2**32 - 1))
def test_a_bed_turned_upside_down_swaps_peaks_and_pits(mask: np.ndarray, seed: int) -> None:
    bed = random_bed(mask, seed)
    found, under = (landforms(grid(b), radius=5).values for b in (bed, -bed))
    known = np.isfinite(found)
    np.testing.assert_array_equal(known, mask)
    np.testing.assert_array_equal(under[known], NEGATED[found[known].astype(int)])


def test_the_number_of_threads_does_not_matter() -> None:
    bed = grid(np.random.default_rng(1).normal(size=(60, 90)))
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = landforms(bed, radius=9).values
    finally:
        numba.set_num_threads(before)
    np.testing.assert_array_equal(one, landforms(bed, radius=9).values)


# ---- what is refused, what is said ----


def test_a_radius_below_a_window_of_three_cells_is_refused() -> None:
    with pytest.raises(
        ParameterError,
        match=r"radius must be at least 2\.828 m \(a window 3 cells of 2 m across, corners "
        r"included\), got 2",
    ):
        landforms(grid(np.zeros((9, 9)), 2.0), radius=2.0)


def test_skipping_all_there_is_is_refused() -> None:
    with pytest.raises(
        ParameterError,
        match=r"skip must be at least 1\.414 m \(a cell of 1 m, slanting\) less than radius 5, "
        r"got 4",
    ):
        landforms(grid(np.zeros((9, 9))), radius=5, skip=4)


def test_the_grid_tells_its_codes() -> None:
    depth = grid(np.zeros((3, 3)), 20.0)
    found = landforms(depth)
    assert (found.name, found.unit, found.transform) == ("landforms", "1", depth.transform)
    assert found.notes == (
        "landform codes: 1 flat, 2 peak, 3 ridge, 4 shoulder, 5 spur, 6 slope, 7 hollow, "
        "8 footslope, 9 valley, 10 pit",
    )
