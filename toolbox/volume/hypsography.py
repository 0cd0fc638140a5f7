"""Hypsography: area and volume by depth, exact for the bed as it is given."""

import math
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.bed.uncertainty import LEAST_SUPPORT, band
from toolbox.errors import LayerError, ParameterError
from toolbox.isobaths.levels import listed_levels
from toolbox.layers import Table, Tin
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.units import MetreOrFoot, round_length

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "area_and_volume",
    "completed",
    "drawn_area_and_volume",
    "figures",
    "hypsography",
    "stepped",
    "summed",
]

_HAIR = 1e-9
_MUCH_UNSOUNDED = 0.05  # of the area
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
    return summed(bed.ground_areas(), bed.triangles, bed.depth, levels)


def drawn_area_and_volume(bed: Tin, levels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Compute area and volume as :func:`area_and_volume` does, for each draw of the bed.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    levels : (k,) array
        Depths below the datum, m, ascending.

    Returns
    -------
    area, volume : (draws, k) arrays
        m2 and m3.

    Raises
    ------
    LayerError
        If the bed has no draws.
    """
    from toolbox.volume.kernels.levels import accumulate_each

    ground, ascending = bed.ground_areas(), np.ascontiguousarray(levels, float)
    found = [
        completed(accumulate_each(ground, bed.triangles, depths, ascending), ascending)
        for depths in bed.drawn()
    ]
    area, volume = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return area, volume


def summed(
    ground: np.ndarray, triangles: np.ndarray, depth: np.ndarray, levels: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Compute area and volume for triangles (m, 3) of given areas (m,) between depths (n,)."""
    from toolbox.volume.kernels.levels import accumulate

    ascending = np.ascontiguousarray(levels, float)
    return completed(accumulate(ground, triangles, depth, ascending).sum(axis=0), ascending)


def completed(sums: np.ndarray, levels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return area and volume (..., k) from what the kernels sum (..., 4, k + 1)."""
    crossed = sums[..., :2, :-1]
    whole = sums[..., 2:, ::-1].cumsum(axis=-1)[..., ::-1][..., 1:]
    area, moment = whole[..., 0, :], whole[..., 1, :]
    # rounding may leave less than nothing of a sum that comes to nothing
    return crossed[..., 0, :] + area, np.maximum(crossed[..., 1, :] + moment - levels * area, 0.0)


@tool("Hypsographic table")
def hypsography(
    bed: Tin,
    *,
    step: Annotated[float, Range("m", above=0)] | None = None,
    levels: Annotated[tuple[float, ...], Range("m")] | None = None,
    datum: Annotated[float, Range("m")] | None = None,
    unit: MetreOrFoot = "m",
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
    unit : str
        In which a step that is left out is round.

    Returns
    -------
    Table
        Columns ``depth_m, elevation_m, area_m2, volume_below_m3, volume_above_m3, area_share,
        volume_share``. Areas are on the ground. ``volume_above`` counts from the datum down
        (negative above it: what a rise adds) and shares refer to the datum; if the bed is not
        known up to the datum, or lies wholly above it, both refer to the mapped water's edge (of a
        bed without one to its shallowest place).
        A fitted bed adds the ends of the 90 % band of its draws (their 5 % and 95 % quantiles):
        ``area_low_m2, area_high_m2, volume_below_low_m3, volume_below_high_m3,
        volume_above_low_m3, volume_above_high_m3``.

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
    top, deepest = _ends(bed)
    if deepest <= top:
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    if levels is not None:
        depth = listed_levels(levels, bed.shore_depth)
    else:
        depth = stepped(*_ends(bed), step, unit)
    reference = max(0.0, _top(bed)) if deepest > 0 else max(_top(bed), float(bed.depth.min()))
    return _table(bed, depth, reference, datum)


def _top(bed: Tin) -> float:
    """Depth of the highest level at which the water's extent is known, m."""
    return -math.inf if bed.shore_depth is None else bed.shore_depth


def _ends(bed: Tin) -> tuple[float, float]:
    """Depth from which and to which the water is tabulated, m."""
    return max(_top(bed), min(0.0, float(bed.depth.min()))), float(bed.depth.max())


def stepped(top: float, deepest: float, step: float | None, unit: MetreOrFoot = "m") -> np.ndarray:
    """List the whole multiples of a step (a round one if None) between two depths, and those."""
    step = step or round_length((deepest - top) / 10, unit)
    if (deepest - top) / step > _MOST_ROWS:
        raise ParameterError(
            f"step must give at most {_MOST_ROWS:,} rows over {deepest - top:g} m, got {step:g} m"
        )
    between = np.arange(math.ceil(top / step), deepest / step) * step
    between = np.round(between, 9)
    inner = between[(between > top + _HAIR) & (between < deepest - _HAIR)]
    return np.unique(np.r_[top, inner, deepest])


def figures(
    everything: np.ndarray,
    area: np.ndarray,
    volume: np.ndarray,
    depth: np.ndarray,
    reference: float,
    datum: float | None,
) -> "pd.DataFrame":
    """Arrange areas and volumes as rows of the hypsographic table.

    Parameters
    ----------
    everything, area, volume : (k,) array
        Depths, ascending, and what was found at and below each.
    depth : (n,) array
        The rows, ascending, and
    reference : float
        the depth to which shares and volumes above refer: all of them among `everything`.
    datum : float or None
        Elevation of the datum.

    Returns
    -------
    DataFrame
        Columns as of :func:`hypsography`.
    """
    import pandas as pd

    row, base = np.searchsorted(everything, depth), np.searchsorted(everything, reference)
    return pd.DataFrame(
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


def _table(bed: Tin, depth: np.ndarray, reference: float, datum: float | None) -> Table:
    everything = np.union1d(depth, reference)
    row, base = np.searchsorted(everything, depth), np.searchsorted(everything, reference)
    frame = figures(everything, *area_and_volume(bed, everything), depth, reference, datum)
    notes: tuple[str, ...] = (f"shares and volume above refer to depth {reference:g} m",)
    if bed.draws is not None:
        area, volume = drawn_area_and_volume(bed, everything)
        above = volume[:, [base]] - volume[:, row]
        frame = frame.assign(
            **_bands("area", "m2", area[:, row]),
            **_bands("volume_below", "m3", volume[:, row]),
            **_bands("volume_above", "m3", above),
        )
        notes += (f"low and high: 90 % band of {len(area)} beds drawn",)
    if bed.support is not None:
        notes += (_unsupported(bed, reference),)
    return Table(frame, "Area and volume by depth", notes)


def _unsupported(bed: Tin, reference: float) -> str:
    from toolbox.volume.bands import unsupported_shares  # which builds on this module

    area, volume = unsupported_shares(bed, reference, LEAST_SUPPORT)
    told = f"{area:.1%} of the area and {volume:.1%} of the volume rest on bed nobody sounded"
    if area <= _MUCH_UNSOUNDED:
        return told
    return Caution(f"{told}: to that extent figures of the whole water are a guess")


def _bands(name: str, unit: str, values: np.ndarray) -> dict[str, np.ndarray]:
    low, high = band(values)
    return {f"{name}_low_{unit}": low, f"{name}_high_{unit}": high}
