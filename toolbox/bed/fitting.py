"""Fitting: the bed that knows its own error, from soundings and a shoreline."""

from typing import Annotated

import numpy as np

from toolbox.bed.field import Posterior
from toolbox.bed.fit import Fit
from toolbox.bed.learning import LONGEST, Learnt, learn, trusted
from toolbox.bed.leaving_out import asked_inflation
from toolbox.bed.problem import Problem, Scales, pose
from toolbox.errors import LayerError
from toolbox.layers import Centreline, Shoreline, Soundings, Tin
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool

__all__ = [
    "LargeNetError",
    "default_spacing",
    "fit",
    "fit_bed",
    "usable",
    "usable_places",
]

COARSER = 2.2
"""Spacing of the net on which settings are learnt, in that of the bed's net."""

COARSE_NODES = 3_000
"""About how many nodes that net has at most: it is solved some hundred times."""

MOST_NODES = 100_000
"""About the number of nodes beyond which the net becomes coarser than the soundings ask for."""

SHORE_SD = 0.05
"""Standard deviation of the depth along the mapped shore, m (common practice, no source)."""

_LEAST = 3
_ITERATIONS = 2


class LargeNetError(LayerError):
    """A net would have more nodes than wanted."""


@tool("Fitted lake bed")
def fit_bed(
    soundings: Soundings,
    shoreline: Shoreline,
    centreline: Centreline | None = None,
    *,
    spacing: Annotated[float, Range("m", above=0)] | None = None,
    correlation_range: Annotated[float, Range("m", above=0)] | None = None,
    spread: Annotated[float, Range("m", above=0)] | None = None,
    nugget: Annotated[float, Range("m", above=0)] | None = None,
    elongation: Annotated[float, Range("", min=1, max=LONGEST)] | None = None,
    shore_sd: Annotated[float, Range("m", above=0)] = SHORE_SD,
    draws: Annotated[int, Range("", min=0, max=1000)] = 100,
    seed: Annotated[int, Range("", min=0)] = 0,
) -> Tin:
    """Fit the most likely bed, with its standard deviation and equally likely others.

    Parameters
    ----------
    soundings : Soundings
        Depths; flagged ones and those outside the water are not used. Where ``sd`` or ``sd_xy``
        are missing, they are estimated.
    shoreline : Shoreline
        The water. Its closed edge and its islands lie at the shoreline's depth.
    centreline : Centreline, optional
        Lines along which a river or an arm runs; their depths are not used. If left out, the
        direction is read from the shore.
    spacing : float, optional
        Between nodes along the lines; if left out, half the median distance to a sounding.
    correlation_range : float, optional
        Distance at which the correlation has fallen to about 0.14; learnt if left out, as are
        the next three.
    spread : float, optional
        Standard deviation about the trend with distance from shore.
    nugget : float, optional
        Standard deviation of what is finer than the net.
    elongation : float, optional
        How many times farther the correlation reaches along a channel than across.
    shore_sd : float
        Standard deviation of the depth along the mapped shore.
    draws : int
        How many equally likely beds to draw; volumes and tables take their bands from them.
    seed : int
        Of the draws.

    Returns
    -------
    Tin
        The bed on a net of its own, with ``sd``, ``support`` and ``draws``. Its depth is the mean
        of what is possible, none of it above the mapped water's edge. The notes tell what was
        learnt.

    Raises
    ------
    LayerError
        If layers lie in different CRS, or fewer than 3 soundings lie in the water.

    Notes
    -----
    A Gaussian Markov random field about a trend with distance from shore; its correlation goes
    round islands and headlands. Each line has a level of its own, and each minute of it a shift
    of place of its own, as its ``sd_shared`` and ``sd_xy`` allow. Soundings that fit to nothing
    lose weight. Whole lines are left out in turn, and all standard deviations grow until nine
    in ten readings left out lie within their 90 % interval.

    References
    ----------
    Lindgren, Rue & Lindstrom 2011, J. R. Stat. Soc. B 73:423,
    doi:10.1111/j.1467-9868.2011.00777.x.
    """
    given = {
        "range_m": correlation_range,
        "spread_m": spread,
        "nugget_m": nugget,
        "elongation": elongation,
    }
    fitted = fit(
        soundings,
        shoreline,
        centreline,
        spacing=spacing,
        shore_sd=shore_sd,
        given={name: value for name, value in given.items() if value is not None},
    )
    return fitted.bed(draws=draws, seed=seed)


def fit(
    soundings: Soundings,
    shoreline: Shoreline,
    centreline: Centreline | None = None,
    *,
    spacing: float | None = None,
    shore_sd: float = SHORE_SD,
    given: dict[str, float] | None = None,
    most_nodes: int | None = None,
) -> Fit:
    """Fit a field; see :func:`fit_bed`, whose parameters these are.

    Parameters
    ----------
    given : dict, optional
        Fields of FieldSettings that are known, by name.
    most_nodes : int, optional
        Largest net that is wanted.

    Raises
    ------
    LargeNetError
        If the net would have more nodes than wanted.
    LayerError
        If the water holds too few soundings.
    """
    check_same_crs(shoreline=shoreline, soundings=soundings, centreline=centreline)
    used = usable(soundings, shoreline)
    scales = Scales.of(used, shoreline)
    spacing = spacing or default_spacing(scales, shoreline)

    layers = (used, shoreline, centreline, scales)
    wider = max(COARSER * spacing, float(np.sqrt(shoreline.polygons.area / COARSE_NODES)))
    coarse = pose(*layers, spacing=wider, shore_sd=shore_sd)
    if not len(coarse.depth):
        raise LayerError(f"the water must hold soundings off its edge; is {spacing:g} m too wide?")
    problem = pose(*layers, spacing=spacing, shore_sd=shore_sd)
    nodes = len(problem.net.nodes)
    if most_nodes is not None and nodes > most_nodes:
        raise LargeNetError(f"its net would have {nodes:,} nodes, more than {most_nodes:,}")
    learnt = learn(coarse, given)
    inflation = asked_inflation(coarse, learnt)
    posterior, trust = _conditioned(problem, coarse, learnt)
    unused = len(soundings) - len(used)
    return Fit(
        problem, posterior, trust, coarse, learnt, inflation, shoreline, used, spacing, unused
    )


def default_spacing(scales: Scales, shoreline: Shoreline) -> float:
    """Half the distance to the nearest sounding, a tenth of the width if that is less, m."""
    wanted = min(scales.gap / 2, scales.width / 10)
    return max(wanted, float(np.sqrt(shoreline.polygons.area / MOST_NODES)))


def usable(soundings: Soundings, shoreline: Shoreline) -> Soundings:
    """Return the kept soundings in the water, each with its spread."""
    from toolbox.reduction.spread import estimate_spread

    inside = usable_places(soundings, shoreline)
    if np.count_nonzero(inside) < _LEAST:
        raise LayerError(f"the water must hold {_LEAST} soundings, got {np.count_nonzero(inside)}")
    kept = Soundings(soundings.frame[inside], soundings.notes)
    if kept.frame[["sd", "sd_xy"]].isna().any(axis=None):
        kept = estimate_spread(kept)
    return kept


def usable_places(soundings: Soundings, shoreline: Shoreline) -> np.ndarray:
    """Tell which soundings are kept and lie in the water, (n,)."""
    return np.asarray(~soundings.flag & shoreline.contains(soundings.coordinates))


def _conditioned(problem: Problem, coarse: Problem, learnt: Learnt) -> tuple[Posterior, np.ndarray]:
    """Fit on the fine net, starting from the coarse one."""
    passed = coarse.net.weights(problem.net.nodes)
    bed, steep, variance = (
        passed @ values for values in (learnt.bed, learnt.steep, learnt.variance)
    )
    # a node of the finer net may lie a hair outside of the coarser one
    variance = np.where(variance > 0, variance, 1.0)
    prior = problem.prior(learnt.settings, steep=steep, variance=variance)
    trust = np.ones(len(problem.depth))
    for _ in range(_ITERATIONS):
        posterior = problem.posterior(prior, problem.gradient(bed), trust)
        state, trend = posterior.solve(problem.depth)
        bed = posterior.bed(state, trend)
        residual = posterior.residual(problem.depth, state, trend)
        trust = trusted(residual, np.sqrt(posterior.variance * trust))
    return posterior, trust
