"""Water column: temperature and oxygen down the water at one moment, bend by bend."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Profiles
from toolbox.water.series import NEAR_SURFACE, ProfileSeries

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MEASURES", "ColumnSeries", "WaterColumn", "column_on", "moment", "moments"]

MEASURES = ("temperature_c", "oxygen_mg_l")
"""What a column holds."""

_STEP = 1e-6  # m, in which the mean of stations passes the end of one


@dataclass(frozen=True, eq=False)
class WaterColumn:
    """The water at one moment: measures at depths, linear between them.

    Parameters
    ----------
    depth : (k,) array
        Below the surface, m, ascending from 0.
    measured : dict of (k,) array
        By measure; NaN where nobody read.
    surface : float
        Depth of the surface below the datum, m.
    """

    depth: np.ndarray
    measured: dict[str, np.ndarray]
    surface: float


@dataclass(frozen=True, eq=False)
class _Visits:
    """When one station read one measure, and at what depths."""

    times: "pd.DatetimeIndex"
    depths: tuple[np.ndarray, ...]

    def bends(self, time: "pd.Timestamp") -> Iterator[np.ndarray]:
        """Give the depths at which the measure may bend or end at a time."""
        after = int(self.times.searchsorted(time.as_unit("ns")))
        last = after - 1 if after == len(self.times) or self.times[after] != time else after
        for visit in {last, after} & set(range(len(self.times))):
            depth = self.depths[visit]
            yield depth
            yield depth[-1:] + _STEP
            if depth[0] > NEAR_SURFACE:
                yield depth[:1] - _STEP


@dataclass(frozen=True, eq=False)
class ColumnSeries:
    """Columns at any moment between visits; make it with :meth:`of`.

    Parameters
    ----------
    series : dict of ProfileSeries
        By measure, of those that were read.
    visits : tuple of _Visits
        Of each station and measure.
    times : DatetimeIndex
        Of all visits, UTC, ascending, each once.
    surface : (v,) array
        Depth of the surface below the datum at those times, m.
    carry_down : bool
        Whether the deepest reading of a visit stands for all water below it.
    """

    series: dict[str, ProfileSeries]
    visits: tuple[_Visits, ...]
    times: "pd.DatetimeIndex"
    surface: np.ndarray
    carry_down: bool

    @classmethod
    def of(
        cls,
        profiles: Profiles,
        *,
        stations: tuple[str, ...] | None = None,
        carry_down: bool = False,
    ) -> "ColumnSeries":
        """Take temperature and oxygen from profiles.

        Raises
        ------
        ParameterError
            If there is no such station.
        LayerError
            If neither was read at these stations.
        """
        import pandas as pd

        frame = profiles.frame
        if stations is not None:
            frame = frame[frame["station"].isin(stations)]
        read = [name for name in MEASURES if frame[name].notna().any()]
        series = {
            name: ProfileSeries.of(profiles, name, stations=stations) for name in read or MEASURES
        }
        visits = (_visits(profiles, one) for one in series.values())
        every = tuple(visit for several in visits for visit in several)
        known = frame[frame[read].notna().any(axis=1)]
        surface = known.groupby("time", sort=True)["surface_m"].mean()
        times = pd.DatetimeIndex(surface.index).as_unit("ns")
        return cls(series, every, times, surface.to_numpy(float), carry_down)

    def at(self, time: "pd.Timestamp", bottom: float) -> WaterColumn:
        """Return the column at a moment.

        Parameters
        ----------
        time : Timestamp
            UTC, between the first and the last visit.
        bottom : float
            Depth below the datum to which the column reaches at least, m.
        """
        import pandas as pd

        when = pd.DatetimeIndex([time])
        surface = float(np.interp(time.as_unit("ns").value, self.times.asi8, self.surface))
        bends = [part for visit in self.visits for part in visit.bends(time)]
        depth = np.unique(np.concatenate([[0.0, max(bottom - surface, _STEP)], *bends]))
        empty = np.full(len(depth), np.nan)
        measured = {
            name: self.series[name].at(when, depth, carry_down=self.carry_down)[0]
            if name in self.series
            else empty
            for name in MEASURES
        }
        return WaterColumn(depth, measured, surface)


def _visits(profiles: Profiles, series: ProfileSeries) -> Iterator[_Visits]:
    import pandas as pd

    frame = profiles.frame[profiles.frame[series.measure].notna()]
    for name in series.stations:
        found = list(frame[frame["station"] == name].groupby("time", sort=True)["depth_m"])
        times = pd.DatetimeIndex([time for time, _ in found]).as_unit("ns")
        yield _Visits(times, tuple(depth.to_numpy(float) for _, depth in found))


def moments(
    visits: "pd.DatetimeIndex", start: str | None, end: str | None, step_days: float | None
) -> "pd.DatetimeIndex":
    """List the moments at which to look at the water.

    Parameters
    ----------
    visits : DatetimeIndex
        Times of the visits, UTC, ascending.
    start, end : str or None
        First and last day or time wanted; cut to the first and last visit.
    step_days : float or None
        Moments this far apart, beside the visits; None for the visits alone.

    Returns
    -------
    DatetimeIndex
        The visits between `start` and `end`, those two, and steps from the first on; ascending.

    Raises
    ------
    ParameterError
        If a date cannot be read, or nothing lies between the two.
    """
    import pandas as pd

    visits = visits.as_unit("ns")
    first = visits[0] if start is None else max(visits[0], moment("start", start, visits))
    last = visits[-1] if end is None else min(visits[-1], moment("end", end, visits, last=True))
    if first > last:
        raise ParameterError(
            f"start and end must overlap the visits, {visits[0]:%Y-%m-%d} to "
            f"{visits[-1]:%Y-%m-%d}, got {start} to {end}"
        )
    inside = visits[(visits >= first) & (visits <= last)]
    every = inside.union(pd.DatetimeIndex([first, last]).unique())
    if step_days is None:
        return every
    return every.union(pd.date_range(first, last, freq=pd.Timedelta(days=step_days)))


def moment(
    name: str, text: str, visits: "pd.DatetimeIndex", *, last: bool = False
) -> "pd.Timestamp":
    """Read a day or a time, UTC where it names no zone.

    Parameters
    ----------
    name : str
        The parameter that messages name.
    text : str
        As ISO 8601 writes it.
    visits : DatetimeIndex
        Times of the visits, UTC, ascending.
    last : bool
        Whether a day stands for the last visit on it rather than the first. A day without visit
        stands for its first moment.

    Raises
    ------
    ParameterError
        If it is none.
    """
    import pandas as pd

    found = pd.to_datetime(pd.Series([text]), errors="coerce", utc=True, format="ISO8601")
    time = found.iloc[0]
    if pd.isna(time):
        raise ParameterError(f"{name} must be a date such as 2026-07-15, got {text!r}")
    on_it = visits[visits.floor("D") == time]
    if len(text.strip()) > len("2026-07-15") or not len(on_it):
        return pd.Timestamp(time).as_unit("ns")
    return on_it[-1 if last else 0]


def column_on(
    profiles: Profiles | None,
    date: str | None,
    bottom: float,
    *,
    stations: tuple[str, ...] | None,
    carry_down: bool,
) -> tuple[WaterColumn, tuple[str, ...]]:
    """Return the column of a day, and the measures that were read.

    Parameters
    ----------
    profiles : Profiles or None
        Without them the surface lies at the datum, and nothing was read.
    date : str or None
        Day or time; None where there is a single visit.
    bottom : float
        Depth below the datum to which the column reaches at least, m.
    stations : tuple of str or None
        Those that count; all if None.
    carry_down : bool
        Whether the deepest reading of a visit stands for all water below it.

    Raises
    ------
    ParameterError
        If there is no such station, the date cannot be read or lies outside the visits, or is
        needed and missing.
    """
    if profiles is None:
        depth = np.array([0.0, max(bottom, _STEP)])
        return WaterColumn(depth, {name: np.full(2, np.nan) for name in MEASURES}, 0.0), ()
    columns = ColumnSeries.of(profiles, stations=stations, carry_down=carry_down)
    return columns.at(_day(columns.times, date), bottom), tuple(columns.series)


def _day(visits: "pd.DatetimeIndex", date: str | None) -> "pd.Timestamp":
    if date is None and len(visits) > 1:
        listed = ", ".join(f"{time:%Y-%m-%d}" for time in visits)
        raise ParameterError(f"date is needed, there are several visits: {listed}")
    time = visits[0] if date is None else moment("date", date, visits)
    if not visits[0] <= time <= visits[-1]:
        raise ParameterError(
            f"date must lie within the visits, {visits[0]:%Y-%m-%d} to {visits[-1]:%Y-%m-%d}, "
            f"got {date}"
        )
    return time
