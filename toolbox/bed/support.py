"""Support: what the bed rests on."""

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Grid, Soundings
from toolbox.layers.crs import check_same_crs
from toolbox.tool import tool

__all__ = ["distance_to_soundings"]


@tool("Distance to the nearest sounding")
def distance_to_soundings(depth: Grid, soundings: Soundings) -> Grid:
    """Return how far each cell of the water is from the nearest sounding that was kept.

    Parameters
    ----------
    depth : Grid
        Depth grid; its empty cells stay empty.
    soundings : Soundings
        Flagged ones do not count.

    Returns
    -------
    Grid
        Distance in metres between cell centres, exact to about a cell's width. Straight, also
        across land.

    Raises
    ------
    LayerError
        If no kept sounding lies on the grid, or the layers lie in different CRS.
    """
    from scipy.ndimage import distance_transform_edt

    check_same_crs(grid=depth, soundings=soundings)
    left, _, _, top = depth.bounds
    easting, northing = soundings.kept.coordinates.T
    col = np.floor((easting - left) / depth.cell).astype(int)
    row = np.floor((top - northing) / depth.cell).astype(int)
    on = (row >= 0) & (row < depth.shape[0]) & (col >= 0) & (col < depth.shape[1])
    if not on.any():
        raise LayerError("no sounding that was kept lies on the grid")
    empty = np.ones(depth.shape, bool)
    empty[row[on], col[on]] = False
    away = distance_transform_edt(empty, sampling=depth.cell)
    return depth.of(np.where(np.isnan(depth.values), np.nan, away), "distance_to_sounding", "m")
