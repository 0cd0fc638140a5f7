"""Query: what the bed is at places one asks about, and how much water stands there."""

from functools import partial
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.bed.location import interpolated, locate
from toolbox.bed.uncertainty import depth_band
from toolbox.layers import Places, Soundings, Table, Tin, VertexKind
from toolbox.layers.crs import check_same_crs
from toolbox.layers.geodesy import areal_scale
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["query_bed"]


@tool("Depth at places")
def query_bed(
    bed: Tin,
    places: Places,
    soundings: Soundings | None = None,
    *,
    rises: Annotated[tuple[float, ...], Range("m")] = (),
) -> Table:
    """Tell depth, slope and trust of the bed at places, and the water there at any water level.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    places : Places
        Points, such as docks, pegs and slips, in the CRS of the bed.
    soundings : Soundings, optional
        Those the bed was made from, for the distance to the nearest; flagged ones do not count.
        If left out, the bed's own vertices that are soundings.
    rises : tuple of float
        Water levels to tell the water's depth at, as rises above the datum water level: 0 is the
        datum, negative where the water has fallen.

    Returns
    -------
    Table
        One row a place, in their order: the columns that stood beside it (``given_`` before the
        name of one that is also a result), ``easting_m, northing_m``, then

        - ``depth_m`` below the datum;
        - from a fitted bed ``sd_m``, the ends of the 90 % interval ``depth_low_m,
          depth_high_m``, and ``support`` (1 told by data, 0 by nothing);
        - ``slope_deg``, the steepest of the triangle, on the ground;
        - ``distance_to_sounding_m``, to the nearest, on the map; empty if no sounding is known;
        - for each rise a column such as ``water_at_-1.5_m``: the depth of the water, negative
          where the bed stands dry by so much;
        - ``reason``: why a place has no answer, empty where it has one.

    Raises
    ------
    LayerError
        If the layers lie in different CRS.

    Notes
    -----
    Values are linear over the triangle that holds the place; on an edge either neighbour's agree
    but for the slope, which is that of the one with the lower number. Of a rise the water's depth
    is told within the mapped water only: how far it spreads beyond, nobody measured. The interval
    is the depth and 1.645 sd to either side, or where the bed has draws but no sd their 5 % and
    95 % quantiles; it ends at the depth of the shore, above which is no water.
    """
    import pandas as pd

    layers = {"bed": bed, "places": places, "soundings": soundings}
    check_same_crs(**{name: layer for name, layer in layers.items() if layer is not None})
    located = locate(bed.vertices, bed.triangles, places.coordinates)
    columns = dict(zip(("easting_m", "northing_m"), places.coordinates.T, strict=True))
    columns |= _answers(bed, located, places.coordinates)
    columns["distance_to_sounding_m"] = _distance(bed, soundings, places, located[0] >= 0)
    columns |= {f"water_at_{rise:g}_m": columns["depth_m"] + rise for rise in rises}
    columns["reason"] = _reasons(places, located[0] >= 0)
    beside = _beside(places, set(columns))
    frame = pd.concat([beside, pd.DataFrame(columns)], axis=1)
    return Table(frame, "Depth at places", _notes(bed, columns["reason"], rises))


def _answers(
    bed: Tin, located: tuple[np.ndarray, np.ndarray], places: np.ndarray
) -> dict[str, np.ndarray]:
    """Columns that the bed answers by itself, NaN outside the water."""
    at = partial(interpolated, triangles=bed.triangles, located=located)
    columns = {"depth_m": at(bed.depth)}
    if bed.sd is not None:
        columns["sd_m"] = at(bed.sd)
    if bed.sd is not None or bed.draws is not None:
        low, high = depth_band(bed, columns["depth_m"], columns.get("sd_m"), at)
        columns |= {"depth_low_m": low, "depth_high_m": high}
    if bed.support is not None:
        columns["support"] = at(bed.support)
    columns["slope_deg"] = _slope(bed, located[0], places)
    return columns


def _slope(bed: Tin, triangle: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Steepest slope on the ground at places, degrees: on a map twice as wide half as steep."""
    inside, slope = triangle >= 0, np.full(len(places), np.nan)
    scale = np.sqrt(areal_scale(bed.crs, places[inside]))
    slope[inside] = np.degrees(np.arctan(bed.gradients()[triangle[inside]] * scale))
    return slope


def _distance(
    bed: Tin, soundings: Soundings | None, places: Places, inside: np.ndarray
) -> np.ndarray:
    from scipy.spatial import KDTree

    own = bed.vertices[bed.kind == VertexKind.SOUNDING]
    known = own if soundings is None else soundings.kept.coordinates
    away = np.full(len(places), np.nan)
    if len(known):
        away[inside] = KDTree(known).query(places.coordinates[inside])[0]
    return away


def _reasons(places: Places, inside: np.ndarray) -> np.ndarray:
    known = np.isfinite(places.coordinates).all(axis=1)
    return np.where(inside, "", np.where(known, "outside the water", "no position"))


def _beside(places: Places, taken: set[str]) -> "pd.DataFrame":
    """Return the columns beside the places, without shapes."""
    frame = places.frame
    shapes = [name for name, kind in frame.dtypes.items() if str(kind) == "geometry"]
    clash = {name: f"given_{name}" for name in frame if name in taken}
    return frame.drop(columns=shapes).rename(columns=clash).reset_index(drop=True)


def _notes(bed: Tin, reasons: np.ndarray, rises: tuple[float, ...]) -> tuple[str, ...]:
    notes = []
    if lost := int((reasons != "").sum()):
        notes.append(f"{lost} of {len(reasons)} places have no answer, see their reason")
    if bed.sd is None and bed.draws is None:
        notes.append("the bed does not know its error: only a fitted bed does")
    if rises:
        notes.append("depth of the water: negative where the bed stands dry by so much")
    return tuple(notes)
