"""Suitable bed: the bed over which water suits a species on one day, as polygons."""

from typing import Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.habitat.intervals import Interval, above_bed, intervals
from toolbox.habitat.species import Species, SpeciesLimits
from toolbox.habitat.suitable_water import chosen_light, limits_notes
from toolbox.habitat.water_column import WaterColumn, column_on
from toolbox.habitat.water_of_species import Water
from toolbox.isobaths.bands import banded
from toolbox.layers import Profiles, Tin, Vectors
from toolbox.tool import Range, tool

__all__ = ["suitable_bed"]

_COLUMNS: dict[str, Any] = {
    "species": str,
    "upper_depth_m": float,
    "lower_depth_m": float,
    "upper_limit": str,
    "lower_limit": str,
    "area_m2": float,
    "area_low_m2": float,
    "area_high_m2": float,
    "share": float,
}


@tool("Suitable bed as polygons")
def suitable_bed(
    bed: Tin,
    species: SpeciesLimits,
    profiles: Profiles | None = None,
    *,
    species_names: tuple[str, ...] | None = None,
    date: str | None = None,
    stations: tuple[str, ...] | None = None,
    secchi: Annotated[float, Range("m", above=0)] | None = None,
    attenuation: Annotated[float, Range("1/m", above=0)] | None = None,
    carry_down: bool = False,
) -> Vectors:
    """Outline the bed over which the water suits each species.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    species : SpeciesLimits
        What each species needs. Limits on plants and slope are left out: see the grid.
    profiles : Profiles, optional
        Temperature and oxygen over depth. If left out, the surface lies at the datum, and limits on
        them are unknown.
    species_names : tuple of str, optional
        The species wanted; all if left out.
    date : str, optional
        Day or time to take the profiles at, such as 2026-07-15; needed if there are several visits.
    stations : tuple of str, optional
        Stations whose profiles count, averaged; all if left out.
    secchi : float, optional
        Depth at which a Secchi disc vanishes, for limits on light.
    attenuation : float, optional
        Attenuation of light instead. With neither, limits on light are unknown.
    carry_down : bool
        Let the deepest reading of a visit stand for all water below it, instead of unknown.

    Returns
    -------
    Vectors
        ``suitable_bed``, one row a species and layer of suitable water, from the surface down, with
        as many parts as the bed within it has: ``species``; ``upper_depth_m, lower_depth_m`` below
        that day's surface, positive down; ``upper_limit, lower_limit``, what ends the layer;
        ``area_m2`` on the ground, ``share`` of the bed under water that day, and the ends of the
        90 % band of the bed's draws, ``area_low_m2, area_high_m2``, empty without draws.

    Raises
    ------
    LayerError
        If the surface lies below the bed.
    ParameterError
        If there is no such species or station, or the date cannot be read or lies outside the
        visits.

    Notes
    -----
    The edges are isobaths at the depths where a limit is crossed: exact for the bed, and areas are
    those of its triangles. The band is that of the bed alone. Bed nobody knows to be suitable is
    left out.
    """
    import geopandas
    import pandas as pd

    light, water = chosen_light(secchi, attenuation), Water.of_bed(bed)
    column, read = column_on(profiles, date, water.bottom, stations=stations, carry_down=carry_down)
    if column.surface >= water.bed:
        raise LayerError(
            f"the water surface must lie above the deepest bed, at {water.bed:g} m, got "
            f"{column.surface:g} m below the datum"
        )
    chosen = species.only(species_names)
    found = [
        (one.name, *row)
        for one in chosen.species
        for row in _outlined(bed, water, column, one, light)
    ]
    table = pd.DataFrame(found, columns=[*_COLUMNS, "geometry"]).astype(_COLUMNS)  # of no rows too
    frame = geopandas.GeoDataFrame(table, geometry="geometry", crs=bed.crs)
    return Vectors(frame, "suitable_bed", limits_notes(chosen, read, light))


def _outlined(
    bed: Tin, water: Water, column: WaterColumn, one: Species, light: float | None
) -> list[tuple[Any, ...]]:
    """Return the figures and the shape of each layer of suitable water."""
    found = [part for part in intervals(column, one, attenuation=light) if part.known]
    layers = above_bed(found, water.bed - column.surface)
    pairs = [
        (layer, ends)
        for part, layer in zip(found, layers, strict=False)  # those below the bed are gone
        if (ends := water.ends(part, column.surface))[0] < ends[1]
    ]
    levels = np.array([ends for _, ends in pairs]).ravel()
    if not pairs:
        return []
    bands = banded(bed, levels[levels < water.bed])
    shapes = dict(zip(bands.number.tolist(), bands.shapes, strict=True))
    rows = [
        (*_told(layer), *_areas(water, ends, column.surface), shapes.get(2 * number + 1))
        for number, (layer, ends) in enumerate(pairs)
    ]
    return [row for row in rows if row[-1] is not None]


def _told(layer: Interval) -> tuple[float, float, str, str]:
    return layer.upper, layer.lower, layer.upper_limit, layer.lower_limit


def _areas(water: Water, ends: tuple[float, float], surface: float) -> tuple[float, ...]:
    """Return the area of bed between two depths, its band, and its share of all under water."""
    whole = max(surface, water.top)
    edges = np.unique([whole, *ends])
    upper, lower, top = np.searchsorted(edges, [*ends, whole])
    layers = water.cut(edges)
    area = layers.figure(lambda areas, _: areas[..., upper] - areas[..., lower])
    return area.value, area.low, area.high, area.value / float(layers.area[top])
