"""Choosing: which readings narrow what is not known of a bed most, without fitting anew."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from toolbox.bed.field import Posterior
from toolbox.bed.problem import Problem

__all__ = ["Choice", "Readings", "choose"]

_CHUNK = 2_000_000  # numbers gathered at once


@dataclass(frozen=True, eq=False)
class Readings:
    """What each of n candidates would bring, padded to k readings.

    Parameters
    ----------
    corner : (n, k, 3) array of int
        Nodes about each reading.
    weight : (n, k, 3) array
        Their weights; zeros for padding.
    noise : (n, k, k) array
        Covariance of the errors of a candidate's readings, m2.
    """

    corner: np.ndarray
    weight: np.ndarray
    noise: np.ndarray

    @classmethod
    def of(cls, problem: Problem, bed: np.ndarray, nugget: float) -> "Readings":
        """Gather the readings of each line of a problem, with the errors a fit gives them.

        Parameters
        ----------
        problem : Problem
            Its observations are the readings, line by line.
        bed : (n,) array
            On whose slope errors of place become errors of depth.
        nugget : float
            Standard deviation of what is finer than the net, m.
        """
        seen, gradient = problem.observations, problem.gradient(bed)
        count = np.bincount(seen.line, minlength=len(seen.names))
        within = np.arange(len(seen)) - np.repeat(np.cumsum(count) - count, count)
        shape = (len(count), int(count.max()))
        corner, weight = np.zeros((*shape, 3), np.int64), np.zeros((*shape, 3))
        table = problem.weights.tocsr()
        corner[seen.line, within] = table.indices.reshape(-1, 3)
        weight[seen.line, within] = table.data.reshape(-1, 3)
        noise = np.zeros((*shape, shape[1]))
        noise[:, range(shape[1]), range(shape[1])] = 1.0
        own = seen.noise_variance(gradient, nugget)
        effects = seen.shared_effects(gradient)
        together = (effects @ effects.T).tocoo()
        one, other = together.row, together.col
        noise[seen.line, within, within] = own
        noise[seen.line[one], within[one], within[other]] += together.data
        return cls(corner, weight, noise)

    def one(self, number: int) -> "Readings":
        """Return those of one candidate, without padding."""
        true = self.weight[number].any(axis=1)
        noise = self.noise[number][np.ix_(true, true)]
        return Readings(self.corner[number][true], self.weight[number][true], noise)

    def at(self, values: np.ndarray) -> np.ndarray:
        """Interpolate values (nodes, p) to all readings, (n, k, p)."""
        return np.einsum("...a,...ap->...p", self.weight, values[self.corner])

    def between(self, matrix: np.ndarray) -> np.ndarray:
        """Interpolate a matrix (nodes, nodes) to each candidate's pairs of readings, (n, k, k)."""
        size = self.corner.shape[1]
        found = np.empty((len(self.corner), size, size))
        step = max(1, _CHUNK // (9 * size**2))
        for first in range(0, len(found), step):
            corner, weight = self.corner[first : first + step], self.weight[first : first + step]
            part = matrix[corner[:, :, None, :, None], corner[:, None, :, None, :]]
            part = np.einsum("nijab,njb->nija", part, weight)
            found[first : first + step] = np.einsum("nija,nia->nij", part, weight)
        return found


@dataclass(frozen=True, eq=False)
class Choice:
    """A candidate that was chosen, and what is left after it.

    Parameters
    ----------
    number : int
        Of the candidate.
    gain : float
        By how much it lowered the mean variance of the depth, m2.
    variance : (nodes,) array
        Of the depth once it is sounded, m2.
    volume_variance : float
        Of the volume, m6.
    """

    number: int
    gain: float
    variance: np.ndarray
    volume_variance: float


def choose(
    posterior: Posterior, readings: Readings, cost: np.ndarray, budget: float
) -> Iterator[Choice]:
    """Choose one candidate after the other, each time the one that gains most for its cost.

    Parameters
    ----------
    posterior : Posterior
        What is believed so far.
    readings : Readings
        Of the candidates.
    cost : (n,) array
        Of each, such as its length.
    budget : float
        Total cost that is not exceeded.

    Yields
    ------
    Choice
        In order; each candidate once.

    Notes
    -----
    With P the covariance of the depths at the nodes, H the interpolation to a candidate's
    readings and R the covariance of their errors, sounding it leaves P - P H' S^-1 H P, where
    S = H P H' + R. The mean of the variance, weighted with M, the share of the area that each
    node stands for, falls by the trace of S^-1 H P M P H'. So H P H' and H P M P H' are kept for
    each candidate, and both are brought up to date by what one choice takes from P: U U' with
    U = P H' L'^-1 and L L' = S.
    """
    mass = posterior.prior.net.mass
    share = mass / mass.sum()
    before = posterior.covariance_with(np.eye(len(mass)))
    worth = posterior.covariance_with(share[:, None] * before)
    innovation, value = readings.between(before) + readings.noise, readings.between(worth)
    variance, volume = before.diagonal().copy(), float(mass @ (before * mass).sum(axis=1))
    taken, moved = np.empty((len(mass), 0)), np.empty((len(mass), 0))
    open_, left = np.ones(len(cost), bool), budget
    while True:
        open_ &= cost <= left * (1 + 1e-12)
        if not open_.any():
            return
        gain = np.linalg.solve(innovation, value).trace(axis1=1, axis2=2)
        best = int(np.argmax(np.where(open_, gain / cost, -np.inf)))
        one = readings.one(best)
        near, worthy = one.at(taken), one.at(moved)
        column = _columns(before, one) - np.einsum("nq,kq->nk", taken, near)
        valued = _columns(worth, one) - np.einsum("nq,kq->nk", moved, near)
        valued -= np.einsum("nq,kq->nk", taken, worthy)
        root = np.linalg.inv(np.linalg.cholesky(one.at(column) + one.noise))
        step, valued = (np.einsum("nk,jk->nj", part, root) for part in (column, valued))
        valued -= 0.5 * np.einsum("nj,jk->nk", step, np.einsum("nj,n,nk->jk", step, share, step))
        taken, moved = np.hstack([taken, step]), np.hstack([moved, valued])
        near, worthy = readings.at(step), readings.at(valued)
        innovation = innovation - np.einsum("nip,njp->nij", near, near)
        crossed = np.einsum("nip,njp->nij", near, worthy)
        value = value - crossed - crossed.transpose(0, 2, 1)
        variance = variance - (step**2).sum(axis=1)
        volume -= float(((mass @ step) ** 2).sum())
        open_[best], left = False, left - cost[best]
        yield Choice(best, float(gain[best]), variance, volume)


def _columns(matrix: np.ndarray, one: Readings) -> np.ndarray:
    """Interpolate the columns of a symmetric matrix to the readings of a candidate, (n, k)."""
    return one.at(matrix).T
