"""Planes: what the soundings around a place, of other lines than its own, lead one to expect."""

from typing import Annotated, Any

import numpy as np

from toolbox.layers import Soundings
from toolbox.reduction.continuity import NORMAL, UNRESOLVED
from toolbox.reduction.stretches import loose
from toolbox.tool import Range, tool

__all__ = ["UNLIKE", "disagreement", "reject_lone_outliers"]

UNLIKE = "unlike soundings nearby"

AROUND = 24
"""Soundings that a plane is laid through: three parameters, eight times over."""

SEARCHED = 4 * AROUND
"""Nearest soundings searched for those of other lines."""

FEWEST = 8
"""Soundings that a plane needs to be trusted."""

SURROUNDED = 4.0
"""Leverage times count at the edge of soundings that are spread evenly (derived: 1 + 3); with more
the place lies outside those around it, and a plane would extrapolate."""

WITHIN = 0.6827
"""Share of normal errors within one standard deviation."""

ROUNDS = 6

USUAL = 10_000
"""Soundings from which it is taken how far off their planes soundings usually lie."""

PORTION = 20_000
"""Soundings dealt with at a time."""


def disagreement(
    place: np.ndarray,
    depth: np.ndarray,
    line: np.ndarray,
    times: np.ndarray,
    asked: np.ndarray | None = None,
) -> np.ndarray:
    """Compare soundings with a robust plane through those of other lines around each.

    Parameters
    ----------
    place : (n, 2) array
        Easting and northing, m.
    depth : (n,) array
        Depths, m.
    line : (n,) array of int
        Line of each.
    times : (k,) array
        Multiples of the bed that the sounding may be, the first of them 1.
    asked : (n,) array of bool, optional
        The soundings to compare; if left out, all.

    Returns
    -------
    (n, k) array
        Depth, divided by each of `times`, less the plane, as far as it also lies outside the
        depths at the nearest sounding of each of these lines (a cliff may pass anywhere between
        two lines); in robust standard deviations of this figure over the survey, and no less than
        those of the plane itself. NaN where it is not asked, where fewer than 8 soundings of at
        least two other lines lie around, or they do not surround the place.

    Notes
    -----
    The plane is fitted to the 24 nearest soundings of other lines (among the 96 nearest of all) by
    iterated least squares with Tukey's biweight at 4.685 spreads. What is usual in the survey is
    taken from ten thousand soundings spread over it, and from those asked.

    References
    ----------
    Beaton and Tukey 1974, The fitting of power series, Technometrics 16:147 (biweight; from
    memory).
    """
    from scipy.spatial import cKDTree

    asked = np.ones(len(depth), bool) if asked is None else asked
    result = np.full((len(depth), len(times)), np.nan)
    some = np.linspace(0, len(depth) - 1, min(len(depth), USUAL)).astype(int)
    taken, tree = np.union1d(np.flatnonzero(asked), some), cKDTree(place)
    for part in _portions(taken):
        around = _of_other_lines(tree, line, part)
        plane, spread = _planes(place, depth, part, around)
        plane[_lines_around(line, around) < 2] = np.nan
        beside = _nearest_of_lines(line, around)
        for column, k in enumerate(times):
            result[part, column] = _beyond(depth[part] / k, plane, depth, beside) / spread
    known = np.abs(result[np.isfinite(result[:, 0]), 0])
    usual = max(1.0, float(np.quantile(known, WITHIN))) if len(known) else 1.0
    result[~asked] = np.nan
    return result / usual


@tool("Reject lone points unlike those around them")
def reject_lone_outliers(
    soundings: Soundings, *, sigmas: Annotated[float, Range("", above=0)] = 6.0
) -> Soundings:
    """Flag soundings of no line that stand out from all soundings around them.

    Parameters
    ----------
    soundings : Soundings
        Points to judge: those of no line, which have no neighbours before and after.
    sigmas : float
        How far they must lie from the plane through the soundings around them, in robust standard
        deviations of the same figure for those around them.

    Returns
    -------
    Soundings
        As many as before, with the reason "unlike soundings nearby".

    Notes
    -----
    A hump or a hole that a second sounding saw is kept: a point is flagged only if it lies twice
    as far from its plane as any sounding around it from its own. Spread is taken from the 24
    soundings around, so rough ground excuses more.
    """
    from scipy.spatial import cKDTree

    kept = np.flatnonzero(~soundings.flag)
    single = np.flatnonzero(loose(soundings)[kept])
    if not len(single) or len(kept) <= FEWEST:
        return soundings
    place, depth = soundings.coordinates[kept], soundings.depth[kept]
    tree, residual = cKDTree(place), np.full(len(kept), np.nan)
    beside = np.unique(np.concatenate([_around(tree, part).ravel() for part in _portions(single)]))
    for part in _portions(np.union1d(single, beside[beside >= 0])):
        plane, _ = _planes(place, depth, part, _around(tree, part))
        residual[part] = np.abs(depth[part] - plane)
    spoiled = np.zeros(len(soundings), bool)
    for part in _portions(single):
        limit = _limit(residual, depth[part], _around(tree, part), sigmas)
        spoiled[kept[part]] = residual[part] > limit
    return soundings.reject(spoiled, UNLIKE)


def _limit(
    residual: np.ndarray, depth: np.ndarray, around: np.ndarray, sigmas: float
) -> np.ndarray:
    """Return how far off its plane a sounding may lie among those around it, m."""
    beside = np.where(around >= 0, residual[around], np.nan)
    usual = np.maximum(NORMAL * _row_medians(beside), UNRESOLVED * np.abs(depth))
    return np.maximum(sigmas * usual, 2 * _largest(beside))


def _portions(rows: np.ndarray) -> list[np.ndarray]:
    """Split rows into portions that fit into memory with all that lies around them."""
    return np.array_split(rows, max(1, -(-len(rows) // PORTION)))


def _nearest(tree: Any, rows: np.ndarray, count: int) -> np.ndarray:
    """Return the nearest soundings of each, itself first, shape (k, count); -1 for none."""
    found = tree.query(tree.data[rows], k=count)[1]
    return np.where(found == tree.n, -1, found)


def _around(tree: Any, rows: np.ndarray) -> np.ndarray:
    """Return the soundings around each, without itself."""
    return _nearest(tree, rows, AROUND + 1)[:, 1:]


def _of_other_lines(tree: Any, line: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Return up to 24 of the nearest soundings of other lines, nearest first; -1 for none."""
    near = _nearest(tree, rows, SEARCHED + 1)
    other = (near >= 0) & (line[near] != line[rows, None])
    first = np.argsort(~other, axis=1, kind="stable")[:, :AROUND]
    return np.where(np.take_along_axis(other, first, 1), np.take_along_axis(near, first, 1), -1)


def _lines_around(line: np.ndarray, around: np.ndarray) -> np.ndarray:
    """Count the lines of the soundings around each."""
    lines = np.sort(np.where(around >= 0, line[around], -1), axis=1)
    return (np.diff(lines, axis=1, prepend=-1) > 0).sum(axis=1)


def _nearest_of_lines(line: np.ndarray, around: np.ndarray) -> np.ndarray:
    """Keep only the nearest sounding of each line of those around; -1 for the others."""
    lines = np.where(around >= 0, line[around], -1)
    order = np.argsort(lines, axis=1, kind="stable")
    ordered = np.take_along_axis(lines, order, 1)
    first = np.diff(ordered, axis=1, prepend=-1) > 0
    return np.where(first, np.take_along_axis(around, order, 1), -1)


def _beyond(
    reading: np.ndarray, plane: np.ndarray, depth: np.ndarray, around: np.ndarray
) -> np.ndarray:
    """Return how far readings lie from the plane, as far as that is outside the depths around."""
    beside = np.where(around >= 0, depth[around], np.nan)
    low, high = np.fmin.reduce(beside, axis=1), np.fmax.reduce(beside, axis=1)
    outside = np.maximum(np.maximum(reading - high, low - reading), 0.0)
    return np.sign(reading - plane) * np.minimum(np.abs(reading - plane), outside)


def _planes(
    place: np.ndarray, depth: np.ndarray, rows: np.ndarray, around: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the robust plane through those around each of `rows`, there, and its spread there."""
    there = around >= 0
    offset = np.where(there[:, :, None], place[around] - place[rows, None], 0.0)
    scale = np.maximum(np.abs(offset).max(axis=(1, 2)), 1e-9)
    design = np.concatenate([np.ones((*around.shape, 1)), offset / scale[:, None, None]], axis=2)
    value = np.where(there, depth[around], 0.0)[:, :, None]
    floor = np.maximum(UNRESOLVED * np.abs(depth[rows]), 1e-6)
    weight = there.astype(float)
    for _ in range(ROUNDS):
        weighed = (design * weight[:, :, None]).transpose(0, 2, 1)
        normal = weighed @ design + 1e-9 * np.eye(3)
        plane = np.linalg.solve(normal, weighed @ value)
        off = np.where(there, np.abs(value - design @ plane)[:, :, 0], np.nan)
        spread = np.fmax(NORMAL * _row_medians(off), floor)
        weight = np.clip(1 - (np.nan_to_num(off) / (4.685 * spread[:, None])) ** 2, 0, None) ** 2
        weight *= there
    leverage = np.linalg.inv(normal)[:, 0, 0]
    surrounded = leverage * weight.sum(axis=1) <= SURROUNDED
    trusted = (there.sum(axis=1) >= FEWEST) & surrounded
    return np.where(trusted, plane[:, 0, 0], np.nan), spread * np.sqrt(1 + leverage)


def _row_medians(values: np.ndarray) -> np.ndarray:
    """Return the median of what is known in each row; NaN where nothing is."""
    ordered = np.sort(values, axis=1)
    middle = np.maximum(np.isfinite(values).sum(axis=1) - 1, 0) // 2
    return ordered[np.arange(len(values)), middle]


def _largest(values: np.ndarray) -> np.ndarray:
    """Return the greatest of what is known in each row; zero where nothing is."""
    return np.where(np.isfinite(values), values, 0.0).max(axis=1)
