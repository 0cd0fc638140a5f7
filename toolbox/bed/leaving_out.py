"""Leaving out: what a fit would have said of whole lines it never saw."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from toolbox.bed.learning import Learnt
from toolbox.bed.location import interpolated, locate
from toolbox.bed.observations import Observations
from toolbox.bed.problem import Problem
from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError
from toolbox.layers import Shoreline, Soundings
from toolbox.reduction.stretches import line_numbers

__all__ = [
    "Checks",
    "Folds",
    "LeftOut",
    "Water",
    "asked_inflation",
    "check",
    "folds",
    "leave_out",
]

_FOLDS = 8
_Z90 = 1.6449
_BLOCKS = 4  # for each fold: enough that every fold holds blocks from all over the water
_LEAST_IN_BLOCK, _LEAST_LEFT = 3, 3
_CLASSES = 5


def folds(problem: Problem, count: int = _FOLDS) -> Iterator[np.ndarray]:
    """Divide the lines into parts, each the numbers of lines to leave out together.

    Notes
    -----
    Lines that follow one another go together: the casts of one peg, neighbouring tracks.
    """
    lines = np.unique(problem.observations.line)
    yield from (part for part in np.array_split(lines, count) if len(part))


def asked_inflation(problem: Problem, learnt: Learnt) -> float:
    """Return by what factor lines left out depart more than the fit says, at least 1.

    Notes
    -----
    Nine in ten of the readings left out must lie within the 90 % interval of the fit made
    without their lines.
    """
    sizes = [left_out(problem, learnt, lines) for lines in folds(problem)]
    if len(sizes) < 3:
        return 1.0
    return max(1.0, float(np.quantile(np.concatenate(sizes), 0.9)) / _Z90)


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Readings that a fit never saw, and what it said of them.

    Parameters
    ----------
    depth : (k,) array
        Predicted by the fit, m below the mapped water's edge.
    error : (k,) array
        The reading less that, m.
    variance : (k,) array
        Of the bed there, by the fit, m2.
    noise : (k,) array
        Variance of the reading about the bed, what its line shares included, m2.
    """

    depth: np.ndarray
    error: np.ndarray
    variance: np.ndarray
    noise: np.ndarray

    @property
    def size(self) -> np.ndarray:
        """Of each error, in standard deviations of what was predicted, (k,)."""
        return np.asarray(np.abs(self.error) / np.sqrt(self.variance + self.noise))


def left_out(problem: Problem, learnt: Learnt, lines: np.ndarray) -> np.ndarray:
    """Return how far lines depart from the fit without them, in its standard deviations."""
    return leave_out(problem, learnt, np.isin(problem.observations.line, lines)).size


def leave_out(problem: Problem, learnt: Learnt, held: np.ndarray) -> LeftOut:
    """Fit without some readings, and say what that fit makes of them.

    Parameters
    ----------
    problem : Problem
        All readings on a net.
    learnt : Learnt
        Settings, and on the same net the bed whose gradients, steepness and trust are used: they
        were learnt from all readings, once.
    held : (k,) array of bool
        The readings to leave out.

    Returns
    -------
    LeftOut
        For the readings held back, in their order.
    """
    rest, other = problem.of(~held), problem.of(held)
    prior = problem.prior(learnt.settings, steep=learnt.steep, variance=learnt.variance)
    posterior = rest.posterior(prior, rest.gradient(learnt.bed), learnt.trust[~held])
    bed = posterior.bed(*posterior.solve(rest.depth))
    gradient = other.gradient(learnt.bed)
    seen = other.observations
    shared = np.asarray(seen.shared_effects(gradient).power(2).sum(axis=1)).ravel()
    own = seen.noise_variance(gradient, learnt.settings.nugget_m) + shared
    depth = other.weights @ bed
    return LeftOut(depth, other.depth - depth, (other.weights @ posterior.sd()) ** 2, own)


@dataclass(frozen=True, eq=False)
class Folds:
    """Which soundings are left out together.

    Parameters
    ----------
    group : (n,) array of int
        Number of the line of each sounding, or of its block where it has no line.
    fold : (n,) array of int
        Number of the fold its group is in.
    lines, blocks : int
        How many of each there are.
    """

    group: np.ndarray
    fold: np.ndarray
    lines: int
    blocks: int

    @classmethod
    def of(cls, soundings: Soundings, count: int) -> "Folds":
        """Spread lines, and blocks of soundings without one, over so many folds.

        Notes
        -----
        Soundings without a line are halved at the median of their longer extent until there are
        four blocks for each fold, or three soundings in a block. Lines and blocks are taken by the
        middles of their extents along the longer side of the survey, so that neighbours come into
        different folds. Nothing depends on the order of the soundings.
        """
        place, bare = soundings.coordinates, np.flatnonzero(_nameless(soundings))
        number, called = line_numbers(soundings)
        number[bare] = -1
        # by name, since the numbers follow the order of the soundings; no name comes first
        names, group = np.unique(np.array([*called, ""])[number], return_inverse=True)
        lines = len(names) - bool(len(bare))
        group = group - bool(len(bare))
        blocks = _blocks(place[bare], _BLOCKS * count)
        for extra, block in enumerate(blocks):
            group[bare[block]] = lines + extra
        return cls(group, _dealt(place, group, count)[group], lines, len(blocks))

    @property
    def count(self) -> int:
        """How many folds hold soundings."""
        return int(self.fold.max(initial=-1)) + 1

    def check_enough(self) -> None:
        """Raise LayerError if nothing can be left out, or too little would remain."""
        if (groups := self.lines + self.blocks) < 2:
            raise LayerError(
                "cross-validation leaves whole lines out in turn: soundings must be of 2 lines or "
                f"blocks, got {groups}"
            )
        left = len(self.fold) - int(np.bincount(self.fold).max())
        if left < _LEAST_LEFT:
            raise LayerError(
                f"{_LEAST_LEFT} soundings must remain where lines are left out, got {left}"
            )

    def rows(self, soundings: Soundings, seen: Observations) -> np.ndarray:
        """Return for each observation (k,) the row of a sounding in the same group.

        For means of soundings without a line that is the nearest one; a few at the rim of a block
        hold some of the next block too.
        """
        from scipy.spatial import KDTree

        number, called = line_numbers(soundings)
        first = np.full(len(called) + 1, -1)  # the last of them is for those of no line
        first[number[::-1]] = np.arange(len(number))[::-1]
        lined = seen.line < len(called)
        rows = np.full(len(seen), -1)
        rows[lined] = first[seen.line[lined]]
        bare = _nameless(soundings)
        alone = ~lined | bare[rows]
        if alone.any():
            nearest = KDTree(soundings.coordinates[bare]).query(seen.place[alone])[1]
            rows[alone] = np.flatnonzero(bare)[nearest]
        return rows


def _nameless(soundings: Soundings) -> np.ndarray:
    line = soundings.frame["line"]
    return (line.where(line.notna(), "").astype(str) == "").to_numpy()


def _blocks(place: np.ndarray, count: int) -> list[np.ndarray]:
    """Halve points (n, 2) until there are so many blocks; the rows of each."""
    blocks = [np.arange(len(place))] if len(place) else []
    while blocks and len(blocks) < count:
        most = max(range(len(blocks)), key=lambda number: len(blocks[number]))
        rows = blocks[most]
        if len(rows) < 2 * _LEAST_IN_BLOCK:
            break
        axis = int(np.ptp(place[rows], axis=0).argmax())
        rows = rows[np.lexsort((place[rows, 1 - axis], place[rows, axis]))]
        blocks[most : most + 1] = np.array_split(rows, 2)
    return blocks


def _dealt(place: np.ndarray, group: np.ndarray, count: int) -> np.ndarray:
    """Deal the groups out to folds as they follow each other; the fold of each group."""
    ends = np.full((2, int(group.max()) + 1, 2), np.inf)
    for end, sign in zip(ends, (1, -1), strict=True):
        np.minimum.at(end, group, sign * place)
    middle = (ends[0] - ends[1]) / 2
    axis = int(np.ptp(place, axis=0).argmax())
    fold = np.empty(len(middle), np.int64)
    fold[np.lexsort((middle[:, 1 - axis], middle[:, axis]))] = np.arange(len(middle)) % count
    return fold


@dataclass(frozen=True, eq=False)
class Checks:
    """Readings left out, and what the fitted and the triangulated bed made of them.

    Parameters
    ----------
    group : (k,) array of int
        Line or block of each.
    depth : (k,) array
        Read, m below the datum.
    away : (k,) array
        Distance to the nearest sounding that was not left out, m.
    fitted, triangulated : (k,) array
        Depth of each bed less the reading, m.
    half : (k,) array
        Half of the 90 % interval that the fitted bed states, m.
    noise : (k,) array
        Variance of the readings about the bed, m2.
    """

    group: np.ndarray
    depth: np.ndarray
    away: np.ndarray
    fitted: np.ndarray
    triangulated: np.ndarray
    half: np.ndarray
    noise: np.ndarray

    @cached_property
    def held(self) -> np.ndarray:
        """Which lie within the 90 % interval, their own noise allowed for, (k,)."""
        return np.abs(self.fitted) <= np.hypot(self.half, _Z90 * np.sqrt(self.noise))


def check(
    problem: Problem,
    learnt: Learnt,
    inflation: float,
    soundings: Soundings,
    shoreline: Shoreline,
    parts: Folds,
) -> Checks:
    """Leave out each fold, and ask both beds about it.

    Parameters
    ----------
    problem, learnt
        As for :func:`leave_out`.
    inflation : float
        Of the standard deviations of the fitted bed.
    soundings : Soundings
        Those that the problem was posed with.
    shoreline : Shoreline
        The water.
    parts : Folds
        Of the soundings.

    Notes
    -----
    The fitted bed has no depth above the mapped water's edge. The middle of readings to both sides
    of a headland may lie ashore: it is passed over.
    """
    seen = problem.observations
    rows = parts.rows(soundings, seen)
    group, fold = parts.group[rows], parts.fold[rows]
    fitted, half, noise, other, away = np.full((5, len(seen)), np.nan)
    for number in np.unique(fold):
        held = fold == number
        found = leave_out(problem, learnt, held)
        fitted[held] = np.maximum(found.depth, 0) - problem.depth[held]
        half[held], noise[held] = _Z90 * inflation * np.sqrt(found.variance), found.noise
        rest = Soundings(soundings.frame[parts.fold != number])
        depth, away[held] = _triangulated(rest, shoreline, seen.place[held])
        other[held] = depth - seen.depth[held]
    wet = np.isfinite(other)
    columns = (group, seen.depth, away, fitted, other, half, noise)
    return Checks(*(column[wet] for column in columns))


def _triangulated(
    rest: Soundings, shoreline: Shoreline, places: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the depth of the plain bed at places (k, 2), and the nearest sounding's distance."""
    from scipy.spatial import KDTree

    bed = triangulate(rest, shoreline)
    located = locate(bed.vertices, bed.triangles, places)
    away = KDTree(rest.coordinates).query(places)[0]
    return interpolated(bed.depth, bed.triangles, located), away


@dataclass(frozen=True, eq=False)
class Water:
    """How far a water lies from its soundings.

    Parameters
    ----------
    away : (n,) array
        Distances of places all over it, in their order, m.
    area : (n,) array
        What each place stands for, m2.
    """

    away: np.ndarray
    area: np.ndarray

    @classmethod
    def of(cls, problem: Problem, soundings: Soundings) -> "Water":
        """Measure at the nodes of a net."""
        from scipy.spatial import KDTree

        away = KDTree(soundings.coordinates).query(problem.net.nodes)[0]
        order = np.argsort(away)
        return cls(away[order], problem.net.mass[order])

    @cached_property
    def starts(self) -> np.ndarray:
        """Where classes of distance begin that hold a fifth of the water each, (5,), m."""
        shares = np.arange(1, _CLASSES) / _CLASSES
        rank = np.searchsorted(np.cumsum(self.area), shares * self.area.sum())
        return np.r_[0.0, self.away[rank]]

    def weights(self, away: np.ndarray) -> np.ndarray:
        """Return weights (k,) that give the readings of each class its share of the water."""
        inner = self.starts[1:]
        share = np.bincount(np.digitize(self.away, inner), self.area, _CLASSES)
        number = np.digitize(away, inner)
        return (share / np.maximum(np.bincount(number, minlength=_CLASSES), 1))[number]

    def beyond(self, away: float) -> float:
        """Return the share of the water farther than that from soundings."""
        return float(self.area[self.away > away].sum() / self.area.sum())
