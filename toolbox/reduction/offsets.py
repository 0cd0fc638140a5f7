"""Offsets: a wrong draft or level on one line shows where other lines cross it."""

import math

import numpy as np

from toolbox.layers import Table
from toolbox.reduction.continuity import NORMAL
from toolbox.tool import tool

__all__ = ["line_offsets"]

HUBER = 1.345
"""Standard deviations beyond which a residual counts less; 95 % efficient for normal errors."""

ROUNDS = 30
SETTLED = 1e-6
"""Offsets that change by no more than this are found, m."""

FEWEST = 10
"""Crossings from which the error of position can be told from that of depth, where no spread of
the soundings tells either."""

STATED = 4.0
"""Crossings that the spreads stated by the soundings are worth against what residuals tell."""

UNTOLD = 0.99
"""A crossing of which the fit takes more than this share has no error left to show."""


@tool("Offsets of lines")
def line_offsets(crossings: Table) -> Table:
    """Find how much deeper than the others each line reads.

    Parameters
    ----------
    crossings : Table
        Of `find_crossings`: columns ``line_a``, ``line_b`` and ``difference``; with ``fall_a``,
        ``fall_b`` and the headings, crossings on steep ground count less, and with ``own_sd`` and
        ``place_sd`` those of less sure soundings.

    Returns
    -------
    Table
        Columns ``line``, ``group``, ``crossings``, ``offset_m`` (what the line reads too deep),
        ``sd_m`` (its standard error, NaN where neither a crossing to spare nor the soundings tell
        it) and ``exposed`` (whether the offset is more than three of these). One row for each line
        with a crossing, in the order of their first appearance. Lines that no chain of crossings
        joins are of different groups.

    Raises
    ------
    LayerError
        If a column is absent.

    Notes
    -----
    Least squares over ``difference = offset_a - offset_b``, with Huber weights, so that a few
    blunders do no harm. The variance of a difference is ``s^2 + (p g)^2``: an error of position
    ``p`` makes one of depth on a bed of slope ``g``, which follows from the fall along both lines.
    ``s`` and ``p`` are the spreads that the soundings state, each times a factor of its own: both
    factors are fitted to the residuals, and held towards one as if four crossings more had told
    that. Where the soundings state none, ten crossings or more tell ``s`` and ``p`` alone; with
    fewer all count alike, and lines whose places are less sure than others look surer than they
    are: estimate their spread first.

    Crossings tell differences only. The mean offset of each group is set to zero over the lines
    that are not exposed and whose standard error is no more than twice the usual one; so one wrong
    draft does not make all others look wrong the other way. A line's error is that of its
    crossings: with only two of them it can hardly be less than that of a reading.

    References
    ----------
    Huber 1964, Robust estimation of a location parameter, Annals of Mathematical Statistics
    35:73 (from memory).
    """
    import pandas as pd

    difference = crossings.column("difference")
    lines, ends = _numbered(crossings)
    usable = np.isfinite(difference) & (ends[0] != ends[1])
    ends, difference = ends[:, usable], difference[usable]
    group = _groups(ends, len(lines))
    variances, stated = _variances(crossings)
    offset, covariance = _solved(
        ends, difference, variances[:, usable], group, len(lines), stated=stated
    )
    offset, sd, exposed = _gauged(offset, covariance, group)
    frame = pd.DataFrame(
        {
            "line": lines,
            "group": group + 1,
            "crossings": np.bincount(ends.ravel(), minlength=len(lines)),
            "offset_m": offset,
            "sd_m": sd,
            "exposed": exposed,
        }
    )
    met = frame["crossings"] > 0
    note = "an offset is relative to the mean of the sure lines of its group that are not exposed"
    return Table(frame[met].reset_index(drop=True), "Offsets of lines", (note,))


def _numbered(crossings: Table) -> tuple[np.ndarray, np.ndarray]:
    """Return the names of the lines and the numbers of both at each crossing, shape (2, k)."""
    import pandas as pd

    pairs = [crossings.frame[name].astype(str).to_numpy(object) for name in ("line_a", "line_b")]
    number, names = pd.factorize(np.concatenate(pairs))
    return np.asarray(names), number.reshape(2, -1)


def _steepness(crossings: Table) -> np.ndarray:
    """Return the slope of the bed at each crossing, from the fall along both lines."""
    if not {"fall_a", "fall_b", "heading_a", "heading_b"} <= set(crossings.frame):
        return np.zeros(len(crossings.frame))
    a, b = crossings.column("fall_a"), crossings.column("fall_b")
    turn = np.radians(crossings.column("heading_a") - crossings.column("heading_b"))
    across = np.maximum(np.sin(turn) ** 2, 1e-6)
    return np.nan_to_num(np.sqrt(np.maximum(a**2 + b**2 - 2 * a * b * np.cos(turn), 0) / across))


def _variances(crossings: Table) -> tuple[np.ndarray, bool]:
    """Return the variance of each difference for itself and by place, (2, k), and if it is stated.

    Where the soundings state no spread both are relative.
    """
    steep = _steepness(crossings) ** 2
    if {"own_sd", "place_sd"} <= set(crossings.frame):
        own, place = crossings.column("own_sd"), crossings.column("place_sd")
        if np.isfinite(own + place).all() and (own > 0).all():
            return np.stack([own**2, place**2 * steep]), True
    return np.stack([np.ones(len(steep)), steep]), False


def _groups(ends: np.ndarray, count: int) -> np.ndarray:
    """Give lines that crossings join the number of one group."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    joined = coo_matrix((np.ones(ends.shape[1]), (ends[0], ends[1])), shape=(count, count))
    return np.asarray(connected_components(joined, directed=False)[1])


def _solved(
    ends: np.ndarray,
    difference: np.ndarray,
    variances: np.ndarray,
    group: np.ndarray,
    count: int,
    *,
    stated: bool,
) -> tuple[np.ndarray, np.ndarray]:
    """Return offsets, of mean zero in each group, and their covariance."""
    gauge = (group[:, None] == np.arange(group.max(initial=-1) + 1)).astype(float)
    spread, huber = np.sqrt(variances.sum(axis=0)), np.ones(len(difference))
    free = len(difference) - count + gauge.shape[1]
    offset, inverse = np.zeros(count), np.zeros((count, count))
    a, b = ends
    for _ in range(ROUNDS):
        weight = huber / spread**2
        normal, right = _normal(ends, weight, weight * difference, count)
        inverse = np.linalg.inv(normal + gauge @ gauge.T)
        before, offset = offset, inverse @ right
        residual = difference - (offset[a] - offset[b])
        lever = (inverse[a, a] + inverse[b, b] - 2 * inverse[a, b]) * weight
        spread = _spread(residual, variances, lever, free=free, stated=stated)
        huber = np.minimum(1.0, HUBER / np.maximum(np.abs(residual) / spread, 1e-9))
        if np.abs(offset - before).max(initial=0.0) < SETTLED:
            break
    between = np.eye(count) - (gauge / gauge.sum(axis=0)) @ gauge.T
    if free <= 0 and not stated:
        inverse = np.full_like(inverse, np.nan)
    return between @ offset, between @ inverse @ between.T


def _normal(
    ends: np.ndarray, weight: np.ndarray, pull: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return the normal equations of ``difference = offset_a - offset_b``."""
    a, b = ends
    joined = np.bincount(a * count + b, weight, count * count).reshape(count, count)
    joined = joined + joined.T
    normal = np.diag(joined.sum(axis=0)) - joined
    return normal, np.bincount(a, pull, count) - np.bincount(b, pull, count)


def _spread(
    residual: np.ndarray, variances: np.ndarray, lever: np.ndarray, *, free: int, stated: bool
) -> np.ndarray:
    """Return the standard deviation of each difference, by its size and the slope there, m.

    A crossing that alone joins a line to the others is always met exactly, whatever its error: it
    tells nothing of the spread. The others are enlarged by what the fit has taken of them.
    """
    expected = variances.sum(axis=0) if stated else np.ones(len(residual))
    told = lever < UNTOLD if free > 0 else np.zeros(len(residual), bool)
    if not told.any():
        return np.sqrt(expected)
    error = np.abs(residual[told]) / np.sqrt((1 - lever[told]) * expected[told])
    usual = NORMAL * float(np.median(error))
    size = np.minimum(error, 3 * max(usual, 1e-6)) ** 2
    if not stated and (len(size) < FEWEST or not variances[1, told].any()):
        return np.full(len(residual), max(math.sqrt(float(size.mean())), 1e-6))
    factor = _factors((variances / expected)[:, told], size, STATED if stated else 0.0)
    least = max(0.1 * float(size.mean()), 1e-12)
    return np.sqrt(expected * np.maximum(factor @ (variances / expected), least))


def _factors(parts: np.ndarray, size: np.ndarray, held: float) -> np.ndarray:
    """Fit the factors of both parts of the variance, none below zero, held towards one."""
    from scipy.optimize import nnls

    hold = math.sqrt(held) * np.eye(2)
    squared, triangle = np.linalg.qr(np.vstack([parts.T, hold]))
    return np.asarray(nnls(triangle, squared.T @ np.append(size, hold.sum(axis=0)))[0])


def _gauged(
    offset: np.ndarray, covariance: np.ndarray, group: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Set the mean of the sure lines that are not exposed to zero in each group."""
    offset, sd = offset.copy(), np.full(len(offset), np.nan)
    for number in range(group.max(initial=-1) + 1):
        here = np.flatnonzero(group == number)
        own = covariance[np.ix_(here, here)]
        offset[here] -= np.median(offset[here])
        sd[here] = np.sqrt(np.clip(np.diag(own), 0.0, None))
        fair = (np.abs(offset[here]) <= 3 * sd[here]) & (sd[here] <= 2 * np.median(sd[here]))
        if fair.any():
            to_mean = np.eye(len(here)) - fair / fair.sum()
            offset[here] = to_mean @ offset[here]
            sd[here] = np.sqrt(np.clip(np.diag(to_mean @ own @ to_mean.T), 0.0, None))
    return offset, sd, np.abs(offset) > 3 * sd
