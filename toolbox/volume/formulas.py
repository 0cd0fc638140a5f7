"""Formulas: figures of a water from its area, volume, depth and shoreline, nothing else."""

import math
from typing import Any

import numpy as np

__all__ = [
    "basin_permanence",
    "dynamic_ratio",
    "effective_share",
    "hypsographic_exponent",
    "hypsographic_form",
    "regressed_share",
    "relative_depth",
    "volume_development",
    "wave_base",
]

_KM = 1000.0
_FORMS = (
    (0.33, "very convex"),
    (0.67, "convex"),
    (1.0, "slightly convex"),
    (1.33, "linear"),
    (math.inf, "concave"),
)
_TURN = 0.061 * math.log(41)
"""Dynamic ratio below which the formula of the dynamic ratio rises again, which lakes do not."""


def volume_development(mean: Any, deepest: Any) -> Any:
    """Return 3 z_mean / z_max: 1 of a cone, 1.5 of a paraboloid, 3 of a box (Hutchinson 1957)."""
    return 3 * mean / deepest


def hypsographic_exponent(mean: Any, deepest: Any) -> Any:
    """Return q of the curve A(z) = A (1 - z / z_max)^q that has the mean and the greatest depth.

    Its mean depth is z_max / (q + 1): 2 for a cone, 1 for a paraboloid, 0 for a box.
    """
    return deepest / mean - 1


def hypsographic_form(development: float) -> str:
    """Name the form of a basin by its volume development.

    References
    ----------
    Hakanson 1981, A Manual of Lake Morphometry: very convex to 0.33, convex to 0.67, slightly
    convex to 1, linear to 1.33, concave beyond (from memory).
    """
    return next(name for most, name in _FORMS if development <= most)


def relative_depth(deepest: Any, area: Any) -> Any:
    """Return the greatest depth as % of the diameter of a circle of that area (Hutchinson 1957)."""
    return 50 * deepest * np.sqrt(np.pi / area)


def dynamic_ratio(area: Any, mean: Any) -> Any:
    """Return sqrt(A) / z_mean with A in km2 and z_mean in m (Hakanson 1982).

    Parameters are in m2 and m. The inverse is the index of Osgood 1988. Beyond 0.8 waves stir up
    the whole bed at times, below 0.25 slopes shape it more than waves (Bachmann, Hoyer & Canfield
    2000; from memory).
    """
    return np.sqrt(area) / _KM / mean


def basin_permanence(volume: Any, shoreline: Any) -> Any:
    """Return V / L in 1e6 m3 per km, of a volume in m3 and a shoreline in m (Kerekes 1977)."""
    return volume / 1e6 / (shoreline / _KM)


def wave_base(fetch: Any) -> Any:
    """Return the depth down to which waves move fine sediment, m, of an effective fetch in m.

    Notes
    -----
    45.7 F / (21.4 + F) with F in km. Of a water as a whole F is taken as sqrt(A).

    References
    ----------
    Hakanson & Jansson 1983, Principles of Lake Sedimentology (from memory).
    """
    reach = fetch / _KM
    return 45.7 * reach / (21.4 + reach)


def regressed_share(area: Any, mean: Any, deepest: Any) -> Any:
    """Return the share of bed under erosion and transport, %, by a regression; it may leave 0-100.

    Parameters
    ----------
    area : float or array
        Of the water, m2.
    mean, deepest : float or array
        Mean and greatest depth, m.

    Returns
    -------
    float or array
        52.0 (sqrt(A) / z_max - 0.2) (z_max / (3 z_mean)) log10(60.6 z_mean / sqrt(A)) + 19.3 with A
        in km2.

    References
    ----------
    Hakanson 1981, Canadian Journal of Earth Sciences 18:899: nine Swedish lakes, r = 0.93.
    """
    side = np.sqrt(area) / _KM
    open_ = 52.0 * (side / deepest - 0.2) * (deepest / (3 * mean))
    return open_ * np.log10(60.6 * mean / side) + 19.3


def effective_share(ratio: Any) -> Any:
    """Return the share of bed under erosion and transport, %, of a dynamic ratio; it may pass 100.

    Notes
    -----
    25 DR 41^(0.061 / DR). It is least, 15.4, at a ratio of 0.2265 and rises again below, as lakes
    do not: there the least is returned.

    References
    ----------
    Hakanson & Jansson 1983, Principles of Lake Sedimentology (from memory): 15 to 100 %, the latter
    at a ratio of 3.8.
    """
    held = np.maximum(ratio, _TURN)
    return 25 * held * 41 ** (0.061 / held)
