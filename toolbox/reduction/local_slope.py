"""Local slope: how steep the bed is at each sounding, before there is a bed."""

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Grid, Soundings
from toolbox.layers.crs import check_same_crs
from toolbox.reduction.cell_table import CellTable

__all__ = ["local_slope", "slope_at"]

_STRAIGHT = 0.02  # share of the directions' moment across the main one: within 8 degrees of it
_RINGS = 3  # of neighbours, where the nearer ones lie along one line
_PER_RATIO = {"%": 100.0, "1": 1.0}


def local_slope(soundings: Soundings, *, width: float) -> np.ndarray:
    """Return the slope of the plane that fits the neighbourhood of each sounding.

    Parameters
    ----------
    soundings : Soundings
        The kept ones tell the slope; the others get that of the kept ones beside them.
    width : float
        Soundings within square cells of this width (m) are one, their mean; nothing finer counts.

    Returns
    -------
    (n,) array
        Degrees; 0 where there is no neighbour, NaN where there is no place. On a plane it is
        exact wherever neighbours tell it.

    Notes
    -----
    Neighbours are those that the Delaunay triangulation of the means joins, so that a line of
    soundings also looks to the lines beside it. Each of them tells the rise along one direction;
    the plane is the least-squares fit to those rises. They weigh alike, but for neighbours nearer
    than `width`, whose rise is the less sure the nearer they are: they weigh (distance / width)^2.
    Where all lie along one line (within 8 degrees, root mean square), what their own neighbours
    tell is added, at most twice; where that tells no more, the slope is that along the line: the
    least that fits.
    """
    place, kept = soundings.coordinates, ~soundings.flag
    slope = np.where(np.isfinite(place).all(axis=1), 0.0, np.nan)
    if not kept.any():
        return slope
    cells = CellTable(width)
    east, north = place[kept].T
    cells.add(east, north, soundings.depth[kept])
    east, north, depth = cells.columns()
    means = np.column_stack([east, north])
    steepness = np.degrees(np.arctan(_steepness(means, depth, _joined(means), width)))
    known = np.isfinite(slope)
    slope[known] = steepness[_nearest(means, place[known])]
    return slope


def slope_at(soundings: Soundings, slope: Grid | None, *, width: float) -> np.ndarray:
    """Return the slope of the bed at each sounding from a grid, elsewhere from its neighbours.

    Parameters
    ----------
    soundings : Soundings
        Where.
    slope : Grid or None
        Slope in degrees, per cent or rise over run, as its unit says.
    width : float
        Passed on to :func:`local_slope`, m.

    Returns
    -------
    (n,) array
        Degrees.

    Raises
    ------
    LayerError
        If the grid lies in another CRS, or its unit is none of a slope.
    """
    found = local_slope(soundings, width=width)
    if slope is None:
        return found
    check_same_crs(slope=slope, soundings=soundings)
    given = _sampled(slope, soundings.coordinates)
    return np.where(np.isfinite(given), given, found)


def _sampled(grid: Grid, place: np.ndarray) -> np.ndarray:
    """Degrees of the cell that each place lies in, NaN outside."""
    left, _, _, top = grid.bounds
    known = np.isfinite(place).all(axis=1)
    column, row = (np.zeros(len(place), int) for _ in range(2))
    column[known] = np.floor((place[known, 0] - left) / grid.cell)
    row[known] = np.floor((top - place[known, 1]) / grid.cell)
    rows, columns = grid.shape
    inside = known & (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    values = np.full(len(place), np.nan)
    values[inside] = grid.values[row[inside], column[inside]]
    if grid.unit == "degree":
        return values
    if grid.unit not in _PER_RATIO:
        raise LayerError(f"a grid of slope must be in degree, % or 1, got {grid.unit!r}")
    return np.degrees(np.arctan(values / _PER_RATIO[grid.unit]))


def _joined(means: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Neighbours: each and, as often as it has some, the other."""
    from scipy.spatial import Delaunay, QhullError

    try:
        start, others = Delaunay(means - means.mean(axis=0)).vertex_neighbor_vertices
    except (QhullError, ValueError):  # too few, or all on one straight line
        order = np.lexsort(means.T)
        return np.r_[order[:-1], order[1:]], np.r_[order[1:], order[:-1]]
    return np.repeat(np.arange(len(means)), np.diff(start)), others


def _steepness(
    means: np.ndarray, depth: np.ndarray, joined: tuple[np.ndarray, np.ndarray], width: float
) -> np.ndarray:
    """Rise over run of the plane through each mean and its neighbours."""
    ends, others = joined
    way = means[others] - means[ends]
    length = np.hypot(*way.T)
    along, across = way.T / length
    rise = (depth[others] - depth[ends]) / length
    weight = np.minimum(length / width, 1) ** 2
    terms = along * along, along * across, across * across, rise * along, rise * across
    sums = np.array([np.bincount(ends, weight * term, len(depth)) for term in terms])
    values, axes = _moments(sums)
    for _ in range(_RINGS - 1):
        vague = values[:, 0] <= _STRAIGHT * values.sum(axis=1)
        asked = vague[ends]
        near, far = ends[asked], others[asked]
        beside = [np.bincount(near, one[far], len(depth)) for one in sums]
        sums[:, vague] += np.array(beside)[:, vague]
        values[vague], axes[vague] = _moments(sums[:, vague])
    told = np.einsum("nij,in->nj", axes, sums[3:])
    sure = values > _STRAIGHT * values.sum(axis=1, keepdims=True)
    gradient = np.divide(told, values, out=np.zeros_like(told), where=sure)
    steepness: np.ndarray = np.hypot(*gradient.T)
    return steepness


def _moments(sums: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How much is told along the two principal directions, the lesser first, and these."""
    matrix = np.moveaxis(np.array([[sums[0], sums[1]], [sums[1], sums[2]]]), 2, 0)
    values, axes = np.linalg.eigh(matrix)
    return values, axes


def _nearest(means: np.ndarray, place: np.ndarray) -> np.ndarray:
    from scipy.spatial import KDTree

    return np.asarray(KDTree(means).query(place)[1])
