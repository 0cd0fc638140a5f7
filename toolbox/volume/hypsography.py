"""Hypsography: area and volume by depth, exact for the bed as it is given."""

import math
from typing import Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.tool import Range, tool
from toolbox.units import round_number

__all__ = ["area_and_volume", "hypsography"]

_HAIR = 1e-9
_MOST_ROWS = 1_000_000


def area_and_volume(bed: Tin, levels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Compute the area at or deeper than each level, and the volume of water below it.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    levels : (k,) array
        Depths below the datum, m, ascending.

    Returns
    -------
    area : (k,) array
        On the ground, m2. A part of the bed that lies level exactly at a level counts.
    volume : (k,) array
        Between the level and the bed, m3: the integral of the area from the level down.

    Notes
    -----
    Exact for the polyhedron. With corner depths z0 <= z1 <= z2 and plan area S, the part of a
    triangle deeper than L is S while L <= z0, S - S (L - z0)^2 / ((z1 - z0)(z2 - z0)) up to z1,
    S (z2 - L)^2 / ((z2 - z0)(z2 - z1)) up to z2, and nothing beyond; the volume is its integral.
    """
    from toolbox.volume.kernels import accumulate

    ascending = np.ascontiguousarray(levels, float)
    parts = accumulate(bed.ground_areas(), bed.depth[bed.triangles], ascending).sum(axis=0)
    crossed = parts[:2, :-1]
    whole_area, whole_moment = parts[2:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    return crossed[0] + whole_area, crossed[1] + whole_moment - ascending * whole_area


@tool("Hypsographic table")
def hypsography(
    bed: Tin,
    *,
    step: Annotated[float, Range("m", above=0)] | None = None,
    levels: Annotated[tuple[float, ...], Range("m")] | None = None,
    datum: Annotated[float, Range("m")] | None = None,
) -> Table:
    """Tabulate area and volume by depth.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    step : float, optional
        Depth between rows; if left out, 1, 2 or 5 times a power of ten that gives 10 to 25 rows.
        Rows begin at the mapped water's edge and end at the greatest depth.
    levels : tuple of float, optional
        The depths to tabulate instead, negative above the datum.
    datum : float, optional
        Elevation of the datum water level, for the column of elevations.

    Returns
    -------
    Table
        Columns ``depth_m, elevation_m, area_m2, volume_below_m3, volume_above_m3, area_share,
        volume_share``. Areas are on the ground. ``volume_above`` counts from the datum down
        (negative above it: what a rise adds) and shares refer to the datum; if the bed is not
        known up to the datum, or lies wholly above it, both refer to the mapped water's edge.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If `step` and `levels` are both given, or a level lies above the mapped water's edge,
        where nobody knows how far the water would spread.
    """
    if step is not None and levels is not None:
        raise ParameterError("give step or levels, not both")
    deepest = bed.depth.max()
    if deepest <= max(_top(bed), min(0.0, bed.depth.min())):
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    depth = _listed(bed, levels) if levels is not None else _stepped(bed, step)
    reference = max(0.0, _top(bed)) if deepest > 0 else _top(bed)
    return _table(bed, depth, reference, datum)


def _top(bed: Tin) -> float:
    """Depth of the highest level at which the water's extent is known, m."""
    return -math.inf if bed.shore_depth is None else bed.shore_depth


def _listed(bed: Tin, levels: tuple[float, ...]) -> np.ndarray:
    if not levels:
        raise ParameterError("levels must name at least one depth, got none")
    depth = np.unique(np.asarray(levels, float))
    if depth[0] < _top(bed) - _HAIR:
        raise ParameterError(
            f"levels must be at or below the mapped water's edge (depth {_top(bed):g} m), "
            f"got {depth[0]:g}"
        )
    return np.asarray(depth)


def _stepped(bed: Tin, step: float | None) -> np.ndarray:
    top, deepest = max(_top(bed), min(0.0, bed.depth.min())), float(bed.depth.max())
    step = step or round_number((deepest - top) / 10)
    if (deepest - top) / step > _MOST_ROWS:
        raise ParameterError(
            f"step must give at most {_MOST_ROWS:,} rows over {deepest - top:g} m, got {step:g} m"
        )
    between = np.arange(math.ceil(top / step), deepest / step) * step
    between = np.round(between, 9)
    inner = between[(between > top + _HAIR) & (between < deepest - _HAIR)]
    return np.unique(np.r_[top, inner, deepest])


def _table(bed: Tin, depth: np.ndarray, reference: float, datum: float | None) -> Table:
    import pandas as pd

    everything = np.union1d(depth, reference)
    row, base = np.searchsorted(everything, depth), np.searchsorted(everything, reference)
    area, volume = area_and_volume(bed, everything)
    frame = pd.DataFrame(
        {
            "depth_m": depth,
            "elevation_m": np.nan if datum is None else datum - depth,
            "area_m2": area[row],
            "volume_below_m3": volume[row],
            "volume_above_m3": volume[base] - volume[row],
            "area_share": area[row] / area[base],
            "volume_share": volume[row] / volume[base],
        }
    )
    note = f"shares and volume above refer to depth {reference:g} m"
    return Table(frame, "Area and volume by depth", (note,))
