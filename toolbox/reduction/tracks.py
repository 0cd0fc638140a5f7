"""Tracks: depths read under way, placed between the fixes of the boat's receiver."""

from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Soundings
from toolbox.layers.track import TrackLog
from toolbox.moments import in_utc
from toolbox.reduction.fixes import SECOND, Track, on_axis, track_of
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["JUMP", "place_soundings"]

JUMP = "position jump"
NO_POSITION = "no position"
NO_DEPTH = "no depth"

_TEMPERATURE_GAP = 600.0  # s: surface water changes by less than 0.1 degrees (common practice)


@tool("Soundings from a track")
def place_soundings(
    log: TrackLog,
    *,
    latency: Annotated[float, Range("s", min=-60, max=60)] = 0.0,
    max_gap: Annotated[float, Range("s", above=0)] = 10.0,
    max_speed: Annotated[float, Range("m/s", above=0)] = 20.0,
    line_starts: tuple[str, ...] = (),
) -> Soundings:
    """Place the depths of a log on the track of its fixes.

    Parameters
    ----------
    log : TrackLog
        Fixes and depths.
    latency : float
        How long the depth lags behind the position: a depth that the log gives for the time t was
        measured at t - latency, and is placed where the boat was then.
    max_gap : float
        Depths are placed only between fixes no farther apart in time than this; after a longer
        gap a new line begins (common practice, no source: about 20 m at 2 m/s).
    max_speed : float
        A fix that no boat of this speed could have reached, 5 m of its error allowed for, is not
        used (common practice, no source: faster than a boat can sound).
    line_starts : tuple of str
        Times (UTC) at which further lines begin, such as "2026-05-12T11:40:00".

    Returns
    -------
    Soundings
        One for each reading, in the order of the log, in the CRS of the log or, where that names
        none, a suitable one in metres, of source "track". Columns beside the usual:
        ``measured_from`` (surface, transducer, keel), ``depth_read`` (m, as the instrument gave
        it), ``bearing`` (degrees true, of the track over ten seconds; NaN where the boat makes no
        headway) and, where it was logged, ``temperature``.
        ``time`` is when the depth was measured.

    Raises
    ------
    LayerError
        If the log has no valid fix.
    ParameterError
        If a start of a line is no time.

    Notes
    -----
    Positions are interpolated linearly in the projected CRS, never beyond the first or last fix
    and never across a gap, an impossible step or a clock that was set back: there the reason is
    "no position". A depth beside a fix that is off the track has the reason "position jump".
    """
    track = track_of(log, max_gap=max_gap, max_speed=max_speed)
    moment = track.depth_times - round(latency * SECOND)
    place = track.places(moment)
    jumped = track.jumped(moment)
    depth = log.depths["depth"].to_numpy(float)
    placed = np.isfinite(place).all(axis=1)
    reason = np.where(np.isfinite(depth), "", NO_DEPTH).astype(object)
    reason[~placed] = NO_POSITION
    reason[jumped] = JUMP
    columns = {
        "time": log.depths["time"] - np.timedelta64(round(latency * SECOND), "us"),
        "line": track.lines(moment, _starts(track, line_starts)),
        "source": "track",
        "measured_from": log.depths["measured_from"].astype(object),
        "bearing": track.bearings(moment),
        "flag": reason != "",
        "reason": reason,
    }
    columns |= {"depth_read": log.depths.get("depth_read", log.depths["depth"])}
    columns |= _temperatures(log, track, moment)
    return Soundings.from_arrays(
        place, depth, crs=track.crs, notes=(*log.notes, *_notes(log, latency)), **columns
    )


def _starts(track: Track, line_starts: tuple[str, ...]) -> np.ndarray:
    """Return the starts of lines on the axis, in every run of the clock that has the time."""
    try:
        stamps = in_utc(list(line_starts), errors="raise").dt.as_unit("us")
    except ValueError as error:
        raise ParameterError(
            f"line_starts must be times such as '2026-05-12T11:40:00', got {line_starts!r}"
        ) from error
    moments = stamps.dt.tz_localize(None).to_numpy().astype("M8[us]").astype(np.int64)
    first, last, offset = (
        track.runs[name].to_numpy()[:, None] for name in ("first", "last", "offset")
    )
    return np.sort((moments + offset)[(first < moments) & (moments <= last)])


def _temperatures(log: TrackLog, track: Track, moment: np.ndarray) -> dict[str, np.ndarray]:
    """Return the water temperature at each moment, as far as one was logged near enough."""
    temperatures = log.temperatures
    if temperatures is None or not len(temperatures):
        return {}
    times, rows = np.unique(on_axis(temperatures, track.runs), return_index=True)
    values = temperatures["temperature"].to_numpy(float)[rows]
    found = np.interp(moment.astype(float), times.astype(float), values)
    ahead = np.searchsorted(times, moment)
    behind, ahead = np.maximum(ahead - 1, 0), np.minimum(ahead, len(times) - 1)
    away = np.minimum(np.abs(times[ahead] - moment), np.abs(times[behind] - moment))
    return {"temperature": np.where(away <= _TEMPERATURE_GAP * SECOND, found, np.nan)}


def _notes(log: TrackLog, latency: float) -> list[str]:
    counts = log.depths["measured_from"].value_counts()
    told = [
        f"{counted(count, 'depth')} measured from the {name}"
        for name, count in counts.items()
        if count
    ]
    notes = [", ".join(told)] if told else []
    if latency:
        notes.append(f"depths taken to lag {latency:g} s behind the positions")
    return notes
