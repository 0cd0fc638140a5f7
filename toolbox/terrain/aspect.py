"""Aspect: which way the bed faces."""

from typing import Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.tool import tool

__all__ = ["aspect"]


@tool("Aspect of the bed", reach=1)
def aspect(depth: Grid, *, method: Literal["horn", "zevenbergen-thorne"] = "horn") -> Grid:
    """Return the direction in which the bed falls towards deeper water at each cell.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down. Elevations give the opposite direction, uphill.
    method : str
        How the gradient is taken, as for slope: horn from eight neighbours, zevenbergen-thorne from
        four.

    Returns
    -------
    Grid
        Degrees clockwise from grid north (up the raster, which is not true north), from 0 to below
        360: 90 where the bed faces east. NaN where the bed is level, and where no slope is known.

    Notes
    -----
    The edge rule is that of slope: no cell at the shore is lost, and a plane stays exact. The
    direction is a circular figure: 359 and 1 degree are neighbours, so average sines and cosines,
    never the degrees. On a nearly level bed it follows the noise of the soundings.

    References
    ----------
    Horn 1981, Proc. IEEE 69:14, "Hill shading and the reflectance map",
    doi:10.1109/PROC.1981.11918.
    """
    from toolbox.terrain.kernels import gradients, windows

    out = np.empty(depth.shape, np.float32)
    gradients.aspect(depth.values, windows.METHODS[method], out)
    return depth.of(out, "aspect", "degree")
