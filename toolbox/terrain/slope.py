"""Slope: how steep the bed is."""

from typing import Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.tool import tool

__all__ = ["slope"]

_CODES = {"ratio": 0, "percent": 1, "degree": 2}
_UNITS = {"ratio": "1", "percent": "%", "degree": "degree"}


@tool("Slope of the bed")
def slope(depth: Grid, *, unit: Literal["degree", "percent", "ratio"] = "degree") -> Grid:
    """Return the steepest slope at each cell, from its eight neighbours.

    Parameters
    ----------
    depth : Grid
        Depth or elevation, m.
    unit : str
        Degrees, per cent, or rise over run.

    Returns
    -------
    Grid
        Slope, never negative, with a value wherever the depth has one. Exact on a plane.

    Notes
    -----
    At the shore and at the border of the grid no cell is lost: where a neighbour is missing, the
    difference across the window becomes one-sided, rows that have no difference drop out, and the
    weights 1, 2, 1 of the others are rescaled. A plane stays exact. Only a strip one cell wide,
    whose slope across nobody can know, stays empty.

    References
    ----------
    Horn 1981, Proc. IEEE 69:14, "Hill shading and the reflectance map",
    doi:10.1109/PROC.1981.11918.
    """
    from toolbox.terrain.kernels.windows import horn_slope

    out = np.empty(depth.shape, np.float32)
    horn_slope(depth.values, depth.cell, _CODES[unit], out)
    return depth.of(out, "slope", _UNITS[unit])
