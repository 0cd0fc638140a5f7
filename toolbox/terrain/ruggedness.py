"""Ruggedness: how far the bed departs from smooth."""

import numpy as np

from toolbox.layers import Grid
from toolbox.tool import tool

__all__ = ["surface_area_ratio"]


@tool("Surface-area ratio (rugosity)")
def surface_area_ratio(depth: Grid) -> Grid:
    """Return the area of the bed's surface over its area in plan at each cell.

    Parameters
    ----------
    depth : Grid
        Depth or elevation, m.

    Returns
    -------
    Grid
        Ratio, 1 on a level bed, ``sqrt(1 + tan(slope)**2)`` on any plane, more where it is rough;
        with a value wherever the depth has one.

    Notes
    -----
    Eight triangles join the centre of a cell with neighbouring centres; their inner halves make
    up the cell's surface. At the shore the mean of those triangles counts whose three cells are
    known, so that no cell is lost and a plane stays exact.

    References
    ----------
    Jenness 2004, Wildlife Society Bulletin 32:829, "Calculating landscape surface area from
    digital elevation models", doi:10.2193/0091-7648(2004)032[0829:CLSAFD]2.0.CO;2.
    """
    from toolbox.terrain.kernels.windows import jenness_ratio

    out = np.empty(depth.shape, np.float32)
    jenness_ratio(depth.values, depth.cell, out)
    return depth.of(out, "surface_area_ratio", "1")
