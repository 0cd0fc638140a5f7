"""Rows: figures of a visit as columns of a table, and what must be said beside them."""

from typing import Any

import numpy as np

from toolbox.layers import Tin
from toolbox.water.series import NEAR_SURFACE
from toolbox.water.water_columns import WaterColumn, layers_of_day
from toolbox.water.water_layers import Figure, WaterLayers

__all__ = ["banded", "notes_of_columns", "unread_share"]

_LITTLE = 0.0005  # of the water, told as 0.1 %


def banded(name: str, unit: str, figure: Figure, layers: WaterLayers) -> dict[str, Any]:
    """Return a figure as a column, with those of its band where the bed has draws."""
    ends = {f"{name}_low_{unit}": figure.low, f"{name}_high_{unit}": figure.high}
    return {f"{name}_{unit}": figure.value} | ({} if layers.drawn_area is None else ends)


def unread_share(water: WaterLayers, deepest: float) -> float:
    """Return the share of a day's water that lies below a depth, NaN of none."""
    below = np.r_[water.volume[::-1].cumsum()[::-1], 0.0]
    return float(np.interp(deepest, water.edges, below) / below[0])


def notes_of_columns(
    bed: Tin, layers: WaterLayers, columns: list[WaterColumn], *measures: str
) -> tuple[str, ...]:
    """Return what a reader must know of the columns that figures were made of.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    layers : WaterLayers
        The water, with the surfaces of all days among its planes.
    columns : list of WaterColumn
        Of all visits.
    measures : str
        What the figures were made of; visits without it are passed over.

    Returns
    -------
    tuple of str
        On water below the deepest and above the shallowest readings, on surfaces above the
        mapped water's edge, and on the draws.
    """
    notes = []
    for measure in measures:
        name = measure.split("_")[0]
        read = [column for column in columns if len(column.readings(measure)[0])]
        notes += _below(layers, read, name, measure) + _above(read, name, measure)
    edge = bed.shore_depth
    if edge is not None and any(column.surface < edge - 1e-6 for column in columns):
        notes.append("some surfaces lie above the mapped water's edge: banks taken as upright")
    if layers.drawn_area is not None:
        notes.append(f"low and high: 90 % band of {len(layers.drawn_area)} beds drawn")
    return tuple(notes)


def _below(layers: WaterLayers, columns: list[WaterColumn], name: str, measure: str) -> list[str]:
    shares = [
        unread_share(layers_of_day(layers, column.surface), column.deepest(measure))
        for column in columns
    ]
    if not shares or max(shares) < _LITTLE:
        return []
    worst = columns[int(np.argmax(shares))]
    return [
        f"the deepest reading of {name} stands for all water below it: up to {max(shares):.1%} of "
        f"the water ({worst.time:%Y-%m-%d}, deepest at {worst.deepest(measure):g} m)"
    ]


def _above(columns: list[WaterColumn], name: str, measure: str) -> list[str]:
    begins = [column.readings(measure)[0][0] for column in columns]
    if not (count := sum(begin > NEAR_SURFACE for begin in begins)):
        return []
    return [
        f"{count} of {len(columns)} visits have no {name} in the uppermost {NEAR_SURFACE:g} m: "
        "the water above their first reading is not known"
    ]
