"""Slope: how steep the bed is."""

from typing import Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.tool import tool

__all__ = ["slope"]

_WRITTEN = {"ratio": "1", "percent": "%", "degree": "degree"}


@tool("Slope of the bed", reach=1)
def slope(
    depth: Grid,
    *,
    unit: Literal["degree", "percent", "ratio"] = "degree",
    method: Literal["horn", "zevenbergen-thorne"] = "horn",
) -> Grid:
    """Return the steepest slope at each cell, from its neighbours.

    Parameters
    ----------
    depth : Grid
        Depth or elevation, m.
    unit : str
        Degrees, per cent, or rise over run.
    method : str
        horn takes all eight neighbours, which evens out noise; zevenbergen-thorne the four nearest,
        which keeps narrow breaks sharper.

    Returns
    -------
    Grid
        Slope, never negative, with a value wherever the depth has one. Exact on a plane.

    Notes
    -----
    At the shore and at the border of the grid no cell is lost: where a neighbour is missing, the
    difference across the window becomes one-sided, rows that have no difference drop out, and the
    weights 1, 2, 1 of the others are rescaled. A plane stays exact. Only a strip one cell wide,
    whose slope across nobody can know, stays empty. The method of Zevenbergen and Thorne takes the
    outer rows only where the middle one has no difference.

    References
    ----------
    Horn 1981, Proc. IEEE 69:14, "Hill shading and the reflectance map",
    doi:10.1109/PROC.1981.11918.

    Zevenbergen and Thorne 1987, Earth Surface Processes and Landforms 12:47, "Quantitative analysis
    of land surface topography", doi:10.1002/esp.3290120107.
    """
    from toolbox.terrain.kernels import gradients, windows

    out = np.empty(depth.shape, np.float32)
    gradients.slope(depth.values, depth.cell, windows.METHODS[method], gradients.UNITS[unit], out)
    return depth.of(out, "slope", _WRITTEN[unit])
