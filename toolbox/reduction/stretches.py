"""Stretches: soundings in the order in which a line was run, cut where it pauses."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from toolbox.layers import Soundings

__all__ = [
    "MAX_STEP",
    "Stretches",
    "along_lines",
    "bounds_between",
    "line_numbers",
    "loose",
    "order_along",
    "own_lines",
    "registered_step",
    "seconds_of",
]

MAX_STEP = 25.0
"""Registered depths lie no farther apart than this, or three times the mean depth, m (IHO S-44)."""


@dataclass(frozen=True, eq=False)
class Stretches:
    """Soundings sorted by line and along it.

    Parameters
    ----------
    index : (m,) array of int
        Row of each sounding in the layer it came from.
    line : (m,) array of int
        Number of its line in `names`.
    stretch : (m,) array of int
        Number of its unbroken stretch, ascending.
    names : tuple of str
        Of the lines.
    coordinates : (m, 2) array
        Easting and northing, m.
    depth : (m,) array
        Depths, m.
    seconds : (m,) array
        Time since some moment, s; NaN where it is not known.
    steps : (m,) array
        Distance of each from the sounding before it, m, be it of another line; of the first 0.
    usual_step, resolution : float, optional
        Usual step along the lines, and the step in which depths are noted, m, of the lines of
        which these are a part; if left out, these are whole.
    """

    index: np.ndarray
    line: np.ndarray
    stretch: np.ndarray
    names: tuple[str, ...]
    coordinates: np.ndarray
    depth: np.ndarray
    seconds: np.ndarray
    steps: np.ndarray
    usual_step: float | None = None
    resolution: float | None = None

    def __len__(self) -> int:
        """Count the soundings."""
        return len(self.index)

    def only(self, which: np.ndarray) -> "Stretches":
        """Return some of the soundings, joined across those left out."""
        names = ("index", "line", "stretch", "coordinates", "depth", "seconds")
        some = {name: getattr(self, name)[which] for name in names}
        return replace(self, **some, steps=_steps(some["coordinates"]))

    def pieces(self) -> np.ndarray:
        """Return the soundings i that are joined to i + 1 by a piece of line, ascending."""
        return np.flatnonzero(self.stretch[1:] == self.stretch[:-1])

    def cut(self, max_step: float) -> "Stretches":
        """Return them with stretches that end where the next sounding is farther than this, m."""
        ends = (self.steps > max_step) | (np.diff(self.line, prepend=-1) != 0)
        return replace(self, stretch=np.cumsum(ends) - 1)

    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the first sounding of each stretch and the one after its last."""
        return self._ends

    @cached_property
    def _ends(self) -> tuple[np.ndarray, np.ndarray]:
        first = np.flatnonzero(np.diff(self.stretch, prepend=-1))
        return first, np.append(first, len(self))[1:]

    @cached_property
    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """First sounding of each one's stretch and the one after its last, each shape (m,)."""
        first, stop = self.ends()
        return np.repeat(first, stop - first), np.repeat(stop, stop - first)

    def neighbour(self, offset: int, of: np.ndarray | None = None) -> np.ndarray:
        """Return the sounding `offset` places on along the line, or the end of the stretch.

        Parameters
        ----------
        offset : int
            Backwards if negative.
        of : (k,) array of int, optional
            The soundings whose neighbours are wanted; if left out, all.
        """
        first, stop = self.bounds
        if of is None:
            return np.clip(np.arange(len(self)) + offset, first, stop - 1)
        return np.clip(of + offset, first[of], stop[of] - 1)

    def course(
        self, of: np.ndarray | None = None, *, reach: int = 2
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return heading and speed made good on the piece from each sounding to the next.

        Parameters
        ----------
        of : (k,) array of int, optional
            The soundings in question; if left out, all.
        reach : int
            How many further soundings before and after the piece are taken in, so that a
            position noted to the metre does not make the heading.

        Returns
        -------
        heading : (k,) array
            Degrees clockwise from grid north; NaN where the place does not change.
        speed : (k,) array
            m/s; NaN where there are no times, or they stand still.
        """
        behind, ahead = self.neighbour(-reach, of), self.neighbour(reach + 1, of)
        moved = self.coordinates[ahead] - self.coordinates[behind]
        distance = np.hypot(*moved.T)
        heading = np.degrees(np.arctan2(moved[:, 0], moved[:, 1])) % 360
        duration = self.seconds[ahead] - self.seconds[behind]
        with np.errstate(invalid="ignore", divide="ignore"):
            speed = np.where(duration > 0, distance / duration, np.nan)
        return np.where(distance > 0, heading, np.nan), speed


def registered_step(soundings: Soundings) -> float:
    """Return how far apart two depths may lie and still be joined to a line, m.

    Parameters
    ----------
    soundings : Soundings
        The survey.

    Returns
    -------
    float
        The greater of 25 m and three times the mean of the depths kept.

    References
    ----------
    IHO 2020, Standards for Hydrographic Surveys S-44, edition 6, section 3.5.2 (how far apart
    registered depths may lie where the bed is not fully covered).
    """
    depth = soundings.depth[~soundings.flag]
    return max(MAX_STEP, 3 * float(depth.mean())) if len(depth) else MAX_STEP


def own_lines(soundings: Soundings) -> tuple[Stretches, float]:
    """Sort soundings along their lines, cut where they tell no more of their continuity.

    Parameters
    ----------
    soundings : Soundings
        The survey.

    Returns
    -------
    lines : Stretches
        Those that are kept.
    step : float
        Over which they tell of it, m: 25, or ten times the usual step along the lines where that
        is more (common practice, no source).
    """
    lines = along_lines(soundings, max_step=np.inf)
    steps = lines.steps[lines.pieces() + 1]
    step = max(MAX_STEP, 10 * float(np.median(steps))) if len(steps) else MAX_STEP
    return lines.cut(step), step


def along_lines(
    soundings: Soundings, *, max_step: float | None = None, which: np.ndarray | None = None
) -> Stretches:
    """Sort soundings along their lines.

    Parameters
    ----------
    soundings : Soundings
        In any order; points of no line have no order and are left out.
    max_step : float, optional
        A line is cut where two soundings lie farther apart than this, m; see `registered_step`.
    which : (n,) array of bool, optional
        The soundings to take; if left out, those that are kept.

    Returns
    -------
    Stretches
        By line as it first appears; along a line by time, or as they stand in the layer where a
        time is missing or two are the same.
    """
    max_step = registered_step(soundings) if max_step is None else max_step
    which = ~soundings.flag if which is None else which
    line, names = soundings.once(_line_numbers)
    seconds, place = seconds_of(soundings), soundings.coordinates
    index = np.flatnonzero(which & (line >= 0) & soundings.once(_placed))
    index = index[order_along(line[index], seconds[index])]
    line, place = line[index], place[index]
    depth, seconds = soundings.depth[index], seconds[index]
    lines = Stretches(index, line, line, names, place, depth, seconds, _steps(place))
    return lines.cut(max_step)


def _steps(place: np.ndarray) -> np.ndarray:
    """Return the distance of each place from the one before, m; of the first 0."""
    return np.hypot(*np.diff(place, axis=0, prepend=place[:1]).T)


def _placed(soundings: Soundings) -> np.ndarray:
    """Tell which soundings have a place."""
    return np.isfinite(soundings.coordinates).all(axis=1)


def loose(soundings: Soundings) -> np.ndarray:
    """Tell which soundings are of no line: single points, plummet readings.

    Parameters
    ----------
    soundings : Soundings
        The survey.

    Returns
    -------
    (n,) array of bool
        Those without a name of a line, unless they come from a track or a cast, which is a line
        by itself.
    """
    run = soundings.frame["source"].isin(["track", "cast"]).to_numpy()
    line = soundings.frame["line"]
    nameless = line.where(line.notna(), "").astype(str) == ""
    return ~run & nameless.to_numpy(bool)


def line_numbers(soundings: Soundings) -> tuple[np.ndarray, tuple[str, ...]]:
    """Give each line a number as it first appears, and points of no line -1.

    Parameters
    ----------
    soundings : Soundings
        The survey.

    Returns
    -------
    number : (n,) array of int
        Of each sounding's line; a track and a cast of one name are two lines.
    names : tuple of str
        Of the lines, with their source in front where two share one.
    """
    number, names = soundings.once(_line_numbers)
    return number.copy(), names


def _line_numbers(soundings: Soundings) -> tuple[np.ndarray, tuple[str, ...]]:
    import pandas as pd

    line, source = soundings.frame["line"], soundings.frame["source"]
    name, names = pd.factorize(line.where(line.notna(), "").astype(str))
    kind, kinds = pd.factorize(source.astype(str))
    nameless = name == np.flatnonzero(names == "") if (names == "").any() else name < 0
    lined = ~nameless | np.isin(kind, np.flatnonzero(np.isin(kinds, ["track", "cast"])))
    number = np.full(len(soundings), -1)
    number[lined], pairs = pd.factorize(name[lined] * len(kinds) + kind[lined])
    lines = [(str(names[pair // len(kinds)]), str(kinds[pair % len(kinds)])) for pair in pairs]
    shared = pd.Series([name for name, _ in lines], dtype=object).duplicated(keep=False)
    called = tuple(
        f"{kind} {name}".strip() if twice or not name else name
        for (name, kind), twice in zip(lines, shared, strict=True)
    )
    return number, called


def seconds_of(soundings: Soundings) -> np.ndarray:
    """Return the time of each sounding since the first, (n,), s; NaN where not known."""
    return soundings.once(_seconds_of)


def _seconds_of(soundings: Soundings) -> np.ndarray:
    import pandas as pd

    time = pd.to_datetime(soundings.frame["time"], utc=True)
    since = (time - time.min()).dt.total_seconds()
    return since.to_numpy(float)


def order_along(line: np.ndarray, seconds: np.ndarray) -> np.ndarray:
    """Sort by line, then by time where the whole line has one; ties stay as they are.

    Parameters
    ----------
    line : (n,) array of int
        Number of each sounding's line, none negative.
    seconds : (n,) array
        Since any moment, NaN where not known.

    Returns
    -------
    (n,) array of int
        Rows in order.
    """
    untimed = np.zeros(line.max(initial=-1) + 1, bool)
    untimed[line[np.isnan(seconds)]] = True
    return np.lexsort((np.where(untimed[line], 0.0, seconds), line))


def bounds_between(
    place: np.ndarray, first: np.ndarray, last: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the least and greatest coordinates of the places from each `first` up to `last`.

    Parameters
    ----------
    place : (m, 2) array
        Easting and northing, m.
    first, last : (k,) array of int
        Bounds of each range of places, both included.

    Returns
    -------
    low, high : (k, 2) array
        Of all places in the range.

    Notes
    -----
    The extremes of runs of 1, 2, 4 ... places are made by doubling; two runs, which may overlap,
    cover any range.
    """
    low, high = place[first], place[first]
    lowest, highest, run = place, place, 1
    longest = int((last - first + 1).max(initial=0))
    while run <= longest:
        here = (last - first + 1 >= run) & (last - first + 1 < 2 * run)
        head, tail = first[here], last[here] - run + 1
        low[here] = np.minimum(lowest[head], lowest[tail])
        high[here] = np.maximum(highest[head], highest[tail])
        lowest = np.minimum(lowest[:-run], lowest[run:])
        highest = np.maximum(highest[:-run], highest[run:])
        run *= 2
    return low, high
