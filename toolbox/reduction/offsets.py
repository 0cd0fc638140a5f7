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
FEWEST = 10
"""Crossings from which the error of position can be told from that of depth."""

UNTOLD = 0.99
"""A crossing of which the fit takes more than this share has no error left to show."""


@tool("Offsets of lines")
def line_offsets(crossings: Table) -> Table:
    """Find how much deeper than the others each line reads.

    Parameters
    ----------
    crossings : Table
        Of `find_crossings`: columns ``line_a``, ``line_b`` and ``difference``; with ``fall_a``,
        ``fall_b`` and the headings, crossings on steep ground count less.

    Returns
    -------
    Table
        Columns ``line``, ``group``, ``crossings``, ``offset_m`` (what the line reads too deep),
        ``sd_m`` (its standard error, NaN where no crossing is to spare) and ``exposed`` (whether
        the offset is more than three of these). One row for each line with a crossing, in the
        order of their first appearance. Lines that no chain of crossings joins are of different
        groups.

    Raises
    ------
    LayerError
        If a column is absent.

    Notes
    -----
    Least squares over ``difference = offset_a - offset_b``, with Huber weights, so that a few
    blunders do no harm. The variance of a difference is ``s^2 + (p g)^2``: an error of position
    ``p`` makes one of depth on a bed of slope ``g``, which follows from the fall along both lines.
    With ten crossings or more, both are fitted to the residuals; else they are all alike.

    Crossings tell differences only. The mean offset of each group is set to zero, over the lines
    that are not exposed; so one wrong draft does not make all others look wrong the other way. A
    line's error is that of its crossings: with only two of them it can hardly be less than that of
    a reading.

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
    offset, covariance = _solved(ends, difference, _steepness(crossings)[usable], group, len(lines))
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
    note = "an offset is relative to the mean of the lines of its group that are not exposed"
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


def _groups(ends: np.ndarray, count: int) -> np.ndarray:
    """Give lines that crossings join the number of one group."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    joined = coo_matrix((np.ones(ends.shape[1]), (ends[0], ends[1])), shape=(count, count))
    return np.asarray(connected_components(joined, directed=False)[1])


def _solved(
    ends: np.ndarray, difference: np.ndarray, steep: np.ndarray, group: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return offsets, of mean zero in each group, and their covariance."""
    design = np.zeros((len(difference), count))
    rows = np.arange(len(difference))
    design[rows, ends[0]], design[rows, ends[1]] = 1.0, -1.0
    gauge = (group[:, None] == np.arange(group.max(initial=-1) + 1)).astype(float)
    spread, weight = np.ones(len(difference)), np.ones(len(difference))
    free = len(difference) - count + gauge.shape[1]
    offset, inverse = np.zeros(count), np.zeros((count, count))
    for _ in range(ROUNDS):
        normal = design.T @ (design * (weight / spread**2)[:, None]) + gauge @ gauge.T
        inverse = np.linalg.inv(normal)
        offset = inverse @ (design.T @ (difference * weight / spread**2))
        residual = difference - design @ offset
        lever = ((design @ inverse) * design).sum(axis=1) * weight / spread**2
        spread = _spread(residual, steep, free, lever)
        weight = np.minimum(1.0, HUBER / np.maximum(np.abs(residual) / spread, 1e-9))
    between = np.eye(count) - (gauge / gauge.sum(axis=0)) @ gauge.T
    if free <= 0:
        inverse = np.full_like(inverse, np.nan)
    return between @ offset, between @ inverse @ between.T


def _spread(residual: np.ndarray, steep: np.ndarray, free: int, lever: np.ndarray) -> np.ndarray:
    """Return the standard deviation of each difference, by its size and the slope there, m.

    A crossing that alone joins a line to the others is always met exactly, whatever its error: it
    tells nothing of the spread. The others are enlarged by what the fit has taken of them.
    """
    told = lever < UNTOLD
    if free <= 0 or not told.any():
        return np.ones(len(residual))
    error = np.abs(residual[told]) / np.sqrt(1 - lever[told])
    usual = NORMAL * float(np.median(error))
    size = np.minimum(error, 3 * max(usual, 1e-6)) ** 2
    if len(size) < FEWEST or not steep[told].any():
        return np.full(len(residual), max(math.sqrt(float(size.mean())), 1e-6))
    from scipy.optimize import nnls

    level, position = nnls(np.column_stack([np.ones(len(size)), steep[told] ** 2]), size)[0]
    return np.sqrt(np.maximum(level + position * steep**2, max(0.1 * size.mean(), 1e-12)))


def _gauged(
    offset: np.ndarray, covariance: np.ndarray, group: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Set the mean of the lines that are not exposed to zero in each group."""
    offset = offset.copy()
    sd = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    exposed = np.zeros(len(offset), bool)
    for number in range(group.max(initial=-1) + 1):
        here = np.flatnonzero(group == number)
        offset[here] -= np.median(offset[here])
        fair = np.abs(offset[here]) <= 3 * sd[here]
        if fair.any():
            offset[here] -= offset[here][fair].mean()
        exposed[here] = np.abs(offset[here]) > 3 * sd[here]
    return offset, sd, exposed
