"""Soundings are compared with planes through those around them."""

import numpy as np
import pytest
from numpy.typing import NDArray

from toolbox.layers import Soundings
from toolbox.reduction.planes import UNLIKE, disagreement, reject_lone_outliers

Floats = NDArray[np.float64]
ONCE = np.array([1.0])


def parallel(spacing: float = 10.0, lines: int = 5) -> tuple[Floats, NDArray[np.int64]]:
    along = np.arange(0, 200, 5.0)
    place = np.concatenate(
        [np.column_stack([np.full(len(along), spacing * k), along]) for k in range(lines)]
    )
    return place, np.repeat(np.arange(lines), len(along))


def tilted(place: Floats, seed: int = 1, noise: float = 0.05) -> Floats:
    random = np.random.default_rng(seed)
    bed = 8 + 0.05 * place[:, 0] - 0.02 * place[:, 1]
    return np.asarray(bed + random.normal(0, noise, len(place)))


def test_a_plane_bed_disagrees_with_nothing() -> None:
    place, line = parallel()
    apart = disagreement(place, tilted(place), line, ONCE)[:, 0]
    inner = (line > 0) & (line < 4) & (place[:, 1] > 20) & (place[:, 1] < 180)
    assert np.isfinite(apart[inner]).all()
    assert np.abs(apart[inner]).max() < 4


def test_a_line_that_reads_too_deep_stands_out_and_its_neighbours_do_not() -> None:
    place, line = parallel()
    depth = tilted(place)
    part = (line == 2) & (place[:, 1] > 60) & (place[:, 1] < 140)
    depth[part] += 2
    apart = disagreement(place, depth, line, ONCE)[:, 0]
    assert (apart[part] > 4).all()
    # what lies between the depths of the lines around is no disagreement
    assert np.nanmax(np.abs(apart[~part])) < 4


def test_beyond_the_outermost_lines_nothing_is_extrapolated() -> None:
    place, line = parallel()
    apart = disagreement(place, tilted(place), line, ONCE)[:, 0]
    assert np.isnan(apart[(line == 0) | (line == 4)]).all()


def test_one_other_line_is_too_few() -> None:
    place, line = parallel(lines=2)
    assert np.isnan(disagreement(place, tilted(place), line, ONCE)).all()


def test_a_cliff_may_pass_anywhere_between_two_lines() -> None:
    place, line = parallel()
    step = np.where(place[:, 0] > 15, 6.0, 0.0)
    for edge in (5.0, 25.0):  # the line in the middle lies above the cliff, or below it
        step = np.where(place[:, 0] > edge, 6.0, 0.0)
        apart = disagreement(place, tilted(place) + step, line, ONCE)[:, 0]
        assert np.nanmax(np.abs(apart)) < 4


def test_multiples_are_divided_back() -> None:
    place, line = parallel()
    depth = tilted(place)
    part = (line == 2) & (place[:, 1] > 60) & (place[:, 1] < 140)
    depth[part] *= 2
    once, twice, thrice = disagreement(place, depth, line, np.array([1.0, 2.0, 3.0]))[part].T
    assert (once > 4).all()
    assert np.abs(twice).max() < 4
    assert (thrice < -4).all()


# ---- points of no line ---------------------------------------------------------------------------


def points(count: int, seed: int = 3) -> tuple[Floats, Floats]:
    random = np.random.default_rng(seed)
    place = random.uniform(0, 500, (count, 2))
    depth = 6 + 3 * np.sin(place[:, 0] / 80) + 2 * np.cos(place[:, 1] / 60)
    return place, np.asarray(depth + random.normal(0, 0.05, count))


def test_a_lone_blunder_is_found() -> None:
    place, depth = points(2000)
    wrong = np.arange(25, 2000, 100)
    depth[wrong] += np.where(np.arange(20) % 2, 3.0, -3.0)
    found = reject_lone_outliers(Soundings.from_arrays(place, depth, crs=None))
    reasons = (found.frame["reason"] == UNLIKE).to_numpy()
    assert reasons[wrong].mean() >= 0.8
    assert np.delete(reasons, wrong).mean() <= 0.005


def test_good_points_are_kept() -> None:
    place, depth = points(2000)
    found = reject_lone_outliers(Soundings.from_arrays(place, depth, crs=None))
    assert found.flag.mean() <= 0.002


def test_a_hole_that_a_second_point_saw_is_kept() -> None:
    place, depth = points(2000)
    hole = np.hypot(*(place - 250).T) < 15
    assert hole.sum() >= 3
    depth[hole] += 4
    found = reject_lone_outliers(Soundings.from_arrays(place, depth, crs=None))
    assert not found.flag[hole].any()


def test_soundings_of_a_line_are_left_to_their_line() -> None:
    place, depth = points(400)
    depth[7] += 9
    lined = Soundings.from_arrays(place, depth, crs=None, line="a", source="track")
    assert not reject_lone_outliers(lined).flag.any()


@pytest.mark.parametrize("count", [0, 1, 8, 9])
def test_few_points_cannot_be_judged(count: int) -> None:
    place, depth = points(count) if count else (np.empty((0, 2)), np.empty(0))
    found = reject_lone_outliers(Soundings.from_arrays(place, depth, crs=None))
    assert len(found) == count
    assert not found.flag.any()
