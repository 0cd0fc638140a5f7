"""Drawdown: what a fall of the water level lays bare and lets go."""

from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.errors import LayerError, ParameterError
from toolbox.isobaths.isobaths import isobaths
from toolbox.isobaths.zones import depth_zones
from toolbox.layers import Table, Tin, Vectors
from toolbox.tool import Range, tool
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["drawdown", "exposed_margin"]

_HAIR = 1e-9


@tool("Drawdown scenarios")
def drawdown(
    bed: Tin,
    *,
    falls: Annotated[tuple[float, ...], Range("m", above=0)],
    start: Annotated[float, Range("m")] | None = None,
    datum: Annotated[float, Range("m")] | None = None,
) -> Table:
    """Tabulate what falls of the water level lay bare and let go.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    falls : tuple of float
        How far the water falls.
    start : float, optional
        Depth of the water level it falls from below the datum, m, negative above; if left out, the
        mapped water's edge.
    datum : float, optional
        Elevation of the datum water level, for the column of elevations.

    Returns
    -------
    Table
        One row per fall, the first of none, with columns ``fall_m, depth_m, elevation_m``; of the
        water that stays ``area_m2, volume_m3, shoreline_m`` (islands included) and ``waters``,
        in how many pools it lies; of the margin ``exposed_m2, exposed_share``; ``released_m3,
        released_share``; and ``margin_width_m``, the mean width of the bare margin: exposed area
        over the mean of the shoreline's lengths before and after. A fitted bed adds the ends of
        the 90 % band of its draws, ``exposed_low_m2, exposed_high_m2, released_low_m3,
        released_high_m3``.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If `start` lies above the mapped water's edge, or no fall is given.

    Notes
    -----
    All water below a level counts as staying, also in pools that the fall cuts off; what can drain
    is less where an outlet or a sill is higher. Areas and lengths are on the ground; an open edge
    of the water is no shoreline.
    """
    if not falls:
        raise ParameterError("falls must name at least one, got none")
    edge = bed.shore_depth
    begin = start if start is not None else (0.0 if edge is None else edge)
    if edge is not None and begin < edge - _HAIR:
        raise ParameterError(
            f"start must be at or below the mapped water's edge (depth {edge:g} m), got {begin:g}"
        )
    if begin >= bed.depth.max():
        raise LayerError(f"there is no water below the start, {begin:g} m")
    fall = np.unique(np.r_[0.0, falls])
    frame = _frame(bed, fall, fall + begin, datum)
    notes = (*bed.notes, f"the water falls from depth {begin:g} m")
    if bed.draws is not None:
        frame = frame.assign(**_bands(bed, fall + begin))
        notes += (f"low and high: 90 % band of {bed.draws.shape[1]} beds drawn",)
    return Table(frame, "Drawdown", notes)


def _frame(bed: Tin, fall: np.ndarray, depth: np.ndarray, datum: float | None) -> "pd.DataFrame":
    import pandas as pd

    area, volume = area_and_volume(bed, depth)
    shore = _shorelines(bed, depth)
    bare, mean = area[0] - area, (shore[0] + shore) / 2
    return pd.DataFrame(
        {
            "fall_m": fall,
            "depth_m": depth,
            "elevation_m": np.nan if datum is None else datum - depth,
            "area_m2": area,
            "volume_m3": volume,
            "shoreline_m": shore,
            "waters": [_pools(bed, level) for level in depth],
            "exposed_m2": bare,
            "exposed_share": bare / area[0],
            "released_m3": volume[0] - volume,
            "released_share": 1 - volume / volume[0],
            "margin_width_m": np.divide(bare, mean, out=np.zeros(len(bare)), where=mean > 0),
        }
    )


def _shorelines(bed: Tin, depth: np.ndarray) -> np.ndarray:
    """Length of the water's edge at each depth, m."""
    lines = isobaths(bed, levels=tuple(depth)).frame
    # levels come back as they were given, to the bit
    length = lines.groupby("depth_m")["length_m"].sum().reindex(depth, fill_value=0.0)
    return np.asarray(length.to_numpy(float))


def _pools(bed: Tin, level: float) -> int:
    """In how many pieces the water below a level lies: corners of triangles joined by edges."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    wet = bed.depth > level
    number = np.cumsum(wet) - 1
    start, end = bed.triangles.T.ravel(), np.roll(bed.triangles, -1, axis=1).T.ravel()
    both = wet[start] & wet[end]
    pairs = number[start[both]], number[end[both]]
    count = int(wet.sum())
    joined = coo_array((np.ones(len(pairs[0]), bool), pairs), shape=(count, count))
    return int(connected_components(joined, directed=False)[0]) if count else 0


def _bands(bed: Tin, depth: np.ndarray) -> dict[str, np.ndarray]:
    columns = {}
    for name, unit, values in zip(
        ("exposed", "released"), ("m2", "m3"), drawn_area_and_volume(bed, depth), strict=True
    ):
        for end, drawn in zip(("low", "high"), band(values[:, :1] - values), strict=True):
            columns[f"{name}_{end}_{unit}"] = drawn
    return columns


@tool("Exposed margin")
def exposed_margin(
    bed: Tin,
    *,
    falls: Annotated[tuple[float, ...], Range("m", above=0)],
    start: Annotated[float, Range("m")] | None = None,
) -> Vectors:
    """Outline the bed that falls of the water level lay bare.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    falls : tuple of float
        How far the water falls; of several, each zone is what the next fall lays bare besides.
    start : float, optional
        Depth of the water level it falls from below the datum, m, negative above; if left out, the
        mapped water's edge.

    Returns
    -------
    Vectors
        One zone a feature, a polygon with as many parts as it has, with columns ``from_m, to_m``
        (depths below the datum), ``fall_m`` (the least of `falls` that lays it bare), ``area_m2``
        (on the ground). Together they tile the bed between the first level and the last.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If `start` lies above the mapped water's edge, or no fall is given.
    """
    if not falls:
        raise ParameterError("falls must name at least one, got none")
    edge = 0.0 if bed.shore_depth is None else bed.shore_depth
    begin = edge if start is None else start
    levels = np.unique(np.r_[0.0, falls]) + begin
    zones = depth_zones(bed, levels=tuple(levels))
    frame = zones.frame
    deep = frame["from_m"].to_numpy()
    bare = frame[(deep >= begin - _HAIR) & (deep < levels[-1] - _HAIR)]
    last = levels[np.searchsorted(levels, bare["from_m"].to_numpy(), "right")] - begin
    kept = bare[["from_m", "to_m"]].assign(fall_m=last, area_m2=bare["area_m2"])
    frame = kept.set_geometry(bare.geometry).set_crs(bed.crs, allow_override=True)
    return Vectors(frame.reset_index(drop=True), "exposed_margin", zones.notes)
