"""Casts: a line of depths against time becomes soundings with a place and its uncertainty."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.layers import CastLog, Shoreline, Soundings
from toolbox.layers.crs import check_same_crs
from toolbox.layers.geodesy import travel
from toolbox.notes import Assumption
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["BEYOND_LAND", "NO_LINE", "TOO_LONG", "place_casts"]

TOO_LONG = "longer than the tackle allows"
BEYOND_LAND = "beyond land"
NO_LINE = "after the line came in"

_Metres = Annotated[float, Range("m", min=0)]


@tool("Casts placed")
def place_casts(
    casts: CastLog,
    shoreline: Shoreline | None = None,
    *,
    speed: Annotated[float, Range("m/s", above=0)] = 0.6,
    longest: Annotated[float, Range("m", above=0)] | None = None,
    bearing_sd: Annotated[float, Range("degree", min=0, max=90)] = 3.0,
    speed_sd: Annotated[float, Range("", min=0, max=1)] = 0.1,
    assumed_speed_sd: Annotated[float, Range("", min=0, max=1)] = 0.25,
    slack_sd: _Metres = 1.0,
    peg_sd: _Metres = 1.0,
    drift_sd: Annotated[float, Range("m/s", min=0)] = 0.02,
) -> Soundings:
    """Place the readings of casts along their lines, by the line that is still out.

    Parameters
    ----------
    casts : CastLog
        Casts and their pings.
    shoreline : Shoreline, optional
        The water: a cast cannot be drawn in over land.
    speed : float
        Speed of a steady retrieve where a cast notes neither speed nor time of arrival: 0.6 m/s
        (2 ft/s; common practice, no source). Its use is noted.
    longest : float, optional
        The line that the tackle holds.
    bearing_sd : float
        Spread of a bearing taken by compass or by eye (common practice, no source).
    speed_sd : float
        Spread of a noted speed of the retrieve, as a share of it (common practice, no source).
    assumed_speed_sd : float
        The same where the speed had to be assumed: unhurried hands draw in 0.3 to 0.9 m/s (common
        practice, no source).
    slack_sd : float
        Spread of the line out at the splash: slack and its belly (common practice, no source).
    peg_sd : float
        Spread of the rod's own place on each axis (common practice, no source).
    drift_sd : float
        Spread of the sideways drift by wind and current (common practice, no source).

    Returns
    -------
    Soundings
        One for each ping, its ``line`` the cast, its ``source`` "cast"; with ``bearing`` (degrees
        true, away from the rod), ``sd_along`` and ``sd_across`` (m) and ``sd_xy``, the root mean
        square of the two. Depths are below the water of the time; ``water_level`` is kept.

    Raises
    ------
    LayerError
        If the layers lie in different CRS.

    Notes
    -----
    With ``L`` the line still out and ``h`` the height of the rod tip, the sounder floats at the
    horizontal distance ``r = sqrt(L^2 - h^2)``, along the geodesic from the rod. ``L`` shrinks
    steadily: by the noted speed, or so that it reaches ``h`` at the noted time of arrival.

    Across the line, variances add up: ``(r bearing_sd)^2 + (t drift_sd)^2 + peg_sd^2``; along it
    ``(s speed_sd)^2 + slack_sd^2 + peg_sd^2`` with ``s`` the line drawn in, or, where the arrival
    is noted, ``s`` shortened by the share of the line still out, since both ends are then known.

    Flagged are pings after the line has come in, those of a cast longer than the tackle allows,
    and those beyond the first land on the line that is wider than twice the spread across.
    """
    log = casts
    if shoreline is not None:
        check_same_crs(shoreline=shoreline, casts=log)
    noted = _each_ping(log)
    drawn = _Drawn.of(noted, speed)
    place = _along(log, noted, drawn.distance)
    across = np.sqrt(
        (drawn.distance * np.radians(bearing_sd)) ** 2 + (drawn.seconds * drift_sd) ** 2 + peg_sd**2
    )
    pace_sd = np.where(drawn.assumed, assumed_speed_sd, speed_sd)
    along = np.sqrt((drawn.uncertain * pace_sd) ** 2 + slack_sd**2 + peg_sd**2)
    soundings = _soundings(log, noted, place, along, across, _notes(log, noted, speed))
    soundings = soundings.reject(drawn.line_left <= drawn.rod_tip, NO_LINE)
    if longest is not None:
        soundings = soundings.reject(drawn.line_out > longest, TOO_LONG)
    if shoreline is not None:
        beyond = _beyond_land(log, noted, drawn.distance, across, shoreline)
        soundings = soundings.reject(beyond, BEYOND_LAND)
    return soundings


@dataclass(frozen=True)
class _Drawn:
    """How far each retrieve had come at each ping; all shape (n,)."""

    seconds: np.ndarray
    line_out: np.ndarray
    rod_tip: np.ndarray
    line_left: np.ndarray
    uncertain: np.ndarray
    assumed: np.ndarray

    @classmethod
    def of(cls, noted: "pd.DataFrame", default_speed: float) -> "_Drawn":
        columns = ("seconds", "line_out", "rod_tip", "speed", "arrival")
        seconds, line_out, rod_tip, speed, arrival = (noted[c].to_numpy(float) for c in columns)
        timed = np.isfinite(arrival)
        noted_pace = np.isfinite(speed)
        pace = np.where(noted_pace, speed, default_speed)
        pace = np.where(timed, (line_out - rod_tip) / arrival, pace)
        drawn = pace * seconds
        share_left = np.where(timed, np.clip(1 - seconds / arrival, 0, 1), 1.0)
        uncertain, assumed = drawn * share_left, ~(noted_pace | timed)
        return cls(seconds, line_out, rod_tip, line_out - drawn, uncertain, assumed)

    @property
    def distance(self) -> np.ndarray:
        """Horizontal distance from the rod, m."""
        return np.sqrt(np.maximum(self.line_left**2 - self.rod_tip**2, 0.0)) * (self.line_left > 0)


def _each_ping(log: CastLog) -> "pd.DataFrame":
    """Lay the facts of its cast beside each ping."""
    return log.pings.merge(log.casts, on="cast", how="left", validate="many_to_one")


def _along(log: CastLog, noted: "pd.DataFrame", distance: np.ndarray) -> np.ndarray:
    """Go a distance from the rod along its cast, shape (n, 2), m."""
    start = noted[["easting", "northing"]].to_numpy(float)
    return travel(start, noted["bearing"].to_numpy(float), distance, log.crs)


def _soundings(
    log: CastLog,
    noted: "pd.DataFrame",
    place: np.ndarray,
    along: np.ndarray,
    across: np.ndarray,
    notes: tuple[str, ...],
) -> Soundings:
    import pandas as pd

    own = set(log.pings.columns) - {"cast", "seconds", "depth"}
    columns: dict[str, Any] = {name: log.pings[name].to_numpy() for name in sorted(own)}
    columns |= {
        "time": noted["start"] + pd.to_timedelta(noted["seconds"], unit="s"),
        "line": noted["cast"].to_numpy(),
        "source": "cast",
        "bearing": noted["bearing"].to_numpy(float),
        "sd_along": along,
        "sd_across": across,
        "sd_xy": np.sqrt((along**2 + across**2) / 2),
        "water_level": noted["water_level"].to_numpy(float),
    }
    return Soundings.from_arrays(
        place, noted["depth"].to_numpy(float), crs=log.crs, notes=notes, **columns
    )


def _notes(log: CastLog, noted: "pd.DataFrame", speed: float) -> tuple[str, ...]:
    paced = np.isfinite(log.casts["speed"]) | np.isfinite(log.casts["arrival"])
    assumed = int((~paced).sum())
    if not assumed:
        return log.notes
    share = np.mean(noted["cast"].isin(log.casts["cast"][~paced]))
    return (
        *log.notes,
        Assumption(
            f"casts without speed or time of arrival, retrieved at an assumed {speed:g} m/s: "
            f"{assumed} of {len(log.casts)} ({share:.0%} of the pings)"
        ),
    )


def _beyond_land(
    log: CastLog,
    noted: "pd.DataFrame",
    distance: np.ndarray,
    across: np.ndarray,
    shoreline: Shoreline,
) -> np.ndarray:
    """Tell which pings lie beyond the first land that is wider than the line is uncertain."""
    limit = np.full(len(noted), np.inf)
    rods, ends = noted[["easting", "northing"]].to_numpy(float), _along(log, noted, distance)
    rows = noted.groupby("cast", sort=False).indices
    for at in map(np.asarray, rows.values()):
        farthest = int(at[np.argmax(distance[at])])
        limit[at] = _reach(rods[farthest], ends[farthest], 2 * across[farthest], shoreline)
    return distance > limit


def _reach(rod: np.ndarray, end: np.ndarray, land: float, shoreline: Shoreline) -> float:
    """Distance from the rod at which the water it casts into ends, m; inf without any water."""
    import shapely

    line = shapely.LineString([rod, end])
    pieces = [
        part
        for part in shapely.get_parts(shapely.intersection(line, shoreline.polygons))
        if part.length > 0
    ]
    if not pieces:
        return np.inf
    spans = sorted(
        sorted(shapely.line_locate_point(line, shapely.points(p.coords))) for p in pieces
    )
    reach = spans[0][-1]
    for span in spans[1:]:
        if span[0] - reach > land:
            break
        reach = span[-1]
    return float(reach) if reach < line.length - 1e-6 else np.inf
