"""Means: temperature and oxygen of a water at each visit, by its volume and by its bed."""

from typing import Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Profiles, Table, Tin
from toolbox.tool import Range, tool
from toolbox.water.rows import banded, notes_of_columns
from toolbox.water.thermocline import GRADIENT, SPAN, find_layering
from toolbox.water.water_columns import WaterColumn, cut_at, layers_of_day, water_columns
from toolbox.water.water_layers import WaterLayers
from toolbox.water.weighing import bed_mean, volume_mean

__all__ = ["profile_means"]

_MEASURES = ("temperature_c", "oxygen_mg_l")


@tool("Means of temperature and oxygen")
def profile_means(
    bed: Tin,
    profiles: Profiles,
    *,
    stations: tuple[str, ...] | None = None,
    threshold: Annotated[float, Range("kg/m3/m", above=0)] = GRADIENT,
    span: Annotated[float, Range("m", above=0)] = SPAN,
    step: Annotated[float, Range("m", above=0)] = 0.25,
) -> Table:
    """Weigh temperature and oxygen by the water, and by the bed, at their depths.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    profiles : Profiles
        Readings of temperature, oxygen or both.
    stations : tuple of str, optional
        Stations to use; all if left out.
    threshold : float
        Density gradient from which on water counts as layered.
    span : float
        Between readings closer together than this gradients are taken over this depth.
    step : float
        Greatest thickness of the layers in which water is added up.

    Returns
    -------
    Table
        Rows by day and time, and last of a day on which several stations were read the mean of
        them, station ``"all"``; of each visit first the ``whole`` water, then, where it is
        layered, the water ``above`` and ``below`` the thermocline: ``time, station, surface_m,
        part, top_m, bottom_m, volume_m3, bed_area_m2, temperature_c, temperature_bed_c,
        oxygen_mg_l, oxygen_bed_mg_l``. Depths are below the surface of that day. ``_bed`` is the
        mean over the bed that the water touches, by its area seen from above; the others are
        means over the volume. A fitted bed adds the ends of the 90 % band of its draws, such as
        ``volume_low_m3, volume_high_m3, oxygen_low_mg_l, oxygen_bed_low_mg_l``.

    Raises
    ------
    LayerError
        If neither temperature nor oxygen was read, or the surface of a day lies below the bed.

    Notes
    -----
    The mean is the sum of volume times value over the sum of volume; values are linear between
    readings. The deepest reading stands for the water below it. A plain mean of the readings
    counts the little water at the bottom like the much water at the top, and is not given.
    """
    import pandas as pd

    columns = [
        column
        for column in water_columns(profiles, stations)
        if any(len(column.readings(name)[0]) for name in _MEASURES)
    ]
    if not columns:
        raise LayerError("means need temperature or oxygen, and the profiles hold neither")
    planes = [
        find_layering(*column.readings("temperature_c"), threshold=threshold, span=span).thermocline
        for column in columns
    ]
    also = (c.surface + plane for c, plane in zip(columns, planes, strict=True) if plane > 0)
    layers = cut_at(bed, columns, step, tuple(also))
    deepest = float(bed.depth.max())
    rows = [
        row
        for column, plane in zip(columns, planes, strict=True)
        for row in _rows(layers_of_day(layers, column.surface), column, plane, deepest)
    ]
    notes = (
        f"above and below: the thermocline, where the density gradient reaches {threshold:g} "
        "kg/m3/m; without temperatures the whole water only",
        *notes_of_columns(bed, layers, columns, *_MEASURES),
    )
    return Table(pd.DataFrame(rows), "Means of temperature and oxygen", profiles.notes + notes)


def _rows(
    water: WaterLayers, column: WaterColumn, thermocline: float, deepest: float
) -> list[dict[str, Any]]:
    upper = water.middle < thermocline
    bottom = deepest - column.surface
    parts = [("whole", np.ones(len(upper), bool), 0.0, bottom)]
    if not np.isnan(thermocline):
        parts += [("above", upper, 0.0, thermocline), ("below", ~upper, thermocline, bottom)]
    place = {"time": column.time, "station": column.station, "surface_m": column.surface}
    return [
        place | {"part": name, "top_m": top, "bottom_m": end} | _figures(water, column, part)
        for name, part, top, end in parts
    ]


def _figures(water: WaterLayers, column: WaterColumn, part: np.ndarray) -> dict[str, Any]:
    volume = water.figure(lambda area, volume: volume[..., part].sum(axis=-1))
    ground = water.figure(lambda area, volume: -np.diff(area, axis=-1)[..., part].sum(axis=-1))
    found = banded("volume", "m3", volume, water) | banded("bed_area", "m2", ground, water)
    for measure in _MEASURES:
        name, unit = measure.split("_", 1)
        at_edges = column.at(measure, water.edges)
        found |= banded(name, unit, volume_mean(water, at_edges, part), water)
        found |= banded(f"{name}_bed", unit, bed_mean(water, at_edges, part), water)
    return found
