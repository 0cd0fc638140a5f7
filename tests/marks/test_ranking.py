"""Ranking: worth by hand, and marks apart from one another."""

import numpy as np
import pytest

from toolbox.marks.ranking import choose, worth
from toolbox.marks.spots import Spots


def spots(kind: list[str], east: list[float], **changes: list[float]) -> Spots:
    count = len(kind)
    columns = {"relief": [1.0] * count, "confidence": [1.0] * count} | changes
    return Spots(
        np.column_stack([east, np.zeros(count)]),
        np.array(kind),
        np.arange(count, dtype=float),
        np.array(columns["relief"]),
        np.array(columns["confidence"]),
        np.ones(count),
    )


def test_worth_by_hand() -> None:
    # derived: weight x confidence x relief / (relief + 1 m); 1 and 1 m where nobody told
    some = spots(
        ["hole", "hole", "gully", "hole"],
        [0.0] * 4,
        relief=[3.0, np.nan, 1.0, -1.0],
        confidence=[0.5, np.nan, 0.9, 1.0],
    )
    found = worth(some, {"hole": 2.0, "gully": 1.0})
    np.testing.assert_allclose(found, [2 * 0.5 * 0.75, 2 * 0.5, 0.9 * 0.5, 0])


def test_the_best_first_then_what_is_far_enough_away() -> None:
    some = spots(["hole", "gully", "hump top", "plateau edge"], [0, 4, 9.999, 10])
    which, score = choose(
        np.array([0.9, 0.8, 0.7, 0.6]),
        some,
        np.arange(4),
        np.zeros(4, int),
        None,
        count=9,
        per_peg=9,
        apart=10.0,
    )
    assert (which.tolist(), score.tolist()) == ([0, 3], [0.9, 0.6])


def test_a_second_of_its_kind_counts_less_from_the_same_peg() -> None:
    some = spots(["hole", "hole", "gully"], [0, 50, 100])
    score = np.array([1.0, 0.9, 0.6])
    one_peg = choose(
        score, some, np.arange(3), np.zeros(3, int), None, count=9, per_peg=9, apart=10.0
    )
    assert one_peg[0].tolist() == [0, 2, 1]
    assert one_peg[1].tolist() == pytest.approx([1, 0.6, 0.54])
    two_pegs = choose(
        score, some, np.arange(3), np.array([0, 1, 0]), None, count=9, per_peg=9, apart=10.0
    )
    assert two_pegs[0].tolist() == [0, 1, 2]


def test_counts_in_all_and_from_a_peg() -> None:
    some = spots(["hole"] * 6, [0, 20, 40, 60, 80, 100])
    score, peg = np.linspace(1, 0.5, 6), np.array([0, 0, 0, 1, 1, 1])
    which, _ = choose(score, some, np.arange(6), peg, None, count=9, per_peg=2, apart=10.0)
    assert sorted(which) == [0, 1, 3, 4]
    which, _ = choose(score, some, np.arange(6), peg, None, count=3, per_peg=2, apart=10.0)
    assert len(which) == 3


def test_one_spot_from_two_pegs_is_one_mark_and_none_is_none() -> None:
    some = spots(["hole"], [0])
    both = np.zeros(2, int)
    pegs = np.array([0, 1])
    which, _ = choose(np.array([0.4, 0.5]), some, both, pegs, None, count=9, per_peg=9, apart=0.0)
    assert which.tolist() == [1]
    nothing = choose(np.zeros(2), some, both, pegs, None, count=9, per_peg=9, apart=0.0)
    assert nothing[0].tolist() == []
    empty = np.empty(0, int)
    none = choose(np.empty(0), some, empty, empty, None, count=9, per_peg=9, apart=0.0)
    assert none[0].tolist() == []
