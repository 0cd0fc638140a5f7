"""Oxygen that water holds in balance with the air, and how full of it water is."""

from typing import Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles, Table
from toolbox.tool import Range, tool

__all__ = ["ATMOSPHERE", "oxygen_saturation", "pressure_at", "saturated_oxygen"]

ATMOSPHERE = 1013.25
"""One standard atmosphere, hPa."""

_POWERS = (-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11)
_VAPOUR = (11.8571, -3840.70, -216_961.0)
_THETA = (0.000975, -1.426e-5, 6.436e-8)
_ZERO = 273.15
_RANGE = (0.0, 40.0)
_LAPSE, _POWER = 2.25577e-5, 5.25588


def saturated_oxygen(temperature: np.ndarray, *, pressure: float = ATMOSPHERE) -> np.ndarray:
    """Return the oxygen in fresh water that is in balance with moist air.

    Parameters
    ----------
    temperature : (...) array
        Of the water, degrees Celsius, 0 to 40; beyond that the formula is carried on.
    pressure : float
        Of the air at the water, hPa; not reduced to sea level.

    Returns
    -------
    (...) array
        mg/L.

    Notes
    -----
    At one atmosphere ln C = -139.34411 + 1.575701e5 / T - 6.642308e7 / T^2 + 1.243800e10 / T^3
    - 8.621949e11 / T^4, T in kelvin. At another pressure P (atm) it is C P
    (1 - W / P) (1 - h P) / ((1 - W) (1 - h)) with the pressure of vapour
    ln W = 11.8571 - 3840.70 / T - 216961 / T^2 and h = 0.000975 - 1.426e-5 t + 6.436e-8 t^2, t in
    degrees Celsius (coefficients of W and h from memory).

    References
    ----------
    Benson and Krause 1984, Limnology and Oceanography 29:620, "The concentration and isotopic
    fractionation of oxygen dissolved in freshwater and seawater in equilibrium with the
    atmosphere", doi:10.4319/lo.1984.29.3.0620; in use as method 4500-O of the American Public
    Health Association.

    Examples
    --------
    >>> saturated_oxygen(np.array([0.0, 8.0, 24.0])).round(3).tolist()
    [14.621, 11.843, 8.418]
    """
    t = np.asarray(temperature, float)
    kelvin = t + _ZERO
    whole = np.exp(sum(factor / kelvin**power for power, factor in enumerate(_POWERS)))
    vapour = np.exp(sum(factor / kelvin**power for power, factor in enumerate(_VAPOUR)))
    theta = sum(factor * t**power for power, factor in enumerate(_THETA))
    share = pressure / ATMOSPHERE
    moist = (1 - vapour / share) * (1 - theta * share) / ((1 - vapour) * (1 - theta))
    return np.asarray(whole * share * moist)


def pressure_at(altitude: float) -> float:
    """Return the usual pressure of the air at an altitude, hPa.

    Parameters
    ----------
    altitude : float
        Above sea level, m; to 11,000 m.

    Returns
    -------
    float
        Of the standard atmosphere: 1013.25 (1 - 2.25577e-5 altitude)^5.25588. The weather moves
        the real pressure by some 3 % to either side (common practice, no source).

    References
    ----------
    International Organization for Standardization 1975, ISO 2533, "Standard atmosphere"
    (from memory).

    Examples
    --------
    >>> round(pressure_at(1500.0), 1)
    845.6
    """
    return float(ATMOSPHERE * (1 - _LAPSE * altitude) ** _POWER)


@tool("Oxygen saturation of profiles")
def oxygen_saturation(
    profiles: Profiles,
    *,
    altitude: Annotated[float, Range("m", min=-500, max=9000)] | None = None,
    pressure: Annotated[float, Range("hPa", min=300, max=1100)] | None = None,
) -> Table:
    """Compare the oxygen read with what the water would hold in balance with the air.

    Parameters
    ----------
    profiles : Profiles
        Readings of temperature, and of oxygen where per cent are wanted.
    altitude : float, optional
        Of the water above sea level, from which the usual pressure is taken.
    pressure : float, optional
        Of the air at the water as a barometer shows it, not reduced to sea level; instead of the
        altitude. If both are left out, one atmosphere.

    Returns
    -------
    Table
        One row a reading, by station, time and depth: ``time, station, depth_m, temperature_c,
        oxygen_mg_l, saturated_mg_l, saturation_percent``. Empty where the temperature, or the
        oxygen, was not read.

    Raises
    ------
    ParameterError
        If altitude and pressure are both given.
    LayerError
        If no temperature was read.

    Notes
    -----
    For fresh water, and for the pressure at the surface at every depth: per cent above 100 deep
    down do not mean that bubbles form there. See :func:`saturated_oxygen`.
    """
    if altitude is not None and pressure is not None:
        raise ParameterError("give altitude or pressure, not both")
    frame = profiles.frame
    if frame["temperature_c"].isna().all():
        raise LayerError("saturation needs temperatures, and the profiles hold none")
    air = pressure or pressure_at(altitude or 0.0)
    temperature = frame["temperature_c"].to_numpy(float)
    full = saturated_oxygen(temperature, pressure=air)
    columns = ["time", "station", "depth_m", "temperature_c", "oxygen_mg_l"]
    found = frame[columns].assign(
        saturated_mg_l=full, saturation_percent=100 * frame["oxygen_mg_l"].to_numpy(float) / full
    )
    source = "as given" if pressure else "of the standard atmosphere"
    notes = (f"fresh water, air of {air:.1f} hPa {source}; no salts", *_beyond(temperature))
    return Table(found, "Oxygen saturation", profiles.notes + notes)


def _beyond(temperature: np.ndarray) -> tuple[str, ...]:
    low, high = _RANGE
    if not (count := int(((temperature < low) | (temperature > high)).sum())):
        return ()
    return (f"{count} temperatures lie outside {low:g} to {high:g} C, the range of the saturation",)
