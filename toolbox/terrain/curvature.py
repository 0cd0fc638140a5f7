"""Curvature: where the bed bulges and where it is hollow."""

from typing import Annotated, Any, Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.tool import Range, tool

__all__ = ["curvature"]


def _reach(depth: Grid, *, spacing: float | None, **_: Any) -> int:
    """Twice the spacing: so far inland a cell at the shore looks."""
    return 2 * _apart(depth.cell, spacing)


def _apart(cell: float, spacing: float | None) -> int:
    """Return how many cells apart the points of a window lie."""
    return 1 if spacing is None else max(1, round(spacing / cell))


@tool("Curvature of the bed", reach=_reach)
def curvature(
    depth: Grid,
    *,
    kind: Literal["profile", "plan", "total"] = "total",
    spacing: Annotated[float, Range("m", above=0)] | None = None,
) -> Grid:
    """Return how the bed curves at each cell: positive where it bulges, negative where hollow.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down. Elevations give the opposite sign.
    kind : str
        profile: down the slope, positive on the lip of a drop-off, negative at its foot. plan:
        across the slope, positive along a ridge or spur, negative along a gully. total: their sum,
        positive on humps and ridges, negative in holes and gullies.
    spacing : float, optional
        Distance between the nine points of a window, m, taken to the nearest whole number of cells;
        the cell if left out. Wider windows show larger forms and less noise.

    Returns
    -------
    Grid
        Change of slope (rise over run) per metre, 1/m; 0 on a plane. Where the bed is level no
        direction leads down: profile and plan are then half the total each.

    Notes
    -----
    In each window the partial quartic of Zevenbergen and Thorne gives the second derivatives along
    x, along y and mixed, turned into the direction of the slope or across it. They are derivatives
    of depth, as in that paper, not divided by powers of the slope as the curvature of a line in
    space is: the two agree on gentle beds and part on steep ones. In that paper's formulae, for
    elevations, profile has the same sign as here, plan the opposite one, and the total is profile
    less plan.

    At the shore and at the border of the grid a missing neighbour is done without: the second
    difference along a line is that of the next three cells inland, the first is corrected by it,
    and the mixed one is the mean over the known quarters of the window. Quadratic surfaces stay
    exact. A cell stays empty where the water is less than three cells across, or no quarter is
    known.

    Curvature multiplies noise: an error of the depths counts with one over the spacing squared. A
    bed of triangles is flat in each and bends on their edges, and fine cells show these edges as
    stripes, not the lake. A spacing of one to two triangle sides takes them out: a second
    difference is the mean of the curvature between its ends.

    References
    ----------
    Zevenbergen and Thorne 1987, Earth Surface Processes and Landforms 12:47, "Quantitative analysis
    of land surface topography", doi:10.1002/esp.3290120107.
    """
    from toolbox.terrain.kernels import curvature as kernels

    out = np.empty(depth.shape, np.float32)
    apart = _apart(depth.cell, spacing)
    kernels.curvature(depth.values, depth.cell, apart, kernels.KINDS[kind], out)
    return depth.of(out, f"{kind}_curvature", "1/m")
