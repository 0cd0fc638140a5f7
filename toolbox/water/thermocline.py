"""Thermocline: where in a profile the density of the water changes most."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from toolbox.water.density import water_density

__all__ = ["GRADIENT", "MIXED_STEP", "SPAN", "Layering", "State", "find_layering"]

GRADIENT = 0.1
"""Density gradient from which on water is layered, kg/m3/m (common practice, no source)."""

MIXED_STEP = 0.1
"""By how much the mixed layer may be lighter at its top than at its bottom, kg/m3."""

SPAN = 0.5
"""Least depth over which a gradient is taken, m (common practice, no source)."""

State = Literal["stratified", "inverse", "mixed", "one depth"]

_DENSEST = 3.983
_INVERSE = 0.5  # K: more than two thermometers part


@dataclass(frozen=True)
class Layering:
    """How the water of one profile is layered; depths below the surface, m, NaN where none.

    Parameters
    ----------
    state : str
        ``"stratified"``; ``"inverse"`` (colder above, as under ice); ``"mixed"`` (no gradient
        reaches the threshold); ``"one depth"`` (nobody can tell).
    thermocline : float
        Depth of the greatest density gradient.
    gradient : float
        That gradient, kg/m3 per m, positive where water is denser below.
    top, bottom : float
        Of the metalimnion: the water around the thermocline in which the gradient reaches the
        threshold.
    mixed : float
        Depth of the mixed layer.
    """

    state: State
    thermocline: float = np.nan
    gradient: float = np.nan
    top: float = np.nan
    bottom: float = np.nan
    mixed: float = np.nan


def find_layering(
    depth: np.ndarray, temperature: np.ndarray, *, threshold: float = GRADIENT, span: float = SPAN
) -> Layering:
    """Find the thermocline, the metalimnion and the mixed layer of a profile.

    Parameters
    ----------
    depth : (n,) array
        Below the surface, m, ascending.
    temperature : (n,) array
        Degrees Celsius.
    threshold : float
        Least gradient of layered water, kg/m3 per m.
    span : float
        Between readings closer together than this the gradient is taken over this depth around
        their middle, m.

    Returns
    -------
    Layering
        Its thermocline lies between the two readings around the greatest gradient: moved from
        their middle towards the neighbour of the greater gradient, as the top of a parabola
        through three equal layers is.

    Notes
    -----
    Density is linear between readings. Where a layer that reaches the threshold borders on one
    that does not, the metalimnion ends where the gradient passes the threshold on a straight line
    from half of the thinner of the two layers above their border to as much below. The mixed
    layer reaches to where the water is 0.1 kg/m3 denser than at the shallowest reading (Wilson et
    al. 2020, Hydrology and Earth System Sciences 24:5559, from memory), or to the deepest reading.
    """
    if len(depth) < 2:
        return Layering("one depth")
    density = water_density(temperature)
    gradient = _gradients(depth, density, span)
    mixed = _mixed_layer(depth, density)
    steepest = int(gradient.argmax())
    greatest = float(gradient[steepest])
    inverse = temperature[0] < min(_DENSEST, temperature[-1] - _INVERSE)
    if greatest < threshold:
        return Layering("inverse" if inverse else "mixed", gradient=greatest, mixed=mixed)
    place = _refined(depth, gradient, steepest)
    bottom = _end(depth, gradient, steepest, threshold)
    top = -_end(-depth[::-1], gradient[::-1], len(gradient) - 1 - steepest, threshold)
    state: State = "inverse" if inverse else "stratified"
    return Layering(state, place, greatest, min(top, place), max(bottom, place), mixed)


def _gradients(depth: np.ndarray, density: np.ndarray, span: float) -> np.ndarray:
    """Gradient between each reading and the next, over a span at least (or the whole profile)."""
    middle = (depth[:-1] + depth[1:]) / 2
    half = np.maximum(np.diff(depth), span) / 2
    upper, lower = np.maximum(middle - half, depth[0]), np.minimum(middle + half, depth[-1])
    change = np.interp(lower, depth, density) - np.interp(upper, depth, density)
    return np.asarray(change / (lower - upper))


def _refined(depth: np.ndarray, gradient: np.ndarray, at: int) -> float:
    """Depth of the greatest gradient, in its layer."""
    middle, height = (depth[at] + depth[at + 1]) / 2, depth[at + 1] - depth[at]
    if not 0 < at < len(gradient) - 1:
        return float(middle)
    above, here, below = gradient[at - 1 : at + 2]
    if (bend := 2 * here - above - below) == 0:
        return float(middle)
    return float(middle + height * (below - above) / (2 * bend))


def _end(depth: np.ndarray, gradient: np.ndarray, at: int, threshold: float) -> float:
    """Where, going on from a layer, the gradient first falls below the threshold."""
    beyond = np.flatnonzero(gradient[at:] < threshold)
    if not len(beyond):
        return float(depth[-1])
    k = at + int(beyond[0])
    half = min(depth[k + 1] - depth[k], depth[k] - depth[k - 1]) / 2
    share = (gradient[k - 1] - threshold) / (gradient[k - 1] - gradient[k])
    return float(depth[k] - half + 2 * half * share)


def _mixed_layer(depth: np.ndarray, density: np.ndarray) -> float:
    limit = density[0] + MIXED_STEP
    beyond = np.flatnonzero(density > limit)
    if not len(beyond):
        return float(depth[-1])
    k = int(beyond[0])
    share = (limit - density[k - 1]) / (density[k] - density[k - 1])
    return float(depth[k - 1] + share * (depth[k] - depth[k - 1]))
