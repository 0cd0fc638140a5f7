"""Meetings: places where the lines of a survey cross, or come near each other."""

from dataclasses import dataclass

import numpy as np

from toolbox.reduction.stretches import Stretches, bounds_between

__all__ = ["Meetings", "between", "meetings", "near_meetings"]


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
        return between(values[self.from_a], values[self.to_a], self.along_a)

    def at_b(self, values: np.ndarray) -> np.ndarray:
        """Interpolate what the soundings have along line b."""
        return between(values[self.from_b], values[self.to_b], self.along_b)


def between(here: np.ndarray, there: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Return what lies a share of the way, shape (k,), from values here to values there."""
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
    place = lines.coordinates
    found = _cut(place, *_touching(place, lines.pieces()))
    found = found.only(_apart(lines, found, step))
    once = np.column_stack([found.from_a + found.along_a, found.from_b + found.along_b])
    _, rows = np.unique(once.round(6), axis=0, return_index=True)
    return found.only(rows)


def _touching(place: np.ndarray, piece: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find pieces that touch but do not follow one another, each two once, by their beginnings."""
    import shapely

    first, second = _may_touch(place, piece)
    order = np.lexsort((second, first))
    a, b = piece[first[order]], piece[second[order]]
    one, other = (
        shapely.linestrings(np.stack([place[here], place[here + 1]], axis=1)) for here in (a, b)
    )
    touch = shapely.intersects(one, other)
    return a[touch], b[touch]


def _may_touch(place: np.ndarray, piece: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pair pieces by the cells of a plane that they pass; rounding alone decides no pair."""
    from toolbox.reduction.kernels import fill_cells, pair_in_cells

    box = _cells(
        np.minimum(place[piece], place[piece + 1]), np.maximum(place[piece], place[piece + 1])
    )
    key, which = np.empty((2, _covered(box)), np.int64)
    fill_cells(box, key, which)
    order = np.argsort(key)
    key, which = key[order], which[order]
    room = len(piece)
    while True:
        first, second = np.empty((2, room), np.int64)
        count = pair_in_cells(key, which, box, place, piece, first, second)
        if count <= room:
            return first[:count], second[:count]
        room = count


def _cells(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return the first column and row, and the last, of the cells that each box covers, (n, 4).

    Cells are a few boxes wide, and wider where a few great boxes would cover too many.
    """
    if not len(low):
        return np.empty((0, 4), np.int64)
    origin, reach = low.min(axis=0), float((high.max(axis=0) - low.min(axis=0)).max())
    width = max(4 * float((high - low).mean()), reach / 2**30, 1e-9)
    while True:
        box = np.floor((np.hstack([low, high]) - np.tile(origin, 2)) / width).astype(np.int64)
        if _covered(box) <= 4 * len(box):
            return box
        width *= 2


def _covered(box: np.ndarray) -> int:
    return int(((box[:, 2] - box[:, 0] + 1) * (box[:, 3] - box[:, 1] + 1)).sum())


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
    pairs = _near(lines, within)
    apart = np.hypot(*(lines.coordinates[pairs[:, 0]] - lines.coordinates[pairs[:, 1]]).T)
    nearest = _nearest(pairs, apart, lines.line) & _nearest(pairs[:, ::-1], apart, lines.line)
    a, b = np.sort(pairs[nearest], axis=1).T
    order = np.lexsort((b, a))
    here = np.zeros(len(order))
    return Meetings(a[order], a[order], b[order], b[order], here, here)


def _near(lines: Stretches, within: float) -> np.ndarray:
    """Pair soundings of two lines that lie so near, the former one first, shape (k, 2)."""
    from toolbox.reduction.kernels import pair_within

    place = lines.coordinates
    if not len(place):
        return np.empty((0, 2), np.int64)
    reach = float(np.ptp(place, axis=0).max())
    cell = np.floor((place - place.min(axis=0)) / max(1.001 * within, reach / 2**30, 1e-9))
    key = (cell[:, 0].astype(np.int64) << 32) + cell[:, 1].astype(np.int64)
    order = np.argsort(key)
    room = len(place)
    while True:
        pairs = np.empty((2, room), np.int64)
        count = pair_within(key[order], order, place, lines.line, within, *pairs)
        if count <= room:
            return pairs[:, :count].T
        room = count


def _nearest(pairs: np.ndarray, apart: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Tell which pairs lead from their first sounding to the nearest of a line."""
    one, other = pairs.T
    order = np.lexsort((other, apart, line[other], one))
    key = np.column_stack([one, line[other]])[order]
    result = np.zeros(len(pairs), bool)
    result[order] = (np.diff(key, axis=0, prepend=-1) != 0).any(axis=1)
    return result
