"""Cleaning: soundings that cannot be right are flagged with a reason, never deleted."""

import numpy as np

from toolbox.layers import Shoreline, Soundings
from toolbox.layers.crs import check_same_crs
from toolbox.tool import tool

__all__ = ["reject_outside"]

OUTSIDE = "outside the water"


@tool("Reject soundings outside the water")
def reject_outside(soundings: Soundings, shoreline: Shoreline) -> Soundings:
    """Flag the soundings that lie on land, on an island or on another water.

    Parameters
    ----------
    soundings : Soundings
        Points to judge.
    shoreline : Shoreline
        The water they should lie in.

    Returns
    -------
    Soundings
        As many as before; those outside carry the reason "outside the water".

    Raises
    ------
    LayerError
        If the layers lie in different CRS.

    Notes
    -----
    A sounding exactly on the water's edge counts as outside: the depth there is the shoreline's.
    """
    import shapely

    check_same_crs(shoreline=shoreline, soundings=soundings)
    place = soundings.coordinates
    shapely.prepare(shoreline.polygons)
    inside = shapely.contains_xy(shoreline.polygons, place[:, 0], place[:, 1])
    return soundings.reject(np.isfinite(place).all(axis=1) & ~inside, OUTSIDE)
