"""Bands: the figures of a water over the draws of its bed, and how much of it data support."""

import math

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Tin
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume, summed

__all__ = ["drawn_measures", "standard_deviation", "unsupported_shares"]


def drawn_measures(bed: Tin, edge: float) -> dict[str, np.ndarray]:
    """Measure each draw of a bed.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    edge : float
        Depth of the level to which the water is measured, m.

    Returns
    -------
    dict of (k,) arrays
        Those figures of the morphometry that the depth has a part in, by measure.

    Raises
    ------
    LayerError
        If the bed has no draws.
    """
    from toolbox.volume.kernels import sum_steepness

    area, volume = (values[:, 0] for values in drawn_area_and_volume(bed, np.array([edge])))
    several = [
        (depths.max(axis=1) - edge, sum_steepness(bed.vertices, bed.triangles, depths))
        for depths in bed.drawn()
    ]
    deepest, steep = (np.concatenate(parts) for parts in zip(*several, strict=True))
    return {
        "water area": area,
        "volume": volume,
        "greatest depth": deepest,
        "mean depth": volume / area,
        "volume development": 3 * volume / area / deepest,
        "relative depth": 50 * deepest * np.sqrt(np.pi / area),
        "mean slope": np.degrees(np.arctan(steep / bed.areas().sum())),
    }


def standard_deviation(values: np.ndarray) -> float:
    """Return the standard deviation of draws (k,); NaN of a single one."""
    return float(values.std(ddof=1)) if len(values) > 1 else math.nan


def unsupported_shares(bed: Tin, edge: float, least_support: float) -> tuple[float, float]:
    """Return the shares of area and volume over triangles that no data support.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    edge : float
        Depth of the level to which the water is measured, m.
    least_support : float
        What the mean support of a triangle's corners must reach, 0 to 1.

    Returns
    -------
    area, volume : float
        0 to 1.

    Raises
    ------
    LayerError
        If the bed does not know its support.
    """
    if bed.support is None:
        raise LayerError("the bed has no support: only a fitted bed tells its own error")
    level = np.array([edge])
    bare = bed.support[bed.triangles].mean(axis=1) < least_support
    parts = summed(bed.ground_areas()[bare], bed.triangles[bare], bed.depth, level)
    whole = area_and_volume(bed, level)
    area, volume = (float(part[0] / all_[0]) for part, all_ in zip(parts, whole, strict=True))
    return area, volume
