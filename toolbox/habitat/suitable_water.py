"""Suitable water: how much of it each species finds, at what depths, through the season."""

from typing import TYPE_CHECKING, Annotated

from toolbox.errors import LayerError
from toolbox.habitat.intervals import intervals
from toolbox.habitat.species import Species, SpeciesLimits
from toolbox.habitat.water_column import MEASURES, ColumnSeries, moments
from toolbox.habitat.water_of_species import Moment, Water, water_rows
from toolbox.layers import Profiles, Table, Tin
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.water.attenuation import SECCHI_FACTOR, chosen_attenuation

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["chosen_light", "limits_notes", "suitable_water", "suitable_water_of_table"]

_CAUTION = (
    "limits are edges on paper: whether a water is stocked is a matter of permit and of the "
    "judgement of those licensed for it"
)


@tool("Suitable water through the season")
def suitable_water(
    bed: Tin,
    profiles: Profiles,
    species: SpeciesLimits,
    *,
    step_days: Annotated[float, Range("days", min=0.01)] | None = None,
    start: str | None = None,
    end: str | None = None,
    stations: tuple[str, ...] | None = None,
    species_names: tuple[str, ...] | None = None,
    secchi: Annotated[float, Range("m", above=0)] | None = None,
    attenuation: Annotated[float, Range("1/m", above=0)] | None = None,
    carry_down: bool = False,
) -> Table:
    """Measure the water in which all limits of each species hold.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    profiles : Profiles
        Temperature and oxygen over depth, visit by visit.
    species : SpeciesLimits
        What each species needs. Limits on plants and slope concern the bed and are left out here.
    step_days : float, optional
        Moments between the visits too, this many days apart; if left out, the visits alone.
    start : str, optional
        First day, such as 2026-06-01; if left out, the first visit.
    end : str, optional
        Last day; if left out, the last visit.
    stations : tuple of str, optional
        Stations whose profiles count, averaged; all if left out.
    species_names : tuple of str, optional
        The species wanted; all if left out.
    secchi : float, optional
        Depth at which a Secchi disc vanishes, for limits on light.
    attenuation : float, optional
        Attenuation of light instead. With neither, limits on light are unknown.
    carry_down : bool
        Let the deepest reading of a visit stand for all water below it, instead of unknown.

    Returns
    -------
    Table
        One row a species and moment, by species in the order of their file and then by time:
        ``species, time, surface_m`` (depth of that day's surface below the datum);
        ``suitable_volume_m3`` and its share of all water of that day, ``share``;
        ``upper_depth_m, lower_depth_m, thickness_m`` of the thickest suitable layer (depths below
        that day's surface, positive down; empty and 0 where there is none); ``layers``, how many
        there are; ``total_thickness_m`` of all of them; ``upper_limit, lower_limit``, what ends the
        thickest: a measure, ``surface``, ``bed`` or ``unknown``; ``bed_area_m2``, the bed that lies
        within suitable layers, seen from above; ``unknown_volume_m3``, water of which nobody read
        what the species needs, and whose known limits hold. Volume, share and area carry the ends
        of the 90 % band of the bed's draws: ``suitable_volume_low_m3, suitable_volume_high_m3,
        share_low, share_high, bed_area_low_m2, bed_area_high_m2``; empty without draws.
        ``bed_note`` says which limits on the bed the areas leave out, if any.

    Raises
    ------
    LayerError
        If a surface lies below the bed, or the profiles hold neither temperature nor oxygen.
    ParameterError
        If there is no such species or station, a date cannot be read or lies outside the visits,
        or secchi and attenuation are both given.

    Notes
    -----
    The edges of a layer are where the line between two readings crosses a limit, and its volume is
    exact for the bed. Between visits each depth is interpolated in time; nothing is told before the
    first visit or after the last. Water that stood above the mapped shore is not counted, and the
    band is that of the bed alone: profiles and limits have their own error. One profile stands for
    the whole water at its depths: bays and inflows may differ.
    """
    light = chosen_light(secchi, attenuation)
    columns = ColumnSeries.of(profiles, stations=stations, carry_down=carry_down)
    times = moments(columns.times, start, end, step_days)
    return _told(Water.of_bed(bed), columns, times, species.only(species_names), light)


@tool("Suitable water by a table of areas")
def suitable_water_of_table(
    table: Table,
    profiles: Profiles,
    species: SpeciesLimits,
    *,
    step_days: Annotated[float, Range("days", min=0.01)] | None = None,
    start: str | None = None,
    end: str | None = None,
    stations: tuple[str, ...] | None = None,
    species_names: tuple[str, ...] | None = None,
    secchi: Annotated[float, Range("m", above=0)] | None = None,
    attenuation: Annotated[float, Range("1/m", above=0)] | None = None,
    carry_down: bool = False,
) -> Table:
    """Measure suitable water where only a table of areas by depth is at hand.

    Parameters
    ----------
    table : Table
        Columns ``depth_m`` and ``area_m2``, and ``volume_below_m3`` where known.
    profiles : Profiles
        As for the suitable water of a bed.
    species : SpeciesLimits
        As for the suitable water of a bed.
    step_days : float, optional
        Moments between the visits too, this many days apart; if left out, the visits alone.
    start : str, optional
        First day; if left out, the first visit.
    end : str, optional
        Last day; if left out, the last visit.
    stations : tuple of str, optional
        Stations whose profiles count, averaged; all if left out.
    species_names : tuple of str, optional
        The species wanted; all if left out.
    secchi : float, optional
        Depth at which a Secchi disc vanishes, for limits on light.
    attenuation : float, optional
        Attenuation of light instead. With neither, limits on light are unknown.
    carry_down : bool
        Let the deepest reading of a visit stand for all water below it, instead of unknown.

    Returns
    -------
    Table
        Columns and rows as of the suitable water of a bed; without bands.

    Raises
    ------
    LayerError
        If the table is no such table, a surface lies below it, or the profiles hold neither
        temperature nor oxygen.
    ParameterError
        As for the suitable water of a bed.

    Notes
    -----
    Between rows of the table the area is linear, or meets the volumes where they are given.
    """
    light = chosen_light(secchi, attenuation)
    columns = ColumnSeries.of(profiles, stations=stations, carry_down=carry_down)
    times = moments(columns.times, start, end, step_days)
    return _told(Water.of_table(table), columns, times, species.only(species_names), light)


def chosen_light(secchi: float | None, attenuation: float | None) -> float | None:
    """Return the attenuation of light, 1/m; None if neither it nor a Secchi depth is given."""
    if secchi is None and attenuation is None:
        return None
    return chosen_attenuation(secchi, attenuation, SECCHI_FACTOR)


def _told(
    water: Water,
    columns: ColumnSeries,
    times: "pd.DatetimeIndex",
    species: SpeciesLimits,
    light: float | None,
) -> Table:
    frame = water_rows(water, _found(water, columns, times, species, light))
    left_out = {one.name: _left_out(one) for one in species.species}
    frame["bed_note"] = frame["species"].map(left_out).astype(object)
    notes = limits_notes(species, tuple(columns.series), light)
    if high := int((frame["surface_m"] < water.top).sum()):
        notes += (f"{high} rows with water above the mapped shore, which is not counted",)
    if (unknown := frame["unknown_volume_m3"]).any():
        notes += (
            f"at {int((unknown > 0).sum())} of {len(frame)} times of all species there is water of "
            f"which nobody read what the species needs, up to {unknown.max():,.0f} m3: it is not "
            "counted as suitable",
        )
    return Table(frame, "Suitable water", notes)


def _left_out(one: Species) -> str:
    """Say which limits on the bed the bed area of a species leaves out."""
    words = {"plants": "plants", "slope_deg": "slope"}
    limits = [word for measure, word in words.items() if measure in one.measures]
    return f"limits on {' and '.join(limits)} left out" if limits else ""


def _found(
    water: Water,
    columns: ColumnSeries,
    times: "pd.DatetimeIndex",
    species: SpeciesLimits,
    light: float | None,
) -> list[Moment]:
    by_time = [columns.at(time, water.bottom) for time in times]
    for time, column in zip(times, by_time, strict=True):
        if column.surface >= water.bed:
            raise LayerError(
                f"the water surface of {time:%Y-%m-%d} must lie above the deepest bed, at "
                f"{water.bed:g} m, got {column.surface:g} m below the datum"
            )
    return [
        Moment(one.name, time, column.surface, intervals(column, one, attenuation=light))
        for one in species.species
        for time, column in zip(times, by_time, strict=True)
    ]


def limits_notes(
    species: SpeciesLimits,
    read: tuple[str, ...],
    light: float | None,
    *,
    on_bed: tuple[str, ...] = (),
) -> tuple[str, ...]:
    """Say which limits could not be applied, and how far limits may be trusted.

    Parameters
    ----------
    species : SpeciesLimits
        Those asked about.
    read : tuple of str
        Measures that the profiles hold.
    light : float or None
        Attenuation, where known.
    on_bed : tuple of str
        Of plants and slope, those that were applied.
    """
    needed = [(one.name, measure) for one in species.species for measure in one.measures]

    def named(measures: tuple[str, ...]) -> str:
        return ", ".join(dict.fromkeys(name for name, measure in needed if measure in measures))

    notes = species.cautions
    for measure in (name for name in MEASURES if name not in read):
        if names := named((measure,)):
            notes += (Caution(f"nobody read {measure}: unknown for {names}"),)
    if light is None and (names := named(("light",))):
        notes += (Caution(f"limits on light are unknown without secchi or attenuation: {names}"),)
    if names := named(tuple({"plants", "slope_deg"} - set(on_bed))):
        notes += (
            Caution(
                f"suitable water keeps no limits on plants or slope, which are of the bed: {names}"
            ),
        )
    return (*notes, _CAUTION)
