"""Suitable bed as a grid: the cells on which all limits of a species hold on one day."""

from collections.abc import Iterable
from typing import Annotated, Any

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.habitat.species import Species, SpeciesLimits
from toolbox.habitat.suitable_water import chosen_light, limits_notes
from toolbox.habitat.water_column import MEASURES, ColumnSeries, WaterColumn, column_on
from toolbox.layers import Grid, Profiles
from toolbox.layers.crs import check_same_crs
from toolbox.terrain.slope import slope
from toolbox.tool import Range, tool

__all__ = ["suitable_bed_areas", "suitable_bed_grid"]


@tool("Suitable bed of a species as a grid")
def suitable_bed_grid(
    depth: Grid,
    species: SpeciesLimits,
    profiles: Profiles | None = None,
    plants: Grid | None = None,
    *,
    species_name: str,
    date: str | None = None,
    stations: tuple[str, ...] | None = None,
    secchi: Annotated[float, Range("m", above=0)] | None = None,
    attenuation: Annotated[float, Range("1/m", above=0)] | None = None,
    carry_down: bool = False,
) -> Grid:
    """Mark the bed on which all limits of a species hold.

    Parameters
    ----------
    depth : Grid
        Depth below the datum, m, positive down.
    species : SpeciesLimits
        What each species needs.
    profiles : Profiles, optional
        Temperature and oxygen over depth: what they are at a cell's depth is what they are at its
        bed. If left out, the surface lies at the datum, and limits on them are unknown.
    plants : Grid, optional
        Cover or per cent volume inhabited, on the same cells, in per cent or as a share.
    species_name : str
        Which of the species.
    date : str, optional
        Day or time to take the profiles at, such as 2026-07-15; needed if there are several visits.
    stations : tuple of str, optional
        Stations whose profiles count, averaged; all if left out.
    secchi : float, optional
        Depth at which a Secchi disc vanishes, for limits on light.
    attenuation : float, optional
        Attenuation of light instead.
    carry_down : bool
        Let the deepest reading of a visit stand for all water below it, instead of unknown.

    Returns
    -------
    Grid
        1 where all limits hold, 0 where one does not; NaN outside the water of that day, and where
        no limit is known to fail but nobody knows whether all hold.

    Raises
    ------
    LayerError
        If the grids do not lie on the same cells, or plants are neither per cent nor a share.
    ParameterError
        If there is no such species or station, the date cannot be read or lies outside the visits,
        or a limit needs plants or light that were not given.

    Notes
    -----
    Slope is that of the depth grid, by the method of Horn. A cell counts with the depth of its
    centre. For areas with a band take the suitable bed as polygons, where limits are on depth,
    temperature, oxygen and light alone.
    """
    one = species.of(species_name)
    light = chosen_light(secchi, attenuation)
    _check_given(one, plants, light)
    deepest = float(np.nanmax(depth.values))
    column, read = column_on(profiles, date, deepest, stations=stations, carry_down=carry_down)
    below = depth.values.astype(float) - column.surface
    held = _held(one, _at_bed(one, column, below, light), depth, plants)
    values = np.where(below >= 0, held, np.nan)
    lone = SpeciesLimits((one,), species.notes)
    on_bed = ("plants", "slope_deg")
    notes = depth.notes + limits_notes(lone, read, light, on_bed=on_bed)
    if unknown := int((np.isnan(values) & (below >= 0)).sum()):
        notes += (f"{unknown} cells of water unknown: nobody read what the species needs there",)
    return Grid(values, depth.transform, depth.crs, "suitable_bed", "1", notes)


def suitable_bed_areas(
    depth: Grid,
    one: Species,
    columns: ColumnSeries,
    times: Iterable[Any],
    plants: Grid | None = None,
    *,
    light: float | None = None,
) -> np.ndarray:
    """Measure the bed on which all limits of a species hold, at several times.

    Parameters
    ----------
    depth : Grid
        Depth below the datum, m, positive down.
    one : Species
        What it needs.
    columns : ColumnSeries
        Of the profiles.
    times : iterable of Timestamp
        UTC, between the first and the last visit.
    plants : Grid, optional
        As of :func:`suitable_bed_grid`.
    light : float, optional
        Attenuation of light, 1/m.

    Returns
    -------
    (t,) array
        m2 in plan, of cells whose centre suits; bed of which nobody knows is not counted.

    Raises
    ------
    LayerError
        If the grids do not lie on the same cells.
    ParameterError
        If a limit needs plants or light that were not given.
    """
    _check_given(one, plants, light)
    deepest, known = float(np.nanmax(depth.values)), ~np.isnan(depth.values)
    for margin in _on_bed(one, depth, plants).values():
        known &= margin >= 0
    cells = depth.values[known].astype(float)
    areas = []
    for time in times:
        column = columns.at(time, deepest)
        below = cells - column.surface
        suited = below >= 0
        for margin in _at_bed(one, column, below, light).values():
            suited &= margin >= 0
        areas.append(suited.sum() * depth.cell**2)
    return np.array(areas, float)


def _check_given(one: Species, plants: Grid | None, light: float | None) -> None:
    """Refuse to pass over a limit in silence."""
    if plants is None and "plants" in one.measures:
        raise ParameterError(f"{one.name!r} has limits on plants: give plants, or take them out")
    if light is None and "light" in one.measures:
        raise ParameterError(
            f"{one.name!r} has limits on light: give secchi or attenuation, or take them out"
        )


def _at_bed(
    one: Species, column: WaterColumn, below: np.ndarray, light: float | None
) -> dict[str, np.ndarray]:
    """Return how far each condition on the water is kept at depths below the surface."""
    values = {name: np.interp(below, column.depth, column.measured[name]) for name in MEASURES}
    values["depth_m"] = below
    if light is not None:
        values["light"] = np.exp(-light * below)
    margins = {}
    for name in values:
        least, most = one.range_of(name)
        margins[name] = np.minimum(values[name] - least, most - values[name])
    if one.oxygen_demand is not None:
        needed = one.oxygen_demand.least(values["temperature_c"])
        margins["oxygen_demand"] = values["oxygen_mg_l"] - needed
    return {name: margins[name] for name in margins if name in (*one.measures, "oxygen_demand")}


def _held(
    one: Species, margins: dict[str, np.ndarray], depth: Grid, plants: Grid | None
) -> np.ndarray:
    """Return 1, 0 or NaN for unknown, from all conditions."""
    all_ = np.stack(list((margins | _on_bed(one, depth, plants)).values()))
    unknown = np.where(np.isnan(all_).any(axis=0), np.nan, 1.0)
    return np.where((all_ < 0).any(axis=0), 0.0, unknown)


def _on_bed(one: Species, depth: Grid, plants: Grid | None) -> dict[str, np.ndarray]:
    """Return how far the limits on plants and slope are kept on the cells."""
    margins = {}
    if plants is not None and "plants" in one.measures:
        least, most = one.range_of("plants")
        cover = _per_cent(plants, depth)
        margins["plants"] = np.minimum(cover - least, most - cover)
    if "slope_deg" in one.measures:
        least, most = one.range_of("slope_deg")
        steep = slope(depth).values.astype(float)
        margins["slope_deg"] = np.minimum(steep - least, most - steep)
    return margins


def _per_cent(plants: Grid, depth: Grid) -> np.ndarray:
    check_same_crs(depth=depth, plants=plants)
    if plants.shape != depth.shape or not plants.transform.almost_equals(depth.transform):
        raise LayerError(
            f"depth and plants must lie on the same cells, got {depth.shape} and {plants.shape} "
            f"from {depth.bounds[0]:g}, {depth.bounds[3]:g} and {plants.bounds[0]:g}, "
            f"{plants.bounds[3]:g}"
        )
    factors = {"%": 1.0, "1": 100.0}
    if plants.unit not in factors:
        raise LayerError(f"plants must be in per cent or a share, got unit {plants.unit!r}")
    return plants.values.astype(float) * factors[plants.unit]
