"""Plants: height and cover on the bed, as points that were read or as beds that were mapped."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Vectors

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["PlantBeds", "PlantReadings", "inhabited", "line_names", "plants_of", "read_points"]


def inhabited(cover: Any, height: Any, depth: Any) -> Any:
    """Return the per cent of the water that plants take up (PVI).

    Parameters
    ----------
    cover : float or array
        Of the bed, per cent.
    height : float or array
        Mean height of the plants where they stand, m.
    depth : float or array
        Mean depth of the water, m; nothing is told where it is not above 0.

    Returns
    -------
    float or array
        cover height / depth, per cent. Plants that are taller than the water lie on its surface
        and fill it: height counts up to the depth. With a cover of 100 it is the biovolume of a
        point, 100 height / depth.

    References
    ----------
    Canfield et al. 1984, Canadian Journal of Fisheries and Aquatic Sciences 41:497 (from memory).

    Examples
    --------
    >>> round(float(inhabited(60.0, 1.2, 3.0)), 1)
    24.0
    """
    depth = np.asarray(depth, float)
    water = np.where(depth > 0, depth, np.nan)
    return cover * (np.minimum(height, water) / water)


@dataclass(frozen=True, eq=False)
class PlantReadings:
    """Points at which somebody looked for plants; bare ones count.

    Parameters
    ----------
    places : (n, 2) array
        Easting and northing, m.
    cover : (n,) array
        Of the bed, per cent; 0 is bare.
    height : (n,) array
        Of the plants where they stand, m; 0 on bare bed, NaN where not known.
    depth : (n,) array
        Of the bed below the datum as read there, m; NaN where not read.
    line : (n,) array of str
        What was read in one go; empty for a point by itself.
    """

    places: np.ndarray
    cover: np.ndarray
    height: np.ndarray
    depth: np.ndarray
    line: np.ndarray

    def where(self, kept: np.ndarray) -> "PlantReadings":
        """Return some of the readings."""
        return replace(self, **{name: values[kept] for name, values in vars(self).items()})

    def with_heights(self) -> "PlantReadings":
        """Give plants of unknown height that of the nearest known one, if there is one."""
        from scipy.spatial import KDTree

        grown = self.cover > 0
        known, missing = grown & ~np.isnan(self.height), grown & np.isnan(self.height)
        if not (known.any() and missing.any()):
            return self
        height = self.height.copy()
        nearest = KDTree(self.places[known]).query(self.places[missing])[1]
        height[missing] = height[known][nearest]
        return replace(self, height=height)


@dataclass(frozen=True, eq=False)
class PlantBeds:
    """Outlines of beds of plants; outside of them the bed is bare.

    Parameters
    ----------
    shapes : (n,) array of Polygon or MultiPolygon
        What is grown over.
    cover : (n,) array
        Within each, per cent; NaN where not known.
    height : (n,) array
        Of the plants of each, m; NaN where not known.
    """

    shapes: np.ndarray
    cover: np.ndarray
    height: np.ndarray

    def at(self, places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return whether places lie in a bed, its cover and its height, (n,) each.

        Cover and height are 0 outside; where beds overlap, those of the one with the most plants.
        """
        import shapely

        inside = np.zeros(len(places), bool)
        cover, height = np.zeros(len(places)), np.zeros(len(places))
        tree = shapely.STRtree(self.shapes)
        place, bed = tree.query(shapely.points(places), predicate="intersects")
        most = np.nan_to_num(self.cover * self.height, nan=-1.0)
        order = np.lexsort([bed, most[bed]])  # of several, the last is written
        place, bed = place[order], bed[order]
        inside[place], cover[place], height[place] = True, self.cover[bed], self.height[bed]
        return inside, cover, height


def plants_of(plants: Vectors) -> PlantReadings | PlantBeds:
    """Read a layer of plants.

    Parameters
    ----------
    plants : Vectors
        Points (readings) or polygons (beds), with ``cover_percent`` (or ``cover``, a share) and
        ``height_m`` (or ``height_mean_m``); points also with ``depth_m`` and ``line``. Features
        without a shape are left out.

    Raises
    ------
    LayerError
        If shapes are of other kinds or mixed, points tell neither cover nor height, or a value is
        out of all reason.
    """
    import shapely

    frame = plants.frame[~(plants.frame.geometry.isna() | plants.frame.geometry.is_empty)]
    kinds = set(frame.geom_type)
    if kinds <= {"Polygon", "MultiPolygon"}:  # a layer without a feature: no plants
        cover, height = _cover_and_height(frame)
        return PlantBeds(frame.geometry.to_numpy(), cover, height)
    if kinds == {"Point"}:
        return read_points(shapely.get_coordinates(frame.geometry.to_numpy()), frame)
    raise LayerError(f"plants must be all points or all polygons, got {', '.join(sorted(kinds))}")


def read_points(places: np.ndarray, frame: "pd.DataFrame") -> PlantReadings:
    """Take readings from columns; those that tell nothing are left out.

    Parameters
    ----------
    places : (n, 2) array
        Easting and northing, m.
    frame : DataFrame
        With ``cover_percent`` or ``height_m``, and if known ``depth_m`` and ``line``.

    Raises
    ------
    LayerError
        If there is neither cover nor height, or a value is out of all reason.
    """
    cover, height = _cover_and_height(frame)
    if np.isnan(cover).all() and np.isnan(height).all():
        raise LayerError(
            "points of plants need a column cover_percent or height_m, "
            f"got {[name for name in frame if name != 'geometry']}"
        )
    seen = np.where(np.isnan(height), np.nan, np.where(height > 0, 100.0, 0.0))
    cover = np.where(np.isnan(cover), seen, cover)
    height = np.where(cover == 0, 0.0, height)
    told = PlantReadings(places, cover, height, _numbers(frame, "depth_m"), line_names(frame))
    return told.where(np.isfinite(cover))


def _cover_and_height(frame: "pd.DataFrame") -> tuple[np.ndarray, np.ndarray]:
    """Return cover (per cent) and height (m), NaN where not told."""
    cover, height = _numbers(frame, "cover_percent"), _numbers(frame, "height_m")
    if "cover_percent" not in frame:
        cover = 100 * _numbers(frame, "cover")
    if "height_m" not in frame:
        height = _numbers(frame, "height_mean_m")
    for name, values, most in (("cover", cover, 100.0), ("height", height, 100.0)):
        if (wrong := (values < 0) | (values > most)).any():
            row, unit = int(wrong.argmax()), "%" if name == "cover" else "m"
            raise LayerError(
                f"{name} of plants must be 0 to {most:g} {unit}, "
                f"got {values[row]:g} in feature {row + 1}"
            )
    return cover, height


def _numbers(frame: "pd.DataFrame", name: str) -> np.ndarray:
    """Return a column of a table or of text as numbers, NaN where it or a value is missing."""
    import pandas as pd

    if name not in frame:
        return np.full(len(frame), np.nan)
    try:
        return np.asarray(pd.to_numeric(frame[name].replace("", np.nan)), float)
    except (ValueError, TypeError) as error:
        raise LayerError(f"column {name!r} of plants must hold numbers: {error}") from error


def line_names(frame: "pd.DataFrame") -> np.ndarray:
    """Return what each row was read in, as text, empty where not told."""
    if "line" not in frame:
        return np.full(len(frame), "", object)
    return frame["line"].fillna("").astype(str).to_numpy(object)
