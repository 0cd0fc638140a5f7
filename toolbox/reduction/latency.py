"""Latency: how long the depths of a log lag behind its positions, from where its lines cross."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Soundings, Table
from toolbox.layers.track import TrackLog
from toolbox.reduction.crossings import find_crossings
from toolbox.reduction.fixes import SECOND, Track, track_of
from toolbox.tool import Range, tool
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["estimate_latency"]

_STEP = 0.05  # s between the latencies that are tried
_VALLEY = 0.25  # s to either side of the least cost through which a parabola is laid
_TURN = 30.0  # degrees: lines nearer to one heading shift alike and tell nothing (common practice)
_MAX_STEP = 25.0  # m between fixes joined to a line, the least of IHO S-44 ed. 6, section 3.5.2
_HUBER = 1.345  # 95 % efficient where errors are normal (Huber 1981, from memory)
_DRAWS, _SEED = 200, 20
_BY_CHANCE = 0.25  # of the spread that a latency picked blindly from the span would have


@tool("Latency of a sounder")
def estimate_latency(
    log: TrackLog,
    *,
    span: Annotated[tuple[float, ...], Range("s", min=-60, max=60)] = (-3.0, 3.0),
    least_crossings: Annotated[int, Range("", min=3)] = 20,
    max_gap: Annotated[float, Range("s", above=0)] = 10.0,
    max_speed: Annotated[float, Range("m/s", above=0)] = 20.0,
) -> Table:
    """Estimate how long the depths of a log lag behind its positions.

    Parameters
    ----------
    log : TrackLog
        A survey whose lines cross on different headings over a bed that slopes.
    span : tuple of float
        Least and greatest latency to consider.
    least_crossings : int
        Fewest crossings to estimate from; 20 as the NSSDA asks of check points.
    max_gap : float
        As of `place_soundings`.
    max_speed : float
        As of `place_soundings`.

    Returns
    -------
    Table
        One row: ``latency_s``, to be given to `place_soundings`; ``sd_s``, how sure it is;
        ``crossings``, how many it comes from; ``difference_before_m`` and ``difference_after_m``,
        the median absolute difference of depth at these with no latency and with this one.

    Raises
    ------
    LayerError
        If there are too few crossings, if they agree no better at one latency than at another (the
        bed is too flat, or the depths are too rough), or best at an end of the span.
    ParameterError
        If the span is not two latencies, the lesser first.

    Notes
    -----
    A depth placed ahead of where it was measured moves the bed along the heading of the line, so
    that lines on other headings disagree with it. Where lines cross does not depend on the latency;
    the depths that belong there do: those logged at the times of passing plus the latency, here
    smoothed over five readings (running median, then mean). The estimate minimises the mean Huber
    loss of their differences. Its spread is that of 200 estimates from crossings drawn again with
    replacement; it is refused where that exceeds a quarter of what picking blindly from the span
    would give.

    An antenna ahead of or behind the transducer looks like a latency of the distance over the
    speed, as long as the speed does not change.

    References
    ----------
    IHO 2005, Manual on Hydrography C-13, chapter 3 (patch test: lines of opposite heading over a
    slope; from memory). Efron 1979, Annals of Statistics 7:1-26 (bootstrap; from memory). FGDC
    1998, National Standard for Spatial Data Accuracy, FGDC-STD-007.3 (20 check points; from
    memory).
    """
    low, high = _ends(span)
    track = track_of(log, max_gap=max_gap, max_speed=max_speed)
    passing = _passing_times(track)
    series = _Series.of(log, track, max_gap)
    latencies = np.arange(round(low / _STEP), round(high / _STEP) + 1) * _STEP
    differences = np.column_stack([series.differences(passing, lag) for lag in latencies])
    usable = np.isfinite(differences).all(axis=1)
    _check_enough(usable, least_crossings, low, high)
    loss = _loss(differences[usable])
    latency = float(_lowest(latencies, loss.mean(axis=0)[None, :])[0])
    sd = _spread(latencies, loss)
    _check_certain(latency, sd, latencies)
    used = passing[usable]
    return Table(_row(series, used, latency, sd), "Latency of the sounder", _notes(log, used))


def _ends(span: tuple[float, ...]) -> tuple[float, float]:
    if len(span) != 2 or span[1] - span[0] < 2 * _VALLEY:
        raise ParameterError(
            f"span must be two latencies at least {2 * _VALLEY:g} s apart, the lesser first, "
            f"got {span!r}"
        )
    return span[0], span[1]


def _passing_times(track: Track) -> np.ndarray:
    """Return when the boat passed each crossing on either line, shape (k, 2), s since its start.

    The crossings of a layer whose depths are times hold the times of passing.
    """
    seconds = (track.times - track.times[0]) / SECOND
    timed = Soundings.from_arrays(
        track.coordinates,
        seconds,
        crs=track.crs,
        line=track.line.astype(str).astype(object),
        source="track",
    )
    crossings = find_crossings(timed, max_step=_MAX_STEP, min_angle=0.0).frame
    turn = crossings["heading_a"].to_numpy(float) - crossings["heading_b"].to_numpy(float)
    turned = np.abs((turn + 180) % 360 - 180) >= _TURN
    return crossings[["depth_a", "depth_b"]].to_numpy(float)[turned]


@dataclass(frozen=True, eq=False)
class _Series:
    """Smoothed depths against time; `gap` is the longest time to interpolate over, s."""

    seconds: np.ndarray
    depth: np.ndarray
    gap: float

    @classmethod
    def of(cls, log: TrackLog, track: Track, max_gap: float) -> "_Series":
        """Take the depths of a log, and three of their usual intervals as the longest.

        Single false echoes go with a running median, and most of the noise with a running mean:
        both are symmetrical in time, so that they do not shift the bed along the line.
        """
        depth = log.depths["depth"].to_numpy(float)
        read = np.isfinite(depth) & log.depths["time"].notna().to_numpy()
        times, rows = np.unique(track.depth_times[read], return_index=True)
        seconds = (times - track.times[0]) / SECOND
        usual = float(np.median(np.diff(seconds))) if len(seconds) > 1 else 0.0
        gap = min(3 * usual, max_gap)
        smooth = _running(np.median, seconds, depth[read][rows], gap)
        return cls(seconds, _running(np.mean, seconds, smooth, gap), gap)

    def at(self, seconds: np.ndarray) -> np.ndarray:
        """Interpolate the depth, NaN where none was read about then."""
        if not len(self.seconds):
            return np.full(len(seconds), np.nan)
        after = np.clip(np.searchsorted(self.seconds, seconds), 1, max(len(self.seconds) - 1, 1))
        after = np.minimum(after, len(self.seconds) - 1)
        near = self.seconds[after] - self.seconds[np.maximum(after - 1, 0)] <= self.gap
        depth = np.interp(seconds, self.seconds, self.depth, left=np.nan, right=np.nan)
        return np.where(near, depth, np.nan)

    def differences(self, passing: np.ndarray, latency: float) -> np.ndarray:
        """Return the differences of depth at crossings if the depths lag by `latency`, m."""
        return self.at(passing[:, 0] + latency) - self.at(passing[:, 1] + latency)


def _running(
    average: Callable[..., np.ndarray], seconds: np.ndarray, depth: np.ndarray, gap: float
) -> np.ndarray:
    """Average each depth with its two neighbours on either side, ends repeated at gaps."""
    if not len(depth):
        return depth
    starts = np.flatnonzero(np.append(True, np.diff(seconds) > gap))
    counts = np.diff(starts, append=len(depth))
    first, last = np.repeat(starts, counts), np.repeat(starts + counts - 1, counts)
    around = np.arange(len(depth))[:, None] + np.arange(-2, 3)
    return average(depth[np.clip(around, first[:, None], last[:, None])], axis=1)


def _check_enough(usable: np.ndarray, least: int, low: float, high: float) -> None:
    if usable.sum() < least:
        raise LayerError(
            f"too few crossings to estimate a latency: {least} are needed on headings {_TURN:g} "
            f"degrees or more apart and with depths from {low:g} to {high:g} s about them, "
            f"got {int(usable.sum())}"
        )


def _loss(differences: np.ndarray) -> np.ndarray:
    """Return the Huber loss of each difference at each latency, in units of their usual size."""
    rough = np.abs(differences).mean(axis=0)
    scale = 1.4826 * np.median(np.abs(differences[:, rough.argmin()]))
    size = np.abs(differences) / max(scale, 1e-3)
    return np.where(size <= _HUBER, size**2 / 2, _HUBER * (size - _HUBER / 2))


def _lowest(latencies: np.ndarray, cost: np.ndarray) -> np.ndarray:
    """Return the latency of the least cost in each row, by a parabola through its valley."""
    reach = round(_VALLEY / _STEP)
    middle = np.clip(cost.argmin(axis=1), reach, len(latencies) - 1 - reach)
    place = np.arange(-reach, reach + 1)
    valley = np.take_along_axis(cost, middle[:, None] + place, axis=1)
    slope = valley @ place / (place @ place)
    curved = place**2 - (place @ place) / len(place)
    bend = np.maximum(valley @ curved / (curved @ curved), 1e-12)
    shift = np.clip(-slope / (2 * bend), -reach, reach)
    return latencies[middle] + _STEP * shift


def _spread(latencies: np.ndarray, loss: np.ndarray) -> float:
    """Return the standard deviation of the latency over crossings drawn with replacement."""
    rng = np.random.default_rng(_SEED)
    count = len(loss)
    draws = rng.multinomial(count, np.full(count, 1 / count), size=_DRAWS)
    return float(_lowest(latencies, draws @ loss / count).std(ddof=1))


def _check_certain(latency: float, sd: float, latencies: np.ndarray) -> None:
    low, high = latencies[0], latencies[-1]
    limit = _BY_CHANCE * (high - low) / np.sqrt(12)
    if sd > limit:
        raise LayerError(
            f"crossings cannot tell the latency: {latency:.2f} s is only sure to {sd:.2f} s, more "
            f"than {limit:.2f} s; the bed is too flat or the depths are too rough"
        )
    if latency < low + _VALLEY or latency > high - _VALLEY:
        raise LayerError(
            f"crossings agree best at the end of the span, at {latency:.2f} s of {low:g} to "
            f"{high:g} s; give a wider span"
        )


def _row(series: _Series, passing: np.ndarray, latency: float, sd: float) -> "pd.DataFrame":
    import pandas as pd

    before, after = (np.nanmedian(np.abs(series.differences(passing, lag))) for lag in (0, latency))
    return pd.DataFrame(
        {
            "latency_s": [latency],
            "sd_s": [sd],
            "crossings": [len(passing)],
            "difference_before_m": [before],
            "difference_after_m": [after],
        }
    )


def _notes(log: TrackLog, used: np.ndarray) -> tuple[str, ...]:
    return (
        f"from {counted(len(used), 'crossing')} of a track with {counted(len(log), 'depth')}; "
        "an antenna ahead of the transducer counts as latency too",
    )
