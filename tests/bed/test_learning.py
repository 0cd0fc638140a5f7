"""Learning finds the settings that beds were drawn with, keeps what is given, doubts blunders."""

import functools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from toolbox.bed.field import FieldSettings
from toolbox.bed.learning import Learnt, learn, trusted
from toolbox.bed.problem import Problem, Scales, pose
from toolbox.layers import Shoreline, Soundings

BOX = (260.0, 200.0)
SHORE = Shoreline(shapely.MultiPolygon([shapely.box(0, 0, *BOX)]), None)
TRUE = FieldSettings(45.0, 0.8, 20.0, 0.05)


def surveyed(*, lines: int = 11) -> Soundings:
    """Return places along lines across the box, with depths to be put in."""
    northing = np.arange(6, BOX[1] - 5, 6.0)
    easting = (np.arange(lines) + 0.47) * BOX[0] / lines
    place = np.array([(e, n) for e in easting for n in northing])
    names = np.repeat([f"line {k:02d}" for k in range(lines)], len(northing)).astype(object)
    return Soundings.from_arrays(
        place,
        np.full(len(place), 5.0),
        crs=None,
        line=names,
        source="track",
        sd=0.05,
        sd_shared=0.02,
        sd_xy=0.2,
    )


def with_depth(problem: Problem, depth: np.ndarray) -> Problem:
    return replace(problem, observations=replace(problem.observations, depth=depth))


@functools.cache
def drawn(settings: FieldSettings, seed: int) -> Problem:
    """Read a bed drawn from the model along the lines."""
    soundings = surveyed()
    scales = Scales.of(soundings, SHORE)
    problem = pose(soundings, SHORE, None, scales, spacing=14.0, shore_sd=0.05)
    prior, rng = problem.prior(settings), np.random.default_rng(seed)
    field, trend = prior.sample(1, rng)
    bed = (prior.scale[:, None] * field + prior.trend @ np.abs(trend))[:, 0]
    sd = np.sqrt(problem.observations.own_variance + settings.nugget_m**2)
    read = problem.weights @ bed + sd * rng.standard_normal(len(sd))
    return with_depth(problem, read)


@functools.cache
def learnt_of(settings: FieldSettings, seed: int) -> Learnt:
    return learn(drawn(settings, seed))


# ---- trust ----


def test_trust_is_whole_within_two_and_a_half_sd_and_falls_as_the_square_beyond() -> None:
    sd = np.array([1.0, 0.1, 1, 1, 2])
    found = trusted(np.array([2.4, 0.25, -5.0, 25.0, 0.0]), sd)
    np.testing.assert_allclose(found, [1, 1, 0.25, 0.01, 1])
    np.testing.assert_allclose(trusted(-np.array([2.4, 5.0]), np.ones(2)), [1, 0.25])


# ---- learning ----


def test_settings_are_found_again_on_beds_drawn_with_them() -> None:
    # of several beds: one has few independent patches, its range is known to a third at best
    ranges, nuggets, spreads = [], [], []
    for seed in range(3):
        problem, found = drawn(TRUE, seed), learnt_of(TRUE, seed)
        ranges.append(found.settings.range_m)
        nuggets.append(found.settings.nugget_m)
        # a larger spread that grows more slowly is the same to soundings: compare what it comes to
        spreads.append(np.median(problem.prior(found.settings, steep=found.steep).spread))
    assert np.median(ranges) == pytest.approx(TRUE.range_m, rel=0.3)
    assert np.median(nuggets) == pytest.approx(TRUE.nugget_m, rel=0.4)
    wanted = np.median(problem.prior(TRUE).spread)
    assert np.median(spreads) == pytest.approx(wanted, rel=0.3)


def test_a_longer_range_and_a_larger_spread_are_told_apart() -> None:
    short = learnt_of(TRUE, 0).settings
    long = learn(drawn(replace(TRUE, range_m=150.0), 0)).settings
    large = learn(drawn(replace(TRUE, spread_m=3.2), 0)).settings
    assert long.range_m > 1.6 * short.range_m
    assert large.range_m < 1.6 * short.range_m
    assert large.spread_m > 2 * short.spread_m


def test_learning_raises_the_likelihood() -> None:
    problem, found = drawn(TRUE, 1), learnt_of(TRUE, 1)

    def likelihood(settings: FieldSettings) -> float:
        prior = problem.prior(settings, steep=found.steep)
        posterior = problem.posterior(prior, problem.gradient(found.bed), found.trust)
        return posterior.log_likelihood(problem.depth)

    wide, deep = problem.scales.width, problem.scales.deep
    usual = FieldSettings(0.5 * wide, 0.2 * deep, 0.2 * wide, 0.03 * deep, 1.3, 0.5)
    assert likelihood(found.settings) > likelihood(usual) + 3


def test_what_is_given_is_kept() -> None:
    problem = drawn(TRUE, 1)
    given = {"range_m": 111.0, "nugget_m": 0.07, "elongation": 2.5}
    found = learn(problem, given).settings
    for name, value in given.items():
        assert getattr(found, name) == pytest.approx(value, rel=1e-12)
    everything: dict[str, Any] = dict(vars(TRUE))
    assert learn(problem, everything).settings == TRUE


def test_learnt_settings_stay_within_sense() -> None:
    found = learnt_of(TRUE, 2)
    assert 1 <= found.settings.elongation <= 25
    assert 0 <= found.settings.steepness <= 2
    assert found.steep.min() >= 0
    assert found.trust.min() > 0
    assert found.trust.max() == 1
    assert found.variance.min() > 0


def test_same_problem_same_bits() -> None:
    first, second = learnt_of(TRUE, 2), learn(drawn.__wrapped__(TRUE, 2))
    assert first.settings == second.settings
    np.testing.assert_array_equal(first.bed, second.bed)


def test_a_blunder_loses_its_weight_and_the_others_keep_theirs() -> None:
    problem = drawn(TRUE, 1)
    depth = problem.observations.depth.copy()
    depth[80] += 20.0
    found = learn(with_depth(problem, depth))
    assert found.trust[80] < 0.01
    assert np.delete(found.trust, 80).mean() > 0.98
    clean = learnt_of(TRUE, 1)
    off = np.abs(found.bed - clean.bed)
    assert off.max() < 1.0
    assert np.median(off) < 0.05


def test_range_is_never_finer_than_the_net_can_carry() -> None:
    # a prism whose profile is the same all along leaves the field nothing but noise; a range of a
    # tenth of the spacing makes it a second nugget and calls sounded bed unsupported
    northing, easting = np.arange(2, 39, 2.0), np.arange(10, 400, 40.0)
    place = np.array([(e, n) for e in easting for n in northing])
    rng = np.random.default_rng(0)
    depth = 3 * (1 - ((place[:, 1] - 20) / 20) ** 2) + rng.normal(0, 0.05, len(place))
    names = np.repeat([f"line {k}" for k in range(len(easting))], len(northing)).astype(object)
    reach = Shoreline(shapely.MultiPolygon([shapely.box(0, 0, 400, 40)]), None).with_open_edges(
        [shapely.LineString([(east, 0), (east, 40)]) for east in (0, 400)], within=0.5
    )
    soundings = Soundings.from_arrays(
        place, depth, crs=None, line=names, source="track", sd=0.05, sd_shared=0.02, sd_xy=0.5
    )
    scales = Scales.of(soundings, reach)
    problem = pose(soundings, reach, None, scales, spacing=11.0, shore_sd=0.05)
    # two spacings, or half the width where that is less
    assert learn(problem).settings.range_m > 0.99 * min(2 * 11.0, 0.5 * scales.width)
