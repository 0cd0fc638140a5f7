"""Marks: where to put a bait, and how to cast to it."""

from collections import Counter
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.features.bed_features import bed_features
from toolbox.layers import Places, Shoreline, Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.marks.casting import Casts, casts_to
from toolbox.marks.marking import (
    CAUTIONS,
    degrees_of,
    depth_text,
    described,
    fishable,
    layer,
    notes_on,
    trust_text,
    weights_of,
)
from toolbox.marks.pegs import PEG_NOTE, Pegs, place_pegs
from toolbox.marks.ranking import choose, worth
from toolbox.marks.spots import plant_shapes
from toolbox.tool import Range, tool
from toolbox.units import convert

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["marks"]

_FAR = 0.25  # what a cast loses over its reach: a far one is harder to put on its spot
_NAMED = 6  # most pegs named in a note


@tool("Marks to cast at")
def marks(
    bed: Tin,
    shoreline: Shoreline,
    pegs: Places | None = None,
    features: Vectors | None = None,
    exclusions: Vectors | None = None,
    plants: Vectors | None = None,
    *,
    reach: Annotated[float, Range("m", above=0)] = 60.0,
    sector: Annotated[float, Range("degree", above=0, max=360)] = 360.0,
    peg_spacing: Annotated[float, Range("m", above=0)] | None = None,
    clearance: Annotated[float, Range("m", min=0)] = 30.0,
    count: Annotated[int, Range("", min=1, max=1000)] = 20,
    per_peg: Annotated[int, Range("", min=1, max=1000)] = 4,
    apart: Annotated[float, Range("m", min=0)] = 10.0,
    shallowest: Annotated[float, Range("m")] = 0.5,
    deepest: Annotated[float, Range("m")] | None = None,
    off_plants: Annotated[float, Range("m", min=0)] = 1.5,
    declination: Annotated[float, Range("degree", min=-180, max=180)] | None = None,
    wrap_length: Annotated[float, Range("m", above=0)] = 3.6576,
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
    """Rank where to put a bait, and tell how to cast to it.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    shoreline : Shoreline
        The water.
    pegs : Places, optional
        Where one may cast from, with columns ``peg`` or ``name``, and where known ``reach_m``,
        ``sector_from_deg`` and ``sector_to_deg`` (true, clockwise from one to the other). If left
        out, places along the outer bank.
    features : Vectors, optional
        Features of the bed: columns ``kind``, ``feature`` (number), ``relief_m`` and
        ``confidence``. Lines: drop-off lip, drop-off foot, gully axis; polygons: hump, bar, hole,
        plateau, plants; either: change of bottom. Shelves and gullies as polygons are told by
        their lips and axes. If left out, those found on the bed with the usual limits.
    exclusions : Vectors, optional
        Polygons where nobody may fish, which no cast crosses; lines and points, such as overhead
        lines, which every cast keeps clear of, the peg too.
    plants : Vectors, optional
        Further beds of plants, polygons.
    reach : float
        How far a cast may go from pegs that tell no reach (60 m: common practice, no source).
    sector : float
        Width of the sector about the way it faces, of a peg that tells none; 360 is all round.
    peg_spacing : float, optional
        Between pegs along the bank where none are given; if left out, a third of the reach.
    clearance : float
        Least distance of a cast from excluded lines and points, on the ground (30 m: from memory,
        what owners of overhead lines ask of anglers; look up what holds at the water).
    count : int
        Most marks in all.
    per_peg : int
        Most marks from one peg.
    apart : float
        Least distance between two marks, on the ground.
    shallowest : float
        Least depth of a mark below the datum.
    deepest : float, optional
        Greatest depth of a mark below the datum.
    off_plants : float
        Distance from plants at which a mark beside them lies, and that all others keep.
    declination : float, optional
        East of true north, for magnetic bearings; if left out they stay empty.
    wrap_length : float
        Line from one of two sticks to the other (12 ft: common practice, no source).
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
        Points "marks", the best first:

        - ``mark``, its rank, ``peg``, ``kind`` and ``feature``;
        - ``bearing_true_deg`` and ``bearing_magnetic_deg`` from the peg, ``distance_m``,
          ``distance_ft`` and ``distance_wraps`` along the ground;
        - ``depth_m`` below the datum, positive down, the ends of its 90 % band ``depth_low_m,
          depth_high_m``, ``slope_deg``, ``support``;
        - ``relief_m`` and ``confidence`` of the feature: the probability that it is there;
        - ``over_plants_m``: how much of the way back lies over plants;
        - ``score``: weight times confidence times relief / (relief + 1 m), less up to a quarter
          for the distance; 0.6 of it for each mark of its kind that the peg has already;
        - ``easting_m, northing_m, longitude_deg, latitude_deg`` (WGS 84), and the same of its peg,
          ``peg_easting_m`` and so on;
        - ``sentence``: all that in words.

    Raises
    ------
    LayerError
        If layers lie in different CRS, features lack a column or have an unknown kind, or a peg
        lacks what it needs.

    Notes
    -----
    A cast has at most 10 m of bank before it and then keeps 1 m clear of land: it crosses no
    island, and none lands in plants. Weights of zero leave a kind out. What has no relief, as
    plants, counts as 1 m; what has no confidence counts as certain. The bearing and the distance
    are those of the geodesic; the line out is a little longer, by the height of the rod tip and
    the sag.
    """
    check_same_crs(
        bed=bed,
        shoreline=shoreline,
        features=features,
        pegs=pegs,
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
    placed = pegs is None
    if pegs is None:
        pegs = _bank(shoreline, exclusions, peg_spacing or reach / 3, clearance)
    stands = Pegs.of(pegs, shoreline, reach, sector)
    limits = (shallowest, np.inf if deepest is None else deepest)
    spots = fishable(
        bed, features, plants, weights, apart=apart, off_plants=off_plants, depths=limits
    )
    casts = casts_to(spots.places, stands, shoreline, exclusions, clearance=clearance)
    score = worth(spots, weights)[casts.spot]
    score *= 1 - _FAR * casts.distance / stands.reach[casts.peg]
    which, counted = choose(
        score,
        spots,
        casts.spot,
        casts.peg,
        bed.crs,
        count=count,
        per_peg=per_peg,
        apart=apart,
    )
    notes = (PEG_NOTE,) if placed else _idle(stands, casts) + _alike(stands)
    casts = casts.select(which)
    frame = described(bed, spots.select(casts.spot), counted)
    frame = _aimed(frame, casts, stands, declination, wrap_length, bed.crs)
    frame["over_plants_m"] = _over_plants(frame, plant_shapes(features, plants))
    told = [_sentence(dict(row)) for _, row in frame.iterrows()]
    frame["sentence"] = np.array(told, dtype=object)  # text without rows too
    notes += notes_on(frame, features, plants)
    return layer(frame, bed, "marks", notes + CAUTIONS)


def _bank(
    shoreline: Shoreline, exclusions: Vectors | None, spacing: float, clearance: float
) -> Places:
    placed = place_pegs(shoreline, exclusions, spacing=spacing, clearance=clearance).frame
    places = placed[["easting_m", "northing_m"]].to_numpy(float)
    return Places(places, placed[["peg"]], shoreline.crs)


def _aimed(
    frame: "pd.DataFrame",
    casts: Casts,
    pegs: Pegs,
    declination: float | None,
    wrap_length: float,
    crs: Any,
) -> "pd.DataFrame":
    """Put the peg and the way from it before what is said of the spots."""
    import pandas as pd

    turn = np.nan if declination is None else declination
    stands = degrees_of(pegs.places[casts.peg], crs)
    columns = {
        "mark": np.arange(len(frame)) + 1,
        "peg": np.array([pegs.names[peg] for peg in casts.peg], object),
        "bearing_true_deg": casts.bearing,
        "bearing_magnetic_deg": (casts.bearing - turn) % 360,
        "distance_m": casts.distance,
        "distance_ft": convert(casts.distance, "m", "ft"),
        "distance_wraps": casts.distance / wrap_length,
        "peg_easting_m": pegs.places[casts.peg, 0],
        "peg_northing_m": pegs.places[casts.peg, 1],
        "peg_longitude_deg": stands[:, 0],
        "peg_latitude_deg": stands[:, 1],
    }
    return pd.concat([pd.DataFrame(columns), frame], axis=1)


def _over_plants(frame: "pd.DataFrame", plants: Any) -> np.ndarray:
    """How much of the way from the peg lies over plants, on the ground, m."""
    import shapely

    names = (("peg_easting_m", "peg_northing_m"), ("easting_m", "northing_m"))
    ends = np.stack([frame[list(pair)].to_numpy(float) for pair in names], axis=1)
    ways = shapely.linestrings(ends)
    share = shapely.length(shapely.intersection(ways, plants)) / shapely.length(ways)
    return np.asarray(share * frame["distance_m"].to_numpy(float))


def _sentence(row: dict[Any, Any]) -> str:
    magnetic = row["bearing_magnetic_deg"]
    aim = f"{round(row['bearing_true_deg']) % 360} deg true"
    if np.isfinite(magnetic):
        aim += f" ({round(magnetic) % 360} magnetic)"
    text = (
        f"From peg {row['peg']} cast {row['distance_m']:.0f} m ({row['distance_wraps']:.1f} wraps) "
        f"on {aim}: {depth_text(row)}"
    )
    if row["over_plants_m"] >= 1:
        text += f"; {row['over_plants_m']:.0f} m of the way back lies over plants"
    return text + trust_text(row)


def _idle(pegs: Pegs, casts: Casts) -> tuple[str, ...]:
    """Name the pegs from which nothing can be cast to."""
    busy = set(casts.peg.tolist())
    idle = [name for number, name in enumerate(pegs.names) if number not in busy]
    if not idle:
        return ()
    more = "" if len(idle) <= _NAMED else f" and {len(idle) - _NAMED} more"
    noun = "peg" if len(idle) == 1 else "pegs"
    return (f"no feature can be cast to from {noun} {', '.join(idle[:_NAMED])}{more}",)


def _alike(pegs: Pegs) -> tuple[str, ...]:
    """Name the pegs that share a name, so that a sentence does not tell which is meant."""
    alike = [name for name, count in Counter(pegs.names).items() if count > 1]
    if not alike:
        return ()
    more = "" if len(alike) <= _NAMED else f" and {len(alike) - _NAMED} more"
    told = ", ".join(alike[:_NAMED])
    return (f"several pegs are called {told}{more}: tell them apart by their coordinates",)
