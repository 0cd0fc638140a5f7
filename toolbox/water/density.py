"""Density of fresh water by its temperature."""

import numpy as np

__all__ = ["DENSITY_RANGE", "outside_density_range", "water_density"]

DENSITY_RANGE = (0.0, 40.0)
"""Temperatures the formula was made for, degrees Celsius."""

_DENSEST, _A2, _A3, _A4, _GREATEST = 3.983035, 301.797, 522_528.9, 69.34881, 999.974950


def water_density(temperature: np.ndarray) -> np.ndarray:
    """Return the density of fresh water at one atmosphere.

    Parameters
    ----------
    temperature : (...) array
        Degrees Celsius, 0 to 40; beyond that the formula is carried on and not to be trusted.

    Returns
    -------
    (...) array
        kg/m3; greatest at 3.983 degrees. Nothing is added for salts, which raise it by roughly
        0.0008 kg/m3 for each mg/L (common practice, no source), nor for the weight of the water
        above. Both hardly change differences between depths, of which stability is made.

    Notes
    -----
    rho = 999.974950 (1 - (t - 3.983035)^2 (t + 301.797) / (522528.9 (t + 69.34881))).

    References
    ----------
    Tanaka, Girard, Davis, Peuto and Bignell 2001, Metrologia 38:301, "Recommended table for the
    density of water between 0 °C and 40 °C based on recent experimental reports",
    doi:10.1088/0026-1394/38/4/3.

    Examples
    --------
    >>> water_density(np.array([0.0, 10.0, 20.0])).round(4).tolist()
    [999.8428, 999.7027, 998.2067]
    """
    t = np.asarray(temperature, float)
    return _GREATEST * (1 - (t - _DENSEST) ** 2 * (t + _A2) / (_A3 * (t + _A4)))


def outside_density_range(temperature: np.ndarray) -> tuple[str, ...]:
    """Return a note on temperatures beyond the formula's range, if there are any."""
    low, high = DENSITY_RANGE
    temperature = np.asarray(temperature, float)
    count = int(((temperature < low) | (temperature > high)).sum())
    if not count:
        return ()
    return (f"{count} temperatures lie outside {low:g} to {high:g} C, the range of the density",)
