"""Weighing: sums and means of what was read at depths, by the water and the bed there."""

import numpy as np

from toolbox.water.density import water_density
from toolbox.water.water_layers import Figure, WaterLayers

__all__ = [
    "GRAVITY",
    "HEAT_CAPACITY",
    "bed_mean",
    "heat_content",
    "schmidt_stability",
    "volume_mean",
]

GRAVITY = 9.81
"""m/s2, as Idso's figures are commonly computed (common practice, no source)."""

HEAT_CAPACITY = 4186.0
"""Of fresh water, J/kg/K, near 15 degrees; it is 0.8 % more at 0 and 0.2 % less at 35 degrees."""


def volume_mean(
    layers: WaterLayers, at_edges: np.ndarray, part: np.ndarray | None = None
) -> Figure:
    """Return the mean over the water of what is known at the planes.

    Parameters
    ----------
    layers : WaterLayers
        The water.
    at_edges : (k + 1,) array
        Value at each plane, linear between them; or (k,), the value of each layer.
    part : (k,) array of bool, optional
        Layers to take; all if left out.

    Returns
    -------
    Figure
        NaN where there is no such water, or a value is missing in it.
    """
    taken = np.ones(len(layers.volume), bool) if part is None else part

    def mean(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        value = _in_layers(layers.edges, area, volume, at_edges)
        return _weighted(value[..., taken], volume[..., taken])

    return layers.figure(mean)


def bed_mean(layers: WaterLayers, at_edges: np.ndarray, part: np.ndarray | None = None) -> Figure:
    """Return the mean over the bed, by its area seen from above; as :func:`volume_mean`."""
    taken = np.ones(len(layers.volume), bool) if part is None else part
    whole = len(at_edges) == len(layers.volume)
    value = at_edges if whole else (at_edges[:-1] + at_edges[1:]) / 2

    def mean(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        return _weighted(value[taken], -np.diff(area, axis=-1)[..., taken])

    return layers.figure(mean)


def schmidt_stability(layers: WaterLayers, temperature: np.ndarray) -> Figure:
    """Return the work that would mix the water without adding heat.

    Parameters
    ----------
    layers : WaterLayers
        The water, edges counted from the surface.
    temperature : (k + 1,) array
        At each plane, degrees Celsius.

    Returns
    -------
    Figure
        J for each m2 of the surface; 0 in water of one temperature.

    Notes
    -----
    S = g / A0 times the integral over depth of (z - zv) (rho - rhom) A, with z positive down, zv
    the depth of the centre of the volume and rhom the mean density of the water. Area and density
    are linear within a layer, so that the two layers of a sharp thermocline are met exactly where
    a plane lies on either side of it.

    References
    ----------
    Idso 1973, Limnology and Oceanography 18:681, "On the concept of lake stability",
    doi:10.4319/lo.1973.18.4.0681.
    """
    height = np.diff(layers.edges)
    density = water_density(temperature)

    def stability(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        centre = _centres(layers.edges, area, volume)
        middle = _weighted(centre, volume)[..., None]
        excess = _in_layers(layers.edges, area, volume, density)
        excess = excess - _weighted(excess, volume)[..., None]
        within = np.diff(density) * height / 12  # of the slope of the density inside a layer
        work = (volume * (excess * (centre - middle) + within)).sum(axis=-1)
        return np.asarray(GRAVITY * work / area[..., 0])

    return layers.figure(stability)


def heat_content(
    layers: WaterLayers, temperature: np.ndarray, reference: float, *, per_area: bool = False
) -> Figure:
    """Return the heat in the water above a reference temperature, J or J/m2.

    Parameters
    ----------
    layers : WaterLayers
        The water.
    temperature : (k + 1,) array
        At each plane, degrees Celsius.
    reference : float
        Temperature at which it is nothing, degrees Celsius.
    per_area : bool
        Whether for each m2 of the surface.

    Returns
    -------
    Figure
        The sum of density, heat capacity (4186 J/kg/K), volume and degrees above the reference.
    """
    warmth = water_density(temperature) * HEAT_CAPACITY * (temperature - reference)

    def heat(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        total = (volume * _in_layers(layers.edges, area, volume, warmth)).sum(axis=-1)
        return np.asarray(total / area[..., 0] if per_area else total)

    return layers.figure(heat)


def _centres(edges: np.ndarray, area: np.ndarray, volume: np.ndarray) -> np.ndarray:
    """Depth of the centre of each layer's water, (..., k).

    Exact for areas that are a parabola of the depth. A layer that holds the deepest point can
    have its water near the top only, hence the limit.
    """
    height, middle = np.diff(edges), (edges[:-1] + edges[1:]) / 2
    lean = height**2 * np.diff(area, axis=-1) / 12
    shift = np.divide(lean, volume, out=np.zeros_like(volume), where=volume > 0)
    return np.clip(middle + shift, edges[:-1], middle)


def _in_layers(
    edges: np.ndarray, area: np.ndarray, volume: np.ndarray, values: np.ndarray
) -> np.ndarray:
    """Mean of each layer's water, (..., k), of values at planes or of layers."""
    if len(values) == volume.shape[-1]:
        return np.broadcast_to(values, volume.shape)
    share = (_centres(edges, area, volume) - edges[:-1]) / np.diff(edges)
    return np.asarray(values[:-1] + share * np.diff(values))


def _weighted(value: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Mean along the last axis, NaN without weight; a value without weight need not be known."""
    total = weight.sum(axis=-1)
    sums = np.where(weight > 0, value * weight, 0.0).sum(axis=-1)
    return np.asarray(np.divide(sums, total, out=np.full_like(sums, np.nan), where=total > 0))
