"""Leaving lines out: the algebra of Gaussian fields, and folds that no order of soundings moves."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely

from toolbox.bed.field import FieldSettings
from toolbox.bed.fitting import usable
from toolbox.bed.learning import Learnt
from toolbox.bed.leaving_out import (
    Checks,
    Folds,
    Water,
    asked_inflation,
    check,
    folds,
    leave_out,
)
from toolbox.bed.problem import Problem, Scales, pose
from toolbox.layers import Shoreline, Soundings

BOX = (200.0, 120.0)
SHORE = Shoreline(shapely.MultiPolygon([shapely.box(0, 0, *BOX)]), None)
SETTINGS = FieldSettings(60.0, 0.8, 25.0, 0.05)


def surveyed(
    *, lines: int = 9, noise: float = 0.05, stated: float | None = None, seed: int = 3
) -> Soundings:
    """Sound a smooth basin along lines across it."""
    rng = np.random.default_rng(seed)
    northing = np.arange(4, BOX[1] - 3, 4.0)
    easting = (np.arange(lines) + 0.5) * BOX[0] / lines
    place = np.array([(e, n) for e in easting for n in northing])
    return Soundings.from_arrays(
        place,
        basin(place) + rng.normal(0, noise, len(place)),
        crs=None,
        line=np.repeat([f"line {k}" for k in range(lines)], len(northing)).astype(object),
        source="track",
        sd=stated or noise,
        sd_shared=0.0,
        sd_xy=0.3,
    )


def basin(place: np.ndarray) -> np.ndarray:
    east, north = place.T
    bowl = np.sin(np.pi * east / BOX[0]) * np.sin(np.pi * north / BOX[1])
    return 6 * bowl + 0.8 * np.sin(east / 17) * np.sin(np.pi * north / BOX[1])


def posed(soundings: Soundings, *, spacing: float = 8.0) -> Problem:
    scales = Scales.of(soundings, SHORE)
    return pose(soundings, SHORE, None, scales, spacing=spacing, shore_sd=0.05)


def known(problem: Problem, settings: FieldSettings = SETTINGS) -> Learnt:
    """Take settings for learnt, with a first fit for the gradients."""
    prior = problem.prior(settings)
    posterior = problem.posterior(prior, np.zeros((len(problem.depth), 2)))
    bed = posterior.bed(*posterior.solve(problem.depth))
    alike = np.ones(len(problem.net.nodes))
    return Learnt(settings, bed, alike, prior.marginal_variance, np.ones(len(problem.depth)))


def test_what_is_said_of_a_line_left_out_is_what_its_conditional_distribution_says() -> None:
    # Rasmussen & Williams 2006, Gaussian Processes for Machine Learning: the conditional normal
    # distribution (eqs. 2.22-2.24) by dense matrices, and the leave-out identity (eq. 5.12),
    # here for a group of readings (derived)
    problem = posed(surveyed())
    learnt = known(problem)
    held = problem.observations.line == 4
    found = leave_out(problem, learnt, held)
    gradient = problem.gradient(learnt.bed)
    prior = problem.prior(learnt.settings, steep=learnt.steep, variance=learnt.variance)
    nodes = np.linalg.inv(prior.precision.toarray()) * np.outer(prior.scale, prior.scale)
    nodes += prior.trend_sd**2 * prior.trend @ prior.trend.T
    weights = problem.weights.toarray()
    effects = problem.observations.shared_effects(gradient).toarray()
    errors = effects @ effects.T + np.diag(problem.posterior(prior, gradient).variance)
    inverse = np.linalg.inv(weights @ nodes @ weights.T + errors)
    spread = np.linalg.inv(inverse[np.ix_(held, held)])
    np.testing.assert_allclose(found.error, spread @ (inverse @ problem.depth)[held], atol=1e-6)
    np.testing.assert_allclose(found.noise, np.diag(errors)[held])
    rest = weights[~held]
    gain = nodes @ rest.T @ np.linalg.inv(rest @ nodes @ rest.T + errors[np.ix_(~held, ~held)])
    sd = np.sqrt(np.diag(nodes - gain @ rest @ nodes))
    np.testing.assert_allclose(np.sqrt(found.variance), weights[held] @ sd, rtol=1e-6)
    # an sd interpolated between nodes is never too small
    assert (found.variance + found.noise >= np.diag(spread) * (1 - 1e-6)).all()
    np.testing.assert_allclose(found.depth + found.error, problem.depth[held], atol=1e-12)
    assert 0.05 < np.abs(found.error).max() < 3


def test_parts_hold_every_line_once() -> None:
    problem = posed(surveyed(lines=11))
    parts = list(folds(problem, 4))
    assert len(parts) == 4
    assert sorted(np.concatenate(parts)) == list(range(11))


def test_intervals_are_widened_until_they_hold_nine_in_ten() -> None:
    problem = posed(surveyed(noise=0.1))
    honest = asked_inflation(problem, known(problem))
    narrow = known(problem, replace(SETTINGS, spread_m=0.05))
    asked = asked_inflation(problem, narrow)
    assert asked > 2 * honest >= 2
    outside = [
        leave_out(problem, narrow, np.isin(problem.observations.line, lines)).size > asked * 1.6449
        for lines in folds(problem)
    ]
    assert np.concatenate(outside).mean() == pytest.approx(0.1, abs=1 / len(problem.depth))


def test_two_lines_are_too_few_to_ask() -> None:
    problem = posed(surveyed(lines=2))
    assert asked_inflation(problem, known(problem, replace(SETTINGS, spread_m=0.01))) == 1.0


def mixed(seed: int = 5) -> Soundings:
    """Return lines, and soundings without one: of an empty name, None and NaN."""
    rng = np.random.default_rng(seed)
    lined = surveyed(lines=7)
    alone = Soundings.from_arrays(
        rng.uniform((10, 10), (190, 110), (60, 2)),
        rng.uniform(1, 5, 60),
        crs=None,
        line=np.array(["", None, np.nan] * 20, dtype=object),
        source="plummet",
        sd=0.05,
        sd_xy=1.0,
    )
    return Soundings.joined([alone, lined])


def test_lines_stay_whole_and_neighbours_part() -> None:
    soundings = mixed()
    parts = Folds.of(soundings, 4)
    line = soundings.frame["line"].fillna("").to_numpy(str)
    assert (parts.lines, parts.count) == (7, 4)
    for name in set(line) - {""}:
        assert len(set(parts.group[line == name])) == 1
    for group in range(parts.lines + parts.blocks):
        assert len(set(parts.fold[parts.group == group])) == 1
    # the lines lie side by side along the longer side of the water
    of_lines = [parts.fold[line == f"line {k}"][0] for k in range(7)]
    assert all(one != other for one, other in pairwise(of_lines))


def test_soundings_without_a_line_leave_in_blocks_of_neighbours() -> None:
    soundings = mixed()
    parts = Folds.of(soundings, 4)
    bare = np.arange(len(soundings)) < 60
    sizes = np.bincount(parts.group[bare] - parts.lines)
    assert parts.blocks == len(sizes) == 16
    assert sizes.min() >= 3
    assert not np.intersect1d(parts.group[bare], parts.group[~bare]).size
    # blocks are boxes that share no ground
    boxes = [
        shapely.MultiPoint(soundings.coordinates[parts.group == group]).envelope
        for group in np.unique(parts.group[bare])
    ]
    assert sum(box.area for box in boxes) == pytest.approx(shapely.union_all(boxes).area)


def test_few_soundings_without_a_line_are_one_block() -> None:
    frame = mixed().frame
    assert Folds.of(Soundings(frame[:5]), 4).blocks == 1
    assert Folds.of(Soundings(frame[:6]), 4).blocks == 2


def test_folds_do_not_depend_on_the_order_of_soundings() -> None:
    soundings = mixed()
    order = np.random.default_rng(9).permutation(len(soundings))
    parts, moved = Folds.of(soundings, 5), Folds.of(Soundings(soundings.frame.iloc[order]), 5)
    np.testing.assert_array_equal(moved.fold, parts.fold[order])
    np.testing.assert_array_equal(moved.group, parts.group[order])


def test_each_mean_is_in_the_fold_of_its_soundings() -> None:
    soundings = usable(mixed(), SHORE)
    parts, seen = Folds.of(soundings, 5), posed(soundings).observations
    rows = parts.rows(soundings, seen)
    line = soundings.frame["line"].fillna("").to_numpy(str)[rows]
    lined = seen.line < len(seen.names)
    np.testing.assert_array_equal(line[lined], np.array(seen.names)[seen.line[lined]])
    assert (line[~lined] == "").all()
    # a sounding alone in its cell is its own mean
    alone = ~lined & (seen.count == 1)
    assert alone.sum() > 20
    np.testing.assert_allclose(soundings.coordinates[rows[alone]], seen.place[alone])


def test_a_track_without_a_name_leaves_in_blocks_too() -> None:
    frame = surveyed().frame.assign(line="")
    soundings = usable(Soundings(frame), SHORE)
    parts, seen = Folds.of(soundings, 4), posed(soundings).observations
    assert (parts.lines, parts.blocks) == (0, 16)
    away = np.hypot(*(soundings.coordinates[parts.rows(soundings, seen)] - seen.place).T)
    assert away.max() < 8


def test_a_cast_and_a_track_of_one_name_are_two_lines() -> None:
    frame = surveyed(lines=4).frame
    source = np.where(frame["line"].isin(["line 0", "line 1"]), "cast", "track")
    name = frame["line"].replace({"line 1": "line 0", "line 3": "line 0"})
    parts = Folds.of(Soundings(frame.assign(source=source, line=name)), 4)
    # two casts under one name are one; the track of that name is another
    assert parts.lines == 3


def checked(inflation: float = 1.0) -> Checks:
    soundings = usable(surveyed(), SHORE)
    problem = posed(soundings)
    parts = Folds.of(soundings, 3)
    return check(problem, known(problem), inflation, soundings, SHORE, parts)


def test_both_beds_are_asked_at_the_same_readings() -> None:
    checks = checked()
    assert len(checks.depth) == len(posed(usable(surveyed(), SHORE)).depth)
    # every third line is left out: the nearest that remains is one spacing away
    assert checks.away.min() > BOX[0] / 9 - 1
    assert checks.away.max() < BOX[0] / 9 + 4
    # a bowl: without its line the plain bed cuts corners, the fitted one less
    assert np.sqrt((checks.fitted**2).mean()) < 0.8 * np.sqrt((checks.triangulated**2).mean())


def test_intervals_grow_with_the_inflation_and_readings_with_their_own_noise() -> None:
    checks, wider = checked(), checked(2.0)
    np.testing.assert_allclose(wider.half, 2 * checks.half)
    np.testing.assert_array_equal(wider.noise, checks.noise)
    assert wider.held.mean() > checks.held.mean()
    bare = replace(checks, fitted=checks.half * 1.01, noise=np.zeros(len(checks.half)))
    assert not bare.held.any()
    assert replace(bare, fitted=checks.half * 0.99).held.all()


def test_readings_weigh_as_the_water_lies() -> None:
    # derived: a strip whose distances are even from 0 to 100 m, read mostly far away
    water = Water(np.arange(100) + 0.5, np.full(100, 2.0))
    np.testing.assert_array_equal(water.starts, [0, 19.5, 39.5, 59.5, 79.5])
    away = np.r_[5.0, np.full(3, 30.0), np.full(16, 90.0)]
    weights = water.weights(away)
    sums = [weights[away == each].sum() for each in (5.0, 30.0, 90.0)]
    np.testing.assert_allclose(sums, [38.0, 40.0, 42.0])
    assert water.beyond(89.9) == pytest.approx(0.1, abs=0.011)
    assert water.beyond(200.0) == 0.0
