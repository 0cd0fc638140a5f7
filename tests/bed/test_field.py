"""The field against dense Gaussian algebra, and against closed forms of screens and correlations.

Dense formulas: Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, eqs. 2.22-2.24
(conditional mean and covariance) and 2.30 (marginal likelihood), from memory.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pytest
import shapely
from scipy import sparse, special

from toolbox.bed.factor import Factor
from toolbox.bed.field import FieldSettings, Posterior, Prior, shore_share
from toolbox.bed.flow import Directions
from toolbox.bed.graded import Net, graded_net
from toolbox.layers import Shoreline

NOWHERE = np.empty((0, 2))
SETTINGS = FieldSettings(50.0, 1.0, 20.0, 0.05)


def channel(length: float, width: float, fine: float) -> Net:
    """Return a reach from west to east, open at both ends, its axis at northing 0."""
    half = width / 2
    ends = [shapely.LineString([(east, -half), (east, half)]) for east in (-length / 2, length / 2)]
    box = shapely.MultiPolygon([shapely.box(-length / 2, -half, length / 2, half)])
    water = Shoreline(box, None).with_open_edges(ends, within=0.5)
    return graded_net(water, NOWHERE, fine=fine, coarse=2 * fine)


def open_water(size: float, fine: float) -> Net:
    """Return a square of water that goes on beyond its edges."""
    box = shapely.MultiPolygon([shapely.box(-size / 2, -size / 2, size / 2, size / 2)])
    net = graded_net(Shoreline(box, None), NOWHERE, fine=fine, coarse=fine)
    return Net(net.nodes, net.triangles, np.full(len(net.nodes), 5))


def small_lake() -> Net:
    isle = shapely.box(60, 20, 75, 32)
    lake = shapely.MultiPolygon([shapely.box(0, 0, 100, 60).difference(isle)])
    places = np.random.default_rng(1).uniform([2, 2], [98, 58], (30, 2))
    return graded_net(Shoreline(lake, None), places, fine=10, coarse=40)


# ---- shares of the way from shore ----


@pytest.mark.parametrize("reach", [5.0, 10.0, 40.0])
def test_share_across_a_channel_is_that_of_a_screened_field(reach: float) -> None:
    # derived: (1 - k^2 d2/dy2) f = 1 with f = 0 at y = +-w/2 has f = 1 - cosh(y/k) / cosh(w/2k)
    net = channel(300, 40, 2.0)
    wanted = 1 - np.cosh(net.nodes[:, 1] / reach) / np.cosh(20 / reach)
    np.testing.assert_allclose(shore_share(net, reach), wanted, atol=0.012)


def test_share_converges_as_the_net_becomes_finer() -> None:
    worst = []
    for fine in (5.0, 2.5, 1.25):
        net = channel(100, 40, fine)
        wanted = 1 - np.cosh(net.nodes[:, 1] / 8) / np.cosh(20 / 8)
        off = shore_share(net, 8.0) - wanted
        worst.append(float(np.sqrt(off**2 @ net.mass / net.mass.sum())))
    assert worst[0] > 2 * worst[1] > 4 * worst[2]


def test_share_off_one_straight_shore_is_an_exponential() -> None:
    # derived: f = 1 - exp(-d / k) with the other shore infinitely far; here the other is open
    box = shapely.MultiPolygon([shapely.box(0, 0, 120, 100)])
    sides = [shapely.LineString([(0, 0.001), (0, 100), (120, 100), (120, 0.001)])]
    water = Shoreline(box, None).with_open_edges(sides, within=0.5)
    net = graded_net(water, NOWHERE, fine=3, coarse=6)
    np.testing.assert_allclose(shore_share(net, 12.0), 1 - np.exp(-net.nodes[:, 1] / 12), atol=0.02)


def test_share_in_a_disc_is_that_of_a_bessel_function() -> None:
    # derived: (1 - k^2 Laplacian) f = 1, f(a) = 0: f = 1 - I0(r/k) / I0(a/k)
    disc = shapely.MultiPolygon([shapely.Point(0, 0).buffer(50, quad_segs=48)])
    net = graded_net(Shoreline(disc, None), NOWHERE, fine=3, coarse=6)
    radius = np.hypot(*net.nodes.T)
    wanted = 1 - special.i0(radius / 15) / special.i0(50 / 15)
    np.testing.assert_allclose(shore_share(net, 15.0), wanted, atol=0.01)


def test_share_is_nought_on_islands_too_and_between_nought_and_one() -> None:
    net = small_lake()
    for reach in (0.5, 10.0, 1e4):
        share = shore_share(net, reach)
        assert not share[net.on_shore].any()
        assert share.min() >= 0
        assert share.max() <= 1
    assert shore_share(net, 0.5)[~net.on_shore].max() > 0.99
    assert shore_share(net, 1e4).max() < 1e-4


def test_share_is_one_where_no_shore_is_closed() -> None:
    assert (shore_share(open_water(100, 20), 30.0) == 1).all()


# ---- the prior ----


def plain(net: Net, settings: FieldSettings, **more: Any) -> Prior:
    return Prior(net, settings, np.ones((len(net.nodes), 1)), np.array([1.0]), 0.05, **more)


def whittle(distance: np.ndarray, reach: float) -> np.ndarray:
    """Return the correlation (kappa h) K1(kappa h), kappa = sqrt(8) / range."""
    scaled = np.maximum(np.sqrt(8) / reach * distance, 1e-9)
    return np.asarray(scaled * special.k1(scaled))


def test_correlation_at_the_range_is_about_14_percent() -> None:
    # Lindgren, Rue & Lindstrom 2011, section 2: "correlations near 0.13 at the distance rho"
    # for rho = sqrt(8 nu) / kappa (from memory); derived here for nu = 1: sqrt(8) K1(sqrt(8))
    assert whittle(np.array([1.0]), 1.0) == pytest.approx(0.1397, abs=5e-5)


@pytest.mark.parametrize(
    ("elongation", "reach", "tolerance"),
    [(1.0, 80.0, 0.02), (2.5, 110.0, 0.03), (5.0, 140.0, 0.08)],
)
def test_field_in_open_water_has_the_variance_and_correlation_it_should(
    elongation: float, reach: float, tolerance: float
) -> None:
    # Whittle 1954, Biometrika 41:434: in the plane, the solution of (kappa^2 - Laplacian) x = W has
    # correlation (kappa h) K1(kappa h) and variance 1 / (4 pi kappa^2 tau^2), here scaled to 1
    # (Lindgren, Rue & Lindstrom 2011, eq. 2-4). With a tensor of determinant 1, derived: distances
    # shrink by the root of the elongation along and grow by it across
    net = open_water(500, 6.0)
    east, north = np.cos(0.5), np.sin(0.5)
    triangles = len(net.triangles)
    flow = Directions(np.tile([east, north], (triangles, 1)), np.ones(triangles))
    settings = replace(SETTINGS, range_m=reach, elongation=elongation)
    prior = plain(net, settings, tensor=flow.stretched(elongation))
    middle = int(np.hypot(*net.nodes.T).argmin())
    lone = np.zeros(len(net.nodes))
    lone[middle] = 1
    covariance = Factor(prior.precision).solve(lone)
    assert covariance[middle] == pytest.approx(1, abs=0.1)
    off = net.nodes - net.nodes[middle]
    along, across = off @ [east, north], off @ [-north, east]
    near = (np.hypot(along, across) < 150) & (np.hypot(along, across) > 12)
    wanted = whittle(np.hypot(along / elongation**0.5, across * elongation**0.5), reach)
    np.testing.assert_allclose(covariance[near], wanted[near], atol=tolerance)


def test_marginal_variance_is_that_of_the_dense_inverse() -> None:
    prior = plain(small_lake(), SETTINGS)
    dense = np.linalg.inv(prior.precision.toarray())
    np.testing.assert_allclose(prior.marginal_variance, np.diag(dense), rtol=1e-9)
    # edges reflect (Lindgren, Rue & Lindstrom 2011, appendix A.4: doubled at a straight edge)
    assert prior.marginal_variance[prior.net.on_shore].min() > 1.3


def test_scaled_field_has_its_spread_everywhere() -> None:
    net = small_lake()
    prior = plain(net, SETTINGS)
    dense = np.linalg.inv(prior.precision.toarray()) * np.outer(prior.scale, prior.scale)
    np.testing.assert_allclose(np.sqrt(np.diag(dense)), prior.spread, rtol=1e-9)
    np.testing.assert_allclose(prior.spread[net.on_shore], 0.05)
    wanted = np.hypot(0.05, 1.0 * shore_share(net, 20.0))
    np.testing.assert_allclose(prior.spread, wanted)
    np.testing.assert_allclose(prior.sd, np.hypot(wanted, 1.0))


def test_log_determinant_of_the_precision_is_that_of_the_dense_one() -> None:
    prior = plain(small_lake(), SETTINGS)
    sign, wanted = np.linalg.slogdet(prior.precision.toarray())
    assert sign == 1
    assert prior.log_determinant == pytest.approx(wanted, rel=1e-10)


def test_steep_bed_has_more_spread_and_level_bed_less() -> None:
    net = small_lake()
    alike = plain(net, replace(SETTINGS, steepness=1.3), steep=np.ones(len(net.nodes)))
    np.testing.assert_allclose(alike.spread, plain(net, SETTINGS).spread)
    steep = np.where(net.nodes[:, 0] > 50, 2.0, 0.0)
    spread = plain(net, replace(SETTINGS, steepness=1.0), steep=steep).spread
    share = shore_share(net, 20.0)
    offshore = np.sqrt(np.maximum(spread**2 - 0.05**2, 0))
    np.testing.assert_allclose(offshore, share * (0.15 + 0.85 * steep), atol=1e-7)


def test_draws_from_the_prior_have_its_covariance() -> None:
    net = small_lake()
    prior = plain(net, SETTINGS)
    field, trend = prior.sample(8_000, np.random.default_rng(2))
    dense = np.linalg.inv(prior.precision.toarray())
    # a covariance estimated from n draws is off by sqrt((c^2 + v v') / n), at most 1 % of v here
    tolerance = 6 * np.diag(dense).max() * np.sqrt(2 / 8_000)
    np.testing.assert_allclose(np.cov(field), dense, atol=tolerance)
    assert trend.shape == (1, 8_000)
    assert trend.std() == pytest.approx(1, rel=0.03)


# ---- the posterior against dense algebra ----


@dataclass(frozen=True, eq=False)
class Dense:
    """The same problem, worked with full matrices."""

    prior: Prior
    weights: Any
    effects: Any
    variance: np.ndarray
    balance: np.ndarray

    @cached_property
    def nodes(self) -> np.ndarray:
        """Prior covariance of the depths at the nodes."""
        prior = self.prior
        field = np.linalg.inv(prior.precision.toarray()) * np.outer(prior.scale, prior.scale)
        return field + prior.trend @ np.diag(prior.trend_sd**2) @ prior.trend.T

    @cached_property
    def readings(self) -> np.ndarray:
        """Prior covariance of the readings; shared errors are known to sum to zero if balanced."""
        size = len(self.balance)
        shared = np.eye(size)
        if self.balance.any():
            shared -= np.outer(self.balance, self.balance) / (self.balance @ self.balance)
        errors = self.effects @ shared @ self.effects.T + np.diag(self.variance)
        return np.asarray(self.weights @ self.nodes @ self.weights.T + errors)

    @cached_property
    def gain(self) -> np.ndarray:
        return np.asarray(np.linalg.solve(self.readings, self.weights @ self.nodes).T)

    @cached_property
    def covariance(self) -> np.ndarray:
        return np.asarray(self.nodes - self.gain @ self.weights @ self.nodes)

    def log_likelihood(self, depth: np.ndarray) -> float:
        half = np.linalg.slogdet(self.readings)[1] + depth @ np.linalg.solve(self.readings, depth)
        return float(-half / 2)


def posed(
    *, balanced: bool, settings: FieldSettings = SETTINGS, noisier: float = 1.0
) -> tuple[Posterior, Dense]:
    """Thirty readings of three lines, with a level for each and a shift."""
    rng = np.random.default_rng(3)
    net = small_lake()
    inner = np.flatnonzero(~net.on_shore)
    chosen = rng.choice(inner, 30, replace=False)
    places = net.nodes[chosen] + rng.uniform(-0.5, 0.5, (30, 2))
    weights = net.weights(places)
    assert (np.diff(weights.indptr) == 3).all()
    line = np.repeat(np.arange(3), 10)
    levels = np.array([0.3, 0.2, 0.4])[line]
    columns = np.r_[line, 3 + line]
    values = np.r_[levels, rng.normal(0, 0.2, 30)]
    effects = sparse.csr_matrix((values, (np.r_[np.arange(30), np.arange(30)], columns)), (30, 6))
    variance = noisier * (0.05**2 + 0.01 * rng.random(30))
    balance = np.r_[3.0, 2.0, 4.0, np.zeros(3)] / np.sqrt(29) if balanced else np.zeros(6)
    trend = np.column_stack([shore_share(net, 10.0), net.shore_distance / 30])
    prior = Prior(net, settings, trend, np.array([1.0, 2.0]), 0.05)
    dense = Dense(prior, weights.toarray(), effects.toarray(), variance, balance)
    return Posterior(prior, weights, effects, variance, balance), dense


@pytest.fixture(scope="module", params=[False, True], ids=["free", "balanced"])
def both(request: pytest.FixtureRequest) -> tuple[Posterior, Dense]:
    return posed(balanced=request.param)


@pytest.fixture(scope="module")
def depth() -> np.ndarray:
    return np.random.default_rng(4).normal(3, 1, 30)


Both = tuple[Posterior, Dense]


def test_mean_is_that_of_dense_algebra(both: Both, depth: np.ndarray) -> None:
    posterior, dense = both
    bed = posterior.bed(*posterior.solve(depth))
    np.testing.assert_allclose(bed, dense.gain @ depth, atol=1e-9)


def test_sd_is_that_of_dense_algebra(both: Both) -> None:
    posterior, dense = both
    np.testing.assert_allclose(posterior.sd(), np.sqrt(np.diag(dense.covariance)), rtol=1e-8)


def test_covariance_with_sums_is_that_of_dense_algebra(both: Both) -> None:
    posterior, dense = both
    mass = posterior.prior.net.mass
    several = np.column_stack([mass, mass * (posterior.prior.net.nodes[:, 0] > 50)])
    wanted = dense.covariance @ several
    found = posterior.covariance_with(several)
    np.testing.assert_allclose(found, wanted, atol=1e-9 * np.abs(wanted).max())
    np.testing.assert_allclose(posterior.covariance_with(mass), found[:, 0], rtol=1e-9, atol=1e-12)


def test_likelihoods_differ_as_those_of_dense_algebra(depth: np.ndarray) -> None:
    other = FieldSettings(30.0, 1.5, 10.0, 0.05)
    for balanced in (False, True):
        first, there = posed(balanced=balanced)
        second, here = posed(balanced=balanced, settings=other, noisier=2.5)
        more = depth + np.random.default_rng(5).normal(0, 1, 30)
        wanted = there.log_likelihood(depth)
        assert first.log_likelihood(more) - first.log_likelihood(depth) == pytest.approx(
            there.log_likelihood(more) - wanted, abs=1e-7
        )
        assert second.log_likelihood(depth) - first.log_likelihood(depth) == pytest.approx(
            here.log_likelihood(depth) - wanted, abs=1e-7
        )


def test_residuals_and_shared_errors_add_up_to_the_readings(both: Both, depth: np.ndarray) -> None:
    posterior, dense = both
    state, trend = posterior.solve(depth)
    shared = posterior.shared(state)
    assert shared.shape == (6,)
    explained = dense.weights @ posterior.bed(state, trend) + dense.effects @ shared
    np.testing.assert_allclose(posterior.residual(depth, state, trend), depth - explained)
    # dense: the best estimate of the errors is their covariance with the readings, solved for
    size = np.eye(6) - np.outer(dense.balance, dense.balance)
    wanted = size @ dense.effects.T @ np.linalg.solve(dense.readings, depth)
    np.testing.assert_allclose(shared, wanted, atol=1e-9)
    if dense.balance.any():
        assert shared @ dense.balance == pytest.approx(0, abs=1e-10)


@pytest.mark.parametrize("balanced", [False, True])
def test_draws_have_the_mean_and_covariance_of_dense_algebra(
    depth: np.ndarray, balanced: bool
) -> None:
    posterior, dense = posed(balanced=balanced)
    count = 8_000
    drawn = posterior.draw(depth, count, np.random.default_rng(6))
    sd = np.sqrt(np.diag(dense.covariance))
    # six standard errors of a mean, of a correlation and of a sum's variance
    np.testing.assert_array_less(
        np.abs(drawn.mean(axis=1) - dense.gain @ depth), 6 * sd / np.sqrt(count)
    )
    scaled = np.cov(drawn) / np.outer(sd, sd)
    wanted = dense.covariance / np.outer(sd, sd)
    np.testing.assert_allclose(scaled, wanted, atol=6 * np.sqrt(2 / count))
    mass = posterior.prior.net.mass
    assert (mass @ drawn).std() == pytest.approx(
        np.sqrt(mass @ dense.covariance @ mass), rel=6 / np.sqrt(2 * count)
    )


def test_without_readings_there_is_the_prior() -> None:
    posterior, dense = posed(balanced=False)
    none = sparse.csr_matrix((0, len(dense.nodes)))
    empty = Posterior(posterior.prior, none, sparse.csr_matrix((0, 6)), np.zeros(0), np.zeros(6))
    np.testing.assert_allclose(empty.sd(), posterior.prior.sd, rtol=1e-8)
    np.testing.assert_allclose(empty.bed(*empty.solve(np.zeros(0))), 0, atol=1e-12)


def test_soundings_far_outside_their_noise_are_believed_as_far_as_they_weigh() -> None:
    # derived: one reading of variance r where the prior variance is s pulls by s / (s + r)
    net = small_lake()
    node = int(np.flatnonzero(~net.on_shore)[7])
    weights = sparse.csr_matrix(([1.0], ([0], [node])), (1, len(net.nodes)))
    prior = plain(net, SETTINGS)
    posterior = Posterior(prior, weights, sparse.csr_matrix((1, 0)), np.array([0.25]), np.zeros(0))
    before = prior.sd[node] ** 2
    bed = posterior.bed(*posterior.solve(np.array([4.0])))
    assert bed[node] == pytest.approx(4 * before / (before + 0.25))
    assert posterior.sd()[node] ** 2 == pytest.approx(before * 0.25 / (before + 0.25))
