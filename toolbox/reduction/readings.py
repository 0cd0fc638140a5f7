"""Readings that say of themselves that they are no depth, or say it twice."""

from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Soundings
from toolbox.reduction.echoes import is_multiple
from toolbox.reduction.stretches import along_lines, loose
from toolbox.tool import Range, tool

__all__ = [
    "DUPLICATE",
    "NO_BOTTOM",
    "OUT_OF_RANGE",
    "reject_duplicates",
    "reject_no_bottom",
    "reject_out_of_range",
    "zeros",
]

NO_BOTTOM = "no bottom"
OUT_OF_RANGE = "out of range"
DUPLICATE = "duplicate"

RUNS = 3
"""A stand-in for no bottom turns up at least so often."""

LEAPING = 0.8
"""Share of ways in and out of such a value that must be leaps."""

LEAP = 10.0
"""What counts as a leap there, in usual steps between readings that change."""


@tool("Reject readings without a bottom")
def reject_no_bottom(
    soundings: Soundings, *, status: str | None = None, valid: str = "A"
) -> Soundings:
    """Flag readings of zero, values that stand for none, and those the instrument calls invalid.

    Parameters
    ----------
    soundings : Soundings
        Points to judge. Readings are taken from a column ``depth_read`` where there is one.
    status : str, optional
        Column in which the instrument says whether a reading is valid.
    valid : str
        What that column says of a valid one; NMEA 0183 writes A, and V for void.

    Returns
    -------
    Soundings
        As many as before, with the reason "no bottom".

    Raises
    ------
    ParameterError
        If there is no such column.

    Notes
    -----
    A reading of zero has no bottom, except at points of no line: lists of plummet readings give
    the shore as zero. A reading below zero has none where readings are told apart from depths.

    A value stands for "none" if it turns up in at least three places of the lines, and at least
    four of five times the readings beside it are far away: ten usual steps. A flat bed repeats
    its depth too, but is reached in small steps. Multiples of the bed beside them are left to
    `reject_double_echoes`.
    """
    frame = soundings.frame
    none = zeros(soundings) & ~loose(soundings)
    if "depth_read" in frame:
        none |= frame["depth_read"].to_numpy(float) < 0
    if status is not None:
        if status not in frame:
            raise ParameterError(f"status must be a column, got {status!r}: {list(frame.columns)}")
        none |= (frame[status].astype(str) != valid).to_numpy()
    none |= _stands_for_none(soundings.reject(none, NO_BOTTOM))
    return soundings.reject(none, NO_BOTTOM)


def zeros(soundings: Soundings) -> np.ndarray:
    """Tell which soundings were read as zero, shape (n,), whatever they were reduced to."""
    frame = soundings.frame
    read = frame["depth_read"].to_numpy(float) if "depth_read" in frame else soundings.depth
    return np.asarray(read == 0)


def _stands_for_none(soundings: Soundings) -> np.ndarray:
    """Find values that turn up again and again and never in small steps, shape (n,)."""
    lines = along_lines(soundings, max_step=np.inf)
    here = lines.pieces()
    value = lines.depth.round(4)
    changes = here[value[here] != value[here + 1]]
    if len(changes) == 0:
        return np.zeros(len(soundings), bool)
    step = np.abs(value[changes + 1] - value[changes])
    leap = step > LEAP * np.median(step)
    far = changes[leap]
    low, high = np.sort([value[far], value[far + 1]], axis=0)
    far = far[~is_multiple(high, low, 2) & ~is_multiple(high, low, 3)]
    values, number = np.unique(value, return_inverse=True)
    ways, leaps = (
        np.bincount(number[ends], minlength=len(values))
        + np.bincount(number[ends + 1], minlength=len(values))
        for ends in (changes, far)
    )
    found = (ways >= 2 * RUNS) & (leaps >= LEAPING * ways)
    result = np.zeros(len(soundings), bool)
    result[lines.index[found[number]]] = True
    return result


@tool("Reject depths out of range")
def reject_out_of_range(
    soundings: Soundings,
    *,
    min_depth: Annotated[float, Range("m")] | None = None,
    max_depth: Annotated[float, Range("m")] | None = None,
) -> Soundings:
    """Flag depths that this water, or this sounder, cannot have.

    Parameters
    ----------
    soundings : Soundings
        Points to judge.
    min_depth : float, optional
        Least depth that is possible.
    max_depth : float, optional
        Greatest depth that is possible.

    Returns
    -------
    Soundings
        As many as before, with the reason "out of range". Without limits nothing is flagged.

    Raises
    ------
    ParameterError
        If the limits leave no depth between them.
    """
    low = -np.inf if min_depth is None else min_depth
    high = np.inf if max_depth is None else max_depth
    if low > high:
        raise ParameterError(f"min_depth must be at most max_depth, got {low:g} and {high:g}")
    depth = soundings.depth
    return soundings.reject((depth < low) | (depth > high), OUT_OF_RANGE)


@tool("Reject duplicate soundings")
def reject_duplicates(soundings: Soundings) -> Soundings:
    """Flag soundings that repeat another's place, time and depth.

    Parameters
    ----------
    soundings : Soundings
        Points to judge, of whatever lines and sources.

    Returns
    -------
    Soundings
        As many as before; the first of the same soundings is kept, the others carry the reason
        "duplicate".

    Notes
    -----
    Places are the same to a millimetre, depths to a tenth of one; times must be equal, or missing
    in both.
    """
    import pandas as pd

    kept = np.flatnonzero(~soundings.flag)
    place = soundings.coordinates[kept].round(3)
    told = pd.DataFrame(
        {
            "easting": place[:, 0],
            "northing": place[:, 1],
            "depth": soundings.depth[kept].round(4),
            "time": soundings.frame["time"].to_numpy()[kept],
        }
    )
    again = np.zeros(len(soundings), bool)
    again[kept] = told.duplicated().to_numpy()
    return soundings.reject(again, DUPLICATE)
