"""Crossings: where lines meet, two readings of one bed show how far to trust either."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.layers import Soundings, Table
from toolbox.reduction.stretches import Stretches, along_lines, bounds_between, registered_step
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Meetings", "find_crossings", "find_near_pairs", "meetings", "near_meetings"]


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
        over), ``angle_deg`` (between the lines, 0 to 90), and ``fall_a``, ``fall_b`` (how much
        deeper the bed gets per metre of travel, over two soundings on each side). In the order of
        the lines as they first appear in the survey, and along line a.

    Notes
    -----
    A line that crosses itself counts only where it has been farther away than `max_step` in
    between: a boat that lies still crosses its own noise.
    """
    if within is not None:
        return find_near_pairs(soundings, within=within)
    step = registered_step(soundings) if max_step is None else max_step
    lines = along_lines(soundings, max_step=step)
    meeting = meetings(lines, step)
    table = _table(lines, meeting, each_side)
    steep = table["angle_deg"].to_numpy() >= min_angle
    note = f"depths interpolated along lines over at most {step:g} m"
    return Table(table[steep].reset_index(drop=True), "Crossings", (note,))


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
    table = _table(lines, meeting, 1).assign(
        depth_a=lines.depth[a],
        depth_b=lines.depth[b],
        difference=lines.depth[a] - lines.depth[b],
        gap_m=np.hypot(*(lines.coordinates[a] - lines.coordinates[b]).T),
    )
    return Table(table, "Near pairs", (f"soundings of two lines within {within:g} m, as read",))


@dataclass(frozen=True, eq=False)
class Meetings:
    """Places where two lines meet, each on the way from one sounding of its line to the next.

    Parameters
    ----------
    from_a, to_a, from_b, to_b : (k,) array of int
        The soundings on either side of the place, as they stand in the stretches.
    along_a, along_b : (k,) array
        How far the place lies from the one towards the other, 0 to 1.
    """

    from_a: np.ndarray
    to_a: np.ndarray
    from_b: np.ndarray
    to_b: np.ndarray
    along_a: np.ndarray
    along_b: np.ndarray

    def __len__(self) -> int:
        """Count the places."""
        return len(self.from_a)

    def only(self, which: np.ndarray) -> "Meetings":
        """Return some of them."""
        return Meetings(*(part[which] for part in vars(self).values()))

    def at_a(self, values: np.ndarray) -> np.ndarray:
        """Interpolate what the soundings have, shape (m, ...), along line a."""
        return _between(values[self.from_a], values[self.to_a], self.along_a)

    def at_b(self, values: np.ndarray) -> np.ndarray:
        """Interpolate what the soundings have along line b."""
        return _between(values[self.from_b], values[self.to_b], self.along_b)


def _between(here: np.ndarray, there: np.ndarray, share: np.ndarray) -> np.ndarray:
    return here + share.reshape(-1, *[1] * (here.ndim - 1)) * (there - here)


def meetings(lines: Stretches, step: float) -> Meetings:
    """Find where lines cross.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    step : float
        How far, m, a line must have been away before it can cross itself.

    Returns
    -------
    Meetings
        Each place once, in the order of the soundings.
    """
    import shapely

    piece, place = lines.pieces(), lines.coordinates
    segments = shapely.linestrings(np.stack([place[piece], place[piece + 1]], axis=1))
    first, second = shapely.STRtree(segments).query(segments, predicate="intersects")
    one_way = piece[first] + 1 < piece[second]
    found = _cut(place, piece[first[one_way]], piece[second[one_way]])
    found = found.only(_apart(lines, found, step))
    once = np.column_stack([found.from_a + found.along_a, found.from_b + found.along_b])
    _, rows = np.unique(once.round(6), axis=0, return_index=True)
    return found.only(rows)


def _cut(place: np.ndarray, a: np.ndarray, b: np.ndarray) -> Meetings:
    """Intersect the pieces from a and from b, which touch; parallel ones are left out."""
    along_a, along_b = place[a + 1] - place[a], place[b + 1] - place[b]
    between = place[b] - place[a]
    cross = _cross(along_a, along_b)
    with np.errstate(invalid="ignore", divide="ignore"):
        s, t = _cross(between, along_b) / cross, _cross(between, along_a) / cross
    lengths = np.hypot(*along_a.T) * np.hypot(*along_b.T)
    found = Meetings(a, a + 1, b, b + 1, np.clip(s, 0, 1), np.clip(t, 0, 1))
    return found.only(np.abs(cross) > 1e-9 * lengths)


def _cross(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]


def _apart(lines: Stretches, found: Meetings, step: float) -> np.ndarray:
    """Tell which pieces are of two lines, or of one that has been away in between."""
    away = lines.line[found.from_a] != lines.line[found.from_b]
    same = np.flatnonzero(~away)
    first, last = found.from_a[same] + 1, found.from_b[same]
    low, high = bounds_between(lines.coordinates, first, last)
    centre = lines.coordinates[found.from_a[same]]
    away[same] = np.maximum(high - centre, centre - low).max(axis=1, initial=0.0) > step
    return away


def near_meetings(lines: Stretches, within: float) -> Meetings:
    """Find the soundings of two lines that are each the other line's nearest.

    Parameters
    ----------
    lines : Stretches
        Soundings along their lines.
    within : float
        How near they must lie, m.

    Returns
    -------
    Meetings
        At the soundings themselves, in their order.
    """
    from scipy.spatial import cKDTree

    pairs = cKDTree(lines.coordinates).query_pairs(within, output_type="ndarray")
    pairs = pairs[lines.line[pairs[:, 0]] != lines.line[pairs[:, 1]]]
    apart = np.hypot(*(lines.coordinates[pairs[:, 0]] - lines.coordinates[pairs[:, 1]]).T)
    nearest = _nearest(pairs, apart, lines.line) & _nearest(pairs[:, ::-1], apart, lines.line)
    a, b = np.sort(pairs[nearest], axis=1).T
    order = np.lexsort((b, a))
    here = np.zeros(len(order))
    return Meetings(a[order], a[order], b[order], b[order], here, here)


def _nearest(pairs: np.ndarray, apart: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Tell which pairs lead from their first sounding to the nearest of a line."""
    one, other = pairs.T
    order = np.lexsort((other, apart, line[other], one))
    key = np.column_stack([one, line[other]])[order]
    result = np.zeros(len(pairs), bool)
    result[order] = (np.diff(key, axis=0, prepend=-1) != 0).any(axis=1)
    return result


def _table(lines: Stretches, found: Meetings, each_side: int) -> "pd.DataFrame":
    """Lay out what both lines have at each place."""
    import pandas as pd

    names = np.array(lines.names, dtype=object)
    heading, speed = lines.course()
    a, b = found.from_a, found.from_b
    depth_a, _ = _fitted(lines, a, found.along_a, each_side)
    depth_b, _ = _fitted(lines, b, found.along_b, each_side)
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
            "depth_a": depth_a,
            "depth_b": depth_b,
            "difference": depth_a - depth_b,
            "heading_a": heading[a],
            "heading_b": heading[b],
            "speed_a": speed[a],
            "speed_b": speed[b],
            "gap_m": np.maximum(*steps),
            "angle_deg": np.abs((heading[a] - heading[b] + 90) % 180 - 90),
            "fall_a": _fitted(lines, a, found.along_a, max(each_side, 2))[1],
            "fall_b": _fitted(lines, b, found.along_b, max(each_side, 2))[1],
        }
    )


def _fitted(
    lines: Stretches, here: np.ndarray, along: np.ndarray, each_side: int
) -> tuple[np.ndarray, np.ndarray]:
    """Fit a straight fall of the bed along the line: depth at the place, and fall per metre."""
    wanted = here[:, None] + np.arange(1 - each_side, each_side + 1)
    near = np.stack([lines.neighbour(k)[here] for k in range(1 - each_side, each_side + 1)], axis=1)
    weight = (near == wanted).astype(float)
    there = lines.neighbour(1)[here]
    place = _between(lines.coordinates[here], lines.coordinates[there], along)
    ahead = lines.coordinates[near[:, -1]] - lines.coordinates[near[:, 0]]
    ahead = ahead / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    distance = np.einsum("nki,ni->nk", lines.coordinates[near] - place[:, None], ahead)
    depth = lines.depth[near]
    count = weight.sum(axis=1)
    mean, level = (np.einsum("nk,nk->n", weight, v) / count for v in (distance, depth))
    off = weight * (distance - mean[:, None])
    spread = np.einsum("nk,nk->n", off, distance - mean[:, None])
    fall = np.einsum("nk,nk->n", off, depth) / np.where(spread > 0, spread, np.inf)
    return level - fall * mean, fall
