"""Foresight: what will be known of a bed once more of it is sounded."""

from dataclasses import dataclass, replace

import numpy as np

from toolbox.bed.field import Posterior
from toolbox.bed.fit import Fit, common_sd
from toolbox.bed.flow import Directions
from toolbox.bed.graded import Net, graded_net
from toolbox.bed.observations import Observations
from toolbox.bed.problem import Problem
from toolbox.layers import Centreline, Shoreline
from toolbox.planning.candidates import Candidates
from toolbox.planning.choosing import Choice, Readings, choose
from toolbox.planning.gear import Gear

__all__ = ["Plan", "even_net", "net_spacing", "plan"]

NODES = 1_000
"""About the number of nodes in open water of the net on which plans are made."""

_STRAIGHTENED = 0.25  # of the spacing, by which the shore may be straightened for that net


@dataclass(frozen=True, eq=False)
class Plan:
    """Candidates and which of them to sound, in order.

    Parameters
    ----------
    candidates : Candidates
        All that were considered.
    choices : tuple of Choice
        Those chosen.
    mean_variance, mean_sd, volume_sd : (1 + choices,) array
        Mean variance (m2) and mean standard deviation (m) of the depth, and standard deviation of
        the volume (m3): as it is now, and after each choice.
    """

    candidates: Candidates
    choices: tuple[Choice, ...]
    mean_variance: np.ndarray
    mean_sd: np.ndarray
    volume_sd: np.ndarray

    @property
    def chosen(self) -> np.ndarray:
        """Numbers of the chosen candidates."""
        return np.array([choice.number for choice in self.choices], np.int64)

    @property
    def notes(self) -> tuple[str, ...]:
        """What is expected, in sentences."""
        before, after = self.mean_sd[[0, -1]]
        least, most = self.volume_sd[[-1, 0]]
        return (
            f"{len(self.choices)} of {len(self.candidates)} candidates chosen",
            f"the mean standard deviation of the depth is {before:.2f} m now, {after:.2f} m after "
            f"all; that of the volume {most:.3g} m3 now, {least:.3g} m3 after all",
        )


def plan(
    fitted: Fit,
    candidates: Candidates,
    gear: Gear,
    cost: np.ndarray,
    budget: float,
    centreline: Centreline | None = None,
) -> Plan:
    """Choose among candidates; see :func:`plan_soundings`.

    Parameters
    ----------
    fitted : Fit
        Of what was sounded so far.
    candidates : Candidates
        In the water.
    gear : Gear
        What their readings are off by.
    cost : (n,) array
        Of each candidate.
    budget : float
        Total cost not exceeded.
    centreline : Centreline, optional
        The one of the fit, if it had one.
    """
    known, bed, posterior = _known(fitted, centreline)
    step = max(fitted.spacing, net_spacing(fitted.shoreline, 0.0) / 2)
    seen = gear.readings(candidates, step)
    # a mean over a longer stretch averages more of what is finer than the net
    nugget = fitted.learnt.settings.nugget_m * np.sqrt(fitted.spacing / step)
    readings = Readings.of(_posed(known, seen)[0], bed, nugget)
    choices = tuple(choose(posterior, readings, cost, budget))
    return _judged(fitted, known, posterior, candidates, choices)


def even_net(shoreline: Shoreline, spacing: float) -> Net:
    """Lay an even net over a water whose shore is straightened by a quarter of the spacing."""
    import shapely

    plain = shapely.simplify(shoreline.polygons, _STRAIGHTENED * spacing)
    parts = [part for part in shapely.get_parts(plain) if part.area > 0]
    even = replace(shoreline, polygons=shapely.MultiPolygon(parts))
    return graded_net(even, np.empty((0, 2)), fine=spacing, coarse=spacing)


def net_spacing(shoreline: Shoreline, finest: float) -> float:
    """Return the spacing of the net on which plans are made, m."""
    return max(finest, float(np.sqrt(shoreline.polygons.area / NODES)))


def _posed(problem: Problem, seen: Observations) -> tuple[Problem, np.ndarray]:
    """Put observations on the net of a problem; also tell which of them lie on it."""
    weights = problem.net.weights(seen.place)
    inside = np.diff(weights.indptr) > 0
    return replace(problem, observations=seen.select(inside), weights=weights[inside]), inside


def _known(fitted: Fit, centreline: Centreline | None) -> tuple[Problem, np.ndarray, Posterior]:
    """Return the survey so far on an even net, the bed, and what is believed of it."""
    told, learnt = fitted.problem, fitted.learnt
    net = even_net(fitted.shoreline, net_spacing(fitted.shoreline, fitted.spacing))
    directions = Directions.of(net, centreline, told.scales.width)
    problem, inside = _posed(replace(told, net=net, directions=directions), told.observations)
    passed = fitted.coarse.net.weights(net.nodes)
    bed = passed @ learnt.bed
    prior = problem.prior(learnt.settings, steep=passed @ learnt.steep)
    return problem, bed, problem.posterior(prior, problem.gradient(bed), fitted.trust[inside])


def _judged(
    fitted: Fit,
    known: Problem,
    posterior: Posterior,
    candidates: Candidates,
    choices: tuple[Choice, ...],
) -> Plan:
    """Tell what is left after each choice, in terms of the fit's own standard deviations."""
    prior, mass, inflation = posterior.prior, known.net.mass, fitted.inflation
    share = mass / mass.sum()
    field = [posterior.sd() ** 2, *(choice.variance for choice in choices)]
    total = [mass @ posterior.covariance_with(mass), *(c.volume_variance for c in choices)]
    own = inflation * np.sqrt(np.array(field))
    common = common_sd(known.observations, prior, own)
    return Plan(
        candidates,
        choices,
        own**2 @ share,
        np.hypot(own, common) @ share,
        np.hypot(inflation * np.sqrt(np.array(total)), common @ mass),
    )
