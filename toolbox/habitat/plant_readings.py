"""Plant readings: points with height and cover of plants, from soundings or from a table."""

from typing import Annotated, Any

import numpy as np

from toolbox.features.canopies import LEAST_HEIGHT, EmptyCanopy, canopy_tops, one_sided
from toolbox.habitat.plants import PlantReadings, inhabited, line_names, read_points
from toolbox.layers import Places, Soundings, Vectors
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["plant_points", "plant_readings"]


@tool("Plant readings from soundings")
def plant_readings(
    soundings: Soundings,
    *,
    least_height: Annotated[float, Range("m", min=0)] = LEAST_HEIGHT,
    empty: EmptyCanopy = "unknown",
) -> Vectors:
    """Turn soundings that tell the top of plants into readings of height and cover.

    Parameters
    ----------
    soundings : Soundings
        With a column ``canopy``: depth to the top of the plants, m below the datum water level.
        Where it equals the depth the bed is bare.
    least_height : float
        Height from which a sounding counts as grown over; what is lower counts as bare.
    empty : str
        What an empty canopy means: unknown, nobody looked; or bare, as in logs that note a canopy
        only where plants stood. Bare is taken for those sources alone (casts, track, plummet,
        point) of which some sounding has a canopy.

    Returns
    -------
    Vectors
        ``plant_readings``, one point a sounding, bare ones with zeros: ``depth_m``, ``height_m``
        of the plants, ``cover_percent`` (100 or 0: a sounding sees one spot), ``biovolume_percent``
        (height over depth) and ``line``.

    Raises
    ------
    LayerError
        If no sounding that was kept carries a canopy.
    """
    kept, top = soundings.kept, canopy_tops(soundings, empty)
    known, height = np.isfinite(top), kept.depth - top
    height = np.where(height >= max(least_height, np.finfo(float).tiny), height, 0.0)
    line = line_names(kept.frame)
    line = np.where(line == "", "", kept.frame["source"].to_numpy(object) + " " + line)
    cover = np.where(height > 0, 100.0, 0.0)
    told = PlantReadings(kept.coordinates, cover, height, kept.depth, line)
    notes = one_sided(height[known], len(known))
    return _vectors(told.where(known), kept.crs, notes)


@tool("Plant readings from points")
def plant_points(places: Places) -> Vectors:
    """Turn points with cover and height into readings of plants.

    Parameters
    ----------
    places : Places
        Points at which somebody looked for plants, bare ones too: with ``cover_percent`` of the
        bed, or ``height_m`` of the plants, or both, and if known ``depth_m`` below the datum and
        ``line``.

    Returns
    -------
    Vectors
        ``plant_readings``, as of soundings. Without a cover, a point with plants counts as wholly
        grown over.

    Raises
    ------
    LayerError
        If there is neither cover nor height, or a value is out of all reason.
    """
    known = np.isfinite(places.coordinates).all(axis=1)
    notes: tuple[str, ...] = ()
    if lost := int((~known).sum()):
        notes = (f"{counted(lost, 'point')} of plants without a position left out",)
    told = read_points(places.coordinates, places.frame)
    return _vectors(told.where(known), places.crs, notes)


def _vectors(told: PlantReadings, crs: Any, notes: tuple[str, ...]) -> Vectors:
    import geopandas

    columns = {
        "depth_m": told.depth,
        "height_m": told.height,
        "cover_percent": told.cover,
        "biovolume_percent": inhabited(told.cover, told.height, told.depth),
        "line": told.line,
    }
    shapes = geopandas.points_from_xy(*told.places.T)
    return Vectors(
        geopandas.GeoDataFrame(columns, geometry=shapes, crs=crs), "plant_readings", notes
    )
