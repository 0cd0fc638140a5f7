"""Ruggedness: how far the bed departs from smooth."""

from typing import Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.tool import tool

__all__ = ["roughness", "ruggedness_index", "surface_area_ratio"]


@tool("Surface-area ratio (rugosity)", reach=1)
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
    from toolbox.terrain.kernels.ruggedness import jenness_ratio

    out = np.empty(depth.shape, np.float32)
    jenness_ratio(depth.values, depth.cell, out)
    return depth.of(out, "surface_area_ratio", "1")


@tool("Roughness: greatest difference of depth", reach=1)
def roughness(depth: Grid) -> Grid:
    """Return the greatest difference of depth within the window of three by three cells.

    Parameters
    ----------
    depth : Grid
        Depth or elevation, m.

    Returns
    -------
    Grid
        Shoalest to deepest of the nine cells, m.

    Notes
    -----
    It grows with the slope and with the cell, so compare only grids of one cell size.

    At the shore and at the border of the grid no cell is lost: a missing neighbour is taken to lie
    on the plane through the cell that falls as slope has it. A plane keeps its roughness to the
    last cell. Strips one cell wide stay empty.

    References
    ----------
    Wilson et al. 2007, Marine Geodesy 30:3, "Multiscale terrain analysis of multibeam bathymetry
    data for habitat mapping on the continental slope", doi:10.1080/01490410701295962.
    """
    from toolbox.terrain.kernels.ruggedness import RANGE, departure

    out = np.empty(depth.shape, np.float32)
    departure(depth.values, RANGE, out)
    return depth.of(out, "roughness", depth.unit)


@tool("Terrain ruggedness index", reach=1)
def ruggedness_index(
    depth: Grid, *, kind: Literal["riley", "wilson", "root-mean-square"] = "wilson"
) -> Grid:
    """Return how much the depth of a cell differs from that of its eight neighbours.

    Parameters
    ----------
    depth : Grid
        Depth or elevation, m.
    kind : str
        wilson: mean of the differences without their sign, usual on lake and sea beds. riley: root
        of the sum of their squares, usual on land. root-mean-square: root of the mean of their
        squares, riley divided by the root of eight.

    Returns
    -------
    Grid
        Index, m; 0 on a level bed.

    Notes
    -----
    All three grow with the slope, so a smooth steep bank scores as a rough shelf does, and with the
    cell, so compare only grids of one cell size; classes made for land do not fit lake beds.

    At the shore and at the border of the grid no cell is lost: a missing neighbour is taken to
    differ as much as the opposite one, the other way; where that is missing too, to lie on the
    plane through the cell that falls as slope has it. A plane keeps its index to the last cell.
    Strips one cell wide stay empty.

    References
    ----------
    Riley, DeGloria and Elliot 1999, Intermountain Journal of Sciences 5:23, "A terrain ruggedness
    index that quantifies topographic heterogeneity".

    Wilson et al. 2007, Marine Geodesy 30:3, "Multiscale terrain analysis of multibeam bathymetry
    data for habitat mapping on the continental slope", doi:10.1080/01490410701295962.
    """
    from toolbox.terrain.kernels.ruggedness import KINDS, departure

    out = np.empty(depth.shape, np.float32)
    departure(depth.values, KINDS[kind], out)
    return depth.of(out, "ruggedness_index", depth.unit)
