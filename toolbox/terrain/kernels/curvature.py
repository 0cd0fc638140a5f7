"""Second derivatives of a grid from windows of three by three cells."""

from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit
from toolbox.terrain.kernels.windows import at

__all__ = ["KINDS", "curvature"]

F = np.float32
PROFILE, PLAN, TOTAL = 0, 1, 2
KINDS = {"profile": PROFILE, "plan": PLAN, "total": TOTAL}


@njit(inline="always")
def _directed(along: Any, twist: Any, across: Any, east: Any, south: Any, kind: int) -> Any:
    """Second derivative along the gradient or across it; half of the sum where there is none."""
    if kind == TOTAL:
        return along + across
    steepness = east * east + south * south
    turned = F(2) * twist * east * south
    if kind == PROFILE:
        bent = along * east * east + turned + across * south * south
    else:
        bent = along * south * south - turned + across * east * east
    return bent / steepness if steepness > 0 else F(0.5) * (along + across)


@njit(inline="always")
def _inside(a: Any, i: int, j: int, k: int, kind: int) -> Any:
    """From the partial quartic through nine cells (only its terms of first and second order)."""
    here = a[i, j]
    north, west, east, south = a[i - k, j], a[i, j - k], a[i, j + k], a[i + k, j]
    along = (west - here) + (east - here)
    across = (north - here) + (south - here)
    twist = (a[i - k, j - k] - a[i - k, j + k]) + (a[i + k, j + k] - a[i + k, j - k])
    rise_east, rise_south = (east - west) * F(0.5), (south - north) * F(0.5)
    return _directed(along, twist * F(0.25), across, rise_east, rise_south, kind)


@njit(inline="always")
def _row(a: Any, i: int, k: int, kind: int, step: Any, out: Any) -> None:
    """Write a row; the compiler makes fast code of it where `k` and `kind` are constants."""
    for j in range(k, a.shape[1] - k):
        out[i, j] = _inside(a, i, j, k, kind) * step


@njit(inline="always")
def _second(a: Any, i: int, j: int, di: int, dj: int) -> Any:
    """Second difference along a line: across the cell, else of the next three on one side."""
    before, here, after = at(a, i - di, j - dj), a[i, j], at(a, i + di, j + dj)
    if before == before and after == after:
        return (before - here) + (after - here)
    if after == after:
        return (here - after) + (at(a, i + 2 * di, j + 2 * dj) - after)
    return (here - before) + (at(a, i - 2 * di, j - 2 * dj) - before)


@njit(inline="always")
def _first(a: Any, i: int, j: int, di: int, dj: int, second: Any) -> Any:
    """Rise along a line whose second difference is known, exact on a parabola."""
    before, here, after = at(a, i - di, j - dj), a[i, j], at(a, i + di, j + dj)
    if before == before and after == after:
        return (after - before) * F(0.5)
    return (after - here) - F(0.5) * second if after == after else here - before + F(0.5) * second


@njit(inline="always")
def _mixed(a: Any, i: int, j: int, k: int) -> Any:
    """Mixed second difference: mean over those quarters of the window that are known."""
    total, count = F(0), 0
    for di in (-k, k):
        for dj in (-k, k):
            beside = at(a, i + di, j) - a[i, j]
            quarter = at(a, i + di, j + dj) - at(a, i, j + dj) - beside
            if quarter == quarter:
                total += quarter if di == dj else -quarter
                count += 1
    return total / F(count)


@njit(cache=True, nogil=True, error_model="numpy")
def _at_edge(a: Any, i: int, j: int, k: int, kind: int) -> Any:
    """Exact on quadratic surfaces; NaN where a line of three cells or a quarter is wanting."""
    along, across = _second(a, i, j, 0, k), _second(a, i, j, k, 0)
    east, south = _first(a, i, j, 0, k, along), _first(a, i, j, k, 0, across)
    return _directed(along, _mixed(a, i, j, k), across, east, south, kind)


@njit(parallel=True, cache=True, nogil=True, error_model="numpy")
def curvature(a: Any, cell: float, k: int, kind: int, out: Any) -> None:
    """Write the second derivative of `a` in the direction of `kind` into `out`.

    The nine points of a window are `k` cells apart.
    """
    rows, cols = a.shape
    step = F(1 / (k * cell) ** 2)
    for i in numba.prange(rows):
        whole = k <= i < rows - k and cols > 2 * k
        for j in range(k if whole else cols):
            out[i, j] = np.nan
        if whole:
            if k > 1:
                _row(a, i, k, kind, step, out)
            elif kind == TOTAL:
                _row(a, i, 1, TOTAL, step, out)
            elif kind == PROFILE:
                _row(a, i, 1, PROFILE, step, out)
            else:
                _row(a, i, 1, PLAN, step, out)
            for j in range(cols - k, cols):
                out[i, j] = np.nan
        for j in range(cols):
            if out[i, j] != out[i, j] and a[i, j] == a[i, j]:
                out[i, j] = _at_edge(a, i, j, k, kind) * step
