"""Patches of change are told from chance."""

import numpy as np
from two_surveys import CELL, DEPTH, RANGE, SD, plain, surveyed

from toolbox.change.comparison import compare
from toolbox.change.patches import Patches


def test_nothing_shows_where_nothing_changed() -> None:
    # the aim: in 95 % of 200 pairs; each survey's error is its own
    chance, shown, beyond = np.random.default_rng(11), 0, []
    for _ in range(200):
        two = compare(surveyed(chance, DEPTH), surveyed(chance, DEPTH), cell=CELL)
        patches = Patches.of(two, confidence=0.95, skirt=1.0)
        shown += bool(patches.sides(two.rise).any())
        beyond.append((np.abs(two.score_of(two.rise)) > patches.limit).mean())
    assert shown <= 10
    # at a place by itself a twentieth, less what averages out between vertices
    assert 0.01 < np.mean(beyond) < 0.05


def test_a_patch_must_be_heavier_than_chance_by_the_surprise() -> None:
    two = compare(
        plain(DEPTH), plain(DEPTH), sd_before=SD, sd_after=SD, correlation_range=RANGE, cell=CELL
    )
    patches = Patches.of(two, confidence=0.95, skirt=0.0)
    # of square mounds of one height the mass goes with their area (derived)
    side = np.abs(two.places - [145, 105]).max(axis=1)
    marked = []
    for reach in np.arange(5.0, 100, CELL):
        rise = np.where(side <= reach, 3 * SD, 0.0)
        mass = (rise / two.sd) @ two.ground
        told = [patches.sides(rise, surprise=surprise).any() for surprise in (1.0, 2.0)]
        assert told == [mass > patches.least, mass > 2 * patches.least]
        marked.append(tuple(told))
    assert {(False, False), (True, True)} <= set(marked)
