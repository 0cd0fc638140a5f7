"""What follows from the gradient of a grid: how steep it is, which way it faces, how it is lit."""

import math
from typing import Any

import numba
import numpy as np

from toolbox.compiled import njit
from toolbox.terrain.kernels.windows import (
    HORN,
    ZEVENBERGEN_THORNE,
    central,
    gradient_at_edge,
    horn,
)

__all__ = ["UNITS", "aspect", "light", "slope"]

F = np.float32
RATIO, PERCENT, DEGREE = 0, 1, 2
UNITS = {"ratio": RATIO, "percent": PERCENT, "degree": DEGREE}


@njit(inline="always")
def _arctangent(x: Any) -> Any:
    """Angle of a steepness >= 0, to 2e-8 rad (Abramowitz & Stegun 1964, eq. 4.4.49)."""
    steep = x > F(1)
    t = F(1) / x if steep else x
    s = t * t
    p = F(0.0028662257)
    p = p * s - F(0.0161657367)
    p = p * s + F(0.0429096138)
    p = p * s - F(0.0752896400)
    p = p * s + F(0.1065626393)
    p = p * s - F(0.1420889944)
    p = p * s + F(0.1999355085)
    p = p * s - F(0.3333314528)
    angle = t + t * s * p
    return F(math.pi / 2) - angle if steep else angle


@njit(inline="always")
def _in_unit(east: Any, south: Any, step: Any, unit: int) -> Any:
    steepness = math.sqrt(east * east + south * south) * step
    return _arctangent(steepness) * F(180 / math.pi) if unit == DEGREE else steepness


@njit(inline="always")
def _slope_row(a: Any, i: int, method: int, step: Any, unit: int, out: Any) -> None:
    """Write a row; the compiler makes fast code of it where `method` and `unit` are constants."""
    for j in range(1, a.shape[1] - 1):
        east, south = horn(a, i, j) if method == HORN else central(a, i, j)
        out[i, j] = _in_unit(east, south, step, unit)


@njit(parallel=True, cache=True, nogil=True, error_model="numpy")
def slope(a: Any, cell: float, method: int, unit: int, out: Any) -> None:
    """Write the slope of `a` into `out` in one of `UNITS`."""
    rows, cols = a.shape
    step = F((100 if unit == PERCENT else 1) / cell)
    for i in numba.prange(rows):
        out[i, 0] = out[i, cols - 1] = np.nan
        if not 0 < i < rows - 1:
            out[i, :] = np.nan
        elif method == HORN:
            if unit == DEGREE:
                _slope_row(a, i, HORN, step, DEGREE, out)
            else:
                _slope_row(a, i, HORN, step, RATIO, out)
        elif unit == DEGREE:
            _slope_row(a, i, ZEVENBERGEN_THORNE, step, DEGREE, out)
        else:
            _slope_row(a, i, ZEVENBERGEN_THORNE, step, RATIO, out)
        for j in range(cols):
            if out[i, j] != out[i, j] and a[i, j] == a[i, j]:
                east, south = gradient_at_edge(a, i, j, method)
                out[i, j] = _in_unit(east, south, step, unit)


@njit(inline="always")
def _bearing(east: Any, north: Any) -> Any:
    """Degrees clockwise from north, in [0, 360); NaN of nothing."""
    angle = _arctangent(abs(east) / abs(north)) * F(180 / math.pi)
    angle = F(180) - angle if north < 0 else angle
    angle = F(360) - angle if east < 0 else angle
    return F(0) if angle >= F(360) else angle


@njit(parallel=True, cache=True, nogil=True, error_model="numpy")
def aspect(a: Any, method: int, out: Any) -> None:
    """Write the bearing in which `a` rises most steeply into `out`, degrees; NaN where level."""
    rows, cols = a.shape
    for i in numba.prange(rows):
        out[i, 0] = out[i, cols - 1] = np.nan
        if 0 < i < rows - 1:
            for j in range(1, cols - 1):
                east, south = horn(a, i, j) if method == HORN else central(a, i, j)
                out[i, j] = _bearing(east, -south)
        else:
            out[i, :] = np.nan
        for j in range(cols):
            if out[i, j] != out[i, j] and a[i, j] == a[i, j]:
                east, south = gradient_at_edge(a, i, j, method)
                out[i, j] = _bearing(east, -south)


@njit(inline="always")
def _lit(east: Any, south: Any, lamp: Any, level: Any, up: Any) -> Any:
    """Cosine of the angle between an upright (east, -south, 1) and a lamp, 0 in the shade."""
    bright = (lamp[0] * east - lamp[1] * south) * level + up
    bright /= math.sqrt(F(1) + east * east + south * south)
    return F(0) if bright < 0 else bright


@njit(inline="always")
def _lit_by_all(east: Any, south: Any, lamps: Any, level: Any, up: Any) -> Any:
    """Mean of several lamps, each weighted by the square of the rise towards it."""
    if len(lamps) == 1:
        return _lit(east, south, (lamps[0, 0], lamps[0, 1]), level, up)
    total = weight = F(0)
    for lamp in lamps:
        facing = lamp[0] * east - lamp[1] * south
        total += facing * facing * _lit(east, south, lamp, level, up)
        weight += facing * facing
    return total / weight if weight != 0 else up


@njit(inline="always")
def _light_row(a: Any, i: int, step: Any, lamps: Any, level: Any, up: Any, out: Any) -> None:
    """Write a row, lit by one lamp in fast code."""
    if len(lamps) == 1:
        lamp = (lamps[0, 0], lamps[0, 1])
        for j in range(1, a.shape[1] - 1):
            east, south = horn(a, i, j)
            out[i, j] = _lit(east * step, south * step, lamp, level, up)
    else:
        for j in range(1, a.shape[1] - 1):
            east, south = horn(a, i, j)
            out[i, j] = _lit_by_all(east * step, south * step, lamps, level, up)


@njit(parallel=True, cache=True, nogil=True, error_model="numpy")
def light(a: Any, step: Any, lamps: Any, level: Any, up: Any, out: Any) -> None:
    """Write how lamps light the bed under depths `a` into `out`.

    `step` is exaggeration over cell; `lamps` holds sine and cosine of each one's azimuth; `level`
    and `up` are cosine and sine of their altitude.
    """
    rows, cols = a.shape
    for i in numba.prange(rows):
        out[i, 0] = out[i, cols - 1] = np.nan
        if 0 < i < rows - 1:
            _light_row(a, i, step, lamps, level, up, out)
        else:
            out[i, :] = np.nan
        for j in range(cols):
            if out[i, j] != out[i, j] and a[i, j] == a[i, j]:
                east, south = gradient_at_edge(a, i, j, HORN)
                out[i, j] = _lit_by_all(east * step, south * step, lamps, level, up)
