"""Water of species: volumes and areas of suitable layers, moment by moment."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.habitat.intervals import BED, UNKNOWN, Interval, above_bed
from toolbox.layers import Table, Tin
from toolbox.water.water_layers import WaterLayers

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Moment", "Water", "water_rows"]

_BEYOND = 1.0  # m below all bed, so that bed that lies level at its deepest is above it


@dataclass(frozen=True, eq=False)
class Water:
    """What holds the water.

    Parameters
    ----------
    cut : callable
        Cuts it at depths below the datum.
    top, bed, bottom : float
        Depths of the mapped shore (minus infinity where there is none), of the deepest bed, and
        below all bed and all its draws, m.
    """

    cut: Callable[[np.ndarray], WaterLayers]
    top: float
    bed: float
    bottom: float

    @classmethod
    def of_bed(cls, bed: Tin) -> "Water":
        """Take the water over a bed."""
        deepest = float(bed.depth.max())
        drawn = deepest if bed.draws is None else max(deepest, float(bed.draws.max()))
        top = -np.inf if bed.shore_depth is None else bed.shore_depth
        return cls(lambda edges: WaterLayers.of_bed(bed, edges), top, deepest, drawn + _BEYOND)

    @classmethod
    def of_table(cls, table: Table) -> "Water":
        """Take the water that a table of ``depth_m`` and ``area_m2`` describes."""
        depth = table.column("depth_m")
        top, deepest = float(depth.min()), float(depth.max())
        return cls(
            lambda edges: WaterLayers.of_table(table, edges), top, deepest, deepest + _BEYOND
        )

    def ends(self, layer: Interval, surface: float) -> tuple[float, float]:
        """Return the depths below the datum between which a layer lies, nowhere above the shore.

        A layer that no limit ends above the bed goes on below all bed.
        """
        upper, lower = layer.upper + surface, layer.lower + surface
        if lower >= self.bed and layer.lower_limit in (BED, UNKNOWN):
            lower = self.bottom
        return max(upper, self.top), max(lower, self.top)


@dataclass(frozen=True)
class Moment:
    """A species at a moment, and its intervals below a surface at a depth below the datum."""

    species: str
    time: "pd.Timestamp"
    surface: float
    found: list[Interval]


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Depths below the datum between which there is water of a row."""

    row: np.ndarray
    upper: np.ndarray
    lower: np.ndarray
    rows: int

    @classmethod
    def of(cls, several: list[list[tuple[float, float]]]) -> "_Pieces":
        row = np.repeat(np.arange(len(several)), [len(pieces) for pieces in several])
        flat = [piece for pieces in several for piece in pieces]
        upper, lower = np.array(flat, float).reshape(-1, 2).T
        return cls(row, upper, lower, len(several))

    def sums(self, edges: np.ndarray, below: np.ndarray) -> np.ndarray:
        """Sum what lies between their depths, of what lies below edges, (..., k): (..., rows)."""
        upper, lower = np.searchsorted(edges, self.upper), np.searchsorted(edges, self.lower)
        total = np.zeros((*below.shape[:-1], self.rows))
        np.add.at(total.T, self.row, (below[..., upper] - below[..., lower]).T)
        return total


def water_rows(water: Water, moments: list[Moment]) -> "pd.DataFrame":
    """Measure the layers of each moment.

    Parameters
    ----------
    water : Water
        What is cut.
    moments : list of Moment
        With intervals down to the water's bottom.

    Returns
    -------
    DataFrame
        One row a moment, columns as of :func:`toolbox.habitat.suitable_water.suitable_water`.
    """
    import pandas as pd

    suitable, unknown, whole = (
        _Pieces.of([pick(one, water) for one in moments]) for pick in (_suitable, _unknown, _whole)
    )
    parts = [depths for part in (suitable, unknown, whole) for depths in (part.upper, part.lower)]
    edges = np.unique(np.concatenate(parts))
    layers = water.cut(edges)
    volume = _volumes(edges, layers.volume, layers.drawn_volume, suitable, whole)
    spare = unknown.sums(edges, _below(layers.volume))
    return pd.DataFrame(
        {
            "species": [one.species for one in moments],
            "time": pd.DatetimeIndex([one.time for one in moments]),
            "surface_m": [one.surface for one in moments],
            **volume,
            **pd.DataFrame([_thickest(one, water) for one in moments]),
            **_banded("bed_area", "_m2", edges, layers.area, layers.drawn_area, suitable),
            "unknown_volume_m3": spare,
        }
    )


def _suitable(one: Moment, water: Water) -> list[tuple[float, float]]:
    return [water.ends(part, one.surface) for part in one.found if part.known]


def _unknown(one: Moment, water: Water) -> list[tuple[float, float]]:
    return [water.ends(part, one.surface) for part in one.found if not part.known]


def _whole(one: Moment, water: Water) -> list[tuple[float, float]]:
    return [(max(one.surface, water.top), water.bottom)]


def _below(volume: np.ndarray) -> np.ndarray:
    """Return the volumes below each edge, (..., k + 1), of those between edges, (..., k)."""
    below = np.cumsum(volume[..., ::-1], axis=-1)[..., ::-1]
    return np.concatenate([below, np.zeros((*volume.shape[:-1], 1))], axis=-1)


def _volumes(
    edges: np.ndarray,
    volume: np.ndarray,
    drawn: np.ndarray | None,
    suitable: _Pieces,
    whole: _Pieces,
) -> dict[str, np.ndarray]:
    """Volumes of suitable water and their shares of all water, with their bands."""

    def both(volumes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        below = _below(volumes)
        found, all_ = suitable.sums(edges, below), whole.sums(edges, below)
        return found, np.divide(found, all_, out=np.zeros_like(found), where=all_ > 0)

    values = both(volume)
    bands = [None, None] if drawn is None else both(drawn)
    return {
        **_columns("suitable_volume", "_m3", values[0], bands[0]),
        **_columns("share", "", values[1], bands[1]),
    }


def _banded(
    name: str,
    unit: str,
    edges: np.ndarray,
    below: np.ndarray,
    drawn: np.ndarray | None,
    pieces: _Pieces,
) -> dict[str, np.ndarray]:
    spread = None if drawn is None else pieces.sums(edges, drawn)
    return _columns(name, unit, pieces.sums(edges, below), spread)


def _columns(
    name: str, unit: str, values: np.ndarray, drawn: np.ndarray | None
) -> dict[str, np.ndarray]:
    low, high = np.full((2, len(values)), np.nan) if drawn is None else band(drawn)
    return {f"{name}{unit}": values, f"{name}_low{unit}": low, f"{name}_high{unit}": high}


def _thickest(one: Moment, water: Water) -> dict[str, Any]:
    """Tell the thickest suitable layer, and how many there are."""
    layers = above_bed([part for part in one.found if part.known], water.bed - one.surface)
    best = max(layers, key=lambda layer: layer.thickness, default=None)
    return {
        "upper_depth_m": best.upper if best else np.nan,
        "lower_depth_m": best.lower if best else np.nan,
        "thickness_m": best.thickness if best else 0.0,
        "layers": len(layers),
        "total_thickness_m": sum(layer.thickness for layer in layers),
        "upper_limit": best.upper_limit if best else "",
        "lower_limit": best.lower_limit if best else "",
    }
