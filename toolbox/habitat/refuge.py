"""Refuge: how warm the coldest water is that still holds 3 mg/L of oxygen."""

from typing import Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.habitat.intervals import BED, UNKNOWN, intervals
from toolbox.habitat.species import Limit, Species
from toolbox.habitat.water_column import MEASURES, ColumnSeries, WaterColumn, moments
from toolbox.layers import Profiles, Table
from toolbox.tool import Range, tool

__all__ = ["OXYGEN", "TIERS", "oxygen_refuge"]

OXYGEN = 3.0
"""Oxygen at which the temperature is read, mg/L."""

TIERS = (11.0, 17.0)
"""Up to the first a water is a refuge of tier 1, up to the second of tier 2, beyond it of tier 3,
degrees Celsius (from memory)."""

_RICH = Species("oxygen", (Limit("oxygen_mg_l", least=OXYGEN, source="TDO3"),))


@tool("Refuge by temperature at 3 mg/L of oxygen")
def oxygen_refuge(
    profiles: Profiles,
    *,
    step_days: Annotated[float, Range("days", min=0.01)] | None = None,
    start: str | None = None,
    end: str | None = None,
    stations: tuple[str, ...] | None = None,
) -> Table:
    """Tell the temperature of the coldest water that holds 3 mg/L of oxygen (TDO3).

    Parameters
    ----------
    profiles : Profiles
        Temperature and oxygen over depth, visit by visit.
    step_days : float, optional
        Moments between the visits too, this many days apart; if left out, the visits alone.
    start : str, optional
        First day, such as 2026-06-01; if left out, the first visit.
    end : str, optional
        Last day; if left out, the last visit.
    stations : tuple of str, optional
        Stations whose profiles count, averaged; all if left out.

    Returns
    -------
    Table
        One row a moment: ``time, tdo3_c, depth_m`` (below that day's surface, of the uppermost such
        water), ``tier`` (1 up to 11, 2 up to 17, 3 above 17 degrees Celsius; 0 where no water holds
        3 mg/L), ``read_at``: ``oxygen 3 mg/L`` where oxygen falls through it, ``deepest reading``
        where it was never so low, ``coldest water`` elsewhere.

    Raises
    ------
    LayerError
        If temperature and oxygen were not both read.
    ParameterError
        If there is no such station, or a date cannot be read or lies outside the visits.

    Notes
    -----
    Where oxygen and temperature both fall with depth this is the temperature at the depth where the
    oxygen is 3 mg/L. Tiers are meant for the worst weeks of summer in deep lakes with cisco, and
    were set by a mean over a month of a simulated season: read them off the highest values of a
    summer, not of spring.

    References
    ----------
    Jiang and Fang 2016, Water 8:279 (refuge of cisco, 3 mg/L as lethal limit). The tiers and their
    mean are from memory.
    """
    import pandas as pd

    columns = ColumnSeries.of(profiles, stations=stations)
    if missing := [name for name in MEASURES if name not in columns.series]:
        raise LayerError(f"profiles need {missing[0]}, nobody read it")
    times = moments(columns.times, start, end, step_days)
    rows = [{"time": time} | _row(columns.at(time, 0.0)) for time in times]
    note = (
        "tiers 11 and 17 degrees Celsius are from memory, and meant for the worst weeks of summer"
    )
    return Table(pd.DataFrame(rows), "Temperature at 3 mg/L of oxygen", (note,))


def _row(column: WaterColumn) -> dict[str, Any]:
    """Find the coldest water with enough oxygen among bends and ends of intervals."""
    found = []
    for one in intervals(column, _RICH):
        if not one.known:
            continue
        inside = column.depth[(column.depth > one.upper) & (column.depth < one.lower)]
        for depth in np.r_[one.upper, inside, one.lower]:
            by_oxygen = "oxygen_mg_l" in (
                one.upper_limit if depth == one.upper else "",
                one.lower_limit if depth == one.lower else "",
            )
            last = depth == one.lower and one.lower_limit in (BED, UNKNOWN)
            warmth = float(np.interp(depth, column.depth, column.measured["temperature_c"]))
            found.append((warmth, float(depth), _place(by_oxygen, last)))
    found = [row for row in found if not np.isnan(row[0])]
    if not found:
        return {"tdo3_c": np.nan, "depth_m": np.nan, "tier": 0, "read_at": ""}
    warmth, depth, place = min(found)
    return {"tdo3_c": warmth, "depth_m": depth, "tier": _tier(warmth), "read_at": place}


def _place(by_oxygen: bool, last: bool) -> str:
    if by_oxygen:
        return "oxygen 3 mg/L"
    return "deepest reading" if last else "coldest water"


def _tier(warmth: float) -> int:
    return 1 + int(np.searchsorted(TIERS, warmth))
