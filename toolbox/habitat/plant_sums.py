"""Plant sums: what readings, or cells of mapped beds, add up to in each depth zone."""

from dataclasses import dataclass

import numpy as np

from toolbox.bed.location import interpolated, locate
from toolbox.habitat.plants import PlantBeds, PlantReadings, inhabited
from toolbox.layers import Tin
from toolbox.layers.geodesy import areal_scale

__all__ = ["PlantSums", "resampled", "sums_of_beds", "sums_of_readings"]

_NAMES = ("plants", "cover", "stand", "biovolume")


@dataclass(frozen=True, eq=False)
class PlantSums:
    """Means over the bed of depth zones, bare bed counted as zeros.

    Parameters
    ----------
    plants : (..., z) array
        Share of the bed with plants.
    cover : (..., z) array
        Share of the bed that is covered.
    stand : (..., z) array
        Cover times height of plants, m: their volume over the area of the bed.
    biovolume : (..., z) array
        Cover times height over depth at each place, as a share.
    """

    plants: np.ndarray
    cover: np.ndarray
    stand: np.ndarray
    biovolume: np.ndarray


def sums_of_readings(
    readings: PlantReadings, depth: np.ndarray, edges: np.ndarray, unit: np.ndarray
) -> np.ndarray:
    """Add up readings by what was read in one go and by depth zone.

    Parameters
    ----------
    readings : PlantReadings
        What was read.
    depth : (n,) array
        Of the bed at each, m.
    edges : (z + 1,) array
        Of the zones, m, ascending; what lies outside is left out.
    unit : (n,) array of int
        Line or cluster of each, counted from 0.

    Returns
    -------
    (units, z, 5) array
        Readings, those with plants, and sums of cover (share), cover times height (m) and
        biovolume (share).
    """
    zones, units = len(edges) - 1, int(unit.max()) + 1
    zone = np.searchsorted(edges, depth, side="right") - 1
    inside = (zone >= 0) & (zone < zones)
    cell = (unit * zones + zone)[inside]
    cover, height = readings.cover / 100, np.minimum(readings.height, np.maximum(depth, 0))
    values = np.column_stack([np.ones(len(depth)), *_values(cover, height, depth)])[inside]
    sums = [np.bincount(cell, column, minlength=units * zones) for column in values.T]
    return np.stack(sums, axis=-1).reshape(units, zones, 5)


def _values(cover: np.ndarray, height: np.ndarray, depth: np.ndarray) -> tuple[np.ndarray, ...]:
    stand = np.where(cover == 0, 0.0, cover * height)
    with np.errstate(invalid="ignore"):
        share = inhabited(cover, height, depth)
    # at the very edge, where there is no depth, plants fill what water there is
    share = np.where(cover == 0, 0.0, np.where(depth > 0, share, cover))
    return (cover != 0).astype(float), cover, stand, share  # an unknown cover is some


def resampled(sums: np.ndarray, resamples: int, seed: int) -> tuple[PlantSums, PlantSums]:
    """Return the means of readings, and those of lines drawn again with replacement.

    Parameters
    ----------
    sums : (units, z, 5) array
        As :func:`sums_of_readings` gives them.
    resamples : int
        How many times lines are drawn.
    seed : int
        Of the draws.

    Returns
    -------
    found, drawn : PlantSums
        Of (z,) and (resamples, z); NaN in a zone without readings. Where a draw misses a zone, it
        has there what was found.

    Notes
    -----
    One line fewer is drawn than there are, without which the draws would differ too little.

    References
    ----------
    Rao and Wu 1988, Journal of the American Statistical Association 83:231 (from memory).
    """
    units = len(sums)
    rng = np.random.default_rng(seed)
    again = rng.multinomial(max(1, units - 1), np.full(units, 1 / units), size=resamples)
    whole, again = sums.sum(axis=0), np.tensordot(again.astype(float), sums, axes=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        found, drawn = whole[..., 1:] / whole[..., :1], again[..., 1:] / again[..., :1]
    drawn = np.where(again[..., :1] > 0, drawn, found)
    return _named(found), _named(drawn)


def _named(values: np.ndarray) -> PlantSums:
    return PlantSums(**{name: values[..., k] for k, name in enumerate(_NAMES)})


def sums_of_beds(
    beds: PlantBeds, bed: Tin, centres: np.ndarray, edges: np.ndarray
) -> tuple[PlantSums, PlantSums | None]:
    """Average mapped beds of plants over the cells of each depth zone.

    Parameters
    ----------
    beds : PlantBeds
        Outlines.
    bed : Tin
        The lake bed.
    centres : (n, 2) array
        Of all cells of the water.
    edges : (z + 1,) array
        Of the zones, m, ascending.

    Returns
    -------
    found, drawn : PlantSums, and PlantSums or None
        Of (z,), and of (draws, z) for each draw of the bed; 0 in a zone without a cell.
    """
    inside, cover, height = beds.at(centres)
    cover = cover / 100
    area = 1 / areal_scale(bed.crs, centres)  # of cells of one size
    located = locate(bed.vertices, bed.triangles, centres)

    def averaged(depth: np.ndarray) -> np.ndarray:
        bin_of = np.searchsorted(edges, depth, side="right")  # the first and last lie outside
        grown = _values(
            cover[inside], np.minimum(height, np.maximum(depth, 0))[inside], depth[inside]
        )
        bins = len(edges) + 1
        cells = np.bincount(bin_of, area, bins)[1:-1, None]
        sums = [np.bincount(bin_of[inside], area[inside] * v, bins)[1:-1] for v in grown]
        return np.stack(sums, axis=-1) / np.where(cells > 0, cells, 1)

    found = averaged(interpolated(bed.depth, bed.triangles, located))
    if bed.draws is None:
        return _named(found), None
    drawn = [
        averaged(depth)
        for depths in bed.drawn()
        for depth in interpolated(depths.T, bed.triangles, located).T
    ]
    return _named(found), _named(np.array(drawn))
