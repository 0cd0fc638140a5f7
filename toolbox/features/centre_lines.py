"""Centre lines: the middle of long narrow areas of high score, joined across gaps."""

from heapq import heapify, heappop, heappush

import numpy as np

__all__ = ["along", "centre_lines", "evenly", "joined", "normals", "ways"]

_WEAK = 0.35  # share of the high score below which a way loses
_STRONG = 2.0  # high scores beyond which it gains no more
_STEPS = ((0, 1), (1, 0), (1, 1), (1, -1))


def centre_lines(
    score: np.ndarray, low: float, high: float, *, least: float, reach: float
) -> list[np.ndarray]:
    """Find the lines along which a score is high.

    Parameters
    ----------
    score : (rows, cols) array
        High in the middle of what is looked for; NaN where there is none.
    low, high : float
        Areas with at least the low score count if they hold a cell with the high one.
    least : float
        Shortest line, cells.
    reach : float
        Half the width that a line takes for itself, cells: what branches off closer is part of it.

    Returns
    -------
    list of (k, 2) arrays
        Rows and columns along each line; the longest of an area first.

    Notes
    -----
    Ways through high scores count as short. From the highest score of an area, and then from the
    end of that way, the shortest ways are followed to where they have gained most: a step gains by
    its score, and loses where that is weak. So a line bridges a weak stretch between strong ones,
    and does not run out into faint ends. Then the area loses what lies within reach of the line,
    and what is left is asked again.
    """
    from scipy.ndimage import find_objects, label

    from toolbox.features.kernels.scores import clear

    mask = np.nan_to_num(score, nan=-np.inf) >= low
    lines: list[np.ndarray] = []
    while True:
        areas, count = label(mask, np.ones((3, 3)))
        own = areas[mask]
        peak = np.full(count + 1, -np.inf)
        np.maximum.at(peak, own, score[mask])
        keep = (peak >= high) & (np.bincount(own, minlength=count + 1) >= least)
        mask &= keep[areas]
        if not keep.any():
            return lines
        taken = np.zeros(mask.shape, bool)
        windows = find_objects(areas)
        for number in np.flatnonzero(keep):
            window = windows[number - 1]
            inside = areas[window] == number
            line = _longest(np.where(inside, score[window], np.nan), high)
            line += [part.start for part in window]
            taken[tuple(line.T)] = True
            if along(line) >= least:
                lines.append(line)
        clear(mask, taken, reach)


def _longest(score: np.ndarray, high: float) -> np.ndarray:
    """Return the best of the shortest ways through an area, as rows and columns."""
    from scipy.sparse.csgraph import dijkstra

    from toolbox.features.kernels.scores import gather

    graph, cells = _graph(score, high)
    own = score[tuple(cells.T)]
    worth = np.minimum(own / high, _STRONG) - _WEAK
    end = int(own.argmax())
    for _ in range(2):
        start = end
        away, before = dijkstra(graph, directed=False, indices=start, return_predecessors=True)
        order = np.argsort(away, kind="stable")
        gained = np.empty(len(cells))
        gather(order[np.isfinite(away[order])], before, cells, worth, gained)
        end = int(np.where(np.isfinite(away), gained, -np.inf).argmax())
    way = [end]
    while way[-1] != start:
        way.append(int(before[way[-1]]))
    return cells[way]


def _graph(score: np.ndarray, high: float) -> tuple[object, np.ndarray]:
    """Return the ways between neighbouring cells: longer where the score is low."""
    from scipy.sparse import csr_array

    inside = np.isfinite(score)
    cells = np.argwhere(inside)
    number = np.full(np.add(score.shape, 2), -1, np.int32)
    number[1:-1, 1:-1][inside] = np.arange(len(cells))
    cost = (high / np.clip(score[inside], 0.1 * high, 3 * high)) ** 2
    starts, ends, lengths = [], [], []
    for down, right in _STEPS:
        other = number[cells[:, 0] + 1 + down, cells[:, 1] + 1 + right]
        one = np.flatnonzero(other >= 0).astype(np.int32)
        two = other[one]
        starts.append(one)
        ends.append(two)
        lengths.append(np.hypot(down, right) * (cost[one] + cost[two]) / 2)
    where = np.concatenate(starts), np.concatenate(ends)
    shape = len(cells), len(cells)
    return csr_array((np.concatenate(lengths), where), shape=shape), cells


def joined(lines: list[np.ndarray], gap: float, *, most_turn: float = 50.0) -> list[np.ndarray]:
    """Join lines end to end across gaps, the shortest gap first, without sharp turns.

    Parameters
    ----------
    lines : list of (k, 2) arrays
        Places along each line.
    gap : float
        Longest gap, in the unit of the places; one that is longer than both lines is none.
    most_turn : float
        Between a line's end and the way across the gap, degrees.

    Returns
    -------
    list of (k, 2) arrays
        Fewer lines; one that closes on itself ends where it starts.
    """
    lines = [line for line in lines if len(line) > 1]
    ends = np.array([line[[0, -1]] for line in lines]).reshape(-1, 2)
    waiting = _near_ends(ends, gap)
    heapify(waiting)
    gone: set[int] = set()
    while waiting:
        between, one, two = heappop(waiting)
        (i, last), (j, start) = divmod(one, 2), divmod(two, 2)
        if i in gone or j in gone:
            continue
        first = lines[i] if last or i == j else lines[i][::-1]
        second = lines[j][::-1] if start and i != j else lines[j]
        if not _may_join(first, second, between, gap, most_turn, ring=i == j):
            continue
        whole = np.vstack([first, first[:1]]) if i == j else np.vstack([first, second])
        lines.append(whole)
        gone |= {i, j}
        ends[[2 * i, 2 * i + 1, 2 * j, 2 * j + 1]] = np.nan
        ends = np.vstack([ends, whole[[0, -1]]])
        for pair in _near_last(ends, gap):
            heappush(waiting, pair)
    return [line for number, line in enumerate(lines) if number not in gone]


def _near_ends(ends: np.ndarray, gap: float) -> list[tuple[float, int, int]]:
    """Return how far apart ends within a gap are, and their numbers."""
    from scipy.spatial import cKDTree

    if not len(ends):
        return []
    one, two = cKDTree(ends).query_pairs(gap * (1 + 1e-9), output_type="ndarray").T
    away = np.hypot(*(ends[one] - ends[two]).T)
    near = away < gap
    return list(zip(away[near].tolist(), one[near].tolist(), two[near].tolist(), strict=True))


def _near_last(ends: np.ndarray, gap: float) -> list[tuple[float, int, int]]:
    """Return the same for the two last ends, among themselves and with the others."""
    away = np.hypot(*(ends[:, None] - ends[-2:]).T)
    last, other = np.nonzero(away < gap)
    number = last + len(ends) - 2
    before = other < number
    columns = away[last, other][before], other[before], number[before]
    return list(zip(*(column.tolist() for column in columns), strict=True))


def _may_join(
    first: np.ndarray,
    second: np.ndarray,
    between: float,
    gap: float,
    most_turn: float,
    *,
    ring: bool,
) -> bool:
    """Tell whether one line may go on as another, or as itself, across a way between."""
    longest = along(first) / 4 if ring else along(first) + along(second)
    if between >= longest or (ring and between == 0):
        return False
    return _straight(first, second, most_turn, gap)


def _straight(first: np.ndarray, second: np.ndarray, most_turn: float, gap: float) -> bool:
    """Tell whether the way across goes on as the lines do; short lines point nowhere."""
    across = second[0] - first[-1]
    if float(np.hypot(*across)) < 1e-9:
        return True
    ways = [across]
    ways += [_heading(first, gap)] if along(first) > gap / 2 else []
    ways += [-_heading(second[::-1], gap)] if along(second) > gap / 2 else []
    least = np.cos(np.radians(most_turn))
    pairs = [(one, two) for k, one in enumerate(ways) for two in ways[k + 1 :]]
    return all(one @ two >= least * np.hypot(*one) * np.hypot(*two) for one, two in pairs)


def _heading(line: np.ndarray, length: float) -> np.ndarray:
    """Return the way from a place about half a length before its end to the end of a line."""
    back = np.hypot(*(line - line[-1]).T) >= length / 2
    at = int(np.flatnonzero(back)[-1]) if back.any() else 0
    return np.asarray(line[-1] - line[at])


def evenly(line: np.ndarray, step: float, *, blur: float) -> np.ndarray:
    """Return places a step apart along a line smoothed by a bell of spread `blur`, same ends."""
    from scipy.ndimage import gaussian_filter1d

    way = np.append(0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    keep = np.append(True, np.diff(way) > 0)
    fine = np.linspace(0, way[-1], max(int(way[-1] / step), 1) + 1)
    even = np.column_stack([np.interp(fine, way[keep], part[keep]) for part in line.T])
    spread = blur / max(fine[1] - fine[0], 1e-12)
    if np.array_equal(line[0], line[-1]):
        ring = gaussian_filter1d(even[:-1], spread, axis=0, mode="wrap")
        return np.vstack([ring, ring[:1]])
    # ends mirrored through themselves stay where they are
    pad = min(len(even) - 1, int(4 * spread) + 1)
    before, after = 2 * even[0] - even[pad:0:-1], 2 * even[-1] - even[-2 : -pad - 2 : -1]
    whole = gaussian_filter1d(np.vstack([before, even, after]), spread, axis=0)
    return whole[pad : pad + len(even)]


def along(line: np.ndarray) -> float:
    """Return the length of a line (k, 2)."""
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def ways(low: float, high: float) -> np.ndarray:
    """Return distances from low to high, each about a third more than the one before."""
    high = max(high, low)
    return np.geomspace(low, high, int(np.ceil(np.log(high / low) / np.log(1.35))) + 1)


def normals(line: np.ndarray, *, smooth: float = 2.0) -> np.ndarray:
    """Return unit vectors (k, 2) to the left of a line, evened out over some of its places."""
    from scipy.ndimage import gaussian_filter1d

    ring = np.array_equal(line[0], line[-1])
    if ring:
        ahead = np.roll(line[:-1], -1, axis=0) - np.roll(line[:-1], 1, axis=0)
        ahead = np.vstack([ahead, ahead[:1]])
    else:
        ahead = np.gradient(line, axis=0)
    ahead = gaussian_filter1d(ahead, smooth, axis=0, mode="wrap" if ring else "nearest")
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    return np.asarray(left / np.maximum(np.hypot(*left.T), 1e-12)[:, None])
