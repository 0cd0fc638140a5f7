"""Season: whether the water is fit for the fish when they are to come."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.stocking.days import in_days
from toolbox.stocking.measured import plain
from toolbox.water.series import ProfileSeries

if TYPE_CHECKING:
    import pandas as pd

    from toolbox.stocking.lots import Season

__all__ = ["SeasonCheck", "check_season"]

_DEPTH = 1.0
"""Depth whose temperature stands for the water that fish are let into, m."""


@dataclass(frozen=True)
class SeasonCheck:
    """What is known of the water in a season.

    Parameters
    ----------
    text : str
        The season, its limits, and what was found in it.
    coldest, warmest : float
        At 1 m depth on those of its days that keep to its limits, or on all of its days where
        none does, °C; NaN if nobody measured it.
    warnings : tuple of str
        What asks for attention.
    """

    text: str = ""
    coldest: float = math.nan
    warmest: float = math.nan
    warnings: tuple[str, ...] = ()


def check_season(
    season: "Season | None",
    species: str,
    temperatures: ProfileSeries | None = None,
    suitable: Table | None = None,
) -> SeasonCheck:
    """Hold a season against the profiles and the suitable water of a species.

    Parameters
    ----------
    season : Season or None
        When to stock.
    species : str
        As in the table of suitable water.
    temperatures : ProfileSeries, optional
        Of temperature.
    suitable : Table, optional
        Columns ``species``, ``time`` (UTC) and ``suitable_volume_m3``.

    Returns
    -------
    SeasonCheck
        Temperatures are those at 1 m depth, interpolated between the visits to each day.

    Raises
    ------
    LayerError
        If the table of suitable water lacks a column.
    """
    if season is None:
        return SeasonCheck(warnings=("no season given: say when to stock",))
    texts, warnings = [_written(season)], list[str]()
    ends = (math.nan, math.nan)
    if temperatures is None:
        warnings.append("season not checked: no profiles of temperature")
    else:
        said, ends, wrong = _warmth(season, temperatures)
        texts.append(said)
        warnings += wrong
    if suitable is not None:
        said, wrong = _room(season, species, suitable)
        texts.append(said)
        warnings += wrong
    return SeasonCheck("; ".join(filter(None, texts)), *ends, tuple(warnings))


def _written(season: "Season") -> str:
    low, high = season.min_temperature, season.max_temperature
    text = f"{season.first} to {season.last}"
    if low is None and high is None:
        return text
    ends = ("" if low is None else f"from {low:g}", "" if high is None else f"to {high:g}")
    return f"{text}, {' '.join(filter(None, ends))} °C"


def _warmth(season: "Season", series: ProfileSeries) -> tuple[str, tuple[float, float], list[str]]:
    days = _days(season, series)
    found = series.at(days, np.array([_DEPTH]))[:, 0]
    known = ~np.isnan(found)
    if not known.any():
        return "", (math.nan, math.nan), ["season not checked: no profile between its days"]
    days, found = days[known], found[known]
    years = ", ".join(map(str, sorted(set(days.year))))
    said = f"{found.min():.1f} to {found.max():.1f} °C at {_DEPTH:g} m in {years}"
    low = -math.inf if season.min_temperature is None else season.min_temperature
    high = math.inf if season.max_temperature is None else season.max_temperature
    good = (found >= low) & (found <= high)
    kept = found[good] if good.any() else found
    ends = float(kept.min()), float(kept.max())
    if good.all():
        return said, ends, []
    when = (
        f", within them {days[good].min():%m-%d} to {days[good].max():%m-%d}" if good.any() else ""
    )
    outside = f"temperature outside the limits on {(~good).sum()} of {len(good)} days{when}"
    return said, ends, [outside]


def _room(season: "Season", species: str, suitable: Table) -> tuple[str, list[str]]:
    for name in ("species", "time", "suitable_volume_m3"):
        if name not in suitable.frame:
            raise LayerError(
                f"suitable water needs a column {name!r}, got {list(suitable.frame.columns)}"
            )
    import pandas as pd

    frame = suitable.frame[suitable.frame["species"] == species]
    if not len(frame):
        return "", [f"season not checked: no suitable water told of {species!r}"]
    times = pd.DatetimeIndex(pd.to_datetime(frame["time"], utc=True))
    inside = in_days(times, season.first, season.last)
    unknown = frame.get("unknown_volume_m3", 0 * frame["suitable_volume_m3"])
    unknown = unknown.to_numpy(float)[inside]
    volume, times = frame["suitable_volume_m3"].to_numpy(float)[inside], times[inside]
    if not len(times):
        return "", ["season not checked: suitable water told at no time in it"]
    said = (
        f"suitable water {plain(volume.min(), trimmed=True)} to "
        f"{plain(volume.max(), trimmed=True)} m3"
    )
    none, unread = (
        ", ".join(f"{time:%Y-%m-%d}" for time in times[(volume <= 0) & which][:3])
        for which in (unknown <= 0, unknown > 0)
    )
    wrong = [f"no suitable water on {none}"] if none else []
    if unread:
        wrong.append(f"nobody knows of suitable water on {unread}: not all was read")
    return said, wrong


def _days(season: "Season", series: ProfileSeries) -> "pd.DatetimeIndex":
    """Days of the season from the first to the last visit, at noon UTC or at that visit."""
    import pandas as pd

    noon = pd.date_range(series.first.normalize(), series.last.normalize(), freq="D")
    noon = noon + pd.Timedelta(hours=12)
    times = noon.where(noon >= series.first, series.first)
    times = times.where(times <= series.last, series.last)
    return times[in_days(times, season.first, season.last)]
