"""The problem: scales of a water, and soundings that stay whole on its net."""

from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity

from toolbox.bed.field import FieldSettings, shore_share
from toolbox.bed.problem import TREND_REACHES, TREND_SD, Problem, Scales, pose
from toolbox.layers import Centreline, Shoreline, Soundings

DISC = shapely.Point(0, 0).buffer(100, quad_segs=24)
BOX = shapely.box(0, 0, 200, 120)
SETTINGS = FieldSettings(60.0, 0.8, 25.0, 0.05)


def water(*parts: Any, depth: float = 0.0) -> Shoreline:
    return Shoreline(shapely.MultiPolygon(list(parts)), None, depth)


def sounded(place: Any, depth: Any, **columns: Any) -> Soundings:
    place = np.asarray(place, float)
    depth = np.broadcast_to(np.asarray(depth, float), len(place))
    return Soundings.from_arrays(place, depth, crs=None, sd=0.1, sd_xy=1.0, **columns)


def cross_lines(*, depth: Any = 3.0, lines: int = 6) -> Soundings:
    """Sound a box of 200 m by 120 m along lines across it."""
    northing = np.arange(3.3, 118, 4.0)
    easting = (np.arange(lines) + 0.45) * 200 / lines
    place = np.array([(e, n) for e in easting for n in northing])
    names = np.repeat([f"line {k}" for k in range(lines)], len(northing)).astype(object)
    values = depth(place) if callable(depth) else depth
    return sounded(place, values, line=names, source="track", sd_shared=0.05)


def posed(soundings: Soundings, shore: Shoreline, **options: Any) -> Problem:
    wanted = {"spacing": 10.0, "shore_sd": 0.05} | options
    return pose(soundings, shore, None, Scales.of(soundings, shore), **wanted)


# ---- scales ----


def test_width_is_the_greatest_distance_from_shore() -> None:
    here = sounded([[0, 0], [10, 0], [0, 10]], 5.0)
    assert Scales.of(here, water(DISC)).width == pytest.approx(100, rel=0.03)
    isle = water(DISC.difference(shapely.Point(0, 0).buffer(40, quad_segs=24)))
    there = sounded([[70, 0], [0, 70], [-70, 0]], 5.0)
    assert Scales.of(there, isle).width == pytest.approx(30, rel=0.05)
    assert Scales.of(here, water(shapely.box(-300, -20, 300, 20))).width == pytest.approx(
        20, rel=0.1
    )


def test_gap_is_the_median_distance_to_a_sounding() -> None:
    # derived: round one sounding in the middle of a disc half the area lies within r / sqrt(2)
    middle = sounded([[0, 0], [0.01, 0], [0, 0.01]], 5.0)
    assert Scales.of(middle, water(DISC)).gap == pytest.approx(100 / np.sqrt(2), rel=0.01)
    # derived: with lines across a box every s metres the median distance to one is s / 4
    dense = np.array([(e, n) for e in np.arange(10, 200, 20) for n in np.arange(0.5, 120, 1)])
    assert Scales.of(sounded(dense, 5.0), water(BOX)).gap == pytest.approx(5, rel=0.05)


def test_depth_counts_from_the_mapped_edge_and_nine_in_ten_do_not_reach_it() -> None:
    place = np.column_stack([np.linspace(-90, 90, 101), np.zeros(101)])
    soundings = sounded(place, np.linspace(2, 12, 101))
    assert Scales.of(soundings, water(DISC)).deep == pytest.approx(11)
    assert Scales.of(soundings, water(DISC, depth=1.5)).deep == pytest.approx(9.5)
    assert Scales.of(soundings, water(DISC, depth=20)).deep == 0.1


def test_flagged_soundings_measure_nothing() -> None:
    place = np.array([[0, 0], [1, 0], [0, 1], [90, 0]])
    soundings = sounded(place, [5.0, 5, 5, 80]).reject(np.arange(4) == 3, "echo")
    here = Scales.of(soundings, water(DISC))
    there = Scales.of(sounded(place[:3], 5.0), water(DISC))
    assert here == there


def test_scales_follow_the_unit() -> None:
    lake = shapely.Polygon([(0, 0), (170, 20), (150, 130), (20, 90)])
    soundings = sounded(np.random.default_rng(1).uniform(40, 80, (30, 2)), np.linspace(1, 6, 30))
    larger = Soundings.from_arrays(
        8 * soundings.coordinates, 8 * soundings.depth, crs=None, sd=0.8, sd_xy=8.0
    )
    eightfold = shapely.affinity.scale(lake, 8, 8, origin=(0, 0))
    here = Scales.of(soundings, water(lake))
    there = Scales.of(larger, water(eightfold))
    assert there.width == pytest.approx(8 * here.width, rel=1e-9)
    assert there.deep == pytest.approx(8 * here.deep, rel=1e-9)
    assert there.gap == pytest.approx(8 * here.gap, rel=1e-9)


@pytest.mark.parametrize("width", [0.6, 3.0])
def test_a_ditch_of_great_length_still_has_scales(width: float) -> None:
    ditch = shapely.box(0, 0, 5000, width)
    place = np.column_stack([np.linspace(10, 4990, 50), np.full(50, width / 2)])
    scales = Scales.of(sounded(place, 1.0), water(ditch))
    # the shore is known by marks as far apart as the probes, the root of a 4000th of the area
    assert width / 4 < scales.width <= np.hypot(width / 2, np.sqrt(ditch.area / 4000) / 2) * 1.01
    assert scales.gap == pytest.approx(4980 / 49 / 4, rel=0.1)


# ---- posing ----


def test_soundings_find_their_place_on_the_net() -> None:
    soundings = cross_lines()
    problem = posed(soundings, water(BOX))
    assert problem.observations.count.sum() == len(soundings)
    np.testing.assert_allclose(problem.weights @ problem.net.nodes, problem.observations.place)
    np.testing.assert_allclose(problem.weights.sum(axis=1), 1)
    assert problem.depth == pytest.approx(np.full(len(problem.depth), 3.0))


def test_depths_count_from_the_mapped_edge() -> None:
    problem = posed(cross_lines(depth=5.0), water(BOX, depth=1.25))
    assert problem.depth == pytest.approx(np.full(len(problem.depth), 3.75))
    assert problem.shore_depth == 1.25


def test_what_lies_ashore_is_left_out() -> None:
    soundings = sounded([[20, 20], [100, 60], [300, 60], [150, 80]], [1.0, 2, 3, 4])
    problem = posed(soundings, water(BOX))
    assert sorted(problem.depth) == [1, 2, 4]
    assert problem.weights.shape == (3, len(problem.net.nodes))


def test_trend_deepens_over_several_reaches_and_with_distance() -> None:
    problem = posed(cross_lines(), water(BOX))
    width = problem.scales.width
    assert problem.trend.shape == (len(problem.net.nodes), len(TREND_SD))
    for column, share in zip(problem.trend.T, TREND_REACHES, strict=False):
        np.testing.assert_allclose(column, shore_share(problem.net, share * width))
    np.testing.assert_allclose(problem.trend[:, -1], problem.net.shore_distance / width)
    assert not problem.trend[problem.net.on_shore].any()
    prior = problem.prior(SETTINGS)
    np.testing.assert_allclose(prior.trend_sd, np.array(TREND_SD) * problem.scales.deep)


def test_direction_counts_only_where_the_field_is_longer_one_way() -> None:
    soundings = cross_lines()
    shore = water(BOX)
    scales = Scales.of(soundings, shore)
    line = Centreline((np.array([[0, 60], [200, 60.0]]),), None)
    problem = pose(soundings, shore, line, scales, spacing=10, shore_sd=0.05)
    assert problem.prior(SETTINGS).tensor is None
    stretched = problem.prior(FieldSettings(60.0, 0.8, 25.0, 0.05, elongation=3.0))
    assert stretched.tensor is not None
    np.testing.assert_allclose(problem.directions.along, [[1, 0]] * len(problem.net.areas))


def test_gradient_and_steepness_of_a_plane() -> None:
    problem = posed(cross_lines(), water(BOX))
    plane = problem.net.nodes @ [0.03, -0.05]
    np.testing.assert_allclose(
        problem.gradient(plane), [[0.03, -0.05]] * len(problem.depth), atol=1e-12
    )
    np.testing.assert_allclose(problem.steepness(plane, 20.0), 1, rtol=1e-6)
    level = problem.steepness(np.zeros(len(problem.net.nodes)), 20.0)
    assert np.isfinite(level).all()
    assert not level.any()


def test_steepness_is_that_of_the_steep_side_and_its_mean_is_one() -> None:
    problem = posed(cross_lines(), water(BOX))
    east = problem.net.nodes[:, 0]
    bed = np.where(east > 100, 0.3 * (east - 100), 0)
    steep = problem.steepness(bed, 5.0)
    assert steep @ problem.net.mass / problem.net.mass.sum() == pytest.approx(1)
    assert steep[east > 130].min() > 1.8
    assert steep[east < 70].max() < 0.2
    # ten times the relief is ten times as steep everywhere, which is no steeper than its mean
    np.testing.assert_allclose(problem.steepness(10 * bed, 5.0), steep, rtol=1e-9)


def test_noise_of_a_reading_is_all_that_it_has_alone() -> None:
    problem = posed(cross_lines(), water(BOX))
    seen = problem.observations
    gradient = np.tile([0.3, -0.4], (len(seen), 1))
    posterior = problem.posterior(problem.prior(SETTINGS), gradient)
    wanted = seen.own_variance + SETTINGS.nugget_m**2 + seen.loose_variance * 0.25
    np.testing.assert_allclose(posterior.variance, wanted)
    trust = np.linspace(0.1, 1, len(seen))
    doubted = problem.posterior(problem.prior(SETTINGS), gradient, trust)
    np.testing.assert_allclose(doubted.variance, wanted / trust)


def test_lines_are_taken_out_whole() -> None:
    problem = posed(cross_lines(), water(BOX))
    kept = ~np.isin(problem.observations.line, [1, 4])
    rest = problem.of(kept)
    assert set(rest.observations.line) == {0, 2, 3, 5}
    np.testing.assert_array_equal(rest.depth, problem.depth[kept])
    np.testing.assert_array_equal(rest.weights.toarray(), problem.weights.toarray()[kept])
    assert rest.net is problem.net
    none = problem.of(np.zeros(len(problem.depth), bool))
    posterior = none.posterior(none.prior(SETTINGS), np.zeros((0, 2)))
    np.testing.assert_allclose(posterior.sd(), posterior.prior.sd, rtol=1e-6)


def test_levels_are_told_only_against_each_other() -> None:
    problem = posed(cross_lines(), water(BOX))
    posterior = problem.posterior(problem.prior(SETTINGS), np.zeros((len(problem.depth), 2)))
    lines = len(problem.observations.names)
    off = np.where(problem.observations.line == 2, 0.1, 0.0)
    shared = posterior.shared(posterior.solve(problem.depth + off)[0])[:lines]
    assert shared @ problem.observations.balance == pytest.approx(0, abs=1e-9)
    assert shared.argmax() == 2


# ---- what the field says of itself ----


def test_intervals_hold_nine_in_ten_of_beds_drawn_from_the_model() -> None:
    # derived: if the model is right, a 90 % interval holds 90 % of the truth over many truths.
    # 300 beds: shares of one lake are correlated over it, so its mean is good to about 1 %
    problem = posed(cross_lines(), water(BOX), spacing=12.0)
    settings = FieldSettings(70.0, 0.8, 25.0, 0.05)
    prior, rng = problem.prior(settings), np.random.default_rng(7)
    field, trend = prior.sample(300, rng)
    beds = prior.scale[:, None] * field + prior.trend @ trend
    gradient = np.zeros((len(problem.depth), 2))
    posterior = problem.posterior(prior, gradient)
    effects = problem.observations.shared_effects(gradient)
    shared = rng.standard_normal((effects.shape[1], 300))
    lines = len(problem.observations.names)
    balance = problem.observations.balance
    shared[:lines] -= np.outer(balance, balance @ shared[:lines])
    noise = np.sqrt(posterior.variance)[:, None] * rng.standard_normal(
        (len(effects.indptr) - 1, 300)
    )
    read = problem.weights @ beds + effects @ shared + noise
    found = posterior.bed(*posterior.solve(read))
    size = np.abs(found - beds) / posterior.sd()[:, None]
    off_shore = ~problem.net.on_shore
    assert (size[off_shore] < 1.6449).mean() == pytest.approx(0.9, abs=0.015)
    assert (size[off_shore] < 0.6745).mean() == pytest.approx(0.5, abs=0.02)
    mass = problem.net.mass
    volume_sd = np.sqrt(mass @ posterior.covariance_with(mass))
    held = np.abs(mass @ (found - beds)) < 1.6449 * volume_sd
    assert held.mean() == pytest.approx(0.9, abs=0.05)
