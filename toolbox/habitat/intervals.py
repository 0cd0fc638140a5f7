"""Intervals: at what depths of a water column all limits of a species hold."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from toolbox.habitat.species import OxygenDemand, Species
from toolbox.habitat.water_column import WaterColumn
from toolbox.water.attenuation import depth_of_light

__all__ = ["BED", "SURFACE", "UNKNOWN", "Interval", "above_bed", "intervals"]

SURFACE, BED, UNKNOWN = "surface", "bed", "unknown"
"""What ends an interval that no limit ends; unknown is where nobody read what the species needs."""

_HALVINGS = 60
_DARK = 1e-300  # no depth is without light

Margin = Callable[[np.ndarray], np.ndarray]
"""How far a limit is kept at shares of the height of each piece; negative where it is not."""


@dataclass(frozen=True)
class Interval:
    """Water between two depths in which all limits hold.

    Parameters
    ----------
    upper, lower : float
        Depths below the surface, m.
    known : bool
        False where a measure that has a limit was not read: limits on what was read hold.
    upper_limit, lower_limit : str
        The measure whose limit ends it, or ``surface``, ``bed``, ``unknown``.
    """

    upper: float
    lower: float
    known: bool
    upper_limit: str
    lower_limit: str

    @property
    def thickness(self) -> float:
        """Of the layer, m."""
        return self.lower - self.upper


@dataclass(frozen=True, eq=False)
class _Part:
    """Of each piece of the column, where one condition holds, as shares of its height."""

    name: str
    upper: np.ndarray
    lower: np.ndarray
    known: np.ndarray


def intervals(
    column: WaterColumn, species: Species, *, attenuation: float | None = None
) -> list[Interval]:
    """Find where in a column a species can live.

    Parameters
    ----------
    column : WaterColumn
        The water at a moment.
    species : Species
        Limits on plants and slope are left out: they concern the bed.
    attenuation : float, optional
        Of light, 1/m; if left out, light is unknown.

    Returns
    -------
    list of Interval
        From the surface down to the end of the column, each thicker than nothing. Those known and
        those not are apart.

    Notes
    -----
    Between two bends of the column every measure is linear, so that a limit holds on one side of
    the depth where the line crosses it. The oxygen above a demand a + b exp(c T) is concave there,
    so that it holds between two depths at most, which are found by halving. Nothing is stepped.
    """
    parts = list(_parts(column, species, attenuation))
    depth, height = column.depth[:-1], np.diff(column.depth)
    upper, lower = np.zeros(len(height)), np.ones(len(height))
    above, below = (np.full(len(height), "", object) for _ in range(2))
    known = np.ones(len(height), bool)
    for part in parts:
        above[part.upper > upper] = part.name
        below[part.lower < lower] = part.name
        upper, lower = np.maximum(upper, part.upper), np.minimum(lower, part.lower)
        known &= part.known
    held = upper <= lower
    tops = np.where(upper > 0, depth + upper * height, depth)
    ends = np.where(lower < 1, depth + lower * height, column.depth[1:])
    joined = _joined(tops, ends, held, known)
    found = [
        Interval(
            float(tops[first]),
            float(ends[last]),
            bool(known[first]),
            above[first] or _neighbour(known, first - 1, SURFACE),
            below[last] or _neighbour(known, last + 1, BED),
        )
        for first, last in joined
    ]
    return [one for one in found if one.upper < one.lower]


def _parts(column: WaterColumn, species: Species, attenuation: float | None) -> Iterator[_Part]:
    for measure in ("temperature_c", "oxygen_mg_l", "depth_m"):
        values = column.depth if measure == "depth_m" else column.measured[measure]
        yield from _within(measure, values, *species.range_of(measure))
    if "light" in species.measures:
        yield from _lit(column, *species.range_of("light"), attenuation)
    if species.oxygen_demand is not None:
        temperature, oxygen = column.measured["temperature_c"], column.measured["oxygen_mg_l"]
        yield _demanded(temperature, oxygen, species.oxygen_demand)


def _within(name: str, values: np.ndarray, least: float, most: float) -> Iterator[_Part]:
    """Give where values, (k,), lie within a range whose open ends are infinite."""
    if least > -math.inf:
        yield _not_negative(name, values - least)
    if most < math.inf:
        yield _not_negative(name, most - values)


def _lit(
    column: WaterColumn, least: float, most: float, attenuation: float | None
) -> Iterator[_Part]:
    """Give where the share of light lies within a range, as a range of depth."""
    if attenuation is None:
        yield from _within("light", np.full(len(column.depth), np.nan), least, most)
        return
    deepest = depth_of_light(attenuation, least) if least > 0 else math.inf
    shallowest = depth_of_light(attenuation, max(most, _DARK)) if most < 1 else -math.inf
    yield from _within("light", column.depth, shallowest, deepest)


def _not_negative(name: str, margin: np.ndarray) -> _Part:
    """Find where the margin to a limit, (k,), linear between bends, is not negative."""
    start, end = margin[:-1], margin[1:]
    known = ~(np.isnan(start) | np.isnan(end))
    crossing = np.divide(start, start - end, out=np.zeros(len(start)), where=start != end)
    upper = np.where(start >= 0, 0.0, np.where(end >= 0, crossing, np.inf))
    lower = np.where(end >= 0, 1.0, np.where(start >= 0, crossing, -np.inf))
    return _Part(name, np.where(known, upper, 0.0), np.where(known, lower, 1.0), known)


def _demanded(temperature: np.ndarray, oxygen: np.ndarray, curve: OxygenDemand) -> _Part:
    """Find where the oxygen meets a demand that grows with temperature."""
    known = ~np.isnan(temperature + oxygen)
    known = known[:-1] & known[1:]
    warm, rich = np.where(np.isnan([temperature, oxygen]), 0.0, [temperature, oxygen])

    def margin(share: np.ndarray) -> np.ndarray:
        at = [ends[:-1] * (1 - share) + ends[1:] * share for ends in (warm, rich)]
        return np.asarray(at[1] - curve.least(at[0]))

    peak = _peak(warm, rich, curve)
    best, nothing, whole = margin(peak) >= 0, np.zeros(len(peak)), np.ones(len(peak))
    starts, ends = margin(nothing) >= 0, margin(whole) >= 0
    upper = np.where(starts, 0.0, _root(margin, nothing, peak))
    lower = np.where(ends, 1.0, _root(margin, whole, peak))
    held = starts | ends | best
    upper, lower = np.where(held, upper, np.inf), np.where(held, lower, -np.inf)
    return _Part("oxygen_demand", np.where(known, upper, 0.0), np.where(known, lower, 1.0), known)


def _peak(warm: np.ndarray, rich: np.ndarray, curve: OxygenDemand) -> np.ndarray:
    """Return where in each piece the oxygen stands highest above the demand, as a share."""
    warming, gain = np.diff(warm), np.diff(rich)
    slope = curve.factor_mg_l * curve.rate_per_c * warming
    steepness = np.divide(gain, slope, out=np.zeros(len(gain)), where=slope != 0)
    with np.errstate(divide="ignore"):
        best = np.log(np.maximum(steepness, 0.0)) / curve.rate_per_c
    away = np.divide(best - warm[:-1], warming, out=np.zeros(len(gain)), where=warming != 0)
    level = np.where(gain > 0, 1.0, 0.0)
    return np.clip(np.where(warming != 0, away, level), 0.0, 1.0)


def _root(margin: Margin, outside: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Halve towards the depth where the margin, negative outside, becomes zero."""
    for _ in range(_HALVINGS):
        middle = (outside + inside) / 2
        held = margin(middle) >= 0
        inside, outside = np.where(held, middle, inside), np.where(held, outside, middle)
    return inside


def _joined(
    tops: np.ndarray, ends: np.ndarray, held: np.ndarray, known: np.ndarray
) -> list[tuple[int, int]]:
    """Join pieces that touch into intervals; return the first and last piece of each."""
    runs: list[tuple[int, int]] = []
    for piece in np.flatnonzero(held):
        first, last = runs[-1] if runs else (-1, -2)
        if last == piece - 1 and known[last] == known[piece] and ends[last] == tops[piece]:
            runs[-1] = first, int(piece)
        else:
            runs.append((int(piece), int(piece)))
    return runs


def _neighbour(known: np.ndarray, piece: int, beyond: str) -> str:
    """Say what lies past the end of an interval that no limit ends."""
    return UNKNOWN if 0 <= piece < len(known) and not known[piece] else beyond


def above_bed(found: list[Interval], bed: float) -> list[Interval]:
    """Return intervals cut at the deepest bed, at a depth below the surface, m."""
    return [
        one if one.lower < bed else replace(one, lower=bed, lower_limit=BED)
        for one in found
        if one.upper < bed
    ]
