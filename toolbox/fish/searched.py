"""Searched: what each transect holds in each layer of depth, and how much water it searched."""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.fish.beam import Beam, shell_volume, swept_section
from toolbox.fish.sounded import Sounded
from toolbox.layers import Tin
from toolbox.units import round_number
from toolbox.water.water_layers import WaterLayers

__all__ = ["Counting", "LayerWater", "Searched", "fine_edges", "layer_edges"]

Counting = Literal["pings", "traces"]
"""An echo a ping, or a fish a row, however many pings it was in."""

_MOST_LAYERS = 1000

_FINE = 0.5
"""Height within which the beam's widening does not matter, m."""


def layer_edges(
    strata: tuple[float, ...] | None, step: float | None, deepest: float, surface: float
) -> np.ndarray:
    """Return the planes between layers, depths below the datum, m.

    Those of `strata`, or whole multiples of `step` (a round one if None) from the surface to the
    first below `deepest`.
    """
    if strata is not None:
        edges = np.asarray(strata, float)
        if step is not None:
            raise ParameterError("give strata or step, not both")
        if len(edges) < 2 or not (np.diff(edges) > 0).all() or edges[0] < surface:
            raise ParameterError(
                "strata must be two or more depths that ascend from the surface"
                f" ({surface:g} m) down, got {strata}"
            )
        return edges
    if deepest <= surface:
        raise LayerError("the bed is nowhere deeper than the surface, there is no water over it")
    step = step or round_number((deepest - surface) / 10, up=True)
    if (deepest - surface) / step > _MOST_LAYERS:
        raise ParameterError(f"step must give at most {_MOST_LAYERS} layers, got {step:g} m")
    first = math.floor(surface / step + 1e-9) + 1
    last = math.ceil(deepest / step - 1e-9)
    return np.r_[surface, np.round(np.arange(first, max(last, first) + 1) * step, 9)]


def fine_edges(edges: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
    """Cut layers into equal thin ones, and tell which of them each layer is made of.

    A beam is wider at the bottom of a layer than at its top: over a high layer the deeper fish
    would count for more than their share. Thin ones are 0.5 m, or a 200th of the whole if more.
    """
    height = max(_FINE, float(edges[-1] - edges[0]) / 200)
    parts = np.maximum(1, np.ceil(np.diff(edges) / height - 1e-9)).astype(int)
    thin = [
        np.linspace(top, bottom, count, endpoint=False)
        for top, bottom, count in zip(edges[:-1], edges[1:], parts, strict=True)
    ]
    groups = np.split(np.arange(parts.sum()), np.cumsum(parts)[:-1])
    return np.r_[np.concatenate(thin), edges[-1]], groups


@dataclass(frozen=True, eq=False)
class Searched:
    """Counts and water searched, of each transect in each layer.

    Parameters
    ----------
    layer : (e,) array of int
        Of each echo, its layer; -1 where it lies in none, or where the beam cannot tell fish.
    unit : (e,) array of int
        Of each echo, its transect.
    volumes : (n, k) array
        m3: summed over pings, or swept.
    """

    layer: np.ndarray
    unit: np.ndarray
    volumes: np.ndarray

    @classmethod
    def of(
        cls, sounded: Sounded, beam: Beam, edges: np.ndarray, counting: Counting = "pings"
    ) -> "Searched":
        """Sort echoes and searched water into layers between `edges`, depths below the datum, m.

        Raises
        ------
        LayerError
            If traces are counted and the pings do not tell the distance run.
        """
        layer = np.searchsorted(edges, beam.to_depth(sounded.range), side="right") - 1
        inside = sounded.told(beam) & (layer >= 0) & (layer < len(edges) - 1)
        volumes = np.zeros((len(sounded.transects), len(edges) - 1))
        np.add.at(volumes, sounded.unit, _of_pings(sounded, beam, edges, counting))
        return cls(np.where(inside, layer, -1), sounded.unit[sounded.ping], volumes)

    def sums(self, weight: np.ndarray | None = None) -> np.ndarray:
        """Return the echoes of each transect in each layer, or their weights summed, (n, k)."""
        sums = np.zeros(self.volumes.shape)
        kept = self.layer >= 0
        if weight is not None:
            kept &= np.isfinite(weight)
        np.add.at(
            sums, (self.unit[kept], self.layer[kept]), 1.0 if weight is None else weight[kept]
        )
        return sums


def _of_pings(sounded: Sounded, beam: Beam, edges: np.ndarray, counting: Counting) -> np.ndarray:
    """Return the water each ping searches in each layer, (p, k), m3."""
    ranges = np.asarray(beam.to_range(edges))
    near = np.maximum(ranges[:-1], beam.first)
    far = np.maximum(np.minimum(ranges[1:], beam.last(sounded.bed_range)[:, None]), near)
    if counting == "pings":
        return shell_volume(near, far, beam.angle)
    if sounded.step is None:
        raise LayerError("pings need a column 'distance_m' to tell what water traces were swept in")
    step = sounded.step[:, None]
    return swept_section(near, far, beam.angle, step) * step


@dataclass(frozen=True, eq=False)
class LayerWater:
    """Water of each layer: all of it, and where the beam can tell fish.

    Parameters
    ----------
    all : (k,) array
        m3.
    told : (k,) array
        Above the dead zone and below the blind range, m3.
    drawn : (draws, k) array or None
        The same of each draw of the bed.
    whole : float
        Of the lake on the day, m3.
    area : float
        Of its surface on the day, m2.
    """

    all: np.ndarray
    told: np.ndarray
    drawn: np.ndarray | None
    whole: float
    area: float

    @classmethod
    def of(cls, bed: Tin, beam: Beam, edges: np.ndarray, surface: float) -> "LayerWater":
        """Measure the water over a bed between `edges` on a day with its surface at a depth."""
        deepest = max(float(bed.depth.max()), float(edges[-1])) + 1.0
        mean = replace(bed, draws=None)
        lake = WaterLayers.of_bed(mean, np.array([surface, deepest]))
        told, drawn = _below(beam.reach(bed), edges, beam.top)
        return cls(
            _below(mean, edges, surface)[0],
            told,
            drawn,
            float(lake.volume[0]),
            float(lake.area[0]),
        )


def _below(bed: Tin, edges: np.ndarray, top: float) -> tuple[np.ndarray, np.ndarray | None]:
    """Return the water between edges that lies below a depth, and of each draw."""
    lower = edges[edges > top]
    dry = len(edges) - 1 - len(lower)
    if not len(lower):
        return np.zeros(len(edges) - 1), None
    if dry < 0:  # all edges lie below
        lower, dry = edges[1:], 0
        top = edges[0]
    layers = WaterLayers.of_bed(bed, np.r_[top, lower])
    pad = np.zeros(dry)
    if layers.drawn_volume is None:
        return np.r_[pad, layers.volume], None
    missing = np.zeros((len(layers.drawn_volume), dry))
    return np.r_[pad, layers.volume], np.hstack([missing, layers.drawn_volume])
