"""Water layers: how much water and bed lies between depths, of a bed and of its draws."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.volume.area_curve import AreaCurve
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume

__all__ = ["Figure", "WaterLayers"]


@dataclass(frozen=True)
class Figure:
    """A figure of a water, and the ends of the 90 % band of its draws (NaN without draws)."""

    value: float
    low: float = np.nan
    high: float = np.nan


@dataclass(frozen=True, eq=False)
class WaterLayers:
    """Water cut into layers by level planes.

    Parameters
    ----------
    edges : (k + 1,) array
        Depths of the planes below the datum, m, ascending.
    area : (k + 1,) array
        Of the water at each plane, m2.
    volume : (k,) array
        Between each plane and the next, m3.
    drawn_area, drawn_volume : (draws, k + 1) and (draws, k) array, optional
        The same of each draw of a fitted bed.

    Raises
    ------
    LayerError
        If shapes disagree.
    ParameterError
        If edges do not ascend.
    """

    edges: np.ndarray
    area: np.ndarray
    volume: np.ndarray
    drawn_area: np.ndarray | None = None
    drawn_volume: np.ndarray | None = None

    def __post_init__(self) -> None:
        if len(self.edges) < 2 or not (np.diff(self.edges) > 0).all():
            raise ParameterError("layers need two or more edges that ascend")
        if self.area.shape != self.edges.shape or len(self.volume) != len(self.edges) - 1:
            raise LayerError(f"layers need {len(self.edges)} areas, got {self.area.shape}")

    @classmethod
    def of_bed(cls, bed: Tin, edges: np.ndarray) -> "WaterLayers":
        """Cut the water over a bed: exact for the polyhedron, and for each of its draws.

        `edges` are depths below the datum, m, ascending; the last may lie below the greatest depth.
        """
        edges = np.asarray(edges, float)
        area, volume = area_and_volume(bed, edges)
        if bed.draws is None:
            return cls(edges, area, -np.diff(volume))
        areas, volumes = drawn_area_and_volume(bed, edges)
        return cls(edges, area, -np.diff(volume), areas, -np.diff(volumes, axis=1))

    @classmethod
    def of_table(cls, table: Table, edges: np.ndarray) -> "WaterLayers":
        """Cut the water that a table of ``depth_m`` and ``area_m2`` describes.

        Between rows the area is linear, or such that the volumes of a column ``volume_below_m3``
        are met. Below the last row there is no water: where its area is more than nothing, the
        rest is not counted.
        """
        order = np.argsort(table.column("depth_m"), kind="stable")
        depth, area = table.column("depth_m")[order], table.column("area_m2")[order]
        if "volume_below_m3" in table.frame:
            below = table.column("volume_below_m3")[order]
            curve = AreaCurve.of_layers(depth, area, -np.diff(below), tolerance=0.001)
        else:
            curve = AreaCurve.of_areas(depth, area, rule="trapezoid")
        edges = np.asarray(edges, float)
        inside = np.minimum(edges, depth[-1])
        areas = np.where(edges > depth[-1], 0.0, curve.areas(inside))
        return cls(edges, areas, -np.diff(curve.volumes(inside)))

    @property
    def middle(self) -> np.ndarray:
        """Depth halfway down each layer, (k,), m."""
        return (self.edges[:-1] + self.edges[1:]) / 2

    def figure(self, measure: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> Figure:
        """Return a figure with its band.

        `measure` is given areas (..., k + 1) and volumes (..., k) and returns the figure of each,
        (...,).
        """
        value = float(measure(self.area, self.volume))
        if self.drawn_area is None or self.drawn_volume is None:
            return Figure(value)
        low, high = band(np.asarray(measure(self.drawn_area, self.drawn_volume)))
        return Figure(value, float(low), float(high))
