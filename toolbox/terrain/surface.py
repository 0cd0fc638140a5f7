"""Surface: how rough the bed is within a window, its slope set aside."""

from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.terrain.ruggedness import surface_area_ratio
from toolbox.tool import Range, tool

__all__ = ["arc_chord_ratio", "vector_ruggedness"]

WIDEST = 201
"""Greatest side of a window, cells."""


def _reach_of_window(depth: Grid, *, window: float | None) -> int:
    return _reach(depth.cell, window)


def _reach_of_normals(depth: Grid, *, window: float | None) -> int:
    """One cell more: the normals at the rim of the window look over it."""
    return _reach(depth.cell, window) + 1


def _workspace_of_planes(depth: Grid, shape: tuple[int, int], *, window: float | None) -> int:
    """Bytes of the rows that threads work on at a time."""
    import numba

    from toolbox.terrain.kernels.surface import rows_at_a_time

    rows = rows_at_a_time(_reach(depth.cell, window))
    return int(numba.get_num_threads() * rows * shape[1] * 16)


def _workspace_of_normals(depth: Grid, shape: tuple[int, int], *, window: float | None) -> int:
    """Bytes of the normals of a window's rows, four parts each."""
    import numba

    rows = 2 * _reach(depth.cell, window) + 4
    return int(numba.get_num_threads() * rows * shape[1] * 16)


@tool(
    "Arc-chord ratio (rugosity without slope)",
    reach=_reach_of_window,
    workspace=_workspace_of_planes,
)
def arc_chord_ratio(
    depth: Grid, *, window: Annotated[float, Range("m", above=0)] | None = None
) -> Grid:
    """Return the area of the bed's surface over that of the plane that fits it best.

    Parameters
    ----------
    depth : Grid
        Depth or elevation, m.
    window : float, optional
        Side of the square window, m, taken to the nearest odd number of cells. If left out, 10 m,
        but at least 3 cells.

    Returns
    -------
    Grid
        Ratio: 1 on any plane however steep, more on rough ground; with a value wherever
        ``surface_area_ratio`` has one.

    Raises
    ------
    ParameterError
        If the window is less than 3 cells or more than 201 cells across.

    Notes
    -----
    The plane is that of least squares through the depths of all known cells of the window. The
    surface is that of the window's cells except the outermost ones, whose own surface would need
    depths beyond the window, as ``surface_area_ratio`` has it; of 3 by 3 cells that is the middle
    one. Both areas are taken over the same plan, so at the shore fewer cells count and a plane
    stays 1. Over few cells the plane can be a little steeper than the surface and the ratio a
    little less than 1.

    References
    ----------
    Du Preez 2015, Landscape Ecology 30:181, "A new arc-chord ratio (ACR) rugosity index for
    quantifying three-dimensional landscape structural complexity",
    doi:10.1007/s10980-014-0118-8.
    """
    from toolbox.terrain.kernels.surface import surface_over_plane

    reach = _reach(depth.cell, window)
    out = np.empty(depth.shape, np.float32)
    surface_over_plane(depth.values, surface_area_ratio(depth).values, depth.cell, reach, out)
    return depth.of(out, "arc_chord_ratio", "1")


@tool("Vector ruggedness", reach=_reach_of_normals, workspace=_workspace_of_normals)
def vector_ruggedness(
    depth: Grid, *, window: Annotated[float, Range("m", above=0)] | None = None
) -> Grid:
    """Return how much the facing and slope of the bed vary within a window.

    Parameters
    ----------
    depth : Grid
        Depth or elevation, m.
    window : float, optional
        Side of the square window, m, taken to the nearest odd number of cells. If left out, 10 m,
        but at least 3 cells.

    Returns
    -------
    Grid
        1 less the length of the mean of the unit normals of the window's cells: 0 on any plane
        however steep, ``1 - cos(s)`` where half the window slopes by s one way and half the other,
        seldom above 0.1 on a bed; with a value wherever the depth has one.

    Raises
    ------
    ParameterError
        If the window is less than 3 cells or more than 201 cells across.

    Notes
    -----
    Normals are those of Horn's slopes, so a window of 3 cells is told by the depths of 5. At the
    shore the mean is over the normals that are known. Only a strip one cell wide stays empty.

    References
    ----------
    Sappington, Longshore & Thompson 2007, Journal of Wildlife Management 71:1419, "Quantifying
    landscape ruggedness for animal habitat analysis", doi:10.2193/2005-723.
    """
    from toolbox.terrain.kernels import surface

    reach = _reach(depth.cell, window)
    out = np.empty(depth.shape, np.float32)
    surface.vector_ruggedness(depth.values, depth.cell, reach, out)
    return depth.of(out, "vector_ruggedness", "1")


def _reach(cell: float, window: float | None) -> int:
    """Return how many cells the window reaches from its middle one."""
    window = max(10.0, 3 * cell) if window is None else window
    reach = round((window / cell - 1) / 2)
    if window < 3 * cell * (1 - 1e-9):
        raise ParameterError(
            f"window must be at least {3 * cell:g} m (3 cells of {cell:g} m), got {window:g}"
        )
    if 2 * reach + 1 > WIDEST:
        raise ParameterError(
            f"window must be at most {WIDEST * cell:g} m ({WIDEST} cells of {cell:g} m), "
            f"got {window:g}"
        )
    return reach
