"""Field: the bed as a Gaussian Markov random field about a trend with distance from shore."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from toolbox.bed.factor import Factor
from toolbox.bed.graded import Net

__all__ = ["FieldSettings", "Posterior", "Prior", "shore_share"]


_FAR = 500.0  # scaled distance at which a correlation is none
_CALM = 0.15  # where the bed is level, its departures are no less than this share of the mean


@dataclass(frozen=True)
class FieldSettings:
    """What shapes a field.

    Parameters
    ----------
    range_m : float
        Distance at which the correlation has fallen to about 0.14, m.
    spread_m : float
        Standard deviation about the trend far from shore, m.
    reach_m : float
        Distance from shore over which that spread grows, m.
    nugget_m : float
        Standard deviation of what is finer than the net, m.
    elongation : float
        How many times farther the correlation reaches along a channel than across.
    steepness : float
        How the spread grows with the steepness of the bed: as its power, 0 for not at all.
    """

    range_m: float
    spread_m: float
    reach_m: float
    nugget_m: float
    elongation: float = 1.0
    steepness: float = 0.0

    def correlation(self, distance: np.ndarray) -> np.ndarray:
        """Return how far departures go along at a distance across, m: 1 at none, falling to 0.

        References
        ----------
        Matern's correlation of smoothness 1: Lindgren, Rue & Lindstrom 2011, equation 1.
        """
        from scipy.special import kv

        scaled = np.clip(np.sqrt(8) * np.asarray(distance) / self.range_m, 1e-9, _FAR)
        return np.minimum(scaled * kv(1, scaled), 1.0)


def shore_share(net: Net, reach: float) -> np.ndarray:
    """Return 0 on the shore growing to 1 far from it, shape (n,).

    Notes
    -----
    The solution of (1 - reach^2 Laplacian) f = 1 with f = 0 on closed shores and no flux through
    open edges: 1 - exp(-d / reach) along a straight shore, less in narrow water, and smooth where
    two shores are equally far.
    """
    from scipy import sparse

    free = np.flatnonzero(~net.on_shore)
    share = np.zeros(len(net.nodes))
    if len(free) == len(share):
        return np.ones(len(share))
    screened = sparse.diags(net.mass) + reach**2 * net.laplacian
    inner = screened.tocsr()[free][:, free]
    share[free] = Factor(inner).solve(net.mass[free])
    return np.clip(share, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Prior:
    """What is believed of a bed before any sounding.

    Parameters
    ----------
    net : Net
        Finite elements over the water.
    settings : FieldSettings
        Range, spread and the rest.
    trend : (n, p) array
        Shore shares, one column for each reach.
    trend_sd : (p,) array
        Standard deviation of each coefficient of the trend, m.
    shore_sd : float
        Standard deviation of the depth on the shore, m.
    tensor : (m, 2, 2) array, optional
        Stretch of the correlation on each triangle; the same in all directions if left out.
    steep : (n,) array, optional
        Steepness of the bed about each node, the mean of the water being 1.
    variance : (n,) array, optional
        Marginal variance of the field at its nodes, if known; computed if left out.

    Notes
    -----
    Bed = trend b + scale u. u has precision tau^2 K C^-1 K with K = kappa^2 C + G, kappa =
    sqrt(8) / range, and is scaled to unit variance everywhere: without that it would vary more
    in narrow arms and along shores.

    References
    ----------
    Lindgren, Rue & Lindstrom 2011, J. R. Stat. Soc. B 73:423,
    doi:10.1111/j.1467-9868.2011.00777.x.
    """

    net: Net
    settings: FieldSettings
    trend: np.ndarray
    trend_sd: np.ndarray
    shore_sd: float
    tensor: np.ndarray | None = None
    steep: np.ndarray | None = None
    variance: np.ndarray | None = None

    @property
    def _tau(self) -> float:
        return self.settings.range_m / np.sqrt(8 * 4 * np.pi)

    @cached_property
    def _stiff(self) -> Any:
        from scipy import sparse

        kappa = np.sqrt(8) / self.settings.range_m
        laplacian = self.net.laplacian if self.tensor is None else self.net.stiffness(self.tensor)
        return (sparse.diags(kappa**2 * self.net.mass) + laplacian).tocsc()

    @cached_property
    def precision(self) -> Any:
        """Of the unscaled field, (n, n) sparse."""
        from scipy import sparse

        stiff = self._stiff
        return (self._tau**2 * (stiff @ sparse.diags(1 / self.net.mass) @ stiff)).tocsc()

    @cached_property
    def _stiff_factor(self) -> Factor:
        return Factor(self._stiff)

    @cached_property
    def log_determinant(self) -> float:
        """Of the precision of the unscaled field."""
        count = len(self.net.nodes)
        twice = 2 * self._stiff_factor.log_determinant + 2 * count * np.log(self._tau)
        return float(twice - np.log(self.net.mass).sum())

    @cached_property
    def marginal_variance(self) -> np.ndarray:
        """Of the unscaled field at its nodes, shape (n,)."""
        if self.variance is not None:
            return self.variance
        return Factor(self.precision).inverse_diagonal()

    @cached_property
    def spread(self) -> np.ndarray:
        """Standard deviation of the field about the trend at its nodes, shape (n,), m."""
        offshore = self.settings.spread_m * shore_share(self.net, self.settings.reach_m)
        if self.steep is not None:
            offshore = offshore * (_CALM + (1 - _CALM) * self.steep) ** self.settings.steepness
        return np.hypot(self.shore_sd, offshore)

    @property
    def offshore(self) -> np.ndarray:
        """0 on the shore to 1 far from it at its nodes, as the spread grows, shape (n,)."""
        return np.minimum(self.spread / self.settings.spread_m, 1.0)

    @cached_property
    def scale(self) -> np.ndarray:
        """What the unscaled field is multiplied with at its nodes, shape (n,), m."""
        return self.spread / np.sqrt(self.marginal_variance)

    @cached_property
    def sd(self) -> np.ndarray:
        """Prior standard deviation of the depth at its nodes, shape (n,), m."""
        return np.hypot(self.spread, np.sqrt((self.trend**2) @ self.trend_sd**2))

    def sample(self, count: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Draw unscaled fields (n, count) and coefficients of the trend (p, count)."""
        white = rng.standard_normal((len(self.net.nodes), count))
        field = self._stiff_factor.solve(white * np.sqrt(self.net.mass)[:, None]) / self._tau
        return field, self.trend_sd[:, None] * rng.standard_normal((self.trend.shape[1], count))


class Posterior:
    """What is believed of a bed once soundings are in.

    Parameters
    ----------
    prior : Prior
        Before.
    weights : (k, n) sparse matrix
        Interpolation from nodes to the places of the soundings.
    effects : (k, q) sparse matrix
        What one standard deviation of each shared error does to each sounding, m.
    variance : (k,) array
        Of what each sounding has for itself, nugget included, m2.
    balance : (q,) array
        Weights of length 1 with which the shared errors sum to zero; zeros for no condition.

    Notes
    -----
    The unknowns are the field, the shared errors and the trend's coefficients. The first two are
    solved for by one sparse factor, the few coefficients by its Schur complement.
    """

    def __init__(
        self, prior: Prior, weights: Any, effects: Any, variance: np.ndarray, balance: np.ndarray
    ) -> None:
        from scipy import sparse

        self.prior, self.variance, self._balance = prior, variance, balance
        self._nodes = len(prior.net.nodes)
        self._design = sparse.hstack([weights @ sparse.diags(prior.scale), effects]).tocsr()
        self._trend = weights @ prior.trend
        self._told = (self._design.T @ sparse.diags(1 / variance)).tocsr()
        shared = sparse.identity(effects.shape[1], format="csc")
        before = sparse.block_diag([prior.precision, shared], format="csc")
        self._factor = Factor(before + self._told @ self._design)
        # the border: coefficients of the trend, and the multiplier that keeps shared levels at zero
        held = np.concatenate([np.zeros(self._nodes), balance])
        self._cross = np.column_stack([self._told @ self._trend, held])
        self._solved = self._factor.solve(self._cross)
        weighted = self._trend / variance[:, None]
        corner = np.zeros((self._cross.shape[1],) * 2)
        count = prior.trend.shape[1]
        corner[:count, :count] = np.einsum("kp,kq->pq", weighted, self._trend)
        corner[:count, :count] += np.diag(1 / prior.trend_sd**2)
        if not balance.any():
            corner[-1, -1] = 1.0
        self._schur = corner - np.einsum("np,nq->pq", self._cross, self._solved)

    def solve(self, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the best field with shared errors below it (n + q, ...), and trend (p, ...)."""
        first = self._told @ depth
        weighted = (depth.T / self.variance).T
        return self._bordered(first, np.einsum("kp,k...->p...", self._trend, weighted))

    def _bordered(self, first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Solve for field and shared errors (right side `first`) and trend (`second`)."""
        padding = np.zeros((1, *second.shape[1:]))
        border = np.concatenate([second, padding])
        border = border - np.einsum("np,n...->p...", self._solved, first)
        border = np.linalg.solve(self._schur, border)
        return self._factor.solve(first) - self._solved @ border, border[:-1]

    def bed(self, state: np.ndarray, trend: np.ndarray) -> np.ndarray:
        """Return the depth at the nodes that unknowns stand for, (n, ...), m."""
        field = (state[: self._nodes].T * self.prior.scale).T
        return field + self.prior.trend @ trend

    def residual(self, depth: np.ndarray, state: np.ndarray, trend: np.ndarray) -> np.ndarray:
        """Return what is left of the depths (k,) for noise alone, m."""
        return np.asarray(depth - self._design @ state - self._trend @ trend)

    def shared(self, state: np.ndarray) -> np.ndarray:
        """Return the shared errors among the unknowns, (q, ...), in standard deviations."""
        return state[self._nodes :]

    def shared_sd(self) -> np.ndarray:
        """Return the standard deviation of each shared error, (q,), before it was 1."""
        own = self._factor.inverse_diagonal()[self._nodes :]
        lever = self._solved[self._nodes :]
        common = np.einsum("np,pq,nq->n", lever, np.linalg.inv(self._schur), lever)
        return np.sqrt(np.maximum(own + common, 0))

    def log_likelihood(self, depth: np.ndarray) -> float:
        """Return the logarithm of how likely these depths (k,) were, but for a constant."""
        state, trend = self.solve(depth)
        explained = (self._told @ depth) @ state
        explained += (self._trend.T @ (depth / self.variance)) @ trend
        misfit = depth @ (depth / self.variance) - explained
        _, schur = np.linalg.slogdet(self._schur)
        coefficients = schur + 2 * np.log(self.prior.trend_sd).sum()
        gain = self.prior.log_determinant - self._factor.log_determinant
        return float(0.5 * (gain - np.log(self.variance).sum() - coefficients - misfit))

    def sd(self) -> np.ndarray:
        """Return the standard deviation of the depth at the nodes, shape (n,), m."""
        own = self._factor.inverse_diagonal()[: self._nodes] * self.prior.scale**2
        lever = -self.prior.scale[:, None] * self._solved[: self._nodes]
        lever[:, :-1] += self.prior.trend
        common = np.einsum("np,pq,nq->n", lever, np.linalg.inv(self._schur), lever)
        return np.sqrt(own + common)

    def sd_untold(self) -> np.ndarray:
        """Return the standard deviation with the trend as it is known now, and no sounding near."""
        common = np.linalg.inv(self._schur)[:-1, :-1]
        doubt = np.einsum("np,pq,nq->n", self.prior.trend, common, self.prior.trend)
        return np.hypot(self.prior.spread, np.sqrt(np.maximum(doubt, 0)))

    def covariance_with(self, functional: np.ndarray) -> np.ndarray:
        """Return the covariance of every node's depth with a weighted sum of depths.

        Parameters
        ----------
        functional : (n,) or (n, k) array
            Weights of the nodes' depths in each sum.

        Returns
        -------
        (n,) or (n, k) array
            In m times the unit of the sums.
        """
        padding = np.zeros((self._solved.shape[0] - self._nodes, *functional.shape[1:]))
        scaled = (functional.T * self.prior.scale).T
        second = np.einsum("np,n...->p...", self.prior.trend, functional)
        return self.bed(*self._bordered(np.concatenate([scaled, padding]), second))

    def draw(self, depth: np.ndarray, count: int, rng: np.random.Generator) -> np.ndarray:
        """Return equally likely beds, (n, count), m.

        Notes
        -----
        Matheron's rule: a bed and soundings are invented from the prior, and the bed is corrected
        by what the fit would make of the difference to the true soundings.
        """
        field, trend = self.prior.sample(count, rng)
        effects = rng.standard_normal((self._solved.shape[0] - self._nodes, count))
        effects -= self._balance[:, None] * np.einsum("q,qk->k", self._balance, effects)
        state = np.concatenate([field, effects])
        noise = np.sqrt(self.variance)[:, None] * rng.standard_normal((len(depth), count))
        invented = self._design @ state + self._trend @ trend + noise
        correction, coefficients = self.solve(depth[:, None] - invented)
        return self.bed(state + correction, trend + coefficients)
