"""Stratification: how each visit found the water layered, and how firmly."""

from typing import Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Profiles, Table, Tin
from toolbox.tool import Range, tool
from toolbox.water.density import outside_density_range
from toolbox.water.rows import banded, notes_of_columns, unread_share
from toolbox.water.thermocline import GRADIENT, SPAN, find_layering
from toolbox.water.water_columns import WaterColumn, cut_at, layers_of_day, water_columns
from toolbox.water.water_layers import WaterLayers
from toolbox.water.weighing import heat_content, schmidt_stability

__all__ = ["stratification"]


@tool("Stratification, stability and heat")
def stratification(
    bed: Tin,
    profiles: Profiles,
    *,
    stations: tuple[str, ...] | None = None,
    threshold: Annotated[float, Range("kg/m3/m", above=0)] = GRADIENT,
    span: Annotated[float, Range("m", above=0)] = SPAN,
    step: Annotated[float, Range("m", above=0)] = 0.25,
    reference: Annotated[float, Range("degC", min=0, max=40)] = 0.0,
) -> Table:
    """Find the thermocline, the metalimnion, the stability and the heat of a water at each visit.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    profiles : Profiles
        Readings of temperature.
    stations : tuple of str, optional
        Stations to use; all if left out.
    threshold : float
        Density gradient from which on water counts as layered: it bounds the metalimnion, and
        water that nowhere reaches it is mixed (0.1 is common practice, no source).
    span : float
        Between readings closer together than this gradients are taken over this depth.
    step : float
        Greatest thickness of the layers in which water is added up.
    reference : float
        Temperature from which heat is counted; 4 for the heat that summer brings to a deep lake.

    Returns
    -------
    Table
        One row a visit by day and time, and last of a day on which several stations were read
        the mean of them, station ``"all"``: ``time, station, surface_m, state, thermocline_m,
        gradient_kg_m3_m, metalimnion_top_m, metalimnion_bottom_m, mixed_layer_m,
        temperature_top_c, temperature_bottom_c, schmidt_stability_j_m2, heat_content_j,
        heat_content_j_m2, unread_share``. Depths are below the surface of that day, whose depth
        below the datum is ``surface_m``. ``state`` is stratified, inverse (colder above), mixed,
        or one depth; the thermocline and the metalimnion are empty where no gradient reaches the
        threshold. A fitted bed adds the ends of the 90 % band of its draws:
        ``schmidt_stability_low_j_m2, schmidt_stability_high_j_m2, heat_content_low_j,
        heat_content_high_j, heat_content_low_j_m2, heat_content_high_j_m2``. ``unread_share`` is
        the share of the water below the deepest reading, for which that reading stands.

    Raises
    ------
    LayerError
        If no temperature was read, or the surface of a day lies below the bed.

    Notes
    -----
    The thermocline is the depth of the greatest density gradient, see
    :func:`toolbox.water.thermocline.find_layering`; the stability is that of Idso, see
    :func:`toolbox.water.weighing.schmidt_stability`. One profile stands for the whole water: a
    tilted thermocline after wind is not seen.
    """
    import pandas as pd

    columns = [c for c in water_columns(profiles, stations) if len(c.readings("temperature_c")[0])]
    if not columns:
        raise LayerError("stratification needs temperatures, and the profiles hold none")
    layers = cut_at(bed, columns, step)
    rows = [_row(layers, column, threshold, span, reference) for column in columns]
    notes = (
        f"density of fresh water, g 9.81 m/s2, heat above {reference:g} C",
        f"layered from a density gradient of {threshold:g} kg/m3/m on",
        *_not_layered(rows),
        *notes_of_columns(bed, layers, columns, "temperature_c"),
        *outside_density_range(profiles.frame["temperature_c"].to_numpy(float)),
    )
    return Table(pd.DataFrame(rows), "Stratification", profiles.notes + notes)


def _row(
    layers: WaterLayers, column: WaterColumn, threshold: float, span: float, reference: float
) -> dict[str, Any]:
    water = layers_of_day(layers, column.surface)
    depth, temperature = column.readings("temperature_c")
    found = find_layering(depth, temperature, threshold=threshold, span=span)
    return {
        "time": column.time,
        "station": column.station,
        "surface_m": column.surface,
        "state": found.state,
        "thermocline_m": found.thermocline,
        "gradient_kg_m3_m": found.gradient,
        "metalimnion_top_m": found.top,
        "metalimnion_bottom_m": found.bottom,
        "mixed_layer_m": found.mixed,
        "temperature_top_c": temperature[0],
        "temperature_bottom_c": temperature[-1],
        **_whole_water(water, column.at("temperature_c", water.edges), reference),
        "unread_share": unread_share(water, column.deepest("temperature_c")),
    }


def _whole_water(water: WaterLayers, at_edges: np.ndarray, reference: float) -> dict[str, Any]:
    heat, each = (
        heat_content(water, at_edges, reference, per_area=per_area) for per_area in (False, True)
    )
    return {
        **banded("schmidt_stability", "j_m2", schmidt_stability(water, at_edges), water),
        **banded("heat_content", "j", heat, water),
        **banded("heat_content", "j_m2", each, water),
    }


def _not_layered(rows: list[dict[str, Any]]) -> tuple[str, ...]:
    if not (count := sum(np.isnan(row["thermocline_m"]) for row in rows)):
        return ()
    return (f"no gradient reaches that in {count} of {len(rows)} rows: no thermocline there",)
