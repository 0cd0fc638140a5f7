"""Problem: a net, the soundings on it, and the scales by which a water is measured."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from toolbox.bed.factor import Factor
from toolbox.bed.field import FieldSettings, Posterior, Prior, shore_share
from toolbox.bed.flow import Directions
from toolbox.bed.graded import Net, graded_net
from toolbox.bed.observations import Observations, observe
from toolbox.layers import Centreline, Shoreline, Soundings

__all__ = ["Problem", "Scales", "pose"]

TREND_REACHES = (0.015, 0.05, 0.17, 0.5)
"""Over which shares of the greatest distance from shore the trend deepens."""

TREND_SD = (0.15, 1.0, 1.0, 1.0, 0.3)
"""Prior standard deviation of how much it deepens over each, in typical depths of the survey. The
first is a wall, which few waters have; the last is the plain distance."""

COARSE = 5.0
"""Spacing of nodes in open water, in those on the lines."""

_PROBES = 4_000


@dataclass(frozen=True)
class Scales:
    """How large a water is and how closely it was sounded.

    Parameters
    ----------
    width : float
        Greatest distance from shore, m.
    deep : float
        Depth below the shore that nine in ten soundings do not reach, m.
    gap : float
        Distance to the nearest sounding, median over the water, m.
    """

    width: float
    deep: float
    gap: float

    @classmethod
    def of(cls, soundings: Soundings, shoreline: Shoreline) -> "Scales":
        """Measure them on a lattice of some thousand probes."""
        import shapely
        from scipy.spatial import KDTree

        left, bottom, right, top = shoreline.polygons.bounds
        step = float(np.sqrt(shoreline.polygons.area / _PROBES))
        axes = np.arange(left + step / 2, right, step), np.arange(bottom + step / 2, top, step)
        probes = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
        probes = probes[shoreline.contains(probes)]
        rings = shapely.segmentize(list(shoreline.polygons.geoms), step)
        away = KDTree(shapely.get_coordinates(rings)).query(probes)[0]
        gaps = KDTree(soundings.kept.coordinates).query(probes)[0]
        below = soundings.kept.depth - shoreline.depth
        return cls(
            float(away.max()), max(float(np.quantile(below, 0.9)), 0.1), float(np.median(gaps))
        )


@dataclass(frozen=True, eq=False)
class Problem:
    """Soundings on a net.

    Parameters
    ----------
    net : Net
        Finite elements over the water.
    observations : Observations
        Those in the water.
    weights : (k, n) sparse matrix
        Interpolation from nodes to observations.
    scales : Scales
        Of the water.
    shore_depth, shore_sd : float
        Depth of the mapped water's edge below the datum and its standard deviation, m.
    directions : Directions
        Which way the water runs.
    """

    net: Net
    observations: Observations
    weights: Any
    scales: Scales
    shore_depth: float
    shore_sd: float
    directions: Directions

    @cached_property
    def trend(self) -> np.ndarray:
        """Shares of the way from shore, and the distance from it in widths, (n, 5)."""
        reaches = (share * self.scales.width for share in TREND_REACHES)
        shares = [shore_share(self.net, reach) for reach in reaches]
        return np.column_stack([*shares, self.net.shore_distance / self.scales.width])

    @cached_property
    def depth(self) -> np.ndarray:
        """Observed depths below the mapped water's edge, (k,), m."""
        return self.observations.depth - self.shore_depth

    def prior(
        self,
        settings: FieldSettings,
        *,
        steep: np.ndarray | None = None,
        variance: np.ndarray | None = None,
    ) -> Prior:
        """Return what is believed before any sounding."""
        tensor = None
        if settings.elongation != 1:
            tensor = self.directions.stretched(settings.elongation)
        trend_sd = self.scales.deep * np.array(TREND_SD)
        return Prior(
            self.net, settings, self.trend, trend_sd, self.shore_sd, tensor, steep, variance
        )

    def posterior(
        self, prior: Prior, gradient: np.ndarray, trust: np.ndarray | None = None
    ) -> Posterior:
        """Return what is believed once the soundings are in.

        Parameters
        ----------
        prior : Prior
            Before.
        gradient : (k, 2) array
            Of the bed at the observations.
        trust : (k,) array, optional
            Weight of each observation, 1 for all that is in order.
        """
        seen = self.observations
        variance = seen.noise_variance(gradient, prior.settings.nugget_m)
        if trust is not None:
            variance = variance / trust
        effects = seen.shared_effects(gradient)
        balance = np.zeros(effects.shape[1])
        balance[: len(seen.names)] = seen.balance
        return Posterior(prior, self.weights, effects, variance, balance)

    def gradient(self, bed: np.ndarray) -> np.ndarray:
        """Return the gradient of a bed (n,) at the observations, (k, 2)."""
        return np.asarray(self.weights @ self.net.to_nodes(self.net.gradients(bed)))

    def steepness(self, bed: np.ndarray, length: float) -> np.ndarray:
        """Return how steep a bed (n,) is about each node, smoothed over `length`, its mean 1."""
        from scipy import sparse

        slope = self.net.to_nodes(np.hypot(*self.net.gradients(bed).T))
        mass = self.net.mass
        screened = sparse.diags(mass) + length**2 * self.net.laplacian
        smooth = np.maximum(Factor(screened).solve(slope * mass), 0)
        return smooth / max(float(smooth @ mass / mass.sum()), 1e-12)

    def distance_to_observations(self) -> np.ndarray:
        """Return how far each node is from the nearest observation in its piece of water, (n,), m.

        Straight across; infinite in a piece that has none.
        """
        from scipy.sparse.csgraph import connected_components
        from scipy.spatial import KDTree

        _, piece = connected_components(self.net.laplacian, directed=False)
        seen = piece[self.weights.indices[self.weights.indptr[:-1]]]
        away = np.full(len(piece), np.inf)
        for number in np.unique(seen):
            there = piece == number
            tree = KDTree(self.observations.place[seen == number])
            away[there] = tree.query(self.net.nodes[there])[0]
        return away

    def of(self, which: np.ndarray) -> "Problem":
        """Return the same with some of the observations, (k,) of bool."""
        return replace(
            self, observations=self.observations.select(which), weights=self.weights[which]
        )


def pose(
    soundings: Soundings,
    shoreline: Shoreline,
    centreline: Centreline | None,
    scales: Scales,
    *,
    spacing: float,
    shore_sd: float,
) -> Problem:
    """Lay a net over the water and put the soundings on it.

    Parameters
    ----------
    soundings : Soundings
        With ``sd`` and ``sd_xy``.
    shoreline : Shoreline
        The water.
    centreline : Centreline or None
        Which way the water runs; read from the shore where there is none.
    scales : Scales
        Of this water.
    spacing : float
        Between nodes along the lines, m; also the width of the cells in which soundings are
        averaged.
    shore_sd : float
        Standard deviation of the depth along the shore, m.
    """
    seen = observe(soundings, cell=spacing)
    net = graded_net(shoreline, seen.place, fine=spacing, coarse=COARSE * spacing)
    weights = net.weights(seen.place)
    inside = np.diff(weights.indptr) > 0
    seen, weights = seen.select(inside), weights[inside]
    directions = Directions.of(net, centreline, scales.width)
    return Problem(net, seen, weights, scales, shoreline.depth, shore_sd, directions)
