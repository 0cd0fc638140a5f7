"""Loops over cells that look along straight lines to both sides."""

import math

import numba
import numpy as np

from toolbox.compiled import njit

__all__ = ["clear", "gather", "gully_score", "steepness_score"]


@njit(cache=True, nogil=True, inline="always")
def _at(values: np.ndarray, row: float, col: float) -> float:
    """Value between cell centres, bilinear; NaN outside the array or beside a missing cell."""
    rows, cols = values.shape
    if not (0.0 <= row <= rows - 1.0 and 0.0 <= col <= cols - 1.0):
        return math.nan
    i, j = min(int(row), rows - 2), min(int(col), cols - 2)
    down, right = row - i, col - j
    above = values[i, j] * (1 - right) + values[i, j + 1] * right
    below = values[i + 1, j] * (1 - right) + values[i + 1, j + 1] * right
    return above * (1 - down) + below * down


@njit(cache=True, nogil=True, inline="always")
def _deepest_side(values: np.ndarray, row: float, col: float, down: float, right: float) -> float:
    """Return the deeper of two places a way to both sides of a cell; NaN where one is missing."""
    one = _at(values, row - down, col - right)
    two = _at(values, row + down, col + right)
    return one + two if math.isnan(one + two) else max(one, two)


@njit(cache=True, nogil=True, parallel=True)
def gully_score(
    depth: np.ndarray, radii: np.ndarray, count: int, score: np.ndarray, reach: np.ndarray
) -> None:
    """Fill what a cell is deeper than both sides, beyond what straight sides would give.

    `radii` in cells, `count` directions in half a turn; `reach` is the radius of the best. A cell
    that is not the deepest across has no score.
    """
    rows, cols = depth.shape
    for i in numba.prange(rows):
        score[i], reach[i] = math.nan, math.nan
        # cell after cell in one direction: neighbours fall to the same side, and memory is in order
        for k in range(count):
            down, right = math.sin(math.pi * k / count), math.cos(math.pi * k / count)
            for radius in radii:
                y, x = radius * down, radius * right
                for j in range(cols):
                    here, best = depth[i, j], score[i, j]
                    if math.isnan(here):
                        continue
                    # most cells fall to one side, and the other need not be read
                    if not here > _at(depth, i - y / 2, j - x / 2):
                        continue
                    if not here > _at(depth, i + y / 2, j + x / 2):
                        continue
                    near = here - _deepest_side(depth, i, j, y, x)
                    if not near > 0 or near <= best:
                        continue
                    close = here - _deepest_side(depth, i, j, y / 2, x / 2)
                    if 2 * close <= best:
                        continue
                    # as far out as there is water, to twice the distance
                    for share in (2.0, 1.75, 1.5):
                        far = here - _deepest_side(depth, i, j, share * y, share * x)
                        if math.isnan(far):
                            continue
                        value = min(near - max(far - near, 0.0) / (share - 1.0), 2 * close)
                        if not value <= best:
                            score[i, j], reach[i, j] = value, radius
                        break


@njit(cache=True, nogil=True, parallel=True)
def steepness_score(
    slope: np.ndarray,
    down: np.ndarray,
    right: np.ndarray,
    radii: np.ndarray,
    score: np.ndarray,
    reach: np.ndarray,
) -> None:
    """Fill how much steeper a cell is than the bed on both sides, up and down the slope."""
    rows, cols = slope.shape
    for i in numba.prange(rows):
        for j in range(cols):
            best, best_reach = -math.inf, 0.0
            here = slope[i, j]
            if math.isnan(here):
                continue
            for radius in radii:
                y, x = radius * down[i, j], radius * right[i, j]
                one, two = _at(slope, i - y, j - x), _at(slope, i + y, j + x)
                if math.isnan(one) or math.isnan(two):
                    continue
                value = here - max(one, two)
                if value > best:
                    best, best_reach = value, radius
            score[i, j], reach[i, j] = best, best_reach


@njit(cache=True, nogil=True)
def gather(
    order: np.ndarray, before: np.ndarray, cells: np.ndarray, worth: np.ndarray, gained: np.ndarray
) -> None:
    """Fill what the way to each cell has gained: the worth of its cells by the way through them."""
    for k in order:
        last = before[k]
        if last < 0:
            gained[k] = 0.0
            continue
        step = math.hypot(cells[k, 0] - cells[last, 0], cells[k, 1] - cells[last, 1])
        gained[k] = gained[last] + step * (worth[k] + worth[last]) / 2


@njit(cache=True, nogil=True, parallel=True)
def clear(mask: np.ndarray, taken: np.ndarray, reach: float) -> None:
    """Clear the cells of a mask within reach of a taken cell, from centre to centre, in cells."""
    rows, cols = mask.shape
    most = int(reach)
    away = np.full((rows, cols), most + 1, np.int32)  # rows to the nearest in the column
    for first, last, step in ((0, rows, 1), (rows - 1, -1, -1)):
        for i in range(first, last, step):
            for j in range(cols):
                near = away[i - step, j] + 1 if i != first else most + 1
                away[i, j] = 0 if taken[i, j] else min(away[i, j], near)
    for i in numba.prange(rows):
        for j in range(cols):
            if not mask[i, j]:
                continue
            for k in range(max(j - most, 0), min(j + most, cols - 1) + 1):
                if math.sqrt(float(away[i, k] ** 2 + (j - k) ** 2)) <= reach:
                    mask[i, j] = False
                    break
