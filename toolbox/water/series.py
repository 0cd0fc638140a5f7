"""Series: one measure of the water at any depth and time between its profiles."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers.profiles import MEASURES, Profiles

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["NEAR_SURFACE", "ProfileSeries", "at_depths"]

NEAR_SURFACE = 1.0
"""How deep the shallowest reading may lie and still stand for the water above it, m."""


@dataclass(frozen=True, eq=False)
class _Station:
    """One measure at one station: readings (depth, value) of each visit, from the surface down."""

    seconds: np.ndarray
    visits: tuple[tuple[np.ndarray, np.ndarray], ...]

    def at(self, seconds: np.ndarray, depths: np.ndarray, carry_down: bool) -> np.ndarray:
        """Return values (t, k) at `depths` (t, k), linear between the visits."""
        result = np.full(depths.shape, np.nan)
        for row, moment in enumerate(seconds):
            parts = [
                share * at_depths(*self.visits[visit], depths[row], carry_down=carry_down)
                for share, visit in self._shares(moment)
            ]
            if parts:
                result[row] = np.sum(parts, axis=0)
        return result

    def reach(self, seconds: np.ndarray) -> np.ndarray:
        """Return the depth to which both visits around each moment read, (t,), NaN outside."""
        deepest = np.array([depth[-1] for depth, _ in self.visits])
        around = [[deepest[visit] for _, visit in self._shares(moment)] for moment in seconds]
        return np.array([min(depths, default=np.nan) for depths in around])

    def _shares(self, moment: float) -> Iterator[tuple[float, int]]:
        """Give the visits that a moment lies between and the share of each; none outside."""
        after = int(np.searchsorted(self.seconds, moment))
        if after < len(self.seconds) and self.seconds[after] == moment:
            yield 1.0, after
        elif 0 < after < len(self.seconds):
            before, next_one = self.seconds[after - 1 : after + 1]
            share = (moment - before) / (next_one - before)
            yield from ((1 - share, after - 1), (share, after))


@dataclass(frozen=True, eq=False)
class ProfileSeries:
    """One measure over depth and time; make it with :meth:`of`.

    Parameters
    ----------
    measure : str
        ``temperature_c``, ``oxygen_mg_l`` or ``par``.
    times : DatetimeIndex
        Of the visits that read it, UTC, ascending, each once.
    surface : (v,) array
        Depth of the water surface below the datum at each of them, m, positive down.
    stations : tuple of str
        Names of the stations it is the mean of.

    Notes
    -----
    Each station is interpolated in depth and in time, and those that have a value at that depth
    and time are averaged. A station counts only between its own first and last visit.
    """

    measure: str
    times: "pd.DatetimeIndex"
    surface: np.ndarray
    stations: tuple[str, ...]
    _readings: tuple[_Station, ...]

    @classmethod
    def of(
        cls, profiles: Profiles, measure: str, *, stations: tuple[str, ...] | None = None
    ) -> "ProfileSeries":
        """Take one measure from profiles.

        Parameters
        ----------
        profiles : Profiles
            Readings; visits that did not read the measure are passed over.
        measure : str
            ``temperature_c``, ``oxygen_mg_l`` or ``par``.
        stations : tuple of str, optional
            Stations to use; all if left out.

        Returns
        -------
        ProfileSeries
            Over all visits of these stations that read it.

        Raises
        ------
        ParameterError
            If there is no such measure or station.
        LayerError
            If it was nowhere read at these stations.
        """
        import pandas as pd

        frame = _readings_of(profiles, measure, stations)
        surface = frame.groupby("time")["surface_m"].mean()
        parts = {str(name): _station(part, measure) for name, part in frame.groupby("station")}
        times = pd.DatetimeIndex(surface.index)
        return cls(measure, times, surface.to_numpy(float), tuple(parts), tuple(parts.values()))

    @property
    def first(self) -> "pd.Timestamp":
        """Time of the first visit."""
        return self.times[0]

    @property
    def last(self) -> "pd.Timestamp":
        """Time of the last visit."""
        return self.times[-1]

    def at(
        self, times: "pd.DatetimeIndex", depths: np.ndarray, *, carry_down: bool = False
    ) -> np.ndarray:
        """Return the measure at times and depths.

        Parameters
        ----------
        times : (t,) DatetimeIndex
            UTC.
        depths : (k,) or (t, k) array
            Below the surface of that day, m, positive down: the same at all times, or a row for
            each.
        carry_down : bool
            Let the deepest reading stand for all water below it; of several stations that of
            the one that reaches deepest then, not of one in shallow water.

        Returns
        -------
        (t, k) array
            NaN before a station's first and after its last visit, above the surface, below the
            deepest reading (unless carried down), and above the shallowest reading if that is more
            than 1 m down.
        """
        seconds = _seconds(times)
        depths = np.broadcast_to(np.asarray(depths, float), (len(seconds), np.shape(depths)[-1]))
        values = np.stack([one.at(seconds, depths, False) for one in self._readings])
        if carry_down:
            reach = np.stack([one.reach(seconds) for one in self._readings])
            farthest = np.fmax.reduce(reach, axis=0)
            below = (depths > farthest[:, None]) & (reach == farthest)[:, :, None]
            carried = np.stack([one.at(seconds, depths, True) for one in self._readings])
            values = np.where(below, carried, values)
        known = ~np.isnan(values)
        total = np.where(known, values, 0.0).sum(axis=0)
        return np.where(known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), np.nan)

    def surface_at(self, times: "pd.DatetimeIndex") -> np.ndarray:
        """Return the depth of the surface below the datum, (t,), m.

        Linear between visits; before the first and after the last as at that visit.
        """
        return np.interp(_seconds(times), _seconds(self.times), self.surface)


def at_depths(
    depth: np.ndarray, value: np.ndarray, wanted: np.ndarray, *, carry_down: bool = False
) -> np.ndarray:
    """Return the value of one profile at depths, linear between its readings.

    Parameters
    ----------
    depth, value : (n,) array
        Readings of the profile, depths ascending, m below the surface; none missing, one or more.
    wanted : (...) array
        Depths below the surface, m.
    carry_down : bool
        Let the deepest reading stand for all water below it.

    Returns
    -------
    (...) array
        NaN where nothing was read; see :meth:`ProfileSeries.at`.
    """
    wanted = np.asarray(wanted, float)
    top = 0.0 if depth[0] <= NEAR_SURFACE else depth[0]
    outside = ~(wanted >= top)
    if not carry_down:
        outside |= wanted > depth[-1]
    return np.where(outside, np.nan, np.interp(wanted, depth, value))


def _readings_of(
    profiles: Profiles, measure: str, stations: tuple[str, ...] | None
) -> "pd.DataFrame":
    if measure not in MEASURES:
        raise ParameterError(f"measure must be one of {', '.join(MEASURES)}, got {measure!r}")
    frame = profiles.frame[profiles.frame[measure].notna()]
    if stations is not None:
        for name in stations:
            if name not in profiles.stations:
                listed = ", ".join(map(repr, profiles.stations))
                raise ParameterError(f"stations must be of {listed}, got {name!r}")
        frame = frame[frame["station"].isin(stations)]
    if not len(frame):
        where = "" if stations is None else f" at {', '.join(stations)}"
        raise LayerError(f"the profiles hold no reading of {measure}{where}")
    return frame


def _station(frame: "pd.DataFrame", measure: str) -> _Station:
    import pandas as pd

    visits = [(time, readings) for time, readings in frame.groupby("time", sort=True)]
    return _Station(
        _seconds(pd.DatetimeIndex([time for time, _ in visits])),
        tuple(
            (part["depth_m"].to_numpy(float), part[measure].to_numpy(float)) for _, part in visits
        ),
    )


def _seconds(times: "pd.DatetimeIndex") -> np.ndarray:
    import pandas as pd

    index = pd.DatetimeIndex(times)
    if index.tz is None or str(index.tz) != "UTC":
        raise ParameterError(f"times must be UTC, got {index.dtype}")
    return index.as_unit("ns").asi8 / 1e9
