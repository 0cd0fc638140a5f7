"""Plant looked: on how much of the bed somebody looked for plants, and what covers that."""

from dataclasses import dataclass

import numpy as np

from toolbox.bed.gridding import grid_bed
from toolbox.habitat.plant_grids import cell_centres, near_means
from toolbox.habitat.plant_measures import with_whole
from toolbox.habitat.plants import PlantReadings
from toolbox.layers import Tin

__all__ = ["Looked", "looked_at"]


@dataclass(frozen=True, eq=False)
class Looked:
    """Bed near readings of plants, by depth zone and then of the whole, (z + 1,) each.

    Parameters
    ----------
    area : array
        Bed within reach of a reading, m2.
    cover : array
        Its mean cover, every part of it counting by its area, per cent; NaN where area is 0.
    """

    area: np.ndarray
    cover: np.ndarray


def looked_at(
    told: PlantReadings,
    bed: Tin,
    edges: np.ndarray,
    area: np.ndarray,
    *,
    cell: float,
    reach: float,
) -> Looked:
    """Measure the bed that readings of plants speak for.

    Parameters
    ----------
    told : PlantReadings
        What was read.
    bed : Tin
        The lake bed.
    edges : (z + 1,) array
        Of the depth zones, m, ascending.
    area : (z,) array
        Bed of each zone, m2.
    cell : float
        Width of the cells that are looked up, m.
    reach : float
        Distance up to which a reading speaks for the bed, m.

    Notes
    -----
    A cell has the mean of its nearest readings: ten readings on one spot say no more than one, so
    that a boat or a cast that dwells where plants are does not make more of them.
    """
    depth = grid_bed(bed, cell=cell)
    values = depth.values[~np.isnan(depth.values)]
    zone = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(area) - 1)
    cover, _ = near_means(told, cell_centres(depth), reach, depth.cell / 2)
    known = np.isfinite(cover)
    every, seen = (np.bincount(zone[which], minlength=len(area)) for which in (slice(None), known))
    covered = np.bincount(zone[known], cover[known] / 100, minlength=len(area))
    per_cell = area / np.maximum(every, 1)  # so that cells add up to the bed of their zone
    whole = with_whole(per_cell * seen)
    with np.errstate(invalid="ignore", divide="ignore"):
        return Looked(whole, 100 * with_whole(per_cell * covered) / whole)
