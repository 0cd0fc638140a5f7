"""Marking: what marks from the bank and from a boat have in common."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.bed.location import locate
from toolbox.bed.uncertainty import LEAST_SUPPORT
from toolbox.features.reading import bed_at, map_scale
from toolbox.layers import Tin, Vectors
from toolbox.layers.crs import is_plane, project
from toolbox.marks.spots import NAMES, Spots, plant_shapes, spots_at
from toolbox.notes import Assumption, Caution

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "CAUTIONS",
    "degrees_of",
    "depth_text",
    "described",
    "fishable",
    "layer",
    "notes_on",
    "trust_text",
    "weights_of",
]

CAUTIONS = (
    "overhead lines: rods and wet lines conduct; look up where they run and how far to keep away: "
    "those that nobody gave are not known here",
    "the bed falls away where the marks are: mind wading, soft mud, cold water and ice",
    "local rules on where, when and how one may fish govern; look them up",
    "not for navigation; a blank is unsurveyed, not safe",
)

_SUREST = 0.99  # a hundred draws tell no more
_FINEST = 1.0  # m between spots
_SPOTS_APART = 4  # spots between marks that lie as near as they may
_HAIR = 1e-6  # m


def weights_of(
    *,
    drop_off_foot: float,
    drop_off_lip: float,
    gully: float,
    hump_top: float,
    hump_side: float,
    hole: float,
    plateau_edge: float,
    plant_edge: float,
    bottom_change: float,
) -> dict[str, float]:
    """Name the weights by kind of mark; bars have those of humps."""
    return {
        "drop-off foot": drop_off_foot,
        "drop-off lip": drop_off_lip,
        "gully": gully,
        "hump top": hump_top,
        "bar top": hump_top,
        "hump side": hump_side,
        "bar side": hump_side,
        "hole": hole,
        "plateau edge": plateau_edge,
        "plant edge": plant_edge,
        "bottom change": bottom_change,
    }


def fishable(
    bed: Tin,
    features: Vectors,
    plants: Vectors | None,
    weights: Mapping[str, float],
    *,
    apart: float,
    off_plants: float,
    depths: tuple[float, float],
) -> Spots:
    """Gather the spots that are deep enough, not too deep, and free of plants.

    Parameters
    ----------
    bed, features, plants, weights
        As for :func:`~toolbox.marks.spots.spots_at`.
    apart : float
        Between marks, on the ground, m: spots lie a quarter of it apart, at least 1 m.
    off_plants : float
        From plants, on the ground, m.
    depths : (float, float)
        Least and greatest, m.
    """
    import shapely

    middle = (bed.vertices.min(axis=0) + bed.vertices.max(axis=0)) / 2
    scale = float(map_scale(bed, middle[None])[0])
    step, off = scale * max(_FINEST, apart / _SPOTS_APART), scale * off_plants
    spots = spots_at(bed, features, plants, weights, step=step, off=off)
    grown = shapely.buffer(plant_shapes(features, plants), max(off - _HAIR, 0))
    shapely.prepare(grown)
    good = (spots.depth >= depths[0]) & (spots.depth <= depths[1])
    return spots.select(good & ~shapely.intersects_xy(grown, *spots.places.T))


def described(bed: Tin, spots: Spots, score: np.ndarray) -> "pd.DataFrame":
    """Tell of the spots what the bed and their features are there, one row each."""
    import pandas as pd

    triangle, _ = locate(bed.vertices, bed.triangles, spots.places)
    read = bed_at(bed, spots.places, triangle)
    names = ("depth_m", "depth_low_m", "depth_high_m", "slope_deg", "support")
    columns: dict[str, Any] = {"kind": spots.kind.astype(object)}
    columns["feature"] = pd.array(spots.feature, dtype="Int64")
    columns |= {name: read[name] for name in names}
    columns |= {"relief_m": spots.relief, "confidence": spots.confidence, "score": score}
    columns |= {"easting_m": spots.places[:, 0], "northing_m": spots.places[:, 1]}
    degrees = degrees_of(spots.places, bed.crs)
    columns |= {"longitude_deg": degrees[:, 0], "latitude_deg": degrees[:, 1]}
    return pd.DataFrame(columns)


def degrees_of(places: np.ndarray, crs: Any) -> np.ndarray:
    """Longitude and latitude on WGS 84, (n, 2); NaN on a plane."""
    from pyproj import CRS

    if is_plane(crs):
        return np.full((len(places), 2), np.nan)
    return project(places, crs, CRS.from_epsg(4326))


def depth_text(row: Mapping[str, Any]) -> str:
    """Say what lies at a mark and how deep it is."""
    text = f"{NAMES[row['kind']]}, {row['depth_m']:.1f} m deep"
    if np.isfinite(row["depth_low_m"]):
        text += f" ({row['depth_low_m']:.1f} to {row['depth_high_m']:.1f} m)"
    return text


def trust_text(row: Mapping[str, Any]) -> str:
    """Say how sure it is."""
    text = ""
    if row["confidence"] > _SUREST:
        text += f"; more than {100 * _SUREST:.0f} % sure to be there"
    elif np.isfinite(row["confidence"]):
        text += f"; {100 * row['confidence']:.0f} % sure to be there"
    if row["support"] < LEAST_SUPPORT:
        text += "; hardly sounded: sound it before you trust it"
    return text + "."


def notes_on(frame: "pd.DataFrame", features: Vectors, plants: Vectors | None) -> tuple[str, ...]:
    """Tell what marks rest on."""
    notes: tuple[str, ...] = ()
    if not len(frame):
        notes += (Caution("no mark: no spot can be reached that has a weight"),)
    if plants is None and not (features.frame["kind"] == "plants").any():
        notes += (Caution("no plants were given: marks may lie in them"),)
    of_bed = frame[frame["kind"] != "plant edge"]
    if len(of_bed) and of_bed["confidence"].isna().all():
        notes += (Assumption("nobody told how sure features are: each counts as certain"),)
    elif frame["confidence"].isna().any():
        notes += (Assumption("what has no confidence, as plants, counts as certain"),)
    if len(frame) and frame["depth_low_m"].isna().all():
        notes += ("the bed does not know its error: only a fitted bed does",)
    return notes


def layer(frame: "pd.DataFrame", bed: Tin, name: str, notes: tuple[str, ...]) -> Vectors:
    """Make a layer of points of marks."""
    import geopandas
    import shapely

    points = shapely.points(frame[["easting_m", "northing_m"]].to_numpy(float))
    return Vectors(geopandas.GeoDataFrame(frame, geometry=points, crs=bed.crs), name, notes)
