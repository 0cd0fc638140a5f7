"""Measures: what of a water stocking counts by, with bands."""

import math
from typing import Annotated

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Shoreline, Table, Tin
from toolbox.layers.geodesy import distances
from toolbox.stocking.measured import SPECIES_COLUMNS
from toolbox.stocking.suitable import suitable_rows
from toolbox.tool import Range, tool
from toolbox.units import convert
from toolbox.water.water_layers import Figure, WaterLayers
from toolbox.words import counted

__all__ = ["LITTORAL_DEPTH", "layer_rows", "stocking_measures"]

LITTORAL_DEPTH = 4.572
"""15 ft, down to which agencies count the littoral (Minnesota DNR, stocking help page)."""

_DEEP = (2.4384, 3.048)
"""8 and 10 ft, below which ponds are taken to winter fish."""

_SHORE = 0.02
"""Share by which the area of the bed and of the shoreline may differ."""

Row = tuple[str, str, float, float, float, str, str]


@tool("Measures that stocking counts by")
def stocking_measures(
    bed: Tin,
    shoreline: Shoreline,
    suitable: Table | None = None,
    *,
    littoral_depth: Annotated[float, Range("m", above=0)] = LITTORAL_DEPTH,
    lit_depth: Annotated[float, Range("m", above=0)] | None = None,
    deeper_than: Annotated[tuple[float, ...], Range("m", above=0)] = _DEEP,
    suitable_first: str | None = None,
    suitable_last: str | None = None,
) -> Table:
    """Measure what of a water stocking rates count by.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    shoreline : Shoreline
        Its water's edge, for lengths: a map's own detail, not the bed's.
    suitable : Table, optional
        Suitable water of each species: columns ``species`` and ``suitable_volume_m3``,
        ``bed_area_m2`` or both, with ``suitable_volume_low_m3`` and the like, ``bed_note`` (how
        the bed was reckoned) and ``unknown_volume_m3`` where known; these two go to the note. Of
        several rows of a species the least counts: the narrowest time of its season.
    littoral_depth : float
        Depth down to which bed counts as littoral. 4.572 m are the 15 ft of Minnesota's DNR.
    lit_depth : float, optional
        Depth that 1 % of the light at the surface reaches, for the littoral by light.
    deeper_than : tuple of float
        Depths whose deeper water is measured, for wintering.
    suitable_first : str, optional
        Month and day, such as 06-01, before which rows of the suitable table with a ``time`` are
        left out: a fish that wants warm water has no room in April, and is not meant to.
    suitable_last : str, optional
        Month and day after which they are left out.

    Returns
    -------
    Table
        Columns ``measure, species, value, low, high, unit, note``; `low` and `high` are the ends
        of the 90 % band of a fitted bed's draws, empty where the bed has no part in a figure or is
        not fitted. Rows, in order: ``surface area``, ``littoral area``, ``lit area`` (with
        `lit_depth`), ``area deeper than 2.44 m (8.0 ft)`` and so on, ``volume``, ``mean depth``,
        ``greatest depth``, ``shoreline length``, ``island shoreline length``, ``shoreline length
        with islands``; then for each species ``suitable volume`` and ``suitable bed area``.
        Depths count from the mapped water's edge.

    Raises
    ------
    LayerError
        If bed and shoreline are not of one water, or the suitable table cannot be used.
    ParameterError
        If a depth is given twice, or a day cannot be read.
    """
    import pandas as pd

    if len(set(deeper_than)) < len(deeper_than):
        raise ParameterError(f"deeper_than must name each depth once, got {deeper_than}")
    _check_same_water(bed, shoreline)
    edge = bed.shore_depth or 0.0
    depths = {"littoral": littoral_depth} | ({"lit": lit_depth} if lit_depth else {})
    everything = np.unique(np.r_[0.0, list(depths.values()), deeper_than, _bottom(bed) - edge])
    rows = layer_rows(WaterLayers.of_bed(bed, everything + edge), edge, depths, deeper_than)
    rows += [_greatest(bed, edge), *_lengths(shoreline)]
    if suitable is not None:
        rows += suitable_rows(suitable, suitable_first, suitable_last)
    frame = pd.DataFrame(rows, columns=list(SPECIES_COLUMNS))
    return Table(frame, "Measures that stocking counts by", _notes(bed, edge, littoral_depth))


def layer_rows(
    layers: WaterLayers, edge: float, depths: dict[str, float], deeper_than: tuple[float, ...]
) -> list[Row]:
    """Measure areas, volume and mean depth.

    Parameters
    ----------
    layers : WaterLayers
        With an edge at the water's edge and at each of the depths.
    edge : float
        Depth of the water's edge below the datum, m.
    depths : dict of float
        Depth below the water's edge down to which each kind of shallow bed reaches, m.
    deeper_than : tuple of float
        Depths below the water's edge whose deeper water is measured, m.

    Returns
    -------
    list of tuple
        Rows of :func:`stocking_measures`.
    """
    at = {float(depth): place for place, depth in enumerate(np.round(layers.edges - edge, 9))}
    top = at[0.0]
    rows = [_row("surface area", _area(layers, top), "m2", "islands left out")]
    for kind, depth in depths.items():
        shallow = _area(layers, top, at[round(depth, 9)])
        rows.append(_row(f"{kind} area", shallow, "m2", _shallower(kind, depth)))
    for depth in sorted(deeper_than):
        deep = _area(layers, at[round(depth, 9)])
        name = f"area deeper than {depth:.2f} m ({convert(depth, 'm', 'ft'):.1f} ft)"
        rows.append(_row(name, deep, "m2", "from the mapped water's edge"))
    volume = layers.figure(lambda a, v: v[..., top:].sum(axis=-1))
    mean = layers.figure(lambda a, v: v[..., top:].sum(axis=-1) / a[..., top])
    return [
        *rows,
        _row("volume", volume, "m3", "all water"),
        _row("mean depth", mean, "m", "V / A"),
    ]


def _area(layers: WaterLayers, upper: int, lower: int | None = None) -> Figure:
    """Return the area at a plane, less that at a lower one."""
    if lower is None:
        return layers.figure(lambda area, volume: area[..., upper])
    return layers.figure(lambda area, volume: area[..., upper] - area[..., lower])


def _bottom(bed: Tin) -> float:
    """Return the greatest depth of the bed and of all its draws, m."""
    deepest = float(bed.depth.max())
    return deepest if bed.draws is None else max(deepest, float(bed.draws.max()))


def _row(name: str, figure: Figure, unit: str, note: str) -> Row:
    return (name, "", figure.value, figure.low, figure.high, unit, note)


def _shallower(kind: str, depth: float) -> str:
    told = f"bed shallower than {depth:.4g} m ({convert(depth, 'm', 'ft'):.3g} ft)"
    return f"{told}, which 1 % of the light reaches" if kind == "lit" else told


def _greatest(bed: Tin, edge: float) -> Row:
    low = high = math.nan
    if bed.draws is not None:
        ends = band(np.concatenate([part.max(axis=1) for part in bed.drawn()]) - edge)
        low, high = (float(end) for end in ends)
    deepest = float(bed.depth.max()) - edge
    return ("greatest depth", "", deepest, low, high, "m", "deepest vertex of the bed")


def _lengths(shoreline: Shoreline) -> list[Row]:
    import shapely

    inner = sum(_ground(ring, shoreline) for ring in shoreline.islands)
    opened = shoreline.open_edges
    open_edge = sum(_ground(line, shoreline) for line in opened.geoms) if opened else 0.0
    rings = shapely.get_exterior_ring(list(shoreline.polygons.geoms))
    outer = sum(_ground(ring, shoreline) for ring in rings) - open_edge
    told = f"; open edge of {open_edge:.0f} m left out" if open_edge else ""
    lengths = {
        "shoreline length": (outer, f"islands left out{told}"),
        "island shoreline length": (inner, counted(len(shoreline.islands), "island")),
        "shoreline length with islands": (outer + inner, f"both{told}"),
    }
    return [
        (name, "", length, math.nan, math.nan, "m", f"{note}; grows with the map's detail")
        for name, (length, note) in lengths.items()
    ]


def _ground(line: "object", shoreline: Shoreline) -> float:
    import shapely

    places = shapely.get_coordinates(line)
    return float(distances(places[:-1], places[1:], shoreline.crs).sum())


def _check_same_water(bed: Tin, shoreline: Shoreline) -> None:
    if float(bed.depth.max()) <= (bed.shore_depth or 0.0):
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    mapped, netted = shoreline.ground_area(), float(bed.ground_areas().sum())
    if abs(mapped - netted) > _SHORE * mapped:
        raise LayerError(
            f"bed and shoreline must be of one water: the bed has {netted:.6g} m2, "
            f"the shoreline {mapped:.6g} m2"
        )


def _notes(bed: Tin, edge: float, littoral_depth: float) -> tuple[str, ...]:
    notes = [f"littoral: bed shallower than {littoral_depth:.4g} m"]
    at = f"{edge:g} m below the datum" if edge else "at the datum"
    notes.append(f"depths count from the mapped water's edge, {at}")
    if bed.draws is None:
        notes.append("the bed does not know its own error: measures have no bands")
    else:
        notes.append(f"low and high: 90 % band of {bed.draws.shape[1]} beds drawn")
    return tuple(notes)
