"""Plant beds: where soundings met plants above the bed."""

from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.features.canopies import LEAST_HEIGHT, EmptyCanopy, canopy_tops, one_sided
from toolbox.layers import Shoreline, Soundings, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["plant_beds"]

JOIN = 15.0
"""Distance up to which soundings on plants belong to one bed, m (common practice, no source)."""

_COLUMNS = (
    "bed", "area_m2", "cover", "height_mean_m", "height_greatest_m", "depth_least_m",
    "depth_greatest_m", "top_least_m", "soundings",
)  # fmt: skip


@tool("Plant beds")
def plant_beds(
    soundings: Soundings,
    shoreline: Shoreline,
    *,
    least_height: Annotated[float, Range("m", above=0)] = LEAST_HEIGHT,
    join: Annotated[float, Range("m", above=0)] = JOIN,
    least_cover: Annotated[float, Range("", min=0, max=1)] = 0.25,
    fewest: Annotated[int, Range("", min=1)] = 5,
    empty: EmptyCanopy = "unknown",
) -> Vectors:
    """Outline the beds of plants, from soundings that tell the depth to the top of plants.

    Parameters
    ----------
    soundings : Soundings
        With a column ``canopy``: depth to the top of the plants, m below the datum water level.
        Where it equals the depth the bed is bare.
    shoreline : Shoreline
        The water: outlines end there.
    least_height : float
        Height of plants, depth less canopy, from which a sounding counts as grown over.
    join : float
        Distance up to which soundings on plants belong to one bed, about the spacing of the
        lines; half of it is how far a bed reaches beyond them.
    least_cover : float
        Share of the soundings within half of `join` that must be grown over: what stands more
        loosely is no bed.
    fewest : int
        Soundings on plants that a bed must have.
    empty : str
        What an empty canopy means: unknown, nobody looked; or bare, as in logs that note a canopy
        only where plants stood. Bare is taken for those sources alone (casts, track, plummet,
        point) of which some sounding has a canopy.

    Returns
    -------
    Vectors
        ``plant_beds``, one polygon a bed, the largest first: ``area_m2``; ``cover``, the share of
        the soundings within it that are grown over; mean and greatest height of the plants on
        them; least and greatest depth of the bed; ``top_least_m``, the least depth to the top of
        plants; ``soundings``, how many lie within it.

    Raises
    ------
    LayerError
        If no sounding that was kept carries a canopy, or the layers lie in different CRS.

    Notes
    -----
    Only what was sounded is told: between lines farther apart than `join` a bed falls into strips.
    The outline is the union of circles around the grown-over soundings, grown by half of `join` and
    then drawn in by a quarter of it: the edge lies about a quarter of `join` beyond the outermost
    plants. Where it runs between lines nobody knows.
    """
    check_same_crs(soundings=soundings, shoreline=shoreline)
    places, depth, height = _heights(soundings, empty)
    grown = height >= least_height
    dense = grown & (_share_near(places, grown, join / 2) >= least_cover)
    shapes = _outlines(places[dense], shoreline, join)
    rows = [_row(shape, places, depth, height, grown) for shape in shapes]
    kept = [row for row in rows if row["grown"] >= fewest]
    told = "no sounding between beds does not mean no plants: only what was sounded is told"
    notes = (told, *one_sided(height, len(soundings.kept)))
    return Vectors(_frame(kept, soundings), "plant_beds", notes)


def _heights(soundings: Soundings, empty: EmptyCanopy) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return places, depths and heights of plants of the kept soundings that tell of them."""
    kept, canopy = soundings.kept, canopy_tops(soundings, empty)
    known = np.isfinite(canopy)
    return kept.coordinates[known], kept.depth[known], (kept.depth - canopy)[known].clip(0)


def _share_near(places: np.ndarray, grown: np.ndarray, reach: float) -> np.ndarray:
    """Return the share of the soundings around each that are grown over."""
    from scipy.spatial import KDTree

    tree = KDTree(places)
    every = tree.query_ball_point(places, reach, return_length=True)
    if not grown.any():
        return np.zeros(len(places))
    return np.asarray(
        KDTree(places[grown]).query_ball_point(places, reach, return_length=True) / every
    )


def _outlines(places: np.ndarray, shoreline: Shoreline, join: float) -> list[Any]:
    import shapely

    circles = shapely.union_all(shapely.buffer(shapely.points(places), join / 2))
    drawn = shapely.intersection(circles.buffer(-join / 4), shoreline.polygons)
    parts = [part for part in shapely.get_parts(drawn) if part.geom_type == "Polygon"]
    return sorted(parts, key=lambda part: -part.area)


def _row(
    shape: Any, places: np.ndarray, depth: np.ndarray, height: np.ndarray, grown: np.ndarray
) -> dict[str, Any]:
    import shapely

    inside = shapely.contains_xy(shape, *places.T)
    plants = inside & grown
    told = {"geometry": shape, "area_m2": shape.area, "grown": int(plants.sum())}
    if not plants.any():
        return told
    return told | {
        "cover": float(plants.sum() / inside.sum()),
        "height_mean_m": float(height[plants].mean()),
        "height_greatest_m": float(height[plants].max()),
        "depth_least_m": float(depth[plants].min()),
        "depth_greatest_m": float(depth[plants].max()),
        "top_least_m": float((depth - height)[plants].min()),
        "soundings": int(inside.sum()),
    }


def _frame(rows: list[dict[str, Any]], soundings: Soundings) -> "GeoDataFrame":
    import geopandas

    columns = {name: [row.get(name) for row in rows] for name in _COLUMNS[1:]}
    data = {"bed": list(range(1, len(rows) + 1))} | columns
    shapes = [row["geometry"] for row in rows]
    return geopandas.GeoDataFrame(data, geometry=shapes, crs=soundings.crs)
