"""Interpolation: profiles on an even mesh of depth and time, for a picture or another program."""

from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Profiles, Table
from toolbox.layers.profiles import MEASURES
from toolbox.tool import Range, tool
from toolbox.water.series import ProfileSeries
from toolbox.water.water_columns import ALL

__all__ = ["interpolated_profiles"]

_MOST_ROWS = 5_000_000
_HAIR = 1e-9


@tool("Profiles on a mesh of depth and time")
def interpolated_profiles(
    profiles: Profiles,
    *,
    step_m: Annotated[float, Range("m", above=0)] = 0.5,
    step_days: Annotated[float, Range("day", above=0)] = 7.0,
    stations: tuple[str, ...] | None = None,
) -> Table:
    """Interpolate profiles to even steps of depth and time.

    Parameters
    ----------
    profiles : Profiles
        Readings, at one visit or more.
    step_m : float
        Depth between rows, from the surface down to the deepest reading.
    step_days : float
        Time between rows, from the first visit to the last.
    stations : tuple of str, optional
        Stations to use; all if left out. Several are averaged.

    Returns
    -------
    Table
        One row a depth at a time, by time and depth: ``time, station, depth_m, surface_m,
        temperature_c, oxygen_mg_l, par``. Depths are below the surface of that time. Empty below
        what was read, and where a measure was not read before and after; nothing is carried on.

    Raises
    ------
    ParameterError
        If there is no such station, or the mesh would have more than 5 million rows.

    Notes
    -----
    Linear in depth and in time, each station by itself. Light falls by a share for each metre, so
    that straight lines between readings far apart give too much of it.
    """
    import pandas as pd

    known = [name for name in MEASURES if profiles.frame[name].notna().any()]
    all_series = {name: ProfileSeries.of(profiles, name, stations=stations) for name in known}
    first = min(series.first for series in all_series.values())
    last = max(series.last for series in all_series.values())
    deepest = float(profiles.frame["depth_m"].max())
    _check_size((last - first) / pd.Timedelta(days=step_days), deepest / step_m)
    times = pd.date_range(first, last, freq=pd.Timedelta(days=step_days))
    depths = np.round(np.arange(0.0, deepest + _HAIR, step_m), 9)
    one = next(iter(all_series.values()))
    rows = {
        "time": times.repeat(len(depths)),
        "station": ALL if len(one.stations) > 1 else one.stations[0],
        "depth_m": np.tile(depths, len(times)),
        "surface_m": one.surface_at(times).repeat(len(depths)),
    }
    measures = {
        name: all_series[name].at(times, depths).ravel() if name in known else np.nan
        for name in MEASURES
    }
    notes = ("linear between readings and between visits",)
    return Table(pd.DataFrame(rows | measures), "Interpolated profiles", profiles.notes + notes)


def _check_size(times: float, depths: float) -> None:
    if (times + 1) * (depths + 1) > _MOST_ROWS:
        raise ParameterError(
            f"step_m and step_days must give at most {_MOST_ROWS:,} rows, "
            f"got {(times + 1) * (depths + 1):,.0f}"
        )
