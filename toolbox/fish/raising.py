"""Raising: from counts over searched water to all the water in which fish could be told."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from toolbox.fish.estimators import (
    densities,
    effective_freedom,
    effective_units,
    jackknife,
    log_interval,
    raised,
    variance_of,
)
from toolbox.fish.searched import LayerWater
from toolbox.water.water_layers import Figure

__all__ = ["Raised"]


@dataclass(frozen=True, eq=False)
class Raised:
    """What is counted (fish, kilograms), raised to the water of layers.

    Parameters
    ----------
    counts, volumes : (n, k) array
        Of each transect in each layer; m3 searched.
    water : LayerWater
        Of the layers.
    """

    counts: np.ndarray
    volumes: np.ndarray
    water: LayerWater

    @cached_property
    def density(self) -> np.ndarray:
        """Of each layer, (k,), per m3; NaN where none was searched."""
        return densities(self.counts, self.volumes)

    @property
    def known(self) -> np.ndarray:
        """Water of each layer for which the count stands, (k,), m3."""
        return np.where(np.isnan(self.density), 0.0, self.water.told)

    def figure(self, layers: np.ndarray) -> tuple[Figure, float]:
        """Return what some layers hold together, with its 90 % interval, and its sd.

        NaN if none of them was searched.
        """
        if np.isnan(self.density[layers]).all():
            return Figure(np.nan), np.nan
        total = float(raised(self.density, self.water.told)[layers].sum())
        units = effective_units(self.volumes[:, layers], self.water.told[layers])
        variances = (self._sampling(layers, total), self._of_water(layers))
        draws = 2 if self.water.drawn is None else len(self.water.drawn)
        freedom = effective_freedom(variances, (max(units - 1, 1), max(draws - 1, 1)))
        variance = sum(variances)
        return log_interval(total, variance, freedom), float(np.sqrt(variance))

    @cached_property
    def _left_out(self) -> np.ndarray:
        return jackknife(self.counts, self.volumes, self.water.told)

    def _sampling(self, layers: np.ndarray, total: float) -> float:
        return variance_of(self._left_out[:, layers].sum(axis=1), total)

    def _of_water(self, layers: np.ndarray) -> float:
        drawn = self.water.drawn
        if drawn is None or len(drawn) < 2:
            return 0.0
        return float(raised(self.density, drawn)[:, layers].sum(axis=1).var(ddof=1))
