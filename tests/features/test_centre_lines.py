"""Lines follow high scores, bridge weak stretches, and end where they lose. Derived."""

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

from toolbox.features.centre_lines import along, centre_lines, evenly, joined, normals, ways
from toolbox.features.kernels.scores import clear


def ridge(gap: tuple[int, int] | None = None, *, faint: float = 0.1) -> np.ndarray:
    """Return a score of 1 along row 20, columns 10 to 90, that falls off to both sides."""
    row, col = np.mgrid[:41, :101]
    score = np.maximum(1 - abs(row - 20) / 4, 0) * ((col >= 10) & (col <= 90))
    if gap is not None:
        score[:, gap[0] : gap[1]] *= faint
    return np.where(score > 0, score, np.nan)


def test_a_line_runs_along_the_ridge() -> None:
    (line,) = centre_lines(ridge(), 0.1, 0.5, least=10, reach=6)
    assert sorted(line[[0, -1], 1]) == [10, 90]
    assert np.abs(line[5:-5, 0] - 20).max() <= 1


def test_a_short_weak_stretch_is_bridged_and_a_long_one_is_not() -> None:
    assert len(centre_lines(ridge((40, 55)), 0.01, 0.5, least=10, reach=6)) == 1
    # 60 cells that lose a third each are more than 8 that gain 1.65 each; the rest is asked anew
    halves = centre_lines(ridge((22, 82), faint=0.02), 0.001, 0.5, least=5, reach=6)
    assert len(halves) == 2
    assert max(along(line) for line in halves) < 40


def test_scores_that_are_never_high_have_no_line() -> None:
    assert centre_lines(0.4 * ridge(), 0.1, 0.5, least=10, reach=6) == []


def test_lines_are_joined_across_gaps_but_not_round_corners() -> None:
    east = np.column_stack([np.arange(0.0, 41), np.zeros(41)])
    beyond, aside = east + np.array([50, 2]), east[:, ::-1] + np.array([45, 0])
    assert len(joined([east, beyond], 15)) == 1
    assert len(joined([east, beyond], 8)) == 2
    assert len(joined([east, aside], 15)) == 2
    (whole,) = joined([beyond[::-1], east], 15)
    assert along(whole) == pytest.approx(80 + np.hypot(10, 2))


def test_the_shortest_gap_is_bridged_first_and_of_like_ones_that_of_the_first_lines() -> None:
    east = np.column_stack([np.arange(0.0, 41), np.zeros(41)])
    near, far = east + np.array([46, 4]), east + np.array([48, -4])
    for lines in ([east, far, near], [near, east, far], [far, near, east]):
        left, joint = joined(lines, 15)
        assert (left[0] == far[0]).all()  # the joint comes last
        assert {tuple(joint[0]), tuple(joint[-1])} == {(0.0, 0.0), (86.0, 4.0)}
    as_far = far + np.array([-2, 0])
    left, joint = joined([east, as_far, near], 15)
    assert (left[0] == near[0]).all()


def test_many_pieces_of_one_line_become_one_whatever_their_order() -> None:
    random = np.random.default_rng(5)
    way = np.column_stack([np.arange(600.0), 20 * np.sin(np.arange(600) / 60)])
    pieces = [way[k + 2 : k + 18] for k in range(0, 600, 20)]
    mixed = [pieces[k][:: random.choice([-1, 1])] for k in random.permutation(len(pieces))]
    (whole,) = joined(mixed, 10)
    whole = whole if whole[0, 0] < whole[-1, 0] else whole[::-1]
    np.testing.assert_array_equal(whole, np.vstack(pieces))


@pytest.mark.parametrize("reach", [1.0, 3.7, 6.0])
def test_cells_are_cleared_up_to_their_distance(reach: float) -> None:
    # scipy's exact Euclidean distance transform
    random = np.random.default_rng(4)
    mask, taken = random.random((60, 80)) < 0.6, random.random((60, 80)) < 0.01
    wanted = mask & (distance_transform_edt(~taken) > reach)
    clear(mask, taken, reach)
    np.testing.assert_array_equal(mask, wanted)


def test_a_line_that_nearly_meets_itself_is_closed() -> None:
    turn = np.radians(np.arange(0, 350))
    (ring,) = joined([30 * np.column_stack([np.cos(turn), np.sin(turn)])], 10)
    assert (ring[0] == ring[-1]).all()


def test_even_steps_keep_ends_and_straight_lines() -> None:
    line = np.array([[0.0, 0], [1, 0], [7, 0], [30, 0]])
    even = evenly(line, 2.0, blur=4.0)
    np.testing.assert_allclose(even[[0, -1]], line[[0, -1]], atol=1e-9)
    np.testing.assert_allclose(even[:, 1], 0, atol=1e-12)
    np.testing.assert_allclose(np.diff(even[:, 0]), 2.0, rtol=0.05)


def test_normals_point_left() -> None:
    north = np.column_stack([np.zeros(5), np.arange(5.0)])
    np.testing.assert_allclose(normals(north), [[-1, 0]] * 5, atol=1e-12)


def test_distances_grow_by_a_third_from_end_to_end() -> None:
    far = ways(2.0, 20.0)
    assert (far[0], far[-1]) == (2.0, pytest.approx(20.0))
    assert (np.diff(np.log(far)) <= np.log(1.35) + 1e-9).all()
    assert ways(5.0, 3.0).tolist() == [5.0]
