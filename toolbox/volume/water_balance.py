"""Water balance of a table: filling, emptying and residence times, and what evaporates."""

from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Table
from toolbox.tool import Range, tool
from toolbox.volume.rules import layer_volumes

__all__ = [
    "SECONDS_PER_DAY",
    "evaporated",
    "layer_days",
    "residence_days",
    "storage_times",
]

SECONDS_PER_DAY = 86_400.0
_NODES = 16


def evaporated(area: np.ndarray, depth_mm: float) -> np.ndarray:
    """Return what evaporates of water areas (n,), m2, when they lose a depth in mm: m3."""
    return np.asarray(area, float) * depth_mm / 1000


def residence_days(volume: np.ndarray, outflow: float) -> np.ndarray:
    """Return how long water stays on average: volume (n,), m3, over outflow, m3/s, in days.

    Raises
    ------
    ParameterError
        If the outflow is not greater than zero.
    """
    if not outflow > 0:
        raise ParameterError(f"outflow must be > 0 m3/s, got {outflow:g}")
    return np.asarray(volume, float) / outflow / SECONDS_PER_DAY


def layer_days(
    depth: np.ndarray, area: np.ndarray, *, gain: float, evaporation: float
) -> np.ndarray:
    """Compute how long the water's level takes through each layer.

    Parameters
    ----------
    depth : (n,) array
        Strictly ascending, m.
    area : (n,) array
        Area at each depth, m2, linear between.
    gain : float
        Inflow less outflow, m3/s.
    evaporation : float
        mm a day.

    Returns
    -------
    (n - 1,) array
        Days: positive upward, negative downward, NaN where the level comes to rest in the layer.

    Notes
    -----
    The level rises at the rate r / A with r = gain - E A. Over a layer of height h the time is the
    integral of A / r: (h / E) (gain / L - 1), with L the logarithmic mean of r at its two ends.
    """
    gain, loss = gain * SECONDS_PER_DAY, evaporation / 1000
    upper, lower, height = area[:-1], area[1:], np.diff(depth)
    ends = gain - loss * np.array([upper, lower])
    gentle = loss * np.maximum(upper, lower) < abs(gain) / 2  # where the closed form cancels
    with np.errstate(divide="ignore", invalid="ignore"):
        steep = height / loss * (gain / _logarithmic_mean(*ends) - 1) if loss else height * np.nan
        steep = np.where(gain == 0, -height / loss if loss else np.nan, steep)
    days = np.where(gentle, _integrated(height, upper, lower, gain, loss), steep)
    onward = (ends > 0).all(axis=0) | (ends < 0).all(axis=0) | ((gain == 0) & (loss > 0))
    return np.where(onward, days, np.nan)


def _logarithmic_mean(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    ratio = one / other
    near = np.abs(ratio - 1) < 1e-6
    mean = (one - other) / np.log(np.where(near, np.e, ratio))
    return np.where(near, (one + other) / 2, mean)


def _integrated(
    height: np.ndarray, upper: np.ndarray, lower: np.ndarray, gain: float, loss: float
) -> np.ndarray:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    area = lower + np.multiply.outer((nodes + 1) / 2, upper - lower)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(height * (weights[:, None] / 2 * area / (gain - loss * area)).sum(axis=0))


@tool("Filling, emptying and residence times")
def storage_times(
    table: Table,
    *,
    inflow: Annotated[float, Range("m^3/s", min=0)],
    outflow: Annotated[float, Range("m^3/s", min=0)] = 0.0,
    evaporation: Annotated[float, Range("mm/day", min=0)] = 0.0,
    depth: str = "depth_m",
    area: str = "area_m2",
) -> Table:
    """Tabulate how long a water takes to fill and to empty, and what it loses to the air.

    Parameters
    ----------
    table : Table
        Areas by depth, one row per depth, in any order.
    inflow : float
        What comes in, rain among it, m3/s (``10 cfs``).
    outflow : float
        What is let out or seeps away, m3/s.
    evaporation : float
        Depth of water that evaporates, mm a day.
    depth : str
        Name of the column of depths, m, positive down.
    area : str
        Name of the column of areas, m2.

    Returns
    -------
    Table
        Columns ``depth_m, area_m2, volume_below_m3``; ``evaporation_m3_per_mm`` and
        ``evaporation_m3_per_day``; ``residence_days``, the volume over the inflow (empty if there
        is none); ``filling_days`` from the last row up to each, ``emptying_days`` from the first
        row down to each: empty where the level never comes there.

    Raises
    ------
    LayerError
        If depths are given twice, or an area is negative or missing.

    Notes
    -----
    Areas are linear between rows, so volumes are those of the trapezoid rule and times are exact
    for such a water and flows that stay the same. Where inflow equals outflow and evaporation the
    level comes to rest: a note says at which depth. Residence time takes the water as mixed.
    """
    import pandas as pd

    order = np.argsort(table.column(depth), kind="stable")
    depths, areas = table.column(depth)[order], table.column(area)[order]
    layers = layer_volumes(depths, areas, rule="trapezoid")
    below = np.r_[layers[::-1].cumsum()[::-1], 0.0]
    days = layer_days(depths, areas, gain=inflow - outflow, evaporation=evaporation)
    columns = {
        "depth_m": depths,
        "area_m2": areas,
        "volume_below_m3": below,
        "evaporation_m3_per_mm": evaporated(areas, 1.0),
        "evaporation_m3_per_day": evaporated(areas, evaporation),
        "residence_days": residence_days(below, inflow) if inflow else np.full(len(below), np.nan),
        "filling_days": np.r_[np.where(days > 0, days, np.nan)[::-1].cumsum()[::-1], 0.0],
        "emptying_days": np.r_[0.0, np.where(days < 0, -days, np.nan).cumsum()],
    }
    notes = _rest(depths, areas, inflow - outflow, evaporation)
    return Table(pd.DataFrame(columns), "Filling, emptying and residence times", notes)


def _rest(depth: np.ndarray, area: np.ndarray, gain: float, evaporation: float) -> tuple[str, ...]:
    if gain <= 0 or not evaporation:
        return ()
    balanced = gain * SECONDS_PER_DAY / (evaporation / 1000)
    if not area.min() <= balanced <= area.max():
        return ()
    row = int(np.flatnonzero(area >= balanced)[-1])
    below = min(row + 1, len(area) - 1)
    fall = area[row] - area[below]
    part = (area[row] - balanced) / fall if fall > 0 else 0.0
    level = depth[row] + part * (depth[below] - depth[row])
    return (f"the level comes to rest at depth {level:.4g} m, area {balanced:.6g} m2",)
