"""Bands: the figures of a water over the draws of its bed, and how much of it data support."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.errors import LayerError
from toolbox.layers import Tin
from toolbox.volume.formulas import (
    basin_permanence,
    dynamic_ratio,
    hypsographic_exponent,
    relative_depth,
    volume_development,
)
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume, summed

__all__ = [
    "Steepness",
    "band_of_known",
    "depth_figures",
    "drawn_measures",
    "standard_deviation",
    "unsupported_shares",
    "weighted_median",
]

_BINS = 1024


def drawn_measures(
    bed: Tin, edge: float, shoreline: float = math.nan, shelves: dict[str, float] | None = None
) -> dict[str, np.ndarray]:
    """Measure each draw of a bed.

    Parameters
    ----------
    bed : Tin
        A fitted bed.
    edge : float
        Depth of the level to which the water is measured, m.
    shoreline : float
        Length of its outer shore, m.
    shelves : dict of float, optional
        Depths below that level down to which the share of shallow water is told, m, by the name of
        the share.

    Returns
    -------
    dict of (k,) arrays
        Those figures of the morphometry that the depth has a part in, by measure.

    Raises
    ------
    LayerError
        If the bed has no draws.
    """
    from toolbox.volume.kernels.levels import sum_steepness

    shelves = shelves or {}
    levels, place = np.unique(np.r_[0.0, list(shelves.values())], return_inverse=True)
    areas, volumes = drawn_area_and_volume(bed, levels + edge)
    steepness = Steepness.of(bed)
    several = [
        (
            depths.max(axis=1) - edge,
            bed.vertices[depths.argmax(axis=1)],
            sum_steepness(bed.vertices, bed.triangles, depths),
            np.array([steepness.median(depth) for depth in depths]),
        )
        for depths in bed.drawn()
    ]
    deepest, spot, steep, median = (np.concatenate(part) for part in zip(*several, strict=True))
    volume = volumes[:, place[0]]
    return {
        "water area": areas[:, place[0]],
        "volume": volume,
        "greatest depth": deepest,
        "deepest place easting": spot[:, 0],
        "deepest place northing": spot[:, 1],
        "mean slope": np.degrees(np.arctan(steep / bed.areas().sum())),
        "median slope": np.degrees(np.arctan(median)),
        **depth_figures(areas[:, place].T, *_held(volume, deepest), shoreline, tuple(shelves)),
    }


def _held(volume: np.ndarray, deepest: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Leave out draws that hold no water: they have no form."""
    return np.where(deepest > 0, volume, np.nan), np.where(deepest > 0, deepest, np.nan)


def band_of_known(values: np.ndarray) -> tuple[float, float]:
    """Return the ends of the 90 % band of those draws (k,) that have a figure; NaN where none."""
    known = values[np.isfinite(values)]
    low, high = band(known) if len(known) else (math.nan, math.nan)
    return float(low), float(high)


def depth_figures(
    areas: np.ndarray,
    volume: Any,
    deepest: Any,
    shoreline: float,
    shelves: tuple[str, ...],
) -> dict[str, Any]:
    """Compute the figures that follow from areas, volume and greatest depth alone.

    Parameters
    ----------
    areas : (1 + s, ...) array
        Of the water, and of what lies at or deeper than each of the shelves, m2.
    volume, deepest : float or array
        m3 and m.
    shoreline : float
        Length of the outer shore, m; NaN where it is not closed.
    shelves : tuple of str
        What the share of the water above each of them is called.

    Returns
    -------
    dict
        By measure.
    """
    area, mean = areas[0], volume / areas[0]
    ratio = dynamic_ratio(area, mean)
    return {
        "mean depth": mean,
        "volume development": volume_development(mean, deepest),
        "hypsographic exponent": hypsographic_exponent(mean, deepest),
        "relative depth": relative_depth(deepest, area),
        **{name: 1 - deeper / area for name, deeper in zip(shelves, areas[1:], strict=True)},
        "dynamic ratio": ratio,
        "Osgood index": 1 / ratio,
        **({"basin permanence": basin_permanence(volume, shoreline)} if shoreline > 0 else {}),
    }


@dataclass(frozen=True, eq=False)
class Steepness:
    """What makes the steepness of a bed's triangles out of depths.

    Parameters
    ----------
    triangles : (m, 3) array of int
        Vertex numbers.
    sides : (m, 2, 2) array
        Of the second and the third corner, what a metre of depth adds to the rise over run east
        and north.
    areas : (m,) array
        On the map, m2.
    """

    triangles: np.ndarray
    sides: np.ndarray
    areas: np.ndarray

    @classmethod
    def of(cls, bed: Tin) -> "Steepness":
        """Prepare the net of a bed."""
        first, second, third = (bed.vertices[corner] for corner in bed.triangles.T)
        u, v, areas = second - first, third - first, bed.areas()
        sides = np.empty((len(areas), 2, 2))
        sides[:, 0] = np.column_stack([v[:, 1], -v[:, 0]])
        sides[:, 1] = np.column_stack([-u[:, 1], u[:, 0]])
        sides /= (2 * areas)[:, None, None]
        return cls(bed.triangles, sides, areas)

    def median(self, depth: np.ndarray) -> float:
        """Return the rise over run that half of the bed's area does not pass, of depths (n,)."""
        at = depth[self.triangles]
        rise = at[:, 1:] - at[:, :1]
        return weighted_median(np.hypot(*np.einsum("tc,tcd->dt", rise, self.sides)), self.areas)


def weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    """Return the least of values (m,) that, with all below it, holds half of the weight."""
    low, high = float(values.min()), float(values.max())
    if not high > low:
        return high
    # only the bin that holds the median needs sorting
    inside = np.minimum(((values - low) * (_BINS / (high - low))).astype(np.intp), _BINS - 1)
    below = np.bincount(inside, weights, _BINS).cumsum()
    chosen = int(np.searchsorted(below, below[-1] / 2))
    members = np.flatnonzero(inside == chosen)
    order = members[np.argsort(values[members], kind="stable")]
    start = below[chosen - 1] if chosen else 0.0
    at = int(np.searchsorted(start + weights[order].cumsum(), below[-1] / 2))
    return float(values[order[min(at, len(order) - 1)]])


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
