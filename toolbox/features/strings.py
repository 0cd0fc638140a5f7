"""Strings: hollows in a row, as a survey in lines makes them of one gully."""

import numpy as np

from toolbox.features.surface import Surface

__all__ = ["strings"]

APART = 70.0
"""Farthest distance between two hollows of a string, m: that of survey lines (common practice, no
source)."""

_FEWEST = 3  # hollows in a string, unless two are deep
_STRONG = 2.5  # times the least relief, of two hollows that are enough
_CLOSE = 8.0  # m, below which two are one
_STEPS = 9  # places between two hollows that are looked at
_LEFT = 0.1  # share of the lesser relief that must be left between two, in the middle of all places
_LOST = 0.5  # share of it by which the way may lie above its sides, at the worst place
_ALIKE = 3.0  # times the relief of the other
_TURN = 50.0  # degrees at a hollow


def strings(
    surface: Surface,
    score: np.ndarray,
    reach: np.ndarray,
    *,
    least_relief: float,
    apart: float = APART,
) -> list[np.ndarray]:
    """Find rows of hollows with a valley from each to the next.

    Parameters
    ----------
    surface : Surface
        The bed.
    score, reach : (rows, cols) arrays
        How much a cell is cut into the bed, m, and half the width of the cut, m.
    least_relief : float
        Score of a hollow, m.
    apart : float
        Farthest distance from one to the next, m.

    Returns
    -------
    list of (k, 2) arrays
        The places of each row, easting and northing.

    Notes
    -----
    Between two survey lines a fitted bed does not know of the gully that it saw on both: it makes
    a hollow under each and a saddle between them. Two hollows are joined where the way between
    them, for half its length, still lies below both its sides, the steadiest and shortest ways
    first, if the row does not turn sharply there. Three make a row, or two that are deep.
    """
    spots = _spots(score, least_relief, _CLOSE / surface.cell)
    if len(spots) < 2:
        return []
    places = surface.places(spots)
    relief, half = score[tuple(spots.T)], reach[tuple(spots.T)]
    one, two, cost = _links(surface, places, relief, half, apart)
    rows = _rows(places, one, two, cost)
    return [places[row] for row in rows if _is_string(relief[row], least_relief)]


def _is_string(relief: np.ndarray, least: float) -> bool:
    """Tell whether so many hollows of such relief are hardly in a row by chance."""
    enough = len(relief) >= _FEWEST
    return enough or (len(relief) == 2 and bool(relief.min() >= _STRONG * least))


def _spots(score: np.ndarray, least: float, close: float) -> np.ndarray:
    """Return rows and columns of the highest scores around."""
    from scipy.ndimage import label, maximum_filter

    known = np.nan_to_num(score, nan=-np.inf)
    highest = maximum_filter(known, 2 * int(np.ceil(close)) + 1)
    # equal cells side by side are one
    areas, _ = label((known >= least) & (known == highest), np.ones((3, 3)))
    _, first = np.unique(areas, return_index=True)
    return np.column_stack(np.unravel_index(first[1:], areas.shape))


def _links(
    surface: Surface, places: np.ndarray, relief: np.ndarray, half: np.ndarray, apart: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the pairs of hollows that may be joined, and what that costs."""
    from scipy.spatial import cKDTree

    pairs = cKDTree(places).query_pairs(apart, output_type="ndarray").reshape(-1, 2)
    ratio = relief[pairs].max(axis=1) / relief[pairs].min(axis=1)
    one, two = pairs[ratio <= _ALIKE].T
    lesser = np.minimum(relief[one], relief[two])
    left = _between(surface, places[one], places[two], half[[one, two]].mean(axis=0))
    middle, worst = np.median(left, axis=1), left.min(axis=1)
    fine = (middle >= _LEFT * lesser) & (worst >= -_LOST * lesser)
    away = np.hypot(*(places[two] - places[one]).T)
    cost = away * (1.5 - np.clip(middle / lesser, 0, 1))
    return one[fine], two[fine], cost[fine]


def _between(surface: Surface, start: np.ndarray, end: np.ndarray, half: np.ndarray) -> np.ndarray:
    """Return how far the ways from starts to ends lie below their shallower side, (n, steps)."""
    step = end - start
    left = np.column_stack([-step[:, 1], step[:, 0]])
    left /= np.maximum(np.hypot(*left.T), 1e-9)[:, None]
    share = np.linspace(0.1, 0.9, _STEPS)
    way = start[:, None] + share[:, None] * step[:, None]
    across = np.array([-1.0, -0.4, -0.2, 0.0, 0.2, 0.4, 1.0])
    offsets = across[:, None] * (half[:, None] * left)[:, None, None]
    depth = surface.at(surface.depth, way[:, :, None] + offsets)
    sides = np.maximum(depth[..., 0], depth[..., -1])
    return np.nan_to_num(depth[..., 1:-1].max(axis=-1) - sides, nan=-np.inf)


def _rows(
    places: np.ndarray, one: np.ndarray, two: np.ndarray, cost: np.ndarray
) -> list[list[int]]:
    """Join pairs to rows, the cheapest first."""
    row_of = {k: [k] for k in range(len(places))}
    least = np.cos(np.radians(_TURN))
    for at in np.argsort(cost, kind="stable"):
        first, second = row_of[int(one[at])], row_of[int(two[at])]
        if first is second or one[at] not in (first[0], first[-1]):
            continue
        if two[at] not in (second[0], second[-1]):
            continue
        first = first if first[-1] == one[at] else first[::-1]
        second = second if second[0] == two[at] else second[::-1]
        steps = np.diff(places[[*first[-2:], *second[:2]]], axis=0)
        steps /= np.hypot(*steps.T)[:, None]
        if (np.einsum("ij,ij->i", steps[1:], steps[:-1]) < least).any():
            continue
        whole = first + second
        row_of |= dict.fromkeys(whole, whole)
    return list({id(row): row for row in row_of.values()}.values())
