"""Fixes: the track a boat has made, from those fixes of its receiver that can be right.

Times are microseconds on one axis on which the runs of the log's clock follow one another, far
enough apart that nothing is interpolated from one to the next.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import parse_crs, project, working_crs
from toolbox.layers.track import TrackLog

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["SECOND", "Track", "on_axis", "track_of"]

SECOND = 1_000_000
"""Microseconds."""

_NEVER = np.iinfo(np.int64).min // 2  # half of the least, so that differences do not wrap
_FIX_ERROR = 5.0  # m: 95 % of a phone's fixes under open sky lie within 4.9 m (check-values 10.3)
_HEADWAY = 0.25  # m/s: at less than half a knot a boat drifts and has no heading (common practice)


@dataclass(frozen=True, eq=False)
class Track:
    """The fixes of a log that can be right, in the order of time, and how to go between them.

    Parameters
    ----------
    times : (n,) array of int
        Microseconds, ascending.
    coordinates : (n, 2) array
        Easting and northing, m.
    degrees : (n, 2) array
        Longitude and latitude.
    joined : (n,) array of bool
        Whether one may interpolate from each fix to the next.
    line : (n,) array of int
        Number of the line each fix is on, from 1.
    torn : (n,) array of bool
        Whether no boat could have gone from each fix to the next.
    all_times : (k,) array of int
        Times of all valid fixes, those that cannot be right too, ascending.
    wild : (k,) array of bool
        Which of them cannot be right.
    depth_times : (m,) array of int
        When the depths were read, in the order of the log.
    runs : DataFrame
        For each run of the log's clock what was added to its times (``offset``), its ``first`` and
        its ``last`` time, microseconds.
    crs : CRS
        Projected, in metres.
    max_gap : float
        Longest time between fixes that is interpolated over, s.
    """

    times: np.ndarray
    coordinates: np.ndarray
    degrees: np.ndarray
    joined: np.ndarray
    line: np.ndarray
    torn: np.ndarray
    all_times: np.ndarray
    wild: np.ndarray
    depth_times: np.ndarray
    runs: "pd.DataFrame"
    crs: "CRS"
    max_gap: float

    def _around(self, moment: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return the fixes at or before and at or after each moment, and whether both count."""
        after = np.searchsorted(self.times, moment)
        inside = (after < len(self.times)) & (moment >= self.times[0])
        after = np.minimum(after, len(self.times) - 1)
        before = np.where(self.times[after] == moment, after, np.maximum(after - 1, 0))
        return before, after, inside & ((before == after) | self.joined[before])

    def places(self, moment: np.ndarray) -> np.ndarray:
        """Return where the boat was, shape (m, 2); NaN where that is not known."""
        before, after, known = self._around(moment)
        span = np.maximum(self.times[after] - self.times[before], 1)
        share = ((moment - self.times[before]) / span)[:, None]
        here, there = self.coordinates[before], self.coordinates[after]
        return np.where(known[:, None], here + share * (there - here), np.nan)

    def jumped(self, moment: np.ndarray) -> np.ndarray:
        """Tell at which moments, shape (m,), a fix that cannot be right is the last or the next."""
        before, after, _ = self._around(moment)
        torn = (self.times[before] < moment) & (moment < self.times[after]) & self.torn[before]
        ahead = np.searchsorted(self.all_times, moment)
        last = len(self.all_times) - 1
        exact = self.all_times[np.minimum(ahead, last)] == moment
        for fix, beside in ((ahead, ahead <= last), (ahead - 1, ~exact & (ahead > 0))):
            fix = np.clip(fix, 0, last)
            near = np.abs(self.all_times[fix] - moment) <= self.max_gap * SECOND
            torn |= beside & near & self.wild[fix]
        return torn

    def lines(self, moment: np.ndarray, starts: np.ndarray) -> np.ndarray:
        """Return the name of the line at each moment: that of the latest fix, counted from 1."""
        before = np.clip(np.searchsorted(self.times, moment, side="right") - 1, 0, None)
        opened = np.searchsorted(starts, moment, side="right")
        found, number = np.unique(
            self.line[before] * (len(starts) + 1) + opened, return_inverse=True
        )
        return np.arange(1, len(found) + 1).astype(str).astype(object)[number]

    def bearings(self, moment: np.ndarray, window: float = 10.0) -> np.ndarray:
        """Return the course made good over a window of seconds on the line, degrees true."""
        before, after, known = self._around(moment)
        first = self.times[np.searchsorted(self.line, self.line[before])]
        last = self.times[np.searchsorted(self.line, self.line[after], side="right") - 1]
        half = round(window / 2 * SECOND)
        start, end = np.maximum(moment - half, first), np.minimum(moment + half, last)
        east, north = _metres_between(self._degrees_at(start), self._degrees_at(end))
        seconds = np.maximum(end - start, 1) / SECOND
        moving = known & (np.hypot(east, north) > _HEADWAY * seconds)
        return np.where(moving, np.degrees(np.arctan2(east, north)) % 360, np.nan)

    def _degrees_at(self, moment: np.ndarray) -> np.ndarray:
        known = self.times.astype(float)
        return np.column_stack(
            [np.interp(moment.astype(float), known, part) for part in self.degrees.T]
        )


def track_of(log: TrackLog, *, max_gap: float, max_speed: float) -> Track:
    """Make the track of a log.

    Parameters
    ----------
    log : TrackLog
        Fixes and depths.
    max_gap : float
        Longest time between fixes to interpolate over, s.
    max_speed : float
        Greatest speed of the boat, m/s.

    Returns
    -------
    Track
        Without the fixes that are invalid or wild, and with one fix for each time.

    Raises
    ------
    LayerError
        If the log has no valid fix.
    """
    valid = log.fixes[log.fixes["valid"].to_numpy(bool)]
    if not len(valid):
        raise LayerError("the log has no valid fix, so that its depths have no place")
    runs = _runs(log)
    times, rows = np.unique(on_axis(valid, runs), return_index=True)
    degrees = valid[["longitude", "latitude"]].to_numpy(float)[rows]
    crs = log.crs or _crs(degrees)
    place = project(degrees, parse_crs("EPSG:4326"), crs)
    tame = _tame(times, place, max_gap, max_speed)
    torn = np.append(~_steps_possible(times[tame], place[tame], max_speed), False)
    pause = np.append(np.diff(times[tame]) > max_gap * SECOND, True)
    return Track(
        times=times[tame],
        coordinates=place[tame],
        degrees=degrees[tame],
        joined=~torn & ~pause,
        line=1 + np.append(0, np.cumsum(pause[:-1])),
        torn=torn & ~pause,
        all_times=times,
        wild=~tame,
        depth_times=on_axis(log.depths, runs),
        runs=runs,
        crs=crs,
        max_gap=max_gap,
    )


def _crs(degrees: np.ndarray) -> "CRS":
    (west, south), (east, north) = degrees.min(axis=0), degrees.max(axis=0)
    return working_crs(parse_crs("EPSG:4326"), (west, south, east, north))


def _runs(log: TrackLog) -> "pd.DataFrame":
    """Return the runs of the clock, and what to add to their times so that they follow on."""
    import pandas as pd

    parts = [frame[["run", "time"]].dropna() for frame in (log.fixes, log.depths)]
    both = pd.concat(parts, ignore_index=True)
    both = both.assign(time=both["time"].astype("int64"))
    runs = both.groupby("run")["time"].agg(first="min", last="max")
    week = 7 * 86_400 * SECOND  # more than any gap or latency that may be asked for
    offsets, end = [], None
    for first, last in zip(runs["first"], runs["last"], strict=True):
        offsets.append(0 if end is None else max(end + week - int(first), 0))
        end = int(last) + offsets[-1]
    return runs.assign(offset=np.array(offsets, np.int64))


def on_axis(frame: "pd.DataFrame", runs: "pd.DataFrame") -> np.ndarray:
    """Return times as microseconds on the axis of all runs; far in the past where missing."""
    stamps = frame["time"].dt.tz_localize(None).to_numpy().astype("M8[us]")
    offset = frame["run"].map(runs["offset"]).fillna(0).to_numpy(np.int64)
    return np.where(np.isnat(stamps), _NEVER, stamps.astype(np.int64) + offset)


def _steps_possible(times: np.ndarray, place: np.ndarray, max_speed: float) -> np.ndarray:
    """Tell which steps from fix to fix, shape (n - 1,), a boat could have made."""
    step = np.hypot(*np.diff(place, axis=0).T) - _FIX_ERROR
    return step <= max_speed * np.diff(times) / SECOND


def _tame(times: np.ndarray, place: np.ndarray, max_gap: float, max_speed: float) -> np.ndarray:
    """Tell which fixes can be right.

    Impossible steps cut the track into pieces. A piece that lasts longer than `max_gap` is real
    (which of two such is misplaced cannot be told); of the others only those are that a boat could
    have reached from the real ones.
    """
    cuts = np.flatnonzero(~_steps_possible(times, place, max_speed)) + 1
    if not len(cuts):
        return np.ones(len(times), bool)
    first, last = np.append(0, cuts), np.append(cuts, len(times)) - 1
    real = times[last] - times[first] > max_gap * SECOND
    if not real.any():
        real[np.argmax(last - first)] = True
    reachable = _reached(times, place, (first, last), real, max_speed)
    return np.repeat(reachable, last - first + 1)


def _reached(
    times: np.ndarray,
    place: np.ndarray,
    ends: tuple[np.ndarray, np.ndarray],
    real: np.ndarray,
    max_speed: float,
) -> np.ndarray:
    """Tell which pieces are real or can be reached, onwards or, before the first, backwards."""
    found = real.copy()
    origin = int(np.argmax(real))
    for order, leave, arrive in (
        (range(origin, len(real)), ends[1], ends[0]),
        (range(origin, -1, -1), ends[0], ends[1]),
    ):
        latest = origin
        for piece in order:
            pair = np.array([leave[latest], arrive[piece]])
            if not found[piece]:
                sail = np.sort(pair)
                found[piece] = bool(_steps_possible(times[sail], place[sail], max_speed)[0])
            if found[piece]:
                latest = piece
    return found


def _metres_between(start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far east and north one goes between near places on the WGS 84 ellipsoid."""
    axis, flattening = 6_378_137.0, 1 / 298.257223563
    squared = flattening * (2 - flattening)
    latitude = np.radians((start[:, 1] + end[:, 1]) / 2)
    curved = 1 - squared * np.sin(latitude) ** 2
    east, north = np.radians(end - start).T
    return (
        east * np.cos(latitude) * axis / np.sqrt(curved),
        north * axis * (1 - squared) / curved**1.5,
    )
