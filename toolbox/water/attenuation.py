"""Attenuation: how fast light is lost on its way down, from a Secchi disc or a light profile."""

import math
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles, Table
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["SECCHI_FACTOR", "attenuation", "chosen_attenuation", "depth_of_light"]

SECCHI_FACTOR = 1.7
"""Attenuation times Secchi depth (Poole & Atkins 1929, from memory)."""

_NAN = math.nan


def depth_of_light(attenuation: Any, share: float) -> Any:
    """Return the depth at which a share of the surface light is left, m.

    Parameters
    ----------
    attenuation : float or array
        Of light, 1/m, positive.
    share : float
        Of the light just below the surface, above 0 and up to 1.

    Returns
    -------
    float or array
        ln(1 / share) / attenuation, m below the water surface.

    Examples
    --------
    >>> round(depth_of_light(0.85, 0.01), 3)
    5.418
    """
    return math.log(1 / share) / attenuation


def chosen_attenuation(secchi: float | None, attenuation: float | None, factor: float) -> float:
    """Return the attenuation that was given, or factor / secchi, 1/m.

    Raises
    ------
    ParameterError
        If neither or both are given.
    """
    if (secchi is None) == (attenuation is None):
        both = f"secchi = {secchi} and attenuation = {attenuation}"
        raise ParameterError(f"give secchi or attenuation, one of them, got {both}")
    return attenuation if attenuation is not None else factor / secchi  # type: ignore[operator]


@tool("Attenuation of light by profile")
def attenuation(
    profiles: Profiles,
    *,
    share: Annotated[float, Range("", above=0, max=1)] = 0.01,
    without_surface: bool = False,
) -> Table:
    """Fit the loss of light with depth, for each visit with light readings.

    Parameters
    ----------
    profiles : Profiles
        With light (``par``) in any unit that grows with it; the same unit within a visit.
    share : float
        Of the light just below the surface, whose depth is told.
    without_surface : bool
        Leave out readings at depth 0: a sensor held in air reads more, since it loses nothing by
        reflection.

    Returns
    -------
    Table
        One row a visit, by station and time: ``station, time, readings`` (those fitted),
        ``left_out``; ``attenuation_per_m``, its standard error ``attenuation_se_per_m`` and the
        ends of its 90 % interval ``attenuation_low_per_m, attenuation_high_per_m``;
        ``light_at_surface`` (of the fit, in the unit of the readings), ``r_squared``;
        ``light_depth_m`` and its interval ``light_depth_low_m, light_depth_high_m``, below the
        water surface; ``reason``: why a visit has no attenuation.

    Raises
    ------
    LayerError
        If no visit read light.

    Notes
    -----
    Least squares of ln(par) on depth: par = par0 exp(-k z). A reading of nothing has no logarithm
    and is left out, and a sensor at its least reading flattens the fit: leave such readings out
    beforehand. The interval is by Student's t and knows only the scatter about the line, no drift
    of sun or cloud; two readings give no error. A low end of 0 or less leaves the light's depth
    without a high end.

    References
    ----------
    Kirk 2011, Light and Photosynthesis in Aquatic Ecosystems, 3rd ed. (exponential loss; from
    memory).
    """
    import pandas as pd

    rows = [
        {"station": station, "time": time} | _fitted(readings, share, without_surface)
        for station, time, readings in profiles.visits()
        if readings["par"].notna().any()
    ]
    if not rows:
        raise LayerError("profiles need light in a column 'par', no visit has any")
    return Table(pd.DataFrame(rows), "Attenuation of light", _notes(rows, share))


def _fitted(readings: "pd.DataFrame", share: float, without_surface: bool) -> dict[str, Any]:
    depth, light = readings["depth_m"].to_numpy(float), readings["par"].to_numpy(float)
    read = ~np.isnan(light)
    good = read & (light > 0) & ~((depth == 0) & without_surface)
    told = {"readings": int(good.sum()), "left_out": int((read & ~good).sum())}
    if good.sum() < 2:
        return told | _empty("fewer than two readings of light")
    fit = _line(depth[good], np.log(light[good]))
    if fit["attenuation_per_m"] <= 0:
        return told | _empty("light does not fall with depth")
    ends = {"": "", "_low": "_high", "_high": "_low"}  # the more is lost, the shallower
    slopes = {end: fit[f"attenuation{of}_per_m"] for end, of in ends.items()}
    depths = {
        f"light_depth{end}_m": depth_of_light(slope, share) if slope > 0 else _NAN
        for end, slope in slopes.items()
    }
    return told | fit | depths | {"reason": ""}


def _line(depth: np.ndarray, logarithm: np.ndarray) -> dict[str, float]:
    """Fit a line; no error from two readings."""
    from scipy.stats import t

    count, away = len(depth), depth - depth.mean()
    spread, high = float(away @ away), logarithm - logarithm.mean()
    slope = float(away @ high) / spread
    rest = high - slope * away
    total, left = float(high @ high), float(rest @ rest)
    error = math.sqrt(left / (count - 2) / spread) if count > 2 else _NAN
    half = error * float(t.ppf(0.95, count - 2)) if count > 2 else _NAN
    return {
        "attenuation_per_m": -slope,
        "attenuation_se_per_m": error,
        "attenuation_low_per_m": -slope - half,
        "attenuation_high_per_m": -slope + half,
        "light_at_surface": math.exp(float(logarithm.mean() - slope * depth.mean())),
        "r_squared": 1 - left / total if total > 0 else _NAN,
    }


_FIGURES = (
    "attenuation_per_m", "attenuation_se_per_m", "attenuation_low_per_m", "attenuation_high_per_m",
    "light_at_surface", "r_squared", "light_depth_m", "light_depth_low_m", "light_depth_high_m",
)  # fmt: skip


def _empty(reason: str) -> dict[str, Any]:
    return dict.fromkeys(_FIGURES, _NAN) | {"reason": reason}


def _notes(rows: list[dict[str, Any]], share: float) -> tuple[str, ...]:
    notes = [f"light depth: where {share:.3g} of the light just below the surface is left"]
    if dark := sum(row["left_out"] for row in rows):
        notes.append(f"{dark} readings of light left out, of nothing or at the surface")
    if bad := sum(row["reason"] != "" for row in rows):
        notes.append(f"{bad} of {len(rows)} visits have no attenuation, see their reason")
    return tuple(notes)
