"""Reading the bed: depth, its band, slope and support at places whose triangles are known."""

from functools import partial

import numpy as np

from toolbox.bed.location import interpolated, locate
from toolbox.bed.uncertainty import depth_band
from toolbox.layers import Tin
from toolbox.layers.geodesy import areal_scale

__all__ = ["bed_at", "depth_at", "directed_slope", "map_scale", "weights_in"]


def depth_at(bed: Tin, places: np.ndarray) -> np.ndarray:
    """Return the depth at places (n, 2), m, positive down; NaN outside the water."""
    return interpolated(bed.depth, bed.triangles, locate(bed.vertices, bed.triangles, places))


def bed_at(bed: Tin, places: np.ndarray, triangle: np.ndarray) -> dict[str, np.ndarray]:
    """Read the bed at places.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    places : (n, 2) array
        Easting and northing, m.
    triangle : (n,) array of int
        The triangle that holds each; -1 outside the water.

    Returns
    -------
    dict of (n,) array
        ``depth_m`` (positive down), ``depth_sd_m``, ``depth_low_m`` and ``depth_high_m`` (90 %
        band), ``slope_deg`` (the steepest, on the ground) and ``support``; NaN outside the water
        and for what the bed does not know.

    Notes
    -----
    The band is the depth and 1.645 sd to either side, or where the bed has draws but no sd their
    5 % and 95 % quantiles; it ends at the depth of the shore, above which is no water.
    """
    inside = triangle >= 0
    located = triangle[inside], weights_in(bed, places[inside], triangle[inside])
    names = ("depth_m", "depth_sd_m", "depth_low_m", "depth_high_m", "slope_deg", "support")
    columns = {name: np.full(len(places), np.nan) for name in names}
    columns["depth_m"][inside] = depth = interpolated(bed.depth, bed.triangles, located)
    if bed.sd is not None:
        columns["depth_sd_m"][inside] = interpolated(bed.sd, bed.triangles, located)
    if bed.support is not None:
        columns["support"][inside] = interpolated(bed.support, bed.triangles, located)
    drawn_alone = bed.sd is None and bed.draws is not None
    sd = None if drawn_alone else columns["depth_sd_m"][inside]
    at = partial(interpolated, triangles=bed.triangles, located=located)
    low, high = depth_band(bed, depth, sd, at)
    columns["depth_low_m"][inside], columns["depth_high_m"][inside] = low, high
    steepness = np.hypot(*_gradient(bed, triangle[inside]).T) * map_scale(bed, places[inside])
    columns["slope_deg"][inside] = np.degrees(np.arctan(steepness))
    return columns


def weights_in(bed: Tin, places: np.ndarray, triangle: np.ndarray) -> np.ndarray:
    """Return the weights of the corners of the triangles that hold places, (n, 3), none below 0."""
    corner = bed.vertices[bed.triangles[triangle]]
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    p = places - corner[:, 0]
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    second = (p[:, 0] * v[:, 1] - p[:, 1] * v[:, 0]) / twice
    third = (u[:, 0] * p[:, 1] - u[:, 1] * p[:, 0]) / twice
    weights = np.maximum(np.column_stack([1 - second - third, second, third]), 0)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def directed_slope(
    bed: Tin, places: np.ndarray, triangle: np.ndarray, ahead: np.ndarray
) -> np.ndarray:
    """Return the slope in a direction (n, 2) of length 1, degrees, positive where it deepens.

    NaN where `triangle` is -1.
    """
    inside, slope = triangle >= 0, np.full(len(places), np.nan)
    rise = (_gradient(bed, triangle[inside]) * ahead[inside]).sum(axis=1)
    slope[inside] = np.degrees(np.arctan(rise * map_scale(bed, places[inside])))
    return slope


def map_scale(bed: Tin, places: np.ndarray) -> np.ndarray:
    """Return how many metres on the map stand for one on the ground, (n,)."""
    return np.sqrt(areal_scale(bed.crs, places))


def _gradient(bed: Tin, triangle: np.ndarray) -> np.ndarray:
    """Return the gradient of the depth on triangles, east and north on the map, (n, 2)."""
    corner, depth = bed.vertices[bed.triangles[triangle]], bed.depth[bed.triangles[triangle]]
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    p, q = depth[:, 1] - depth[:, 0], depth[:, 2] - depth[:, 0]
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    east, north = p * v[:, 1] - q * u[:, 1], q * u[:, 0] - p * v[:, 0]
    return np.column_stack([east, north]) / twice[:, None]
