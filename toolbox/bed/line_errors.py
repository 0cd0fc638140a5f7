"""Line errors: by how much each line lies too deep or too far aside, as the fitted bed tells."""

from dataclasses import replace

import numpy as np

from toolbox.bed.fit import Fit
from toolbox.bed.fitting import fit, usable_places
from toolbox.bed.observations import Ties
from toolbox.errors import LayerError
from toolbox.layers import Shoreline, Soundings, Table
from toolbox.tool import tool
from toolbox.words import counted

__all__ = ["correct_lines", "errors_told", "line_errors"]


@tool("Errors of lines")
def line_errors(soundings: Soundings, shoreline: Shoreline) -> Table:
    """Estimate the error of level and of place of each line, from a fitted bed.

    Parameters
    ----------
    soundings : Soundings
        With lines; flagged ones are not used.
    shoreline : Shoreline
        The water.

    Returns
    -------
    Table
        One row a leg, which is a whole cast, or about a minute of a track: ``line, leg,
        readings``; ``level_m`` by which the line reads too deep, with ``level_sd_m`` now and
        ``level_stated_sd_m`` before; ``east_m, north_m`` by which the leg is believed too far
        east and north, on average, with ``place_sd_m`` and ``place_stated_sd_m``, each of one
        axis.

    Raises
    ------
    LayerError
        As for the fitted bed.

    Notes
    -----
    Levels sum to zero: what all lines share, soundings cannot tell. On level ground a shift of
    place changes no depth, so its spread stays what it was.
    """
    return errors_told(fit(soundings, shoreline))


@tool("Lines corrected by the fitted bed")
def correct_lines(soundings: Soundings, shoreline: Shoreline) -> Soundings:
    """Move each line to where, and by what, the fitted bed says it errs.

    Parameters
    ----------
    soundings : Soundings
        With lines; flagged ones and those outside the water stay as they are.
    shoreline : Shoreline
        The water.

    Returns
    -------
    Soundings
        As many as before; ``depth`` and places corrected, with ``line_level`` (m) taken off the
        depth and ``line_shift`` (m) by which the place was moved. Their ``sd`` and ``sd_xy`` stay
        what they were.

    Raises
    ------
    LayerError
        As for the fitted bed, and if no sounding has a line.

    Notes
    -----
    For a look at the lines. Do not fit a bed to corrected lines: it would take its own guess for
    knowledge.
    """
    import shapely

    fitted = fit(soundings, shoreline)
    lines = len(fitted.problem.observations.names)
    if not lines:
        raise LayerError("soundings without lines share no errors that could be corrected")
    places = np.flatnonzero(usable_places(soundings, shoreline))
    level, shift = np.zeros(len(soundings)), np.zeros((len(soundings), 2))
    level[places], shift[places] = _of_each(fitted)
    points = soundings.frame.geometry.to_numpy().copy()
    points[places] = shapely.points((soundings.coordinates - shift)[places])
    columns = {"line_level": level, "line_shift": np.hypot(*shift.T)}
    frame = soundings.frame.assign(depth=soundings.depth - level, **columns)
    frame = frame.set_geometry(points, crs=soundings.crs)
    note = f"{counted(lines, 'line')} corrected by a fitted bed"
    return replace(soundings, frame=frame, notes=(*soundings.notes, note))


def errors_told(fitted: Fit) -> Table:
    """Return the table of :func:`line_errors` for a fit that is there."""
    import pandas as pd

    seen = fitted.problem.observations
    found, sd = fitted.shared_errors
    lines, legs = len(seen.names), seen.leg.max(initial=-1) + 1
    on_leg = seen.leg >= 0
    leg = seen.leg[on_leg]
    count = np.bincount(leg, seen.count[on_leg], legs)
    line = np.zeros(legs, np.int64)
    line[leg] = seen.line[on_leg]
    reach = _means(seen.shifts[on_leg], leg, legs)
    stated = _means(seen.level_sd[on_leg], leg, legs)
    pair = np.stack([lines + 2 * np.arange(legs), lines + 2 * np.arange(legs) + 1], axis=-1)
    moved = np.einsum("lk,lks->ls", found[pair], reach)
    frame = pd.DataFrame(
        {
            "line": np.array(seen.names, object)[line],
            "leg": _within(line),
            "readings": count.astype(np.int64),
            "level_m": found[line] * stated,
            "level_sd_m": sd[line] * stated,
            "level_stated_sd_m": stated,
            "east_m": moved[:, 0],
            "north_m": moved[:, 1],
            "place_sd_m": _axis_sd(sd[pair], reach),
            "place_stated_sd_m": _axis_sd(np.ones(pair.shape), reach),
        }
    )
    note = "level and place by which each leg is off, as the fitted bed tells; levels sum to zero"
    return Table(frame, "Errors of lines", (note,))


def _means(values: np.ndarray, leg: np.ndarray, legs: int) -> np.ndarray:
    """Average values (k, ...) over legs."""
    total = np.zeros((legs, *values.shape[1:]))
    np.add.at(total, leg, values)
    counts = np.maximum(np.bincount(leg, minlength=legs), 1)
    return np.asarray((total.T / counts).T)


def _within(line: np.ndarray) -> np.ndarray:
    """Return the number of each leg within its line, from 1."""
    order = np.argsort(line, kind="stable")
    new = np.r_[True, np.diff(line[order]) != 0]
    first = np.maximum.accumulate(np.where(new, np.arange(len(new)), 0))
    number = np.empty(len(line), np.int64)
    number[order] = np.arange(len(line)) - first + 1
    return number


def _axis_sd(sizes: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """Return the spread of one axis that two errors of these sizes (l, 2) make, (l,), m."""
    return np.asarray(np.sqrt(np.einsum("lk,lks->l", sizes**2, reach**2) / 2))


def _of_each(fitted: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Return the level (n,) and the shift (n, 2) of each sounding that was fitted, m."""
    ties = Ties.of(fitted.used, fitted.spacing)
    found, lines = fitted.shared_errors[0], len(ties.names)
    column = np.where(ties.leg >= 0, lines + 2 * ties.leg, 0)
    column = np.minimum(column, len(found) - 2)  # legs of which nothing lies on the net
    sizes = np.stack([found[column], found[column + 1]], axis=-1)
    level = np.where(ties.leg >= 0, found[np.minimum(ties.line, lines - 1)] * ties.shared_sd, 0.0)
    shift = np.einsum("nk,nks->ns", sizes, ties.shifts)
    return level, np.where(ties.leg[:, None] >= 0, shift, 0.0)
