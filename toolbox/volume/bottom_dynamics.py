"""Bottom dynamics: where waves keep fine sediment moving, and where it comes to rest."""

import math
from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Grid, Table, Tin
from toolbox.layers.crs import check_same_crs
from toolbox.tool import tool
from toolbox.volume.bands import band_of_known
from toolbox.volume.formulas import dynamic_ratio, effective_share, regressed_share, wave_base
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume

__all__ = ["bottom_dynamics", "wave_base_grid"]

_SLOPES, _WAVES, _MOST = 0.25, 0.8, 3.8


@tool("Erosion, transport and accumulation")
def bottom_dynamics(bed: Tin) -> Table:
    """Estimate how much of the bed waves keep clear of fine sediment.

    Parameters
    ----------
    bed : Tin
        The lake bed.

    Returns
    -------
    Table
        Columns ``measure, value, unit, source, validity``, of a fitted bed also ``low, high``, the
        ends of the 90 % band of its draws. With A the area of the water, z_mean its mean and z_max
        its greatest depth:

        - dynamic ratio DR = sqrt(A [km2]) / z_mean;
        - wave base 45.7 F / (21.4 + F) m with F = sqrt(A) in km;
        - the share of bed under erosion and transport, per cent, three ways: the part of the water
          shallower than the wave base; by a regression on A, z_mean and z_max; by a formula of DR.

        ``validity`` is empty where a figure lies within what its formula was made for, and says
        what was done about it where not. A share is held within 0 and 100, that of the formula of
        DR also above the 15.4 which is its least.

    Raises
    ------
    LayerError
        If there is no water in the bed.

    Notes
    -----
    The three disagree in small deep waters, for which the formulas were not made: there the first,
    which looks at the bed itself, is to be preferred. What is neither eroded nor transported
    accumulates. Beyond a dynamic ratio of 0.8 waves stir up the whole bed at times; below 0.25
    slumping down slopes moves more than waves do (Bachmann, Hoyer & Canfield 2000, from memory).

    References
    ----------
    Hakanson 1981, Canadian Journal of Earth Sciences 18:899 (the regression; nine Swedish lakes,
    r = 0.93); Hakanson & Jansson 1983, Principles of Lake Sedimentology (wave base and formula of
    the dynamic ratio, from memory).
    """
    import pandas as pd

    edge = 0.0 if bed.shore_depth is None else bed.shore_depth
    deepest = float(bed.depth.max()) - edge
    if deepest <= 0:
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    base = float(wave_base(math.sqrt(area_and_volume(bed, np.array([edge]))[0][0])))
    levels = np.array([edge, edge + base])
    areas, volumes = area_and_volume(bed, levels)
    shares = _shares(areas, volumes[0], deepest)
    rows = [
        (name, float(_held(name, shares[name])), unit, source, _validity(name, shares, deepest))
        for name, unit, source in (
            ("dynamic ratio", "1", "sqrt(A [km2]) / z_mean"),
            ("share above the wave base", "%", "of the water area"),
            ("share by regression", "%", "on area, mean and greatest depth"),
            ("share by dynamic ratio", "%", "25 DR 41^(0.061 / DR)"),
        )
    ]
    rows.insert(1, ("wave base", base, "m", "45.7 F / (21.4 + F), F = sqrt(A) in km", ""))
    frame = pd.DataFrame(rows, columns=["measure", "value", "unit", "source", "validity"])
    notes = tuple(f"{row[0]}: {row[4]}" for row in rows if row[4])
    if bed.draws is not None:
        frame = _with_bands(frame, bed, levels)
        notes = (f"low and high: 90 % band of {bed.draws.shape[1]} beds drawn", *notes)
    return Table(frame, "Erosion, transport and accumulation", notes)


@tool("Depth above the wave base")
def wave_base_grid(depth: Grid, fetch: Grid) -> Grid:
    """Compare the depth at each cell with the wave base of its own fetch.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down.
    fetch : Grid
        Effective fetch B, m, on the same cells.

    Returns
    -------
    Grid
        Depth less 45.7 F / (21.4 + F), F the fetch in km: negative where waves move fine sediment
        (erosion and transport), positive where it may come to rest (accumulation), m.

    Raises
    ------
    LayerError
        If the grids do not lie on the same cells, or a fetch is negative.

    Notes
    -----
    Waves alone: on slopes above about 14 % (8 degrees) nothing accumulates at any depth, and
    currents at inflows are not looked at.

    References
    ----------
    Hakanson & Jansson 1983, Principles of Lake Sedimentology (from memory).
    """
    check_same_crs(depth=depth, fetch=fetch)
    if depth.shape != fetch.shape or not np.allclose(depth.transform, fetch.transform):
        raise LayerError(
            f"depth and fetch must lie on the same cells, got {depth.shape} and {fetch.shape} "
            f"from {depth.bounds[:2]} and {fetch.bounds[:2]}; grid both with one cell width"
        )
    if (least := np.min(fetch.values, where=np.isfinite(fetch.values), initial=0)) < 0:
        raise LayerError(f"a fetch must be 0 m or more, got {least:g}: is it the fetch?")
    over = np.subtract(depth.values, wave_base(np.asarray(fetch.values, float)))
    return depth.of(over, "depth_above_wave_base", "m")


def _shares(areas: np.ndarray, volume: Any, deepest: Any) -> dict[str, Any]:
    """Figures of areas (2, ...) at the edge and at the wave base, not yet held within bounds."""
    mean = volume / areas[0]
    ratio = dynamic_ratio(areas[0], mean)
    return {
        "dynamic ratio": ratio,
        "share above the wave base": 100 * (1 - areas[1] / areas[0]),
        "share by regression": regressed_share(areas[0], mean, deepest),
        "share by dynamic ratio": effective_share(ratio),
        "mean depth": mean,
    }


def _held(name: str, value: Any) -> Any:
    return np.clip(value, 0, 100) if name.startswith("share") else value


def _validity(name: str, found: dict[str, Any], deepest: float) -> str:
    ratio, share = float(found["dynamic ratio"]), float(found[name])
    if name == "dynamic ratio":
        if ratio > _WAVES:
            return f"above {_WAVES:g}: waves stir up the whole bed at times"
        return f"below {_SLOPES:g}: slopes move more than waves do" if ratio < _SLOPES else ""
    if name == "share by dynamic ratio":
        if ratio > _MOST:
            return f"dynamic ratio {ratio:.3g} above {_MOST:g}, held at 100 %"
        return "dynamic ratio below 0.2265, held at 15.4 %" if share < 15.395 else ""
    if name == "share by regression":
        if not 0 <= share <= 100:
            return f"{share:.3g} % by the formula, held within 0 and 100 %"
        if ratio * float(found["mean depth"]) / deepest < 0.2:
            return "sqrt(A [km2]) / z_max below 0.2: smaller and deeper than the formula's lakes"
    return ""


def _with_bands(frame: Any, bed: Tin, levels: np.ndarray) -> Any:
    areas, volumes = drawn_area_and_volume(bed, levels)
    deepest = np.concatenate([depths.max(axis=1) for depths in bed.drawn()]) - levels[0]
    wet = deepest > 0  # the others have no form
    drawn = _shares(areas[wet].T, volumes[wet, 0], deepest[wet])
    ends = {name: band_of_known(_held(name, values)) for name, values in drawn.items()}
    for place, end in enumerate(("low", "high")):
        values = {name: both[place] for name, both in ends.items()}
        frame.insert(2 + place, end, frame["measure"].map(values))
    return frame
