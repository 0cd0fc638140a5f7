"""Water level: readings made on one day's water, brought to the datum."""

from dataclasses import replace
from typing import Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Soundings, Table
from toolbox.moments import in_utc
from toolbox.notes import Assumption, Caution
from toolbox.tool import Range, tool

__all__ = ["UNKNOWN_LEVEL", "level_at", "reduce_to_datum"]

UNKNOWN_LEVEL = "no water level known"

_LONG = 2.0  # days between readings of a record, from which on it is told (judgement)


@tool("Depths reduced to the datum")
def reduce_to_datum(
    soundings: Soundings,
    record: Table | None = None,
    *,
    water_level: Annotated[float, Range("m")] | None = None,
    datum: Annotated[float, Range("m")],
) -> Soundings:
    """Bring depths below the water of the day to depths below the datum water level.

    Parameters
    ----------
    soundings : Soundings
        Depths below the water surface at their time.
    record : Table, optional
        Water levels read over time: columns ``time`` (ISO 8601, UTC) and ``level_m``.
    water_level : float, optional
        One elevation of the surface for all of them.
    datum : float
        Elevation of the datum water level.

    Returns
    -------
    Soundings
        Depth at the datum: depth + datum - water level. The column ``level_correction`` holds
        what was added, m. Soundings at whose time no level is known are flagged.

    Raises
    ------
    ParameterError
        If a level and a record are both given, or neither is, and the soundings carry none in a
        column ``water_level``.
    LayerError
        If the record is no record.

    Notes
    -----
    Between two readings of the record the level is interpolated; before the first and after the
    last it is not known. Where those about a sounding are more than two days apart, a note tells.

    References
    ----------
    IHO 2005, Manual on Hydrography C-13, chapter 5 (reduction of soundings; from memory).
    """
    level, origin = _levels(soundings, record, water_level)
    known = np.isfinite(level)
    correction = np.where(known, datum - level, 0.0)
    deeper = {
        name: soundings.frame[name].to_numpy(float) + correction
        for name in ("depth", "canopy")
        if name in soundings.frame
    }
    frame = soundings.frame.assign(**deeper, level_correction=correction)
    notes = (*soundings.notes, _note(origin, correction[known]))
    if record is not None:
        notes += _gap(record, soundings.frame["time"].to_numpy("datetime64[ns]")[known])
    return replace(soundings, frame=frame, notes=notes).reject(~known, UNKNOWN_LEVEL)


def _levels(
    soundings: Soundings, record: Table | None, water_level: float | None
) -> tuple[np.ndarray, str]:
    if record is not None and water_level is not None:
        raise ParameterError("give a record or a water_level, not both")
    if record is not None:
        return level_at(record, soundings.frame["time"].to_numpy("datetime64[ns]")), "the record"
    if water_level is not None:
        return np.full(len(soundings), water_level), f"water level {water_level:g} m"
    if "water_level" in soundings.frame:
        return soundings.frame["water_level"].to_numpy(float), "the level noted with each"
    raise ParameterError("water_level must be given: a number, a record, or a column of that name")


def level_at(record: Table, time: np.ndarray) -> np.ndarray:
    """Interpolate a record of water levels.

    Parameters
    ----------
    record : Table
        Columns ``time`` and ``level_m``, or ``level`` in metres; in any order, gaps allowed.
    time : (n,) array of datetime64
        UTC; NaT where unknown.

    Returns
    -------
    (n,) array
        Elevation, m; NaN beyond the record and where the time is unknown.

    Raises
    ------
    LayerError
        If the record has no times and levels.
    """
    at, level = _readings(record)
    return np.interp(_seconds(time), at, level, left=np.nan, right=np.nan)


def _readings(record: Table) -> tuple[np.ndarray, np.ndarray]:
    """Return the times of a record, s, ascending, and its levels, m."""
    bare = "level" in record.frame and "level_m" not in record.frame
    level = record.column("level" if bare else "level_m")
    if "time" not in record.frame:
        raise LayerError(f"a record needs a column 'time', got {list(record.frame.columns)}")
    read = in_utc(record.frame["time"])
    good = read.notna().to_numpy() & np.isfinite(level)
    if not good.any():
        raise LayerError("a record needs one time in ISO 8601 with a level, got none")
    at, level = _seconds(read[good].to_numpy("datetime64[ns]")), level[good]
    order = np.argsort(at, kind="stable")
    return at[order], level[order]


def _seconds(time: np.ndarray) -> np.ndarray:
    seconds = (time - np.datetime64("2000-01-01")) / np.timedelta64(1, "s")
    return np.asarray(seconds, float)


def _note(origin: str, correction: np.ndarray) -> str:
    if not len(correction):
        return Caution(f"depths could not be reduced to the datum by {origin}")
    low, high = correction.min(), correction.max()
    span = f"{low:+.3f} m" if low == high else f"{low:+.3f} to {high:+.3f} m"
    return f"depths reduced to the datum by {origin}: {span}"


def _gap(record: Table, time: np.ndarray) -> tuple[str, ...]:
    """Tell how far apart the readings lie between which levels were interpolated."""
    at, seconds = _readings(record)[0], _seconds(time)
    between = ~np.isin(seconds, at)
    if not between.any():
        return ()
    after = np.searchsorted(at, seconds[between])
    days = float((at[after] - at[after - 1]).max()) / 86_400
    if not days > _LONG:
        return ()
    return (
        Assumption(
            f"the level is a straight line between readings up to {days:.3g} days apart: what it "
            "did in between is not known"
        ),
    )
