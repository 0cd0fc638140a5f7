"""Levels at which a bed is cut: those asked for, or at a round interval."""

import math

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Tin
from toolbox.units import MetreOrFoot, convert

__all__ = ["chosen_levels", "listed_levels", "round_interval"]

_HAIR = 1e-9
_MOST = 10_000
_LINES = 10
_EVERY = 5
_DIGITS: dict[MetreOrFoot, tuple[float, ...]] = {
    "m": (1, 2, 2.5, 5, 10),
    "ft": (1, 2, 5, 10),  # as charts in feet do
    "survey_foot": (1, 2, 5, 10),
}


def round_interval(span: float, unit: MetreOrFoot = "m") -> float:
    """Choose the interval that gives about ten levels over a range of depths.

    Parameters
    ----------
    span : float
        Greater than zero, in the unit.
    unit : str
        ``"m"``, ``"ft"`` or ``"survey_foot"``.

    Returns
    -------
    float
        In the unit: 1, 2, 5 or of metres 2.5 times a power of ten, which gives 6 to 16 levels, of
        metres 7 to 15.

    Examples
    --------
    >>> round_interval(24.0), round_interval(3.1), round_interval(79.0, "ft")
    (2.5, 0.25, 10.0)
    """
    magnitude = math.floor(math.log10(span / _LINES))
    steps = [float(f"{digit}e{magnitude}") for digit in _DIGITS[unit]]
    return min(steps, key=lambda step: abs(math.log(span / _LINES / step)))


def chosen_levels(
    bed: Tin,
    interval: float | None,
    levels: tuple[float, ...] | None,
    *,
    name: str = "levels",
    unit: MetreOrFoot = "m",
) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """List the levels at which to cut a bed.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    interval : float or None
        Depth between levels, m; levels are its whole multiples below the water's edge.
    levels : tuple of float or None
        The depths themselves, m.
    name : str
        The parameter that messages name.
    unit : str
        In which the interval is round where neither is given.

    Returns
    -------
    depth : (k,) array
        Ascending, m.
    every_fifth : (k,) array of bool
        Whole multiples of five intervals; of levels listed, the fifth, the tenth and so on.
    notes : tuple of str
        What was chosen, and which levels lie below the bed.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If both are given, if a level lies above the mapped water's edge, where nobody knows how
        far the water would spread, or if there are too many.
    """
    if interval is not None and levels is not None:
        raise ParameterError("give interval or levels, not both")
    top, deepest = _span(bed)
    if levels is None:
        return _stepped(top, deepest, interval, unit)
    if len(levels) > _MOST:
        raise ParameterError(f"levels must be at most {_MOST:,}, got {len(levels):,}")
    depth = listed_levels(levels, bed.shore_depth, name=name)
    below = depth[depth > deepest]
    notes = tuple(f"the bed is nowhere as deep as {level:g} m" for level in below)
    return depth, np.arange(1, len(depth) + 1) % _EVERY == 0, notes


def _span(bed: Tin) -> tuple[float, float]:
    """Depths from which and to which there is water, m."""
    top = float(bed.depth.min()) if bed.shore_depth is None else bed.shore_depth
    deepest = float(bed.depth.max())
    if deepest <= top and bed.shore_depth is not None:
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    return top, deepest


def _stepped(
    top: float, deepest: float, interval: float | None, unit: MetreOrFoot
) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    notes: tuple[str, ...] = ()
    if interval is None:
        interval, note = _chosen(top, deepest, unit)
        notes = (note,)
    if (deepest - top) / interval > _MOST:
        raise ParameterError(
            f"interval must give at most {_MOST:,} levels over {deepest - top:g} m, "
            f"got {interval:g} m"
        )
    number = np.arange(math.floor(top / interval), math.ceil(deepest / interval) + 1)
    depth = np.round(number * interval, 9)
    inside = (depth > top + _HAIR) & (depth <= deepest)
    return depth[inside], number[inside] % _EVERY == 0, notes


def _chosen(top: float, deepest: float, unit: MetreOrFoot) -> tuple[float, str]:
    """Return an interval that is round in the unit, m, and what was chosen."""
    ends = [float(convert(end, "m", unit)) for end in (top, deepest)]
    interval = round_interval(ends[1] - ends[0], unit) if deepest > top else 1.0
    told = "m" if unit == "m" else "ft"
    span = f"{ends[0]:.4g} to {ends[1]:.4g} {told}"
    note = f"interval of {interval:g} {told} chosen for depths of {span}"
    return float(convert(interval, unit, "m")), note


def listed_levels(
    levels: tuple[float, ...], top: float | None, *, name: str = "levels"
) -> np.ndarray:
    """Return levels ascending, each once, (k,), m.

    Parameters
    ----------
    levels : tuple of float
        Depths, m.
    top : float or None
        Depth of the mapped water's edge, m; None where there is none.
    name : str
        The parameter that messages name.

    Raises
    ------
    ParameterError
        If there are none, or one lies above the mapped water's edge.
    """
    if not levels:
        raise ParameterError("levels must name at least one depth, got none")
    depth = np.unique(np.asarray(levels, float))
    if top is not None and depth[0] < top - _HAIR:
        raise ParameterError(
            f"{name} must be at or below the mapped water's edge (depth {top:g} m), "
            f"got {depth[0]:g}"
        )
    return np.asarray(depth)
