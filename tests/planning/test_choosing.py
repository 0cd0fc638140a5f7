"""Choosing: gains against the covariance that dense algebra gives, and against brute force."""

from collections.abc import Iterator

import numpy as np
import pytest
import shapely

from toolbox.bed.field import FieldSettings, Posterior, Prior
from toolbox.bed.flow import Directions
from toolbox.bed.problem import Problem, Scales
from toolbox.layers import Shoreline
from toolbox.planning.candidates import Candidates, between, lines_over
from toolbox.planning.choosing import Choice, Readings, choose
from toolbox.planning.foresight import even_net
from toolbox.planning.gear import Gear

WATER = Shoreline(shapely.MultiPolygon([shapely.box(0, 0, 120, 80)]), None)
GEAR = Gear(0.1, 0.05, (1.0, 0.001), (0.5, 0.004), 0.25, 30.0, 1.0)
SETTINGS = FieldSettings(40.0, 1.0, 10.0, 0.05)


def laid() -> Candidates:
    """Lines at three headings."""
    headings = np.array([0.0, 60.0, 120.0])
    return lines_over(WATER, spacing=30.0, headings=headings, shortest=25.0)


class Small:
    """A net of some hundred nodes, a bed with a slope, two lines sounded and others that may be."""

    def __init__(self) -> None:
        net = even_net(WATER, 10.0)
        self.bed = 0.05 * np.minimum(net.nodes[:, 0], 120 - net.nodes[:, 0]) + 0.2
        directions, scales = Directions.of_shore(net, 40.0), Scales(40.0, 5.0, 10.0)
        self.candidates = laid()
        seen = GEAR.readings(self.candidates, 12.0)
        parts = (net, seen, net.weights(seen.place), scales, 0.0, 0.05, directions)
        self.problem = Problem(*parts)
        self.prior = self.problem.prior(SETTINGS)
        self.before = dense_prior(self.prior)
        self.readings = Readings.of(self.problem, self.bed, SETTINGS.nugget_m)

    def posterior(self, lines: list[int]) -> Posterior:
        """Condition on some of the lines."""
        part = self.problem.of(np.isin(self.problem.observations.line, lines))
        seen, gradient = part.observations, part.gradient(self.bed)
        effects = seen.shared_effects(gradient)
        own = seen.own_variance + SETTINGS.nugget_m**2
        own = own + seen.loose_variance * (gradient**2).sum(axis=1)
        return Posterior(self.prior, part.weights, effects, own, np.zeros(effects.shape[1]))

    def dense(self, lines: list[int]) -> np.ndarray:
        """Covariance of the depths by the textbook: P - P H' (H P H' + R)^-1 H P."""
        before = self.before
        part = self.problem.of(np.isin(self.problem.observations.line, lines))
        seen, gradient = part.observations, part.gradient(self.bed)
        effects = seen.shared_effects(gradient).toarray()
        own = seen.own_variance + SETTINGS.nugget_m**2
        own = own + seen.loose_variance * (gradient**2).sum(axis=1)
        heard = part.weights.toarray() @ before
        total = heard @ part.weights.toarray().T + effects @ effects.T + np.diag(own)
        return np.asarray(before - heard.T @ np.linalg.solve(total, heard))

    def mean(self, covariance: np.ndarray) -> float:
        """Mean variance over the water."""
        mass = self.problem.net.mass
        return float(mass @ covariance.diagonal() / mass.sum())


def dense_prior(prior: Prior) -> np.ndarray:
    """Covariance of the depths before any sounding."""
    field = np.linalg.inv(prior.precision.toarray()) * np.outer(prior.scale, prior.scale)
    return np.asarray(field + (prior.trend * np.square(prior.trend_sd)) @ prior.trend.T)


@pytest.fixture(scope="module")
def small() -> Small:
    return Small()


SOUNDED = [0, 7]


def chosen(small: Small, budget: float, cost: np.ndarray | None = None) -> Iterator[Choice]:
    cost = np.ones(len(small.candidates)) if cost is None else cost
    return choose(small.posterior(SOUNDED), small.readings, cost, budget)


def test_what_is_left_is_what_conditioning_anew_leaves(small: Small) -> None:
    # derived: a Gaussian conditioned in turn or at once is the same
    lines, mass = list(SOUNDED), small.problem.net.mass
    before = small.mean(small.dense(lines))
    for choice in chosen(small, 4):
        lines.append(choice.number)
        after = small.dense(lines)
        assert choice.gain == pytest.approx(before - small.mean(after), abs=1e-9)
        np.testing.assert_allclose(choice.variance, after.diagonal(), atol=1e-8)
        assert choice.volume_variance == pytest.approx(mass @ after @ mass, rel=1e-7)
        before = small.mean(after)
    assert len(set(lines)) == 6


def test_it_agrees_with_the_sparse_posterior(small: Small) -> None:
    *_, last = chosen(small, 3)
    lines = SOUNDED + [choice.number for choice in chosen(small, 3)]
    np.testing.assert_allclose(last.variance, small.posterior(lines).sd() ** 2, atol=1e-8)


def test_each_choice_is_the_best_of_all(small: Small) -> None:
    lines = list(SOUNDED)
    for choice in chosen(small, 3):
        others = [n for n in range(len(small.candidates)) if n not in lines[2:]]
        left = [
            small.mean(small.dense([*lines, n])) if n not in SOUNDED else np.inf for n in others
        ]
        assert choice.number not in SOUNDED
        assert choice.number == others[int(np.argmin(left))]
        lines.append(choice.number)


def test_gain_for_cost_and_budget(small: Small) -> None:
    cost = small.candidates.length + 20.0
    picked = [choice.number for choice in chosen(small, 400.0, cost)]
    spent = float(cost[picked].sum())
    assert spent <= 400
    assert (np.delete(cost, picked) > 400 - spent).all()
    before = small.mean(small.dense(SOUNDED))
    gain = [
        (before - small.mean(small.dense([*SOUNDED, n]))) / cost[n] if n not in SOUNDED else 0.0
        for n in range(len(cost))
    ]
    assert picked[0] == int(np.argmax(gain))


def test_errors_of_a_cast_up_a_plane() -> None:
    # derived: with a slope g along the way, readings i and j share the level and g^2 a_i a_j, a
    # being the error of place along; each has its own noise over its pings, and the nugget
    net = even_net(WATER, 10.0)
    plane = 0.03 * net.nodes[:, 0] + 0.04 * net.nodes[:, 1]
    way = between(np.array([[30.0, 20.0]]), np.array([[66.0, 68.0]]), WATER)
    gear = Gear(0.1, 0.07, (0.25, 0.01), (9.0, 0.02), 0.0, np.inf, 0.5)
    seen = gear.readings(way, 20.0)
    parts = (net, seen, net.weights(seen.place), Scales(40.0, 5.0, 10.0), 0.0, 0.05)
    readings = Readings.of(Problem(*parts, Directions.of_shore(net, 40.0)), plane, 0.02)
    distance = np.array([10.0, 30.0, 50.0])
    along = np.sqrt(0.25 + 0.01 * distance**2)
    expected = 0.07**2 + 0.05**2 * np.outer(along, along) + np.eye(3) * (0.01 / 40 + 0.02**2)
    np.testing.assert_allclose(readings.noise[0], expected, rtol=1e-9)


def test_a_candidate_with_no_reading_on_the_net_gains_nothing(small: Small) -> None:
    kept = small.problem.of(small.problem.observations.line != 3)
    readings = Readings.of(kept, small.bed, SETTINGS.nugget_m)
    assert not readings.weight[3].any()
    count = len(small.candidates)
    picked = [
        choice
        for choice in choose(small.posterior(SOUNDED), readings, np.ones(count), count)
        if choice.number == 3
    ]
    assert picked[0].gain == pytest.approx(0, abs=1e-12)
