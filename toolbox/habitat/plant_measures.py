"""Plant measures: the figures of plants that follow from their means over the bed of each zone."""

from dataclasses import dataclass

import numpy as np

from toolbox.habitat.plant_sums import PlantSums
from toolbox.layers import Tin
from toolbox.water.water_layers import WaterLayers

__all__ = ["UNITS", "ZoneWater", "measures", "with_whole"]

UNITS = {
    "plant_area": "m2",
    "cover": "percent",
    "height": "m",
    "biovolume": "percent",
    "plants_cover": "percent",
    "plants_height": "m",
    "plants_biovolume": "percent",
    "plant_volume": "m3",
    "pvi": "percent",
}
"""Of the figures, in the order of the table."""


@dataclass(frozen=True, eq=False)
class ZoneWater:
    """Bed of depth zones and the water above it up to the datum.

    Parameters
    ----------
    area, water : (z,) or (draws, z) array
        m2 and m3.
    """

    area: np.ndarray
    water: np.ndarray

    @classmethod
    def of_bed(cls, bed: Tin, edges: np.ndarray) -> "tuple[ZoneWater, ZoneWater | None]":
        """Return those of zones between `edges`, (z + 1,) m, and of each draw of the bed."""
        cut = WaterLayers.of_bed(bed, edges)
        drawn = None
        if cut.drawn_area is not None and cut.drawn_volume is not None:
            drawn = cls._between(edges, cut.drawn_area, cut.drawn_volume)
        return cls._between(edges, cut.area, cut.volume), drawn

    @classmethod
    def _between(cls, edges: np.ndarray, area: np.ndarray, volume: np.ndarray) -> "ZoneWater":
        # the layer between two planes, less the water below which the bed is deeper, and the
        # column above the layer
        return cls(-np.diff(area), volume - np.diff(edges * area))

    def turned(self, count: int) -> "ZoneWater":
        """Return `count` of the draws, in turn."""
        turn = np.arange(count) % len(self.area)
        return ZoneWater(self.area[turn], self.water[turn])


def measures(sums: PlantSums, zones: ZoneWater) -> dict[str, np.ndarray]:
    """Return the figures of each zone and then of the whole, (..., z + 1), by name.

    Zones whose sums are NaN have no part in the whole.
    """
    known = ~np.isnan(sums.plants)
    area, water = (with_whole(np.where(known, values, 0.0)) for values in (zones.area, zones.water))
    plants, cover, stand, biovolume = (
        with_whole(np.where(known, values, 0.0) * area[..., :-1])
        for values in (sums.plants, sums.cover, sums.stand, sums.biovolume)
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        return {
            "plant_area": np.where(area > 0, plants, np.nan),
            "cover": 100 * cover / area,
            "height": stand / area,
            "biovolume": 100 * biovolume / area,
            "plants_cover": 100 * cover / plants,
            "plants_height": stand / cover,
            "plants_biovolume": 100 * biovolume / plants,
            "plant_volume": np.where(area > 0, stand, np.nan),
            "pvi": 100 * stand / water,
        }


def with_whole(values: np.ndarray) -> np.ndarray:
    """Append the sum of all zones, (..., z + 1)."""
    return np.concatenate([values, values.sum(axis=-1, keepdims=True)], axis=-1)
