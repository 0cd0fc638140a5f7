"""Volume rules: from areas by depth, when no bed is at hand."""

from typing import Literal, get_args

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.notes import Caution
from toolbox.tool import tool

__all__ = ["Rule", "check_areas", "layer_volumes", "volume_from_areas"]

Rule = Literal["frustum", "trapezoid", "simpson"]

_PART = 0.05
"""Share by which two rules may part before a note says so (common practice, no source)."""


def layer_volumes(depth: np.ndarray, area: np.ndarray, *, rule: Rule = "frustum") -> np.ndarray:
    """Compute the volume of each layer between tabulated depths.

    Parameters
    ----------
    depth : (n,) array
        Strictly ascending.
    area : (n,) array
        Area at each depth, >= 0; any unit.
    rule : str
        ``"frustum"``: h/3 (A + sqrt(A B) + B), the modified prismoidal rule, exact for cones.
        ``"trapezoid"``: h/2 (A + B), the average contour area, exact for paraboloids.
        ``"simpson"``: the prismoidal rule, a parabola through three areas, which over two layers
        of one height h is h/3 (A + 4 B + C); exact for all three and for half ellipsoids. Three
        rows or more.

    Returns
    -------
    (n - 1,) array
        In the unit of area times that of depth.

    Raises
    ------
    LayerError
        If depths do not ascend, an area is negative or missing, or Simpson's rule has fewer than
        three rows.

    Notes
    -----
    On a convex hypsographic curve the frustum rule reports too little, on a concave one the
    trapezoid rule too much. Simpson's rule takes layers in pairs from the top, of equal height or
    not; a last layer without a partner is taken under the parabola through the last three rows.
    Where an area drops suddenly its parabola may swing below zero: look at the other two rules.

    References
    ----------
    US Army Corps of Engineers 1989, EM 1110-2-4000, appendix I (all three); Taube, Manual of
    Fisheries Survey Methods II, chapter 12, Michigan Department of Natural Resources (frustum).
    """
    depth, area = np.asarray(depth, float), np.asarray(area, float)
    check_areas(depth, area)
    upper, lower, height = area[:-1], area[1:], np.diff(depth)
    if rule == "simpson":
        return _parabolas(depth, area)
    if rule == "trapezoid":
        return np.asarray(height * (upper + lower) / 2)
    return np.asarray(height * (upper + np.sqrt(upper * lower) + lower) / 3)


def check_areas(depth: np.ndarray, area: np.ndarray) -> None:
    """Raise LayerError unless depths ascend strictly and areas are finite and not negative."""
    if len(depth) < 2 or not (np.diff(depth) > 0).all():
        raise LayerError("depths must ascend strictly, two or more of them")
    good = np.isfinite(area) & (area >= 0)
    if not good.all():
        bad = int(np.argmin(good))
        raise LayerError(f"areas must be finite and >= 0, got {area[bad]} at depth {depth[bad]:g}")


def _parabolas(depth: np.ndarray, area: np.ndarray) -> np.ndarray:
    """Volume of each layer under the parabola through its pair of layers."""
    count = len(depth) - 1
    if count < 2:
        raise LayerError(f"Simpson's rule needs areas at three depths or more, got {count + 1}")
    layer = np.arange(count)
    first = np.minimum(layer - layer % 2, count - 2)
    rise = np.diff(area) / np.diff(depth)
    bend = (rise[first + 1] - rise[first]) / (depth[first + 2] - depth[first])
    # the parabola leaves the layer's own chord by bend (z - z0) (z - z1)
    height = np.diff(depth)
    return np.asarray(height * (area[:-1] + area[1:]) / 2 - bend * height**3 / 6)


@tool("Volume from an area-by-depth table")
def volume_from_areas(table: Table, *, depth: str = "depth_m", area: str = "area_m2") -> Table:
    """Integrate a table of areas by depth, by the frustum, the trapezoid and Simpson's rule.

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
        layer_trapezoid_m3, volume_below_trapezoid_m3, layer_simpson_m3,
        volume_below_simpson_m3`` (the last two empty if there are but two rows), and
        ``rules_apart_share``: how much more than the frustum rule the trapezoid rule gives the
        layer. The first two rules bracket smooth lakes; a note says where the table is so coarse
        that they part by more than 5 % on the whole, or in a layer that holds 1 % of the water.
    """
    import pandas as pd

    order = np.argsort(table.column(depth), kind="stable")
    depths, areas = table.column(depth)[order], table.column(area)[order]
    columns = {"depth_m": depths, "area_m2": areas}
    for rule in get_args(Rule):
        enough = rule != "simpson" or len(depths) > 2
        layers = layer_volumes(depths, areas, rule=rule) if enough else np.full(1, np.nan)
        layers = np.r_[layers, 0.0 if enough else np.nan]
        columns[f"layer_{rule}_m3"] = layers
        columns[f"volume_below_{rule}_m3"] = layers[::-1].cumsum()[::-1]
    low, high = columns["layer_frustum_m3"], columns["layer_trapezoid_m3"]
    apart = np.divide(high - low, low, out=np.zeros(len(low)), where=low > 0)
    frame = pd.DataFrame(columns | {"rules_apart_share": apart})
    return Table(frame, "Volume by depth from areas", _warnings(depths, low, high, apart))


def _warnings(
    depth: np.ndarray, low: np.ndarray, high: np.ndarray, apart: np.ndarray
) -> tuple[str, ...]:
    notes: list[str] = []
    if high.sum() > low.sum() * (1 + _PART):
        share = high.sum() / low.sum() - 1
        notes.append(Caution(f"the table is coarse: the rules part by {share:.1%} on the whole"))
    for row in np.flatnonzero((apart > _PART) & (low > 0.01 * low.sum())):
        layer = f"{depth[row]:g} to {depth[row + 1]:g} m"
        notes.append(f"the rules part by {apart[row]:.1%} from {layer}: add a row there")
    return tuple(notes)
