"""Boat: marks anywhere on the water, in the order in which to visit them."""

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.features.bed_features import bed_features
from toolbox.layers import Places, Shoreline, Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.layers.geodesy import bearings, distances
from toolbox.marks.casting import open_spots
from toolbox.marks.marking import (
    CAUTIONS,
    depth_text,
    described,
    fishable,
    layer,
    notes_on,
    trust_text,
    weights_of,
)
from toolbox.marks.ranking import choose, worth
from toolbox.marks.ways import Ways, tour
from toolbox.planning.candidates import BANK, clear_water
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["boat_course", "boat_marks", "boat_start"]

_PASSAGE = "the way goes by the shore alone: shallows, stones and ropes are not looked at"


@tool("Marks for a boat")
def boat_marks(
    bed: Tin,
    shoreline: Shoreline,
    slip: Places | None = None,
    features: Vectors | None = None,
    exclusions: Vectors | None = None,
    plants: Vectors | None = None,
    *,
    clearance: Annotated[float, Range("m", min=0)] = 30.0,
    count: Annotated[int, Range("", min=1, max=200)] = 12,
    apart: Annotated[float, Range("m", min=0)] = 25.0,
    shallowest: Annotated[float, Range("m")] = 0.5,
    deepest: Annotated[float, Range("m")] | None = None,
    off_plants: Annotated[float, Range("m", min=0)] = 1.5,
    weight_drop_off_foot: Annotated[float, Range("", min=0)] = 1.0,
    weight_drop_off_lip: Annotated[float, Range("", min=0)] = 0.8,
    weight_gully: Annotated[float, Range("", min=0)] = 0.8,
    weight_hump_top: Annotated[float, Range("", min=0)] = 0.8,
    weight_hump_side: Annotated[float, Range("", min=0)] = 0.9,
    weight_hole: Annotated[float, Range("", min=0)] = 0.5,
    weight_plateau_edge: Annotated[float, Range("", min=0)] = 0.6,
    weight_plant_edge: Annotated[float, Range("", min=0)] = 1.0,
    weight_bottom_change: Annotated[float, Range("", min=0)] = 0.8,
) -> Vectors:
    """Choose the best marks of the whole water, and put them in the order of a short tour.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    shoreline : Shoreline
        The water.
    slip : Places, optional
        One place, at most 10 m from the water, from which the tour starts and to which it returns.
        If left out, the tour starts at the best mark and ends at another.
    features : Vectors, optional
        Features of the bed, as for marks from the bank; if left out, those found on the bed with
        the usual limits.
    exclusions : Vectors, optional
        Polygons where nobody may fish; lines and points, such as overhead lines, that marks keep
        clear of.
    plants : Vectors, optional
        Further beds of plants, polygons.
    clearance : float
        Least distance of a mark from excluded lines and points, on the ground (30 m: from memory,
        what owners of overhead lines ask of anglers; look up what holds at the water).
    count : int
        Most marks.
    apart : float
        Least distance between two marks, on the ground.
    shallowest : float
        Least depth of a mark below the datum.
    deepest : float, optional
        Greatest depth of a mark below the datum.
    off_plants : float
        Distance from plants at which a mark beside them lies, and that all others keep.
    weight_drop_off_foot : float
        Of the foot of a drop-off (this and all other weights: common practice, no source).
    weight_drop_off_lip : float
        Of the lip of a drop-off, the edge of the shelf.
    weight_gully : float
        Of the axis of a gully.
    weight_hump_top : float
        Of the top of a hump or bar, its highest fifth.
    weight_hump_side : float
        Of the side of a hump or bar, 0.3 to 0.7 of its relief.
    weight_hole : float
        Of the bottom of a hole, its lowest fifth.
    weight_plateau_edge : float
        Of the edge of a plateau.
    weight_plant_edge : float
        Of the edge of plants, where the bed falls away from them.
    weight_bottom_change : float
        Of a change of bottom.

    Returns
    -------
    Vectors
        Points "boat_marks" in the order of the tour: ``mark``, its number along it, ``rank`` by
        score; ``leg_m``, the way over water from the one before (from the slip, or none),
        ``leg_bearing_deg``, the true bearing at which it begins, ``total_m`` so far; what marks
        from the bank have of depth, feature, score and coordinates; ``sentence``.

    Raises
    ------
    LayerError
        If layers lie in different CRS, features lack a column or have an unknown kind, the slip is
        not one place at the water, or the bed has a gap between two marks.

    Notes
    -----
    The boat stays in one part of the water: that of the slip, or else the largest. Ways keep 5 m
    clear of land where the water is wide enough and no mark lies nearer. A closed area is one that
    nobody fishes in; a boat may pass it.
    """
    check_same_crs(
        bed=bed,
        shoreline=shoreline,
        features=features,
        slip=slip,
        exclusions=exclusions,
        plants=plants,
    )
    features = bed_features(bed) if features is None else features
    weights = weights_of(
        drop_off_foot=weight_drop_off_foot,
        drop_off_lip=weight_drop_off_lip,
        gully=weight_gully,
        hump_top=weight_hump_top,
        hump_side=weight_hump_side,
        hole=weight_hole,
        plateau_edge=weight_plateau_edge,
        plant_edge=weight_plant_edge,
        bottom_change=weight_bottom_change,
    )
    start, part = boat_start(slip, shoreline)
    limits = (shallowest, np.inf if deepest is None else deepest)
    spots = fishable(
        bed, features, plants, weights, apart=apart, off_plants=off_plants, depths=limits
    )
    spots = spots.select(open_spots(spots.places, part, exclusions, clearance=clearance))
    every, alone = np.arange(len(spots)), np.zeros(len(spots), int)
    which, score = choose(
        worth(spots, weights), spots, every, alone, bed.crs, count=count, per_peg=count, apart=apart
    )
    chosen = spots.select(which)
    frame = described(bed, chosen, score)
    frame.insert(0, "rank", np.arange(len(frame)) + 1)
    frame = _toured(frame, Ways(bed, part, np.vstack([start, chosen.places])), len(start), bed)
    told = [_sentence(dict(row), len(start)) for _, row in frame.iterrows()]
    frame["sentence"] = np.array(told, dtype=object)  # text without rows too
    notes = (*notes_on(frame, features, plants), _PASSAGE, *CAUTIONS)
    if len(shoreline.polygons.geoms) > 1:
        notes = ("the boat stays in one part of the water", *notes)
    return layer(frame, bed, "boat_marks", notes)


@tool("Course between marks")
def boat_course(
    marks: Vectors, bed: Tin, shoreline: Shoreline, slip: Places | None = None
) -> Vectors:
    """Draw the way of a boat from mark to mark, over water only.

    Parameters
    ----------
    marks : Vectors
        Points, visited in their order.
    bed : Tin
        The lake bed.
    shoreline : Shoreline
        The water.
    slip : Places, optional
        One place, at most 10 m from the water, where the way starts and ends.

    Returns
    -------
    Vectors
        Lines "boat_course", one a leg: ``leg``, its number, and ``length_m`` on the ground.

    Raises
    ------
    LayerError
        If layers lie in different CRS, marks are no points in the water, the slip is not one place
        at the water, or there is no way between two of them.
    """
    import geopandas
    import shapely

    check_same_crs(marks=marks, bed=bed, shoreline=shoreline, slip=slip)
    kinds = set(marks.frame.geometry.geom_type) - {"Point"}
    if kinds:
        raise LayerError(f"marks must be points, got {', '.join(sorted(map(str, kinds)))}")
    start, part = boat_start(slip, shoreline)
    places = np.vstack([start, shapely.get_coordinates(marks.frame.geometry.to_numpy())])
    wet = part.contains(places[len(start) :])
    if not wet.all():
        raise LayerError(f"mark {int(wet.argmin()) + 1} must lie in the part of the water sailed")
    stops = [*range(len(places)), *range(len(start))]
    ways = Ways(bed, part, places)
    found = [ways.way(one, other) for one, other in pairwise(stops)]
    columns = {
        "leg": np.arange(len(found)) + 1,
        "length_m": [_length(way, bed) for way in found],
    }
    lines = [shapely.LineString(way) for way in found]
    frame = geopandas.GeoDataFrame(columns, geometry=lines, crs=bed.crs)
    return Vectors(frame, "boat_course", (_PASSAGE,))


def boat_start(slip: Places | None, shoreline: Shoreline) -> tuple[np.ndarray, Shoreline]:
    """Find where a boat starts, and the part of the water it stays in.

    Parameters
    ----------
    slip : Places or None
        One place, at most 10 m from the water; None for the largest part of the water.
    shoreline : Shoreline
        The water, in the CRS of the slip.

    Returns
    -------
    start : (1 or 0, 2) array
        The nearest place to the slip that a boat can lie at, easting and northing, m.
    part : Shoreline
        Of one polygon.

    Raises
    ------
    LayerError
        If the slip is not one place at the water.
    """
    import shapely

    parts = list(shoreline.polygons.geoms)
    if slip is None:
        largest = max(parts, key=lambda part: part.area)
        return np.empty((0, 2)), replace(shoreline, polygons=shapely.MultiPolygon([largest]))
    if len(slip) != 1 or not np.isfinite(slip.coordinates).all():
        raise LayerError(f"slip must be one place with a position, got {len(slip)} places")
    point = shapely.Point(slip.coordinates[0])
    away = shapely.distance(parts, point)
    if away.min() > BANK:
        raise LayerError(
            f"slip must lie within {BANK:g} m of the water, is {away.min():.1f} m from it"
        )
    part = replace(shoreline, polygons=shapely.MultiPolygon([parts[int(away.argmin())]]))
    way = shapely.shortest_line(clear_water(part), point)
    return shapely.get_coordinates(way)[:1], part


def _toured(frame: "pd.DataFrame", ways: Ways, begun: int, bed: Tin) -> "pd.DataFrame":
    """Put marks in the order of a tour, and before each the way to it."""
    import pandas as pd

    if not len(frame):
        order, legs = np.empty(0, int), []
    else:
        stops = tour(ways.lengths(), back=begun > 0)
        legs = [ways.way(one, other) for one, other in pairwise(stops)]
        order = stops[begun:] - begun
    length = np.r_[[0.0] * (begun == 0), [_length(leg, bed) for leg in legs]][: len(order)]
    heading = np.r_[
        [np.nan] * (begun == 0), [bearings(leg[:1], leg[1:2], bed.crs)[0] for leg in legs]
    ][: len(order)]
    columns = {
        "mark": np.arange(len(order)) + 1,
        "leg_m": length,
        "leg_bearing_deg": heading,
        "total_m": np.cumsum(length),
    }
    ordered = frame.iloc[order].reset_index(drop=True)
    return pd.concat([pd.DataFrame(columns), ordered], axis=1)


def _length(way: np.ndarray, bed: Tin) -> float:
    return float(distances(way[:-1], way[1:], bed.crs).sum())


def _sentence(row: dict[Any, Any], begun: int) -> str:
    where = f"{row['easting_m']:.0f} E {row['northing_m']:.0f} N"
    if np.isfinite(row["latitude_deg"]):
        where = f"{row['latitude_deg']:.6f}, {row['longitude_deg']:.6f}"
    before = f"mark {row['mark'] - 1}" if row["mark"] > 1 else "the slip" if begun else ""
    way = ""
    if before:
        bearing = round(row["leg_bearing_deg"]) % 360
        way = f", {row['leg_m']:.0f} m from {before}, setting out on {bearing} deg true"
    return f"Mark {row['mark']} at {where}{way}: {depth_text(row)}{trust_text(row)}"
