"""Volume rules: from areas by depth, when no bed is at hand."""

from typing import Literal

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.tool import tool

__all__ = ["layer_volumes", "volume_from_areas"]


def layer_volumes(
    depth: np.ndarray, area: np.ndarray, *, rule: Literal["frustum", "trapezoid"] = "frustum"
) -> np.ndarray:
    """Compute the volume of each layer between tabulated depths.

    Parameters
    ----------
    depth : (n,) array
        Strictly ascending.
    area : (n,) array
        Area at each depth, >= 0; any unit.
    rule : str
        ``"frustum"``: h/3 (A + sqrt(A B) + B), exact for cones. ``"trapezoid"``: h/2 (A + B),
        exact for paraboloids.

    Returns
    -------
    (n - 1,) array
        In the unit of area times that of depth.

    Raises
    ------
    LayerError
        If depths do not ascend or an area is negative or missing.

    Notes
    -----
    On a convex hypsographic curve the frustum rule reports too little, on a concave one the
    trapezoid rule too much.

    References
    ----------
    US Army Corps of Engineers 1989, EM 1110-2-4000, appendix I (both rules); Taube, Manual of
    Fisheries Survey Methods II, chapter 12, Michigan Department of Natural Resources (frustum).
    """
    depth, area = np.asarray(depth, float), np.asarray(area, float)
    if len(depth) < 2 or not (np.diff(depth) > 0).all():
        raise LayerError("depths must ascend strictly, two or more of them")
    good = np.isfinite(area) & (area >= 0)
    if not good.all():
        bad = int(np.argmin(good))
        raise LayerError(f"areas must be finite and >= 0, got {area[bad]} at depth {depth[bad]:g}")
    upper, lower, height = area[:-1], area[1:], np.diff(depth)
    if rule == "trapezoid":
        return np.asarray(height * (upper + lower) / 2)
    return np.asarray(height * (upper + np.sqrt(upper * lower) + lower) / 3)


@tool("Volume from an area-by-depth table")
def volume_from_areas(table: Table, *, depth: str = "depth_m", area: str = "area_m2") -> Table:
    """Integrate a table of areas by depth, by the frustum and by the trapezoid rule.

    Parameters
    ----------
    table : Table
        One row per depth, in any order.
    depth : str
        Name of the column of depths, m.
    area : str
        Name of the column of areas, m2.

    Returns
    -------
    Table
        Columns ``depth_m, area_m2``, then for each rule the volume of the layer that begins at
        this depth and of all water below it: ``layer_frustum_m3, volume_below_frustum_m3,
        layer_trapezoid_m3, volume_below_trapezoid_m3``. The two rules bracket smooth lakes; where
        they part by more than a few per cent, the table is too coarse.
    """
    import pandas as pd

    order = np.argsort(table.column(depth), kind="stable")
    depths, areas = table.column(depth)[order], table.column(area)[order]
    columns = {"depth_m": depths, "area_m2": areas}
    for rule in ("frustum", "trapezoid"):
        layers = np.r_[layer_volumes(depths, areas, rule=rule), 0.0]
        columns[f"layer_{rule}_m3"] = layers
        columns[f"volume_below_{rule}_m3"] = layers[::-1].cumsum()[::-1]
    return Table(pd.DataFrame(columns), "Volume by depth from areas")
