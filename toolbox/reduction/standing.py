"""Standing: a line that stays at one place sounds one depth, again and again."""

from typing import Annotated

import numpy as np

from toolbox.layers import Soundings
from toolbox.reduction.stretches import Stretches, along_lines, bounds_between
from toolbox.tool import Range, tool

__all__ = ["STATIONARY", "reject_stationary"]

STATIONARY = "repeated position"

SAME_PLACE = 0.01
"""Places nearer than this are one place, m."""


@tool("Reject repeated positions")
def reject_stationary(
    soundings: Soundings,
    *,
    radius: Annotated[float, Range("m", min=0)] = 5.0,
    duration: Annotated[float, Range("s", above=0)] = 60.0,
) -> Soundings:
    """Flag all but one of the soundings that a line takes at one place.

    Parameters
    ----------
    soundings : Soundings
        Points to judge, along their lines.
    radius : float
        A boat at its mooring swings, and its position wanders, within this distance.
    duration : float
        A line that stays within `radius` as long as this is stationary there. The default is
        slower than any boat that sounds or cast that is retrieved: 0.08 m/s (common practice, no
        source).

    Returns
    -------
    Soundings
        As many as before. Of each group the sounding whose depth is the median of the group is
        kept (the first such one), the others carry the reason "repeated position".

    Notes
    -----
    A group is also made of soundings one after the other at the very same place, whatever their
    times: the position was not renewed, or there are no times. A drift that is slow enough to be
    stationary is cut into groups where it leaves `radius` around the first of a group.
    """
    lines = along_lines(soundings, max_step=np.inf)
    if len(lines) == 0:
        return soundings
    group = _groups(lines, _stands(lines, radius, duration), radius)
    again = np.zeros(len(soundings), bool)
    again[lines.index] = ~_medians(lines.depth, group)
    return soundings.reject(again, STATIONARY)


def _stands(lines: Stretches, radius: float, duration: float) -> np.ndarray:
    """Tell which soundings lie in a time of `duration` without leaving `radius`."""
    edges = np.zeros(len(lines) + 1, int)
    for first, stop in zip(*lines.ends(), strict=True):
        time, place = lines.seconds[first:stop], lines.coordinates[first:stop]
        end = np.searchsorted(time, time + duration)
        start = np.flatnonzero((end < len(time)) & np.isfinite(time).all())
        low, high = bounds_between(place, start, end[start])
        stays = np.maximum(high - place[start], place[start] - low).max(axis=1) <= radius
        np.add.at(edges, first + start[stays], 1)
        np.add.at(edges, first + end[start[stays]] + 1, -1)
    return edges[:-1].cumsum() > 0


def _groups(lines: Stretches, stands: np.ndarray, radius: float) -> np.ndarray:
    """Give each group of soundings at one place a number, ascending along the lines."""
    joined = (lines.steps <= SAME_PLACE) | (stands & np.append(False, stands[:-1]))
    joined &= np.diff(lines.stretch, prepend=-1) == 0
    begins = ~joined
    starts = np.flatnonzero(begins)
    for start, stop in zip(starts, np.append(starts[1:], len(lines)), strict=True):
        while stop - start > 1:
            away = np.hypot(*(lines.coordinates[start:stop] - lines.coordinates[start]).T) > radius
            if not away.any():
                break
            start += int(away.argmax())
            begins[start] = True
    return begins.cumsum() - 1


def _medians(depth: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Tell which soundings have the median depth of their group, the first of equals."""
    order = np.lexsort((np.arange(len(depth)), depth, group))
    count = np.bincount(group)
    middle = count.cumsum() - count + (count - 1) // 2
    median = depth[order][middle]
    same = np.flatnonzero(depth == median[group])
    _, first = np.unique(group[same], return_index=True)
    chosen = np.zeros(len(depth), bool)
    chosen[same[first]] = True
    return chosen
