"""Uncertainty: how far to trust a fitted bed, as grids."""

from collections.abc import Callable
from statistics import NormalDist
from typing import Annotated, Literal

import numpy as np

from toolbox.bed.gridding import grid_bed
from toolbox.errors import LayerError
from toolbox.layers import Grid, Tin
from toolbox.tool import Range, tool

__all__ = [
    "LEAST_SUPPORT",
    "band",
    "deeper_than_grid",
    "depth_band",
    "depth_sd_grid",
    "support_grid",
    "unsurveyed_grid",
]

LEAST_SUPPORT = 0.5
"""Below it data have not even halved what one would not know of the bed without them."""

_BAND = (0.05, 0.95)
_HALF_BAND = NormalDist().inv_cdf(0.95)


def band(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the ends of the interval that holds 90 % of the draws, of values (k, ...)."""
    low, high = np.quantile(values, _BAND, axis=0)
    return low, high


def depth_band(
    bed: Tin,
    depth: np.ndarray,
    sd: np.ndarray | None,
    at: Callable[[np.ndarray], np.ndarray],
) -> tuple[np.ndarray, np.ndarray]:
    """Return the ends of the 90 % band of the depth at places, (k,) each, m.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    depth : (k,) array
        Its depth there, m.
    sd : (k,) array or None
        Standard deviation there, m; None for what the draws hold.
    at : callable
        Gives values there, (k, ...), of values at the vertices, (n, ...).

    Notes
    -----
    The depth and 1.645 sd to either side, or the 5 % and 95 % quantiles of the draws; never above
    the depth of the shore, above which is no water.
    """
    if sd is None:
        return band(np.concatenate([at(depths.T).T for depths in bed.drawn()]))
    top = -np.inf if bed.shore_depth is None else bed.shore_depth
    low, high = (np.maximum(depth + side * _HALF_BAND * sd, top) for side in (-1, 1))
    return low, high


@tool("Standard deviation of the depth")
def depth_sd_grid(bed: Tin, *, cell: Annotated[float, Range("m", above=0)] | None = None) -> Grid:
    """Grid how far off the depth of the bed may be.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    cell : float, optional
        Width of a cell; if left out, as for the depth grid.

    Returns
    -------
    Grid
        One standard deviation of the depth, m, on the cells of the depth grid.

    Raises
    ------
    LayerError
        If the bed does not know its error.

    Notes
    -----
    Linear over each triangle, which is never too little: the sd of a weighted mean is at most the
    weighted mean of the sds. The interval that holds the depth in 90 of 100 places is 1.645 sd to
    either side.
    """
    return _gridded(bed, "sd", cell, "depth_sd", "m")


@tool("Probability of deeper water")
def deeper_than_grid(
    bed: Tin,
    *,
    depth: Annotated[float, Range("m")],
    cell: Annotated[float, Range("m", above=0)] | None = None,
) -> Grid:
    """Grid the probability that the bed is deeper than a given depth.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    depth : float
        Below the datum water level.
    cell : float, optional
        Width of a cell; if left out, as for the depth grid.

    Returns
    -------
    Grid
        The share of the bed's draws that are deeper there, 0 to 1, on the cells of the depth
        grid: 100 draws give steps of 0.01.

    Raises
    ------
    LayerError
        If the bed has no draws.
    """
    from toolbox.bed import kernels

    portions = bed.drawn()
    grid = grid_bed(bed, cell=cell)
    left, _, _, top = grid.bounds
    northing, triangles, rows = bed.vertices[:, 1], bed.triangles, grid.shape[0]
    bands = kernels.sort_into_bands(northing, triangles, top, grid.cell, rows)
    where, count, total = (left, top, grid.cell, depth), np.zeros(grid.shape, np.int32), 0
    for depths in portions:
        by_vertex = np.ascontiguousarray(depths.T)
        kernels.count_deeper(bed.vertices, by_vertex, triangles, *bands, *where, count)
        total += len(depths)
    share = np.where(np.isnan(grid.values), np.nan, count / total)
    return grid.of(share, f"deeper_than_{depth:g}_m", "1")


@tool("Support of the bed by data")
def support_grid(bed: Tin, *, cell: Annotated[float, Range("m", above=0)] | None = None) -> Grid:
    """Grid how far data tell the depth of the bed.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    cell : float, optional
        Width of a cell; if left out, as for the depth grid.

    Returns
    -------
    Grid
        1 less the sd of the depth over the one it would have were no sounding near: 1 where it is
        told wholly, 0 where it rests on nothing but what is usual in this water. On the cells of
        the depth grid.

    Raises
    ------
    LayerError
        If the bed does not know its support.
    """
    return _gridded(bed, "support", cell, "support", "1")


@tool("Unsurveyed bed")
def unsurveyed_grid(
    bed: Tin,
    *,
    least_support: Annotated[float, Range("", min=0, max=1)] = LEAST_SUPPORT,
    cell: Annotated[float, Range("m", above=0)] | None = None,
) -> Grid:
    """Mark the bed that no data tell: what is shown there is a guess.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    least_support : float
        Support below which the bed counts as unsurveyed. At 0.5 data have halved the sd that the
        depth would have without them.
    cell : float, optional
        Width of a cell; if left out, as for the depth grid.

    Returns
    -------
    Grid
        1 where the bed is unsurveyed, 0 where it is surveyed, on the cells of the depth grid.

    Raises
    ------
    LayerError
        If the bed does not know its support.
    """
    support = _gridded(bed, "support", cell, "support", "1")
    marked = np.where(np.isnan(support.values), np.nan, support.values < least_support)
    return support.of(marked, "unsurveyed", "1")


def _gridded(
    bed: Tin, what: Literal["sd", "support"], cell: float | None, name: str, unit: str
) -> Grid:
    values = getattr(bed, what)
    if values is None:
        raise LayerError(f"the bed has no {what}: only a fitted bed tells its own error")
    grid = grid_bed(Tin(bed.vertices, values, bed.triangles, bed.kind, bed.crs), cell=cell)
    return grid.of(grid.values, name, unit)
