"""Sparse: whether soundings lie close enough for a bed that does not know its own error."""

import math

import numpy as np

from toolbox.layers import Grid, Shoreline, Tin
from toolbox.notes import Caution

__all__ = ["how_sparse"]

_SPARSE = 0.1  # of the side of a square as large as the water (judgement, no source)


def how_sparse(bed: Tin, distance: Grid, shoreline: Shoreline) -> tuple[str, ...]:
    """Warn of a bed drawn through soundings that lie far apart for the size of the water.

    Parameters
    ----------
    bed : Tin
        The lake bed; a fitted one knows its own error, and nothing is told of it.
    distance : Grid
        Distance to the nearest sounding, m.
    shoreline : Shoreline
        The water.

    Returns
    -------
    tuple of str
        A caution, or nothing.
    """
    if bed.sd is not None:
        return ()
    half = float(np.nanmedian(distance.values))
    if half <= _SPARSE * math.sqrt(shoreline.polygons.area):
        return ()
    return (
        Caution(
            f"half of the water is farther than {half:.0f} m from any sounding, and the bed there "
            "is drawn straight: it cannot be deeper than the deepest sounding, and volume and "
            "depths of the whole water may be off by half or more"
        ),
    )
