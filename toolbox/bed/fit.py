"""A fitted field: the bed, its error, its draws and how far soundings support it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from toolbox.bed.field import Posterior, Prior, shore_share
from toolbox.bed.learning import Learnt
from toolbox.bed.observations import Observations
from toolbox.bed.problem import Problem
from toolbox.layers import Shoreline, Soundings, Tin
from toolbox.words import counted

__all__ = ["Fit", "common_sd"]

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
