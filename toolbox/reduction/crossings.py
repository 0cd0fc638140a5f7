"""Crossings: where lines meet, two readings of one bed show how far to trust either."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.layers import Soundings, Table
from toolbox.reduction.meetings import Meetings, between, meetings, near_meetings
from toolbox.reduction.stretches import Stretches, along_lines, registered_step
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["PLACE_SD", "crossings_by_sides", "find_crossings", "find_near_pairs"]

PLACE_SD = 2.0
"""Spread of a place on each axis where it is not known, m: the 4.9 m of a phone under open sky
(gps.gov) hold 95 % of normal errors, which is 2.45 standard deviations."""

MOST_SIDE = 10
"""Soundings on each side at most to which a fall of the bed is fitted."""


@tool("Crossings of sounding lines")
def find_crossings(
    soundings: Soundings,
    *,
    max_step: Annotated[float, Range("m", above=0)] | None = None,
    min_angle: Annotated[float, Range("degree", min=0, max=90)] = 20.0,
    within: Annotated[float, Range("m", above=0)] | None = None,
    each_side: Annotated[int, Range("", min=1, max=20)] = 1,
) -> Table:
    """Pair the depths of lines where they cross.

    Parameters
    ----------
    soundings : Soundings
        The survey; only soundings that are kept take part.
    max_step : float, optional
        Depths are interpolated only between neighbours along the line no farther apart than this;
        if left out, 25 m or three times the mean depth, whichever is greater (IHO S-44).
    min_angle : float
        Crossings at a smaller angle are left out: the place of a crossing is uncertain by the
        error of position over the sine of the angle, three times that error at 20 degrees (common
        practice, no source).
    within : float, optional
        If given, pair the nearest soundings of two lines that come as near as this to each other
        instead, without interpolating, at any angle.
    each_side : int
        Soundings of the line on each side of a crossing through which a straight fall of the bed
        is fitted. One interpolates between neighbours; two halve the noise of single readings and
        serve `line_offsets` where lines cross only once or twice.

    Returns
    -------
    Table
        One row for each place where two lines, or two stretches of one line, cross: ``line_a``,
        ``line_b``, ``easting``, ``northing``, ``depth_a``, ``depth_b``, ``difference`` (a less b,
        m), ``heading_a``, ``heading_b`` (degrees of travel from grid north), ``speed_a``,
        ``speed_b`` (m/s, NaN without times), ``gap_m`` (the longer of the two steps interpolated
        over), ``angle_deg`` (between the lines, 0 to 90), ``fall_a``, ``fall_b`` (how much deeper
        the bed gets per metre of travel), ``own_sd`` (what the difference may be off by for
        itself, m) and ``place_sd`` (how far the places of both may lie apart on each axis, m). In
        the order of the lines as they first appear in the survey, and along line a.

    Notes
    -----
    A line that crosses itself counts only where it has been farther away than `max_step` in
    between: a boat that lies still crosses its own noise.

    The fall is fitted to the soundings within the spread of the place, ``sd_xy``, or 2 m where
    that is not known; to two on each side at least, and to ten at most. What all soundings of a
    line share, ``sd_shared``, is not in ``own_sd``, which is NaN where ``sd`` is not known.
    """
    if within is not None:
        return find_near_pairs(soundings, within=within)
    (table,) = crossings_by_sides(soundings, (each_side,), max_step=max_step, min_angle=min_angle)
    return table


def crossings_by_sides(
    soundings: Soundings,
    each_sides: tuple[int, ...],
    *,
    max_step: float | None = None,
    min_angle: float = 20.0,
) -> tuple[Table, ...]:
    """Find where lines cross once, and pair the depths there by several fits.

    Parameters
    ----------
    soundings : Soundings
        The survey; only soundings that are kept take part.
    each_sides : tuple of int
        Soundings on each side for each fit.
    max_step, min_angle
        As of `find_crossings`.

    Returns
    -------
    tuple of Table
        What `find_crossings` returns for each of `each_sides`, row by row at the same places.
    """
    step = registered_step(soundings) if max_step is None else max_step
    lines = along_lines(soundings, max_step=step)
    meeting = meetings(lines, step)
    note = f"depths interpolated along lines over at most {step:g} m"
    tables = []
    for each_side in each_sides:
        table = _table(soundings, lines, meeting, each_side)
        table = table[table["angle_deg"].to_numpy() >= min_angle]
        tables.append(Table(table.reset_index(drop=True), "Crossings", (note,)))
    return tuple(tables)


def find_near_pairs(soundings: Soundings, *, within: float = 3.0) -> Table:
    """Pair the nearest soundings of two lines wherever they come near each other.

    Parameters
    ----------
    soundings : Soundings
        The survey; only soundings that are kept take part.
    within : float
        How near two soundings must lie, m.

    Returns
    -------
    Table
        As of `find_crossings`, at most one row for each sounding and other line; easting and
        northing lie midway, ``gap_m`` is the distance between the two soundings.
    """
    lines = along_lines(soundings)
    meeting = near_meetings(lines, within)
    a, b = meeting.from_a, meeting.from_b
    table = _table(soundings, lines, meeting, 1).assign(
        depth_a=lines.depth[a],
        depth_b=lines.depth[b],
        difference=lines.depth[a] - lines.depth[b],
        gap_m=np.hypot(*(lines.coordinates[a] - lines.coordinates[b]).T),
    )
    return Table(table, "Near pairs", (f"soundings of two lines within {within:g} m, as read",))


def _table(
    soundings: Soundings, lines: Stretches, found: Meetings, each_side: int
) -> "pd.DataFrame":
    """Lay out what both lines have at each place."""
    import pandas as pd

    names = np.array(lines.names, dtype=object)
    a, b = found.from_a, found.from_b
    (heading_a, speed_a), (heading_b, speed_b) = lines.course(a), lines.course(b)
    own_a, place_a = _spreads(soundings, lines.index[a])
    own_b, place_b = _spreads(soundings, lines.index[b])
    fit_a, fit_b = (
        _fitted(lines, here, along, each_side)
        for here, along in ((a, found.along_a), (b, found.along_b))
    )
    easting, northing = (found.at_a(lines.coordinates) + found.at_b(lines.coordinates)).T / 2
    steps = (
        np.hypot(*(lines.coordinates[there] - lines.coordinates[here]).T)
        for here, there in ((a, found.to_a), (b, found.to_b))
    )
    return pd.DataFrame(
        {
            "line_a": names[lines.line[a]],
            "line_b": names[lines.line[b]],
            "easting": easting,
            "northing": northing,
            "depth_a": fit_a.depth,
            "depth_b": fit_b.depth,
            "difference": fit_a.depth - fit_b.depth,
            "heading_a": heading_a,
            "heading_b": heading_b,
            "speed_a": speed_a,
            "speed_b": speed_b,
            "gap_m": np.maximum(*steps),
            "angle_deg": np.abs((heading_a - heading_b + 90) % 180 - 90),
            "fall_a": _fall(lines, a, found.along_a, place_a),
            "fall_b": _fall(lines, b, found.along_b, place_b),
            "own_sd": np.hypot(own_a * fit_a.share, own_b * fit_b.share),
            "place_sd": np.hypot(place_a, place_b),
        }
    )


def _spreads(soundings: Soundings, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the spread that soundings have for themselves, and that of their places, m."""
    frame = soundings.frame
    place, whole = (frame[name].to_numpy(float)[rows] for name in ("sd_xy", "sd"))
    shared = np.zeros(len(rows))
    if "sd_shared" in frame:
        shared = frame["sd_shared"].to_numpy(float)[rows]
    own = np.sqrt(np.maximum(whole**2 - np.nan_to_num(shared) ** 2, 0.0))
    return own, np.where(np.isfinite(place), place, PLACE_SD)


@dataclass(frozen=True, eq=False)
class _Fit:
    """Straight falls of the bed fitted along lines, all of shape (k,).

    `depth` (m) at the place and `fall` per metre of travel; `share` is the spread of that depth
    over the spread of one sounding.
    """

    depth: np.ndarray
    fall: np.ndarray
    share: np.ndarray


def _fall(
    lines: Stretches, here: np.ndarray, along: np.ndarray, place_sd: np.ndarray
) -> np.ndarray:
    """Return the fall of the bed over what the place may be off by."""
    return _fitted(lines, here, along, MOST_SIDE, within=place_sd).fall


def _fitted(
    lines: Stretches,
    here: np.ndarray,
    along: np.ndarray,
    each_side: int,
    within: np.ndarray | None = None,
) -> _Fit:
    """Fit a straight fall of the bed to the soundings on each side, or to those within a distance.

    Two on each side take part whatever the distance.
    """
    away = np.arange(1 - each_side, each_side + 1)
    near = np.stack([lines.neighbour(int(k), here) for k in away], axis=1)
    there = lines.neighbour(1, here)
    place = between(lines.coordinates[here], lines.coordinates[there], along)
    offset = lines.coordinates[near] - place[:, None]
    distance = np.einsum("nki,ni->nk", offset, _ahead(lines, near, each_side))
    weight = (near == here[:, None] + away).astype(float)
    if within is not None:
        apart = np.hypot(*offset.T).T
        weight *= ((away >= -1) & (away <= 2)) | (apart <= within[:, None])
    depth = lines.depth[near]
    count = weight.sum(axis=1)
    mean, level = (np.einsum("nk,nk->n", weight, v) / count for v in (distance, depth))
    off = weight * (distance - mean[:, None])
    spread = np.einsum("nk,nk->n", off, distance - mean[:, None])
    spread = np.where(spread > 0, spread, np.inf)
    fall = np.einsum("nk,nk->n", off, depth) / spread
    return _Fit(level - fall * mean, fall, np.sqrt(1 / count + mean**2 / spread))


def _ahead(lines: Stretches, near: np.ndarray, each_side: int) -> np.ndarray:
    """Return the direction of travel, of length one, over as many as two soundings on each side."""
    reach = min(each_side, 2)
    first, last = near[:, each_side - reach], near[:, each_side + reach - 1]
    ahead = lines.coordinates[last] - lines.coordinates[first]
    return ahead / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
