"""Where lines cross or come near: the same as general libraries find."""

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from toolbox.layers import Soundings
from toolbox.reduction.meetings import meetings, near_meetings
from toolbox.reduction.stretches import Stretches, along_lines

Floats = NDArray[np.float64]

ORIGIN = np.array([512_345.6, 5_304_321.9])


def lines_of(place: Floats, line: NDArray[np.int64], step: float = np.inf) -> Stretches:
    depth = np.full(len(place), 5.0)
    given = Soundings.from_arrays(place, depth, crs=None, line=line.astype(str), source="track")
    return along_lines(given, max_step=step)


def wander(seed: int, count: int = 600, turn: float = 0.4) -> Floats:
    random = np.random.default_rng(seed)
    heading = np.cumsum(random.normal(0, turn, count))
    step = random.exponential(1.5, count)[:, None]
    return np.cumsum(step * np.column_stack([np.sin(heading), np.cos(heading)]), axis=0)


def crossed(lines: Stretches) -> set[tuple[int, int]]:
    """Return the pieces of two lines that cross, found by a tree of shapes (independent)."""
    piece = lines.pieces()
    ends = np.stack([lines.coordinates[piece], lines.coordinates[piece + 1]], axis=1)
    shapes = shapely.linestrings(ends)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="crosses")
    pairs = np.column_stack([piece[one], piece[other]])
    of_two = lines.line[pairs[:, 0]] < lines.line[pairs[:, 1]]
    return set(map(tuple, pairs[of_two].tolist()))


@pytest.mark.parametrize("origin", [np.zeros(2), ORIGIN])
@pytest.mark.parametrize("seed", range(6))
def test_crossings_are_those_that_a_tree_of_shapes_finds(seed: int, origin: Floats) -> None:
    parts = [wander(seed) + origin, wander(seed + 100) + origin, wander(seed, 40, 0.0) * 5 + origin]
    line = np.repeat(np.arange(3), [len(part) for part in parts])
    lines = lines_of(np.concatenate(parts), line)
    found = meetings(lines, 25.0)
    two = lines.line[found.from_a] != lines.line[found.from_b]
    wanted = crossed(lines)
    assert wanted
    assert set(zip(found.from_a[two].tolist(), found.from_b[two].tolist(), strict=True)) == wanted
    np.testing.assert_allclose(
        found.at_a(lines.coordinates), found.at_b(lines.coordinates), rtol=0, atol=1e-6
    )


def test_a_long_piece_far_from_the_rest_is_met() -> None:
    short = np.column_stack([np.arange(3000.0), 0.01 * np.arange(3000.0)])
    long = np.array([[1500.3, -4e5], [1500.3, 4e5]])
    lines = lines_of(np.concatenate([short, long]), np.repeat([0, 1], [3000, 2]))
    found = meetings(lines, 25.0)
    assert found.from_a.tolist() == [1500]
    assert found.along_a == pytest.approx(0.3)


def test_a_crossing_at_a_sounding_counts_once() -> None:
    place = np.array([[-2, 0], [-1, 0], [0, 0], [1, 0], [0, -2], [0, -1], [0, 0], [0, 1]], float)
    assert len(meetings(lines_of(place, np.repeat([0, 1], 4)), 25.0)) == 1


def test_parallel_and_still_lines_do_not_cross() -> None:
    place = np.array([[0, 0], [5, 0], [5, 0], [9, 0], [2, 0], [7, 0], [7, 0], [8, 0]], float)
    assert len(meetings(lines_of(place, np.repeat([0, 1], 4)), 25.0)) == 0
    assert len(meetings(lines_of(np.zeros((6, 2)), np.repeat([0, 1], 3)), 25.0)) == 0


@pytest.mark.parametrize("within", [0.7, 3.0, 60.0])
@pytest.mark.parametrize("seed", range(4))
def test_near_soundings_are_those_that_a_search_tree_finds(seed: int, within: float) -> None:
    place = np.random.default_rng(seed).uniform(0, 60, (500, 2)).round(1) + ORIGIN
    line = np.random.default_rng(seed + 50).integers(0, 4, 500)
    lines = lines_of(place, line)
    wanted = set()
    trees = [(number, cKDTree(lines.coordinates[lines.line == number])) for number in range(4)]
    rows = [np.flatnonzero(lines.line == number) for number in range(4)]
    for a, tree in trees:
        for b in range(a + 1, 4):
            away, there = tree.query(lines.coordinates[rows[b]])
            back = trees[b][1].query(lines.coordinates[rows[a]])[1]
            mutual = (back[there] == np.arange(len(rows[b]))) & (away <= within)
            pairs = np.column_stack([rows[a][there], rows[b]])[mutual]
            wanted |= set(map(tuple, pairs.tolist()))
    found = near_meetings(lines, within)
    near = set(zip(found.from_a.tolist(), found.from_b.tolist(), strict=True))
    assert len(wanted) >= 10
    # places are noted to a decimetre: of two that lie equally near either may be taken
    assert len(near & wanted) >= 0.9 * len(wanted)
    away = np.hypot(*(lines.coordinates[found.from_a] - lines.coordinates[found.from_b]).T)
    assert away.max() <= within


def test_nothing_is_near_nothing() -> None:
    assert len(near_meetings(lines_of(np.empty((0, 2)), np.empty(0, int)), 3.0)) == 0
    assert len(meetings(lines_of(np.empty((0, 2)), np.empty(0, int)), 3.0)) == 0
