"""Stage table: area and storage of a reservoir by elevation, in SI and US customary units."""

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.tool import Range, tool
from toolbox.units import MetreOrFoot, convert, round_length
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CUSTOMARY", "Foot", "customary", "stage_table"]

Foot = Literal["international", "survey"]

CUSTOMARY: dict[Foot, dict[str, str]] = {
    "international": {"m": "ft", "m2": "acre", "m3": "acre_foot"},
    "survey": {"m": "survey_foot", "m2": "survey_acre", "m3": "survey_acre_foot"},
}
"""Units of length, area and volume of each foot, by those of the SI."""

_HAIR = 1e-9
_MOST_ROWS = 1_000_000
_MOST_DRAWN = 2e7


def customary(
    elevation: np.ndarray, area: np.ndarray, volume: np.ndarray, foot: Foot
) -> dict[str, np.ndarray]:
    """Return elevation, area and storage in feet, acres and acre-feet of one foot.

    Parameters
    ----------
    elevation, area, volume : (n,) array
        m, m2 and m3.
    foot : str
        ``"international"``: 0.3048 m; ``"survey"``: the US survey foot, 1200/3937 m.

    Returns
    -------
    dict of (n,) arrays
        ``elevation_ft, area_acre, storage_acre_ft``.

    Notes
    -----
    An acre is 43,560 square feet and an acre-foot 43,560 cubic feet, of the same foot. The two feet
    part by 2 in a million: 0.6 mm at 1000 ft, and 6 acre-feet in a million.
    """
    units = CUSTOMARY[foot]
    return {
        "elevation_ft": convert(elevation, "m", units["m"]),
        "area_acre": convert(area, "m^2", units["m2"]),
        "storage_acre_ft": convert(volume, "m^3", units["m3"]),
    }


@tool("Stage, area and storage table")
def stage_table(
    bed: Tin,
    *,
    datum: Annotated[float, Range("m")],
    step: Annotated[float, Range("m", above=0)] | None = None,
    bottom: Annotated[float, Range("m")] | None = None,
    top: Annotated[float, Range("m")] | None = None,
    dead: Annotated[float, Range("m")] | None = None,
    full: Annotated[float, Range("m")] | None = None,
    foot: Foot = "international",
    unit: MetreOrFoot = "m",
) -> Table:
    """Tabulate area and storage of a reservoir by elevation, from the bed up.

    Parameters
    ----------
    bed : Tin
        The bed of the reservoir.
    datum : float
        Elevation of the datum water level, from which the bed's depths count.
    step : float, optional
        Elevation between rows, which lie at its whole multiples (``0.01 m``, ``0.1 ft``,
        ``1 survey_foot``); if left out, 1, 2 or 5 times a power of ten that gives 10 to 25 rows.
    bottom : float, optional
        Elevation of the first row; if left out, the lowest of the bed.
    top : float, optional
        Elevation of the last row; if left out, that of the mapped water's edge.
    dead : float, optional
        Elevation of the lowest outlet: storage below it is dead.
    full : float, optional
        Elevation of the full reservoir: storage above it is surcharge.
    foot : str
        ``"international"`` (0.3048 m) or ``"survey"`` (1200/3937 m), of which feet, acres and
        acre-feet are made.
    unit : str
        In which a step that is left out is round.

    Returns
    -------
    Table
        Columns ``elevation_m, depth_m, area_m2, storage_m3, elevation_ft, area_acre,
        storage_acre_ft``; with `dead` or `full` also ``dead_m3, active_m3, surcharge_m3``, which
        add to the storage, and ``active_acre_ft``. The first and the last row are at `bottom` and
        `top` themselves. A fitted bed adds the ends of the 90 % band of its draws, ``area_low_m2,
        area_high_m2, storage_low_m3, storage_high_m3``.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If an elevation lies above the mapped water's edge, or they are not in the order bottom,
        dead, full, top.

    Notes
    -----
    Exact for the bed, on the ground. Storage is all water below an elevation, also in hollows that
    no outlet drains.
    """
    low, high = _range(bed, datum, bottom, top)
    _check_order({"bottom": low, "dead": dead, "full": full, "top": high})
    elevation = _rows(low, high, step, unit)
    depth = np.round(datum - elevation, 9)
    area, storage = _at(bed, depth)
    frame = _frame(elevation, depth, area, storage, foot)
    notes: tuple[str, ...] = (f"feet, acres and acre-feet of the {foot} foot",)
    if dead is not None or full is not None:
        ends = datum - np.array([low if dead is None else dead, high if full is None else full])
        kept = _at(bed, ends)[1]
        columns = _split(storage, *(0.0 if dead is None else kept[0], kept[1]), foot=foot)
        frame = frame.assign(**columns)
        notes += (_told(kept[1] - (0.0 if dead is None else kept[0]), low, high, dead, full),)
    if bed.draws is not None:
        frame = frame.assign(**_bands(bed, depth))
        notes += (f"low and high: 90 % band of {bed.draws.shape[1]} beds drawn",)
    return Table(frame, "Stage, area and storage", bed.notes + notes)


def _range(bed: Tin, datum: float, bottom: float | None, top: float | None) -> tuple[float, float]:
    edge = bed.shore_depth
    above = min(0.0, float(bed.depth.min())) if edge is None else edge
    lowest, highest = datum - float(bed.depth.max()), datum - above
    if lowest >= highest:
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    if top is not None and top > highest + _HAIR:
        raise ParameterError(
            f"top must be at or below the highest water known, {highest:g} m, got {top:g}"
        )
    return lowest if bottom is None else bottom, highest if top is None else top


def _check_order(ends: dict[str, float | None]) -> None:
    given = [(name, value) for name, value in ends.items() if value is not None]
    for (name, value), (other, above) in pairwise(given):
        strict = name == "bottom" and other == "top"
        if value > above + _HAIR or (strict and value >= above):
            raise ParameterError(f"{name} must be below {other}, got {value:g} and {above:g} m")


def _rows(low: float, high: float, step: float | None, unit: MetreOrFoot) -> np.ndarray:
    step = step or round_length((high - low) / 10, unit)
    if (high - low) / step > _MOST_ROWS:
        raise ParameterError(
            f"step must give at most {_MOST_ROWS:,} rows over {high - low:g} m, got {step:g} m"
        )
    between = np.arange(math.ceil(low / step), high / step) * step
    between = between[(between > low + _HAIR) & (between < high - _HAIR)]
    return np.r_[low, between, high]


def _at(bed: Tin, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Area and volume at depths in any order."""
    levels, place = np.unique(depth, return_inverse=True)
    area, volume = area_and_volume(bed, levels)
    return area[place], volume[place]


def _frame(
    elevation: np.ndarray, depth: np.ndarray, area: np.ndarray, storage: np.ndarray, foot: Foot
) -> "pd.DataFrame":
    import pandas as pd

    columns = {
        "elevation_m": elevation,
        "depth_m": depth,
        "area_m2": area,
        "storage_m3": storage,
    }
    return pd.DataFrame(columns | customary(elevation, area, storage, foot))


def _split(storage: np.ndarray, dead: float, full: float, *, foot: Foot) -> dict[str, np.ndarray]:
    active = np.clip(storage, dead, full) - dead
    return {
        "dead_m3": np.minimum(storage, dead),
        "active_m3": active,
        "surcharge_m3": np.maximum(storage, full) - full,
        "active_acre_ft": convert(active, "m^3", CUSTOMARY[foot]["m3"]),
    }


def _told(active: float, low: float, high: float, dead: float | None, full: float | None) -> str:
    ends = (low if dead is None else dead, high if full is None else full)
    return f"active storage from {ends[0]:g} to {ends[1]:g} m: {active:.6g} m3"


def _bands(bed: Tin, depth: np.ndarray) -> dict[str, np.ndarray]:
    assert bed.draws is not None
    if len(depth) * bed.draws.shape[1] > _MOST_DRAWN:
        most = int(_MOST_DRAWN / bed.draws.shape[1])
        raise ParameterError(
            f"step must give at most {most:,} rows for a bed of {bed.draws.shape[1]} draws, got "
            f"{len(depth):,}"
        )
    levels, place = np.unique(depth, return_inverse=True)
    columns = {}
    for name, values in zip(("area", "storage"), drawn_area_and_volume(bed, levels), strict=True):
        unit = "m2" if name == "area" else "m3"
        for end, drawn in zip(("low", "high"), band(values), strict=True):
            columns[f"{name}_{end}_{unit}"] = drawn[place]
    return columns
