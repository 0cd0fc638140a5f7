"""Fitting: the bed that knows its own error, from soundings and a shoreline."""

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated

import numpy as np

from toolbox.bed.field import Posterior, Prior, shore_share
from toolbox.bed.learning import LONGEST, Learnt, learn, trusted
from toolbox.bed.leaving_out import asked_inflation
from toolbox.bed.observations import Observations
from toolbox.bed.problem import Problem, Scales, pose
from toolbox.errors import LayerError
from toolbox.layers import Centreline, Shoreline, Soundings, Tin
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = [
    "Fit",
    "LargeNetError",
    "common_sd",
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

SYSTEMATIC = 0.25
"""What the whole bed may be off by together, in its own standard deviations: where lines follow a
channel, or end where it gets shallow, all the bed between them differs in the same sense. Chosen
on every second invented lake (tests/zoo.py): 90 % intervals hold nine in ten of their volumes."""

SHOALS = 0.4
"""Standard deviation of the depth, in depths, close to the shore where nobody sounded: boats
read nothing where it is too shallow for them, so readings there favour deep water (measured on
isobaths of six lakes and on invented ones)."""

NEAR_SHORE = 0.1
"""Share of the greatest distance from shore over which that doubt fades."""

_LEAST = 3
_ITERATIONS = 2


class LargeNetError(LayerError):
    """A net would have more nodes than wanted."""


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted field, and what else can be asked of it.

    Parameters
    ----------
    problem : Problem
        Net and observations.
    posterior : Posterior
        Of the last iteration.
    trust : (k,) array
        Weight of each observation, less than 1 where it fits to nothing.
    coarse : Problem
        The same on the net on which settings were learnt.
    learnt : Learnt
        What was learnt there.
    inflation : float
        Factor of all standard deviations that lines left out of the fit have asked for.
    shoreline : Shoreline
        The water.
    used : Soundings
        Those in the water, each with its spread.
    spacing : float
        Between nodes along the lines, m.
    unused : int
        Soundings that were flagged or lay outside the water.
    """

    problem: Problem
    posterior: Posterior
    trust: np.ndarray
    coarse: Problem
    learnt: Learnt
    inflation: float
    shoreline: Shoreline
    used: Soundings
    spacing: float
    unused: int

    @cached_property
    def _solution(self) -> tuple[np.ndarray, np.ndarray]:
        return self.posterior.solve(self.problem.depth)

    @cached_property
    def mean(self) -> np.ndarray:
        """Best depth below the mapped water's edge at each node, (n,), m; may be negative."""
        return self.posterior.bed(*self._solution)

    @cached_property
    def sd(self) -> np.ndarray:
        """Standard deviation of the depth at each node, (n,), m."""
        return np.hypot(self._own_sd, self._common_sd)

    @cached_property
    def _posterior_sd(self) -> np.ndarray:
        """Standard deviation of the field alone at each node, m."""
        return self.posterior.sd()

    @cached_property
    def _field_sd(self) -> np.ndarray:
        """Standard deviation of the field alone, inflated, at each node, m."""
        return self.inflation * self._posterior_sd

    @cached_property
    def _own_sd(self) -> np.ndarray:
        """The same, and what nobody knows of unsounded water close to the shore, m."""
        beside = 1 - shore_share(self.problem.net, NEAR_SHORE * self.problem.scales.width)
        guessed = SHOALS * np.maximum(self.mean, 0) * (1 - self._narrowed) * beside
        return np.hypot(self._field_sd, guessed)

    @cached_property
    def _narrowed(self) -> np.ndarray:
        """How far soundings have narrowed what is possible, (n,): 0 not at all, to 1."""
        untold = np.maximum(self.posterior.sd_untold(), 1e-9)
        return np.clip(1 - self._posterior_sd / untold, 0.0, 1.0)

    @cached_property
    def support(self) -> np.ndarray:
        """How far soundings tell the depth at each node, (n,): 0 not at all, to 1.

        Notes
        -----
        They tell it by as much as they have narrowed it, and by no less than depths there go along
        with the nearest sounding of the same piece of water, straight across. In a regular basin
        the first alone is little even below soundings, since the basin as a whole has told it
        already.
        """
        away = self.problem.distance_to_observations()
        return np.maximum(self._narrowed, self.learnt.settings.correlation(away))

    @property
    def _common_sd(self) -> np.ndarray:
        """Standard deviation of what all the bed has in common, at each node, m."""
        return common_sd(self.problem.observations, self.posterior.prior, self._own_sd)

    def draws(self, count: int, seed: int) -> np.ndarray:
        """Return equally likely beds below the mapped water's edge, (n, count), m."""
        rng = np.random.default_rng(seed)
        drawn = self.posterior.draw(self.problem.depth, count, rng)
        own = self._stretch[:, None] * (drawn - self.mean[:, None])
        return self.mean[:, None] + own + self._common_sd[:, None] * rng.standard_normal(count)

    @property
    def _stretch(self) -> np.ndarray:
        """By how much departures of the field are stretched at each node."""
        return self.inflation * self._own_sd / np.maximum(self._field_sd, 1e-12)

    @cached_property
    def shared_errors(self) -> tuple[np.ndarray, np.ndarray]:
        """What lines share, best and with its standard deviation, (q,), both in stated ones."""
        return self.posterior.shared(self._solution[0]), self.posterior.shared_sd()

    @cached_property
    def volume_sd(self) -> float:
        """Standard deviation of the volume below the mapped edge, m3, exact for the field.

        Notes
        -----
        The volume is a weighted sum of the depths at the nodes, so its variance follows from the
        field's covariance without any draw. Clipping at the water's edge is not in it.
        """
        mass = self.problem.net.mass
        stretched = mass * self._stretch
        field = float(stretched @ self.posterior.covariance_with(stretched))
        return float(np.hypot(np.sqrt(field), self._common_sd @ mass))

    def bed(self, *, draws: int, seed: int) -> Tin:
        """Return it as a lake bed."""
        net, top = self.problem.net, self.problem.shore_depth
        depth = top + _mean_below_water(self.mean, self.sd)
        drawn = None
        if draws:
            drawn = (top + np.maximum(self.draws(draws, seed), 0)).astype(np.float32)
            drawn[net.on_shore] = top
        depth[net.on_shore] = top
        return Tin(
            net.nodes,
            depth,
            net.triangles,
            net.kind,
            self.shoreline.crs,
            sd=self.sd,
            draws=drawn,
            notes=self.notes,
            support=self.support,
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What was learnt and assumed, in sentences."""
        told = self.learnt.settings
        doubted = int((self.trust < 1).sum())
        notes = [
            f"fitted on {len(self.problem.net.nodes)} nodes to {len(self.problem.depth)} means of "
            f"{int(self.problem.observations.count.sum())} soundings",
            f"learnt: correlation range {told.range_m:.0f} m, spread {told.spread_m:.2f} m growing "
            f"over {told.reach_m:.0f} m from shore, nugget {told.nugget_m:.3f} m, elongation "
            f"{told.elongation:.1f}",
            f"standard deviations are {self.inflation:.2f} times those of the field, as lines left "
            "out of the fit ask for",
        ]
        if doubted:
            notes.append(f"{counted(doubted, 'mean')} fit to nothing about them and lost weight")
        ashore = len(self.used) - int(self.problem.observations.count.sum())
        if ashore:
            notes.append(f"{counted(ashore, 'sounding')} at the water's edge left out of the fit")
        if self.unused:
            were = "was" if self.unused == 1 else "were"
            lost = counted(self.unused, "sounding")
            notes.append(f"{lost} flagged or outside the water {were} not used")
        return tuple(notes)


def _mean_below_water(mean: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Return the mean of a normal depth of which nothing lies above the water, m."""
    from scipy.special import ndtr

    ratio = mean / np.maximum(sd, 1e-12)
    bell = np.exp(-(ratio**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(mean * ndtr(ratio) + sd * bell)


def common_sd(seen: Observations, prior: Prior, own_sd: np.ndarray) -> np.ndarray:
    """Return the spread of what all the bed has in common at each node, of its own (..., n), m."""
    return np.hypot(seen.common_sd * prior.offshore, SYSTEMATIC * own_sd)


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
