"""Cleaning: soundings that cannot be right are flagged with a reason, never deleted."""

from dataclasses import replace
from typing import Annotated

import numpy as np

from toolbox.layers import Shoreline, Soundings, Table
from toolbox.layers.crs import check_same_crs
from toolbox.notes import Assumption
from toolbox.reduction.contradictions import reject_wrong_stretches
from toolbox.reduction.echoes import reject_double_echoes, reject_plant_tops, reject_spikes
from toolbox.reduction.overrides import apply_overrides
from toolbox.reduction.planes import reject_lone_outliers
from toolbox.reduction.readings import (
    reject_duplicates,
    reject_no_bottom,
    reject_out_of_range,
    zeros,
)
from toolbox.reduction.standing import reject_stationary
from toolbox.reduction.stretches import loose
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["clean", "reject_outside"]

OUTSIDE = "outside the water"

_ASHORE = 10.0
"""How far from the shore a reading of it may lie, m: the error of a handheld receiver under trees
(common practice, no source)."""

_Depth = Annotated[float, Range("m")]


@tool("Soundings cleaned")
def clean(
    soundings: Soundings,
    shoreline: Shoreline | None = None,
    overrides: Table | None = None,
    *,
    status: str | None = None,
    min_depth: _Depth | None = None,
    max_depth: _Depth | None = None,
    sigmas: Annotated[float, Range("", above=0)] = 4.0,
) -> Soundings:
    """Flag all soundings that cannot be right, each with its first reason.

    Parameters
    ----------
    soundings : Soundings
        The survey: the more of its lines, the better they can judge each other.
    shoreline : Shoreline, optional
        The water they should lie in.
    overrides : Table, optional
        What a person keeps and rejects, see `apply_overrides`.
    status : str, optional
        Column in which the instrument says A for a valid reading.
    min_depth : float, optional
        Least depth that is possible.
    max_depth : float, optional
        Greatest depth that is possible.
    sigmas : float
        How many times the line's own roughness is out of the line, see `reject_spikes`.

    Returns
    -------
    Soundings
        As many as before, in the same order, with the same depths.

    Raises
    ------
    LayerError
        If the layers lie in different CRS, or the overrides do not fit.
    ParameterError
        If there is no such column, or no depth between the limits.

    Notes
    -----
    In this order, so that no tool judges by what an earlier one has rejected: what a person
    rejects; outside the water; no bottom; out of range; duplicates; repeated positions; double
    echoes, plant tops and spikes along the line; points of no line unlike those around them;
    stretches that are double echoes or contradict other lines. At the end a person's list is
    applied once more, and overrides everything.

    Zeros at points of no line are kept, as lists give the shore so; a note counts those that lie
    more than 10 m away from it.
    """
    if overrides is not None:
        notes = soundings.notes
        soundings = Soundings(apply_overrides(soundings, overrides).frame, notes)
    if shoreline is not None:
        soundings = reject_outside(soundings, shoreline)
    soundings = reject_no_bottom(soundings, status=status)
    soundings = reject_out_of_range(soundings, min_depth=min_depth, max_depth=max_depth)
    soundings = reject_stationary(reject_duplicates(soundings))
    soundings = reject_double_echoes(soundings, sigmas=sigmas)
    soundings = reject_plant_tops(soundings, sigmas=sigmas)
    soundings = reject_spikes(soundings, sigmas=sigmas)
    soundings = reject_wrong_stretches(reject_lone_outliers(soundings))
    if overrides is not None:
        soundings = apply_overrides(soundings, overrides)
    return soundings if shoreline is None else _zeros_told(soundings, shoreline)


def _zeros_told(soundings: Soundings, shoreline: Shoreline) -> Soundings:
    """Tell of zeros at single points that were kept, but do not lie at the shore."""
    import shapely

    zero = np.flatnonzero(zeros(soundings) & loose(soundings) & ~soundings.flag)
    places = soundings.coordinates[zero]
    places = places[np.isfinite(places).all(axis=1)]
    edge = shoreline.polygons.boundary
    off = int((shapely.distance(edge, shapely.points(places)) > _ASHORE).sum())
    if not off:
        return soundings
    note = Assumption(
        f"{counted(off, 'reading')} of zero at single points over {_ASHORE:g} m from the shore "
        "taken for ground at the surface; if a sonar gave zero for no bottom, a column line or "
        "cast must say which cast each is of, or the zeros be taken out"
    )
    return replace(soundings, notes=(*soundings.notes, note))


@tool("Reject soundings outside the water")
def reject_outside(soundings: Soundings, shoreline: Shoreline) -> Soundings:
    """Flag the soundings that lie on land, on an island or on another water.

    Parameters
    ----------
    soundings : Soundings
        Points to judge.
    shoreline : Shoreline
        The water they should lie in.

    Returns
    -------
    Soundings
        As many as before; those outside carry the reason "outside the water".

    Raises
    ------
    LayerError
        If the layers lie in different CRS.

    Notes
    -----
    A sounding exactly on the water's edge counts as outside: the depth there is the shoreline's.
    """
    check_same_crs(shoreline=shoreline, soundings=soundings)
    place = soundings.coordinates
    known = np.isfinite(place).all(axis=1)
    return soundings.reject(known & ~shoreline.contains(place), OUTSIDE)
