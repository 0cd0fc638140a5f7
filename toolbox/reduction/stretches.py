"""Stretches: soundings in the order in which a line was run, cut where it pauses."""

from dataclasses import dataclass, replace

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
    "own_step",
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
    """

    index: np.ndarray
    line: np.ndarray
    stretch: np.ndarray
    names: tuple[str, ...]
    coordinates: np.ndarray
    depth: np.ndarray
    seconds: np.ndarray

    def __len__(self) -> int:
        """Count the soundings."""
        return len(self.index)

    def only(self, which: np.ndarray) -> "Stretches":
        """Return some of the soundings, joined across those left out."""
        return replace(
            self,
            **{
                name: getattr(self, name)[which]
                for name in ("index", "line", "stretch", "coordinates", "depth", "seconds")
            },
        )

    def pieces(self) -> np.ndarray:
        """Return the soundings i that are joined to i + 1 by a piece of line, ascending."""
        return np.flatnonzero(self.stretch[1:] == self.stretch[:-1])

    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the first sounding of each stretch and the one after its last."""
        first = np.flatnonzero(np.diff(self.stretch, prepend=-1))
        return first, np.append(first, len(self))[1:]

    def neighbour(self, offset: int) -> np.ndarray:
        """Return the sounding `offset` places on along the line, or the end of the stretch."""
        first, stop = self.ends()
        lengths = stop - first
        place = np.arange(len(self)) + offset
        return np.clip(place, np.repeat(first, lengths), np.repeat(stop - 1, lengths))

    def course(self, reach: int = 2) -> tuple[np.ndarray, np.ndarray]:
        """Return heading and speed made good on the piece from each sounding to the next.

        Parameters
        ----------
        reach : int
            How many further soundings before and after the piece are taken in, so that a
            position noted to the metre does not make the heading.

        Returns
        -------
        heading : (m,) array
            Degrees clockwise from grid north; NaN where the place does not change.
        speed : (m,) array
            m/s; NaN where there are no times, or they stand still.
        """
        behind, ahead = self.neighbour(-reach), self.neighbour(reach + 1)
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


def own_step(soundings: Soundings) -> float:
    """Return over what distance a line still tells of its own continuity, m.

    Parameters
    ----------
    soundings : Soundings
        The survey.

    Returns
    -------
    float
        25 m, or ten times the usual step along the lines where that is more (common practice, no
        source).
    """
    lines = along_lines(soundings, max_step=np.inf)
    steps = np.hypot(*np.diff(lines.coordinates, axis=0).T)[lines.pieces()]
    return max(MAX_STEP, 10 * float(np.median(steps))) if len(steps) else MAX_STEP


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
    line, names = line_numbers(soundings)
    index = np.flatnonzero(which & (line >= 0) & np.isfinite(soundings.coordinates).all(axis=1))
    seconds = seconds_of(soundings)
    index = index[order_along(line[index], seconds[index])]
    place = soundings.coordinates[index]
    apart = np.hypot(*np.diff(place, axis=0, prepend=place[:1]).T) > max_step
    cut = apart | (np.diff(line[index], prepend=-1) != 0)
    return Stretches(
        index, line[index], np.cumsum(cut) - 1, names, place, soundings.depth[index], seconds[index]
    )


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
    return ~run & (_names(soundings) == "")


def _names(soundings: Soundings) -> np.ndarray:
    """Return the names of the lines as text, empty where there is none."""
    line = soundings.frame["line"]
    return line.where(line.notna(), "").astype(str).to_numpy(object)


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
