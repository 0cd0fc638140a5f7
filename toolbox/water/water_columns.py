"""Water columns: what one visit read, put into the water over the bed that day."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles, Tin
from toolbox.layers.profiles import MEASURES
from toolbox.water.series import at_depths
from toolbox.water.water_layers import WaterLayers

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ALL", "WaterColumn", "cut_at", "layers_of_day", "water_columns"]

ALL = "all"
"""Name of the mean of the stations read on one day."""

_HAIR = 1e-6
_MOST_READINGS = 2000


@dataclass(frozen=True, eq=False)
class WaterColumn:
    """Readings of one visit, or of one day at all stations.

    Parameters
    ----------
    time : Timestamp
        UTC.
    station : str
        Its name, or ``"all"``.
    surface : float
        Depth of the surface below the datum, m.
    depth : (n,) array
        Below the surface, m, ascending.
    read : dict of (n,) arrays
        By measure; NaN where not read.
    """

    time: "pd.Timestamp"
    station: str
    surface: float
    depth: np.ndarray
    read: dict[str, np.ndarray]

    def readings(self, measure: str) -> tuple[np.ndarray, np.ndarray]:
        """Return depths and values of what was read of a measure; empty if it was not."""
        known = ~np.isnan(self.read[measure])
        return self.depth[known], self.read[measure][known]

    def at(self, measure: str, wanted: np.ndarray, *, carry_down: bool = True) -> np.ndarray:
        """Return a measure at depths below the surface; NaN where nothing was read."""
        depth, value = self.readings(measure)
        if not len(depth):
            return np.full(np.shape(wanted), np.nan)
        return at_depths(depth, value, wanted, carry_down=carry_down)

    def deepest(self, *measures: str) -> float:
        """Depth of the deepest reading that all of these measures reach, m; NaN if one has none."""
        depths = [self.readings(measure)[0] for measure in measures]
        return float(min(depth[-1] for depth in depths)) if all(map(len, depths)) else np.nan


def water_columns(profiles: Profiles, stations: tuple[str, ...] | None = None) -> list[WaterColumn]:
    """Return the columns of all visits by time, with the mean of each day of several stations.

    Parameters
    ----------
    profiles : Profiles
        Readings.
    stations : tuple of str, optional
        Stations to use; all if left out.

    Returns
    -------
    list of WaterColumn
        By day and time; last of a day on which several stations were read their mean, named
        ``"all"``: at each depth of those that reach it.

    Raises
    ------
    ParameterError
        If there is no such station.
    """
    for name in stations or ():
        if name not in profiles.stations:
            listed = ", ".join(map(repr, profiles.stations))
            raise ParameterError(f"stations must be of {listed}, got {name!r}")
    days: dict[object, list[WaterColumn]] = {}
    for station, time, readings in profiles.visits():
        if stations is None or station in stations:
            column = _of_visit(station, time, readings)
            days.setdefault(time.floor("D"), []).append(column)
    found = []
    for day in sorted(days):  # type: ignore[type-var]
        columns = sorted(days[day], key=lambda column: (column.time, column.station))
        several = len({column.station for column in columns}) > 1
        found += [*columns, _mean(columns)] if several else columns
    return found


def _of_visit(station: str, time: "pd.Timestamp", readings: "pd.DataFrame") -> WaterColumn:
    values = {name: readings[name].to_numpy(float) for name in MEASURES}
    surface = float(readings["surface_m"].mean())
    return WaterColumn(time, station, surface, readings["depth_m"].to_numpy(float), values)


def _mean(columns: list[WaterColumn]) -> WaterColumn:
    depth = np.unique(np.concatenate([column.depth for column in columns]))
    values = {}
    for name in MEASURES:
        read = np.stack([column.at(name, depth, carry_down=False) for column in columns])
        count = (~np.isnan(read)).sum(axis=0)
        values[name] = np.where(count, np.nansum(read, axis=0) / np.maximum(count, 1), np.nan)
    first = columns[0].time
    time = first + sum((column.time - first for column in columns), start=first - first) / len(
        columns
    )
    return WaterColumn(time, ALL, float(np.mean([c.surface for c in columns])), depth, values)


def cut_at(
    bed: Tin, columns: list[WaterColumn], step: float, also: tuple[float, ...] = ()
) -> WaterLayers:
    """Cut the water over a bed once for all days.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    columns : list of WaterColumn
        Of all visits.
    step : float
        Greatest thickness of a layer, m.
    also : tuple of float
        Further planes, depths below the datum, m.

    Returns
    -------
    WaterLayers
        With planes at every whole multiple of `step`, at the surface and the readings of every
        day (the latter unless there are thousands), at the greatest depth of the bed and of its
        draws, and one below, so that a level floor is counted as bed.

    Raises
    ------
    LayerError
        If a day's surface lies below the bed.
    """
    surfaces = np.array([column.surface for column in columns])
    deepest = float(bed.depth.max())
    if not (surfaces < deepest).all():
        wrong = columns[int((surfaces >= deepest).argmax())]
        raise LayerError(
            f"the water surface of {wrong.time:%Y-%m-%d} lies {wrong.surface:g} m below the datum, "
            f"at or below the greatest depth of the bed, {deepest:g} m"
        )
    lowest = deepest if bed.draws is None else max(deepest, float(bed.draws.max()))
    mesh = np.arange(np.floor(surfaces.min() / step), np.ceil(lowest / step) + 2) * step
    read = np.unique(np.concatenate([c.surface + c.depth for c in columns]).round(5))
    read = read[: 0 if len(read) > _MOST_READINGS else None]
    planes = np.unique(np.r_[mesh, surfaces, read[read < lowest], also, deepest, lowest])
    planes = planes[planes >= surfaces.min()]
    return WaterLayers.of_bed(bed, planes[np.r_[True, np.diff(planes) > _HAIR]])


def layers_of_day(layers: WaterLayers, surface: float) -> WaterLayers:
    """Return the layers below a day's surface (one of the planes), their edges counted from it."""
    first = int(np.abs(layers.edges - surface).argmin())
    drawn_area, drawn_volume = layers.drawn_area, layers.drawn_volume
    return WaterLayers(
        layers.edges[first:] - layers.edges[first],
        layers.area[first:],
        layers.volume[first:],
        None if drawn_area is None else drawn_area[:, first:],
        None if drawn_volume is None else drawn_volume[:, first:],
    )
