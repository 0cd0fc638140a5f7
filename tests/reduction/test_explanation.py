"""Runs are called what leaves the least of a survey unexplained."""

from itertools import pairwise, product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.reduction.explanation import CONTRADICTION, ONSET, SIGN, WRONG, Evidence, explain

CALLS = 4


def evidence(
    lines: list[int],
    against: list[tuple[int, int]],
    agree: list[tuple[int, int]] = [],  # noqa: B006
) -> Evidence:
    """Build runs that contradict, or agree with, each other, with nothing else to go by."""
    line = np.array(lines)
    alone = np.tile([0.0, 0.1, 0.1, 0.1], (len(line), 1))
    pair = np.array([*against, *agree], int).reshape(-1, 2)
    points = np.full((len(pair), CALLS, CALLS), CONTRADICTION)
    points[:, WRONG, :] = points[:, :, WRONG] = 0.0
    points[len(against) :, 0, 0] = 0.0
    points[len(against) :, WRONG, 0] = points[len(against) :, 0, WRONG] = CONTRADICTION
    onset = ONSET[:, None] + ONSET
    onward = np.where(np.eye(CALLS, dtype=bool), 0.0, onset)
    same = (line[1:] == line[:-1])[:, None, None]
    return Evidence(line, alone, pair, points, np.where(same, onward, onset))


def test_without_contradictions_all_is_bed() -> None:
    assert explain(evidence([0, 1, 2], [], [(0, 1), (1, 2)])).tolist() == [0, 0, 0]


def test_one_contradiction_flags_neither() -> None:
    assert explain(evidence([0, 1], [(0, 1)])).tolist() == [0, 0]


def test_what_two_others_contradict_is_wrong() -> None:
    assert explain(evidence([0, 1, 2], [(0, 1), (0, 2)])).tolist() == [WRONG, 0, 0]


def test_as_many_that_agree_keep_it() -> None:
    assert not explain(evidence([0, 1, 2, 3], [(0, 1), (0, 2)], [(0, 3)])).any()


def test_the_majority_counts() -> None:
    against = [(0, 1), (0, 2), (0, 3), (0, 4)]
    assert explain(evidence([0, 1, 2, 3, 4, 5], against, [(0, 5)]))[0] == WRONG
    assert not explain(evidence([0, 1, 2, 3, 4, 5], against[:2], [(0, 4), (0, 5)])).any()


def test_of_two_that_are_even_neither_is_called_wrong() -> None:
    found = evidence([0, 1], [(0, 1)])
    found.alone[:, WRONG] -= SIGN  # both end with the leap back of the one they begin with
    assert not explain(found).any()
    found.alone[0, WRONG] -= 1.0
    assert explain(found).tolist() == [WRONG, 0]


def test_two_wrong_runs_that_meet_are_not_even() -> None:
    against = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3)]
    assert explain(evidence([0, 1, 2, 3], against, [(2, 3)])).tolist() == [WRONG, WRONG, 0, 0]


def test_two_signs_make_a_double_echo_and_one_does_not() -> None:
    found = evidence([0, 0, 0], [])
    for link, (before, after) in enumerate(((0, 1), (1, 0))):
        found.link[link, before, after] -= SIGN
        assert explain(found).tolist() == ([0, 1, 0] if link else [0, 0, 0])


def test_a_wrong_stretch_of_two_runs_is_told_as_one() -> None:
    found = evidence([0, 0, 1, 2], [(0, 2), (1, 3)])
    assert explain(found).tolist() == [WRONG, WRONG, 0, 0]
    assert not explain(evidence([0, 1, 2, 3], [(0, 2), (1, 3)])).any()


def cost(found: Evidence, called: tuple[int, ...]) -> float:
    total = ONSET[called[0]] + ONSET[called[-1]]
    total += sum(found.alone[run, call] for run, call in enumerate(called))
    total += sum(found.link[run, a, b] for run, (a, b) in enumerate(pairwise(called)))
    return float(
        total + sum(found.points[k, called[a], called[b]] for k, (a, b) in enumerate(found.pair))
    )


def chance(seed: int) -> Evidence:
    """Build six runs of up to four lines with chance contradictions, none of them even."""
    random = np.random.default_rng(seed)
    lines = np.sort(random.integers(0, 4, 6)).tolist()
    pairs = [(a, b) for a, b in product(range(6), repeat=2) if a < b and lines[a] != lines[b]]
    chosen = [pairs[k] for k in random.permutation(len(pairs)) if random.random() < 0.6]
    split = int(random.integers(0, len(chosen) + 1))
    found = evidence(lines, chosen[:split], chosen[split:])
    found.alone[:] += random.uniform(0, 3, found.alone.shape)
    return found


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_an_explanation_never_costs_more_than_taking_all_for_the_bed(seed: int) -> None:
    found = chance(seed)
    assert cost(found, tuple(explain(found).tolist())) <= cost(found, (0,) * 6) + 1e-9


def test_most_surveys_are_explained_as_cheaply_as_can_be() -> None:
    # independent: all 4096 ways to call six runs
    excess = []
    for seed in range(25):
        found = chance(seed)
        least = min(cost(found, calls) for calls in product(range(CALLS), repeat=6))
        excess.append(cost(found, tuple(explain(found).tolist())) - least)
    assert min(excess) > -1e-9
    assert np.mean(np.array(excess) < 1e-9) >= 0.85
