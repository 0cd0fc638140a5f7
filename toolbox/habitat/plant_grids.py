"""Plants as rasters: canopy height, cover and the share of the water they take up."""

from typing import Annotated

import numpy as np

from toolbox.bed.gridding import grid_bed
from toolbox.habitat.plants import PlantReadings, inhabited, plants_of
from toolbox.layers import Grid, Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool

__all__ = [
    "REACH",
    "cell_centres",
    "near_means",
    "plant_cover_grid",
    "plant_height_grid",
    "plant_volume_grid",
]

REACH = 15.0
"""Distance up to which a reading of plants speaks for the bed, m (common practice, no source)."""

_NEAREST = 16
_TOGETHER = 50_000  # cells: enough work at once, and little memory


@tool("Canopy height")
def plant_height_grid(
    bed: Tin,
    plants: Vectors,
    *,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    reach: Annotated[float, Range("m", above=0)] = REACH,
) -> Grid:
    """Grid how tall plants stand.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    plants : Vectors
        Points with ``height_m`` and ``cover_percent`` (such as plant readings), or polygons with
        them (such as plant beds).
    cell : float, optional
        Width of a cell; if left out, as for the depth grid.
    reach : float
        Distance up to which a point speaks for the bed; farther from all, nothing is told.

    Returns
    -------
    Grid
        Mean height of the plants where they stand, m, at most the depth; 0 on bare bed; empty
        where nobody looked and outside the water.

    Raises
    ------
    LayerError
        If the layers lie in different CRS, or plants are neither points nor polygons.

    Notes
    -----
    Of points, the mean of up to 16 nearest within `reach`, weighed by 1 / (distance^2 + half a
    cell^2) and by their cover. A cell takes what holds at its centre, and outside of polygons the
    bed is bare.
    """
    depth, _, height = _painted(bed, plants, cell, reach)
    return depth.of(np.minimum(height, np.maximum(depth.values, 0)), "plant_height", "m")


@tool("Plant cover")
def plant_cover_grid(
    bed: Tin,
    plants: Vectors,
    *,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    reach: Annotated[float, Range("m", above=0)] = REACH,
) -> Grid:
    """Grid how much of the bed is grown over.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    plants : Vectors
        Points or polygons with ``cover_percent``. Of points that tell a height alone, those with
        plants count as wholly grown over.
    cell : float, optional
        Width of a cell; if left out, as for the depth grid.
    reach : float
        Distance up to which a point speaks for the bed; farther from all, nothing is told.

    Returns
    -------
    Grid
        Cover, per cent; 0 on bare bed; empty where nobody looked and outside the water.

    Raises
    ------
    LayerError
        If the layers lie in different CRS, or plants are neither points nor polygons.

    Notes
    -----
    Of points, the weighed mean of up to 16 nearest within `reach`, as of the canopy height.
    """
    depth, cover, _ = _painted(bed, plants, cell, reach)
    return depth.of(cover, "plant_cover", "%")


@tool("Water taken up by plants")
def plant_volume_grid(
    bed: Tin,
    plants: Vectors,
    *,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    reach: Annotated[float, Range("m", above=0)] = REACH,
) -> Grid:
    """Grid the per cent of the water column that plants take up (PVI).

    Parameters
    ----------
    bed : Tin
        The lake bed.
    plants : Vectors
        Points or polygons with ``height_m`` and ``cover_percent``.
    cell : float, optional
        Width of a cell; if left out, as for the depth grid.
    reach : float
        Distance up to which a point speaks for the bed; farther from all, nothing is told.

    Returns
    -------
    Grid
        Cover times height of plants over the depth of the bed at the datum, per cent; 0 on bare
        bed; empty where nobody looked, outside the water and at the very edge, where the depth is
        0.

    Raises
    ------
    LayerError
        If the layers lie in different CRS, or plants are neither points nor polygons.

    Notes
    -----
    Plants taller than the water count up to its surface, so that nothing exceeds 100.

    References
    ----------
    Canfield et al. 1984, Canadian Journal of Fisheries and Aquatic Sciences 41:497 (from memory).
    """
    depth, cover, height = _painted(bed, plants, cell, reach)
    return depth.of(inhabited(cover, height, depth.values), "plant_volume", "%")


def _painted(
    bed: Tin, plants: Vectors, cell: float | None, reach: float
) -> tuple[Grid, np.ndarray, np.ndarray]:
    """Return depth, cover (per cent) and height of plants (m) on cells, NaN where not told."""
    check_same_crs(bed=bed, plants=plants)
    told, depth = plants_of(plants), grid_bed(bed, cell=cell)
    centres = cell_centres(depth)
    if isinstance(told, PlantReadings):
        found = near_means(told, centres, reach, depth.cell / 2)
    else:
        found = told.at(centres)[1:]
    cover, height = np.full((2, *depth.shape), np.nan)
    wet = ~np.isnan(depth.values)
    cover[wet], height[wet] = found
    return depth, cover, height


def cell_centres(grid: Grid) -> np.ndarray:
    """Return the centres of the cells that hold a value, (n, 2), row by row, m."""
    row, col = np.nonzero(~np.isnan(grid.values))
    left, _, _, top = grid.bounds
    return np.column_stack([left + (col + 0.5) * grid.cell, top - (row + 0.5) * grid.cell])


def near_means(
    readings: PlantReadings, places: np.ndarray, reach: float, blur: float
) -> tuple[np.ndarray, np.ndarray]:
    """Average the readings around places.

    Parameters
    ----------
    readings : PlantReadings
        What was read.
    places : (p, 2) array
        Easting and northing, m.
    reach : float
        Distance up to which a reading counts, m.
    blur : float
        Distance within which readings hardly differ in weight, m.

    Returns
    -------
    cover, height : (p,) arrays
        Per cent, and the mean height of the plants where they stand, m: weighed by cover too, 0
        where all is bare. NaN without a reading within `reach`.
    """
    parts = [
        _near(readings, places[at : at + _TOGETHER], reach, blur)
        for at in range(0, len(places), _TOGETHER)
    ]
    cover, height = (np.concatenate(part) for part in zip(*parts, strict=True))
    return cover, height


def _near(
    readings: PlantReadings, places: np.ndarray, reach: float, blur: float
) -> tuple[np.ndarray, np.ndarray]:
    from scipy.spatial import KDTree

    tree, within = KDTree(readings.places), np.nextafter(reach, np.inf)
    nearest = np.arange(1, min(_NEAREST, len(readings.places)) + 1)
    away, number = tree.query(places, k=nearest, distance_upper_bound=within)
    found = np.isfinite(away)
    number = np.where(found, number, 0)
    weight = np.where(found, 1 / (np.where(found, away, 1) ** 2 + blur**2), 0.0)
    grown = weight * readings.cover[number]
    tall = readings.height[number]
    known = np.where(np.isnan(tall), 0.0, grown)
    with np.errstate(invalid="ignore"):
        cover = grown.sum(axis=1) / weight.sum(axis=1)
        height = (known * np.nan_to_num(tall)).sum(axis=1) / known.sum(axis=1)
    return cover, np.where(cover == 0, 0.0, np.where(np.isnan(cover), np.nan, height))
