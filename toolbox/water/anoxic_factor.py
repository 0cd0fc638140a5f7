"""Anoxic factor: how long, over a season, how much of the bed lay under water without oxygen."""

from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.layers import Profiles, Table, Tin
from toolbox.tool import Range, tool
from toolbox.water.anoxia import THRESHOLD, share_below, with_oxygen
from toolbox.water.rows import banded, notes_of_columns
from toolbox.water.series import ProfileSeries
from toolbox.water.water_columns import cut_at
from toolbox.water.water_layers import WaterLayers

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["anoxic_factor"]

_MEASURE = "oxygen_mg_l"
_DAY = 86_400.0


@tool("Anoxic factor")
def anoxic_factor(
    bed: Tin,
    profiles: Profiles,
    *,
    oxygen: Annotated[float, Range("mg/L", min=0)] = THRESHOLD,
    stations: tuple[str, ...] | None = None,
    first_month: Annotated[int, Range("", min=1, max=12)] = 1,
    step: Annotated[float, Range("m", above=0)] = 0.25,
) -> Table:
    """Add up over each season for how many days how much of the bed lay under anoxic water.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    profiles : Profiles
        Readings of oxygen, over a season or several.
    oxygen : float
        At and below it water counts as anoxic: 1 mg/L for profiles read with a sonde
        (Nurnberg 1995, from memory).
    stations : tuple of str, optional
        Stations to use; all if left out. Several are averaged.
    first_month : int
        Month with which a year of figures begins: 1 for January; 7 south of the equator, so that
        a summer stays whole.
    step : float
        Greatest thickness of the layers in which water is added up.

    Returns
    -------
    Table
        One row a year, named by the calendar year in which it begins: ``year, first, last, visits,
        days, longest_gap_days, anoxic_factor_days, anoxic_days, greatest_anoxic_volume_m3,
        greatest_anoxic_area_m2``. ``days`` counts from the first to the last visit of the year,
        outside of which nothing is known; ``anoxic_days`` those with any anoxic water. Empty
        where a year has but one visit. A fitted bed adds the ends of the 90 % band of its draws,
        ``anoxic_factor_low_days, anoxic_factor_high_days`` and so on.

    Raises
    ------
    LayerError
        If no oxygen was read, or the surface of a day lies below the bed.

    Notes
    -----
    The factor is the sum over the season of days times anoxic bed area, over the area of the
    water surface: the number of days for which a bed as large as the surface would be anoxic.
    Oxygen at each depth is taken as linear between visits, the factor day by day. A season that
    began before the first visit, or went on after the last, is longer than what is told.

    References
    ----------
    Nurnberg 1995, Limnology and Oceanography 40:1100, "Quantifying anoxia in lakes",
    doi:10.4319/lo.1995.40.6.1100.
    """
    import pandas as pd

    columns = with_oxygen(profiles, stations)
    layers = cut_at(bed, columns, step)
    series = ProfileSeries.of(profiles, _MEASURE, stations=stations)
    begins = (series.times - pd.DateOffset(months=first_month - 1)).year
    rows = [
        {"year": int(year)} | _season(layers, series, series.times[begins == year], oxygen)
        for year in np.unique(begins)
    ]
    notes = (
        f"anoxic: {oxygen:g} mg/L or less; oxygen linear between visits",
        "from the first to the last visit of each year only",
        *_single(rows),
        *notes_of_columns(bed, layers, columns, _MEASURE),
    )
    return Table(pd.DataFrame(rows), "Anoxic factor", profiles.notes + notes)


def _single(rows: list[dict[str, Any]]) -> tuple[str, ...]:
    years = ", ".join(str(row["year"]) for row in rows if row["visits"] == 1)
    return (f"a single visit tells no factor: {years}",) if years else ()


def _season(
    layers: WaterLayers, series: ProfileSeries, visits: "pd.DatetimeIndex", limit: float
) -> dict[str, Any]:
    import pandas as pd

    days = visits.union(pd.date_range(visits[0], visits[-1], freq="D"))
    surface = series.surface_at(days)
    below = layers.edges - surface[:, None]
    oxygen = series.at(days, below, carry_down=True)
    share = share_below(oxygen, limit)
    length = (days - days[0]).total_seconds().to_numpy() / _DAY
    plane = np.clip(np.searchsorted(layers.edges, surface) - 1, 0, len(layers.edges) - 2)
    down = (surface - layers.edges[plane]) / np.diff(layers.edges)[plane]
    weight = _day_weights(length, ~np.isnan(oxygen).all(axis=1))
    gaps = np.diff(visits) / pd.Timedelta(days=1)

    def factor(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        open_water = area[..., plane] * (1 - down) + area[..., plane + 1] * down
        part = -np.diff(area, axis=-1) @ share.T / open_water
        return np.asarray(part @ weight) if len(visits) > 1 else np.full(area.shape[:-1], np.nan)

    volume = layers.figure(lambda area, volume: (volume @ share.T).max(axis=-1))
    ground = layers.figure(lambda area, volume: (-np.diff(area) @ share.T).max(axis=-1))
    lacking = layers.volume @ share.T > 0
    return {
        "first": visits[0],
        "last": visits[-1],
        "visits": len(visits),
        "days": float(weight.sum()),
        "longest_gap_days": float(gaps.max()) if len(gaps) else np.nan,
        **banded("anoxic_factor", "days", layers.figure(factor), layers),
        "anoxic_days": float(weight @ lacking),
        **banded("greatest_anoxic_volume", "m3", volume, layers),
        **banded("greatest_anoxic_area", "m2", ground, layers),
    }


def _day_weights(length: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Days that each moment stands for by the trapezoid rule, over spans known at both ends."""
    span = np.diff(length) * (known[:-1] & known[1:])
    return np.r_[span, 0.0] / 2 + np.r_[0.0, span] / 2
