"""Learning: what range, spread and noise a water has, from its own soundings."""

from dataclasses import dataclass, replace

import numpy as np

from toolbox.bed.field import FieldSettings
from toolbox.bed.problem import Problem
from toolbox.errors import LayerError

__all__ = ["LONGEST", "Learnt", "learn", "trusted"]

_NAMES = ("range_m", "spread_m", "reach_m", "nugget_m", "elongation", "steepness")
_TOLERANCE = np.array([1.0, 1.0, 1.0, 0.5, 0.7, 0.5])
"""Prior standard deviation of the logarithm of each, and of the steepness itself."""

_FARTHEST = np.array([2.3, 2.3, 2.3, 3.5, 5.0, 2.0])
"""How far each may go from there: ten times, the nugget thirty. Level beds between walls have
no range of their own, and would take any."""

_BASIN, _CHANNEL = 1.3, 8.0
"""Elongation before any sounding, where no direction stands out and in a channel. Bends are ten to
fourteen widths long (Leopold & Wolman 1960, Geol. Soc. Am. Bull. 71:769), and so do beds vary."""

_ROUNDS = ((0.5, 50), (0.25, 25))
"""First step, in logarithms, and number of trials of each search; more tell hardly more."""

_LAST_STEP = 0.05
_HOPELESS = 1e10
_SMOOTH = 0.08  # of the range, over which steepness is smoothed
_WILD = 2.5  # standard deviations beyond which a residual loses weight
LONGEST = 25.0
"""Greatest elongation: beyond it a net of finite elements cannot carry the field."""

_STEEPEST = 2.0
_FINEST = 2.0  # of the net's spacing: no range is shorter, for the net could not carry it


@dataclass(frozen=True, eq=False)
class Learnt:
    """What a first fit on a coarse net tells.

    Parameters
    ----------
    settings : FieldSettings
        Most likely range, spread and the rest.
    bed : (n,) array
        Best bed on the coarse net, m below the shore.
    steep : (n,) array
        Its steepness about each node, the mean being 1.
    variance : (n,) array
        Marginal variance of the unscaled field.
    trust : (k,) array
        Weight of each observation.
    """

    settings: FieldSettings
    bed: np.ndarray
    steep: np.ndarray
    variance: np.ndarray
    trust: np.ndarray


def learn(problem: Problem, given: dict[str, float] | None = None) -> Learnt:
    """Find the settings under which the soundings were most likely.

    Parameters
    ----------
    problem : Problem
        On a coarse net.
    given : dict, optional
        Settings that are known, by name; they are kept.

    Returns
    -------
    Learnt
        With weak priors about scales of the water: a range of half its width, a spread of a fifth
        of its depth, a nugget of 3 % of it, and an elongation of 1.3 in basins to 8 in channels.

    Notes
    -----
    The marginal likelihood is maximised through quadratic models within a trust region, twice:
    gradients, steepness and marginal variance are those of the fit before.

    References
    ----------
    Ragonneau & Zhang 2023, "COBYQA: a derivative-free trust-region SQP method", in scipy.
    """
    start = _start(problem, given or {})
    learnt = _refit(problem, start, None)
    for step, trials in _ROUNDS:
        settings = _improved(problem, learnt, start, given or {}, step, trials)
        learnt = _refit(problem, settings, learnt)
    return learnt


def trusted(residual: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Return the weight of each residual: 1, beyond 2.5 standard deviations less as its square."""
    size = np.abs(residual) / sd
    return np.minimum(1.0, (_WILD / np.maximum(size, 1e-12)) ** 2)


def _start(problem: Problem, given: dict[str, float]) -> FieldSettings:
    wide, deep = problem.scales.width, problem.scales.deep
    channel = float(np.average(problem.directions.strength, weights=problem.net.areas))
    longer = _BASIN * (_CHANNEL / _BASIN) ** channel
    usual = FieldSettings(0.5 * wide, 0.2 * deep, 0.2 * wide, 0.03 * deep, longer, 0.5)
    return replace(usual, **given)


def _refit(problem: Problem, settings: FieldSettings, before: Learnt | None) -> Learnt:
    """Fit with some settings; steepness, gradient and trust follow from the fit before."""
    if before is None:
        prior = problem.prior(replace(settings, steepness=0.0))
        gradient, trust = np.zeros((len(problem.depth), 2)), np.ones(len(problem.depth))
    else:
        prior = problem.prior(settings, steep=before.steep)
        gradient, trust = problem.gradient(before.bed), before.trust
    posterior = problem.posterior(prior, gradient, trust)
    state, trend = posterior.solve(problem.depth)
    bed = posterior.bed(state, trend)
    residual = posterior.residual(problem.depth, state, trend)
    return Learnt(
        settings,
        bed,
        problem.steepness(bed, _SMOOTH * settings.range_m),
        prior.marginal_variance,
        trusted(residual, np.sqrt(posterior.variance * trust)),
    )


def _improved(
    problem: Problem,
    learnt: Learnt,
    start: FieldSettings,
    given: dict[str, float],
    step: float,
    trials: int,
) -> FieldSettings:
    from scipy.optimize import minimize

    spacing = float(np.sqrt(2 * np.median(problem.net.areas)))
    free = [k for k, name in enumerate(_NAMES) if name not in given]
    centre, guess = _coordinates(start), _coordinates(learnt.settings)
    gradient = problem.gradient(learnt.bed)

    def cost(moved: np.ndarray) -> float:
        place = guess.copy()
        place[free] = moved
        prior = problem.prior(
            _settings(place, centre, spacing), steep=learnt.steep, variance=learnt.variance
        )
        try:
            posterior = problem.posterior(prior, gradient, learnt.trust)
            likelihood = posterior.log_likelihood(problem.depth)
        except LayerError:  # so far out that numbers fail: as unlikely as can be
            return _HOPELESS
        return -likelihood + 0.5 * float((((place - centre) / _TOLERANCE) ** 2).sum())

    if not free:
        return learnt.settings
    options = {"maxfev": trials, "initial_tr_radius": step, "final_tr_radius": _LAST_STEP}
    best = guess.copy()
    best[free] = minimize(cost, guess[free], method="COBYQA", options=options).x
    return _settings(best, centre, spacing)


def _coordinates(settings: FieldSettings) -> np.ndarray:
    values = np.array([getattr(settings, name) for name in _NAMES])
    return np.r_[np.log(values[:5]), values[5]]


def _settings(place: np.ndarray, centre: np.ndarray, spacing: float) -> FieldSettings:
    place = np.clip(place, centre - _FARTHEST, centre + _FARTHEST)
    place[0] = max(place[0], min(np.log(_FINEST * spacing), centre[0]))
    values = dict(zip(_NAMES, np.exp(place), strict=True))
    values["elongation"] = np.clip(values["elongation"], 1.0, LONGEST)
    values["steepness"] = np.clip(place[5], 0.0, _STEEPEST)
    return FieldSettings(**{name: float(value) for name, value in values.items()})
