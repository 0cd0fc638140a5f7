"""Anoxia: water and bed without oxygen at each visit."""

from typing import Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Profiles, Table, Tin
from toolbox.tool import Range, tool
from toolbox.water.rows import banded, notes_of_columns
from toolbox.water.water_columns import WaterColumn, cut_at, layers_of_day, water_columns
from toolbox.water.water_layers import WaterLayers

__all__ = ["THRESHOLD", "anoxic_water", "oxycline", "share_below", "with_oxygen"]

THRESHOLD = 1.0
"""Oxygen at and below which water counts as anoxic, mg/L (Nurnberg 1995, from memory)."""

_MEASURE = "oxygen_mg_l"


def share_below(at_edges: np.ndarray, limit: float) -> np.ndarray:
    """Return the share of each layer's height at or below a limit.

    Parameters
    ----------
    at_edges : (..., k + 1) array
        Values at the planes, linear between them.
    limit : float
        In the same unit.

    Returns
    -------
    (..., k) array
        0 where a value is missing.
    """
    upper, lower = at_edges[..., :-1], at_edges[..., 1:]
    least, most = np.minimum(upper, lower), np.maximum(upper, lower)
    inside = (least <= limit) & (most > limit)
    part = np.divide(limit - least, most - least, out=np.zeros_like(least), where=inside)
    return np.where(inside, part, (most <= limit).astype(float))


def oxycline(depth: np.ndarray, oxygen: np.ndarray, limit: float) -> float:
    """Return the depth from which down to the deepest reading oxygen is at or below a limit.

    Parameters
    ----------
    depth, oxygen : (n,) array
        Readings, depths ascending, m.
    limit : float
        mg/L.

    Returns
    -------
    float
        m; NaN if the deepest reading is above the limit, or there is none.
    """
    above = np.flatnonzero(oxygen > limit)
    if not len(oxygen) or oxygen[-1] > limit:
        return float("nan")
    if not len(above):
        return float(depth[0])
    k = int(above[-1])
    share = (oxygen[k] - limit) / (oxygen[k] - oxygen[k + 1])
    return float(depth[k] + share * (depth[k + 1] - depth[k]))


@tool("Anoxic water and bed")
def anoxic_water(
    bed: Tin,
    profiles: Profiles,
    *,
    oxygen: Annotated[float, Range("mg/L", min=0)] = THRESHOLD,
    stations: tuple[str, ...] | None = None,
    step: Annotated[float, Range("m", above=0)] = 0.25,
) -> Table:
    """Find how much water, and how much bed, lacked oxygen at each visit.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    profiles : Profiles
        Readings of oxygen.
    oxygen : float
        At and below it water counts as anoxic: 1 mg/L for profiles read with a sonde
        (Nurnberg 1995, from memory); 2 mg/L where fish are meant (common practice, no source).
    stations : tuple of str, optional
        Stations to use; all if left out.
    step : float
        Greatest thickness of the layers in which water is added up.

    Returns
    -------
    Table
        One row a visit by day and time, and last of a day on which several stations were read
        the mean of them, station ``"all"``: ``time, station, surface_m, oxycline_m,
        oxygen_bottom_mg_l, anoxic_volume_m3, anoxic_volume_share, anoxic_area_m2,
        anoxic_area_share``. The oxycline is the depth below that day's surface from which down to
        the deepest reading oxygen is at or below the limit; empty where the bottom has more.
        Volume and area hold all anoxic water, also a layer of it between better ones; the area is
        the bed it touches, seen from above, and its share that of the water surface. A fitted bed
        adds the ends of the 90 % band of its draws: ``anoxic_volume_low_m3,
        anoxic_volume_high_m3`` and so on.

    Raises
    ------
    LayerError
        If no oxygen was read, or the surface of a day lies below the bed.

    Notes
    -----
    Oxygen is linear between readings, and the deepest reading stands for the water below it.
    Water above the shallowest reading, where that is more than 1 m down, counts as not anoxic.

    References
    ----------
    Nurnberg 1995, Limnology and Oceanography 40:1100, "Quantifying anoxia in lakes",
    doi:10.4319/lo.1995.40.6.1100.
    """
    import pandas as pd

    columns = with_oxygen(profiles, stations)
    layers = cut_at(bed, columns, step)
    rows = [_row(layers_of_day(layers, c.surface), c, oxygen) for c in columns]
    notes = (
        f"anoxic: {oxygen:g} mg/L or less",
        *notes_of_columns(bed, layers, columns, _MEASURE),
    )
    return Table(pd.DataFrame(rows), "Anoxic water and bed", profiles.notes + notes)


def with_oxygen(profiles: Profiles, stations: tuple[str, ...] | None) -> list[WaterColumn]:
    """Return the columns that hold oxygen, refusing profiles that hold none."""
    columns = [c for c in water_columns(profiles, stations) if len(c.readings(_MEASURE)[0])]
    if not columns:
        raise LayerError("anoxia needs oxygen in mg/L, and the profiles hold none")
    return columns


def _row(water: WaterLayers, column: WaterColumn, limit: float) -> dict[str, Any]:
    depth, oxygen = column.readings(_MEASURE)
    share = share_below(column.at(_MEASURE, water.edges), limit)

    def volume(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        return volume @ share

    def ground(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        return -np.diff(area, axis=-1) @ share

    figure = water.figure
    return {
        "time": column.time,
        "station": column.station,
        "surface_m": column.surface,
        "oxycline_m": oxycline(depth, oxygen, limit),
        "oxygen_bottom_mg_l": oxygen[-1],
        **banded("anoxic_volume", "m3", figure(volume), water),
        **banded("anoxic_volume", "share", figure(lambda a, v: volume(a, v) / v.sum(-1)), water),
        **banded("anoxic_area", "m2", figure(ground), water),
        **banded("anoxic_area", "share", figure(lambda a, v: ground(a, v) / a[..., 0]), water),
    }
