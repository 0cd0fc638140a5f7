"""Pegs: places on the bank to cast from, how far and where to each may cast."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Places, Shoreline, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.layers.geodesy import areal_scale, bearings, distances
from toolbox.planning.candidates import pegs_along
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = [
    "PEG_NOTE",
    "Pegs",
    "facing",
    "geometries",
    "keeps_clear",
    "place_pegs",
    "within_sector",
]

_LOOK = 20.0  # m: about so much water before a peg tells which way it faces

PEG_NOTE = "nobody looked at the bank: whether one may stand, and cast, at a peg is to be looked up"


@dataclass(frozen=True, eq=False)
class Pegs:
    """Places to cast from.

    Parameters
    ----------
    names : list of str
        As they are called.
    places : (n, 2) array
        Easting and northing, m.
    reach : (n,) array
        How far a cast from each may go, on the ground, m.
    start, end : (n,) array
        The bearings, clockwise from one to the other, that it may cast to, degrees true; NaN where
        it may cast all round.
    """

    names: list[str]
    places: np.ndarray
    reach: np.ndarray
    start: np.ndarray
    end: np.ndarray

    def __len__(self) -> int:
        """Count them."""
        return len(self.names)

    @classmethod
    def of(cls, given: Places, shoreline: Shoreline, reach: float, sector: float) -> "Pegs":
        """Read pegs and what stands beside them.

        Parameters
        ----------
        given : Places
            With columns ``peg`` or ``name``, ``reach_m``, ``sector_from_deg`` and
            ``sector_to_deg`` where known.
        shoreline : Shoreline
            The water.
        reach : float
            Of pegs that tell none, m.
        sector : float
            Width of the sector about the way they face, of pegs that tell none, degrees.

        Raises
        ------
        LayerError
            If there is no peg, one has no position or a reach that is none, or one end of a
            sector only.
        """
        frame, places = given.frame, given.coordinates
        if not len(frame):
            raise LayerError("pegs must hold at least one peg, got none")
        names = _names(given)
        missing = np.isnan(places).any(axis=1)
        if missing.any():
            raise LayerError(f"peg {names[int(missing.argmax())]!r} has no position")
        own = _numbers(frame, "reach_m", names)
        own = np.where(np.isnan(own), reach, own)
        if not (good := (own > 0) & np.isfinite(own)).all():
            worst = int(good.argmin())
            raise LayerError(f"peg {names[worst]!r}: reach_m must be > 0 m, got {own[worst]:g}")
        start, end = (_numbers(frame, f"sector_{side}_deg", names) for side in ("from", "to"))
        lone = np.isnan(start) != np.isnan(end)
        if lone.any():
            name = names[int(lone.argmax())]
            raise LayerError(f"peg {name!r} needs both of sector_from_deg and sector_to_deg")
        if sector < 360:
            untold, ahead = np.isnan(start), facing(places, shoreline)
            start = np.where(untold, ahead - sector / 2, start)
            end = np.where(untold, ahead + sector / 2, end)
        return cls(names, places, own, start, end)


@tool("Pegs along the bank")
def place_pegs(
    shoreline: Shoreline,
    exclusions: Vectors | None = None,
    *,
    spacing: Annotated[float, Range("m", above=0)] = 20.0,
    clearance: Annotated[float, Range("m", min=0)] = 30.0,
) -> Vectors:
    """Place pegs along the outer bank at a spacing, and leave out where nobody may stand.

    Parameters
    ----------
    shoreline : Shoreline
        The water.
    exclusions : Vectors, optional
        Stretches without pegs: polygons that hold the bank, and lines or points, such as overhead
        lines, to keep clear of.
    spacing : float
        Between pegs along the bank, on the ground (20 m: common practice, no source).
    clearance : float
        Least distance from lines and points, on the ground (30 m: from memory, what owners of
        overhead lines ask of anglers; look up what holds at the water).

    Returns
    -------
    Vectors
        Points "pegs": ``peg``, its number along the bank, and ``facing_deg``, the bearing out over
        the water, degrees true.

    Raises
    ------
    LayerError
        If the layers lie in different CRS.
    ParameterError
        If no peg is left.

    Notes
    -----
    Islands and open ends of the water have no pegs. Each stretch of bank is divided evenly, so that
    pegs stand about as far apart as asked for.
    """
    import geopandas
    import shapely

    check_same_crs(shoreline=shoreline, exclusions=exclusions)
    middle = shapely.get_coordinates(shapely.centroid(shoreline.polygons))
    scale = float(np.sqrt(areal_scale(shoreline.crs, middle))[0])
    places = pegs_along(shoreline, spacing * scale)
    if exclusions is not None:
        areas, wires = geometries(exclusions)
        points = shapely.points(places)
        clear = np.array([keeps_clear(points, wire, clearance, shoreline.crs) for wire in wires])
        free = ~shapely.intersects(points, areas) & clear.all(axis=0)
        places = places[free]
    if not len(places):
        raise ParameterError(
            f"no peg is left: exclusions with clearance = {clearance:g} m take all"
        )
    columns = {
        "peg": np.arange(len(places)) + 1,
        "facing_deg": facing(places, shoreline),
        "easting_m": places[:, 0],
        "northing_m": places[:, 1],
    }
    frame = geopandas.GeoDataFrame(columns, geometry=shapely.points(places), crs=shoreline.crs)
    return Vectors(frame, "pegs", (PEG_NOTE,))


def facing(places: np.ndarray, shoreline: Shoreline) -> np.ndarray:
    """Return the bearings from places (n, 2) towards the water before them, degrees true.

    The middle of the water within 20 m; where there is none so near, of the nearest water.
    """
    import shapely

    points, water = shapely.points(places), shoreline.polygons
    near = shapely.distance(points, water) + _LOOK * np.sqrt(areal_scale(shoreline.crs, places))
    ahead = shapely.centroid(shapely.intersection(shapely.buffer(points, near), water))
    return bearings(places, shapely.get_coordinates(ahead), shoreline.crs)


def within_sector(bearing: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Tell whether bearings lie clockwise between two others, degrees; NaN is all round."""
    width = (end - start) % 360
    width = np.where((width == 0) & (end != start), 360.0, width)
    return np.isnan(width) | ((bearing - start) % 360 <= width)


def geometries(exclusions: Vectors) -> tuple[Any, list[Any]]:
    """Sort exclusions: all polygons as one, and the lines and points to keep clear of."""
    import shapely

    parts = shapely.get_parts(exclusions.frame.geometry.dropna().to_numpy())
    parts = shapely.force_2d(parts[~shapely.is_empty(parts)])
    flat = shapely.get_dimensions(parts) == 2
    return shapely.union_all(parts[flat]), list(parts[~flat])


def keeps_clear(shapes: np.ndarray, wire: Any, clearance: float, crs: "CRS | None") -> np.ndarray:
    """Tell which shapes are at least so far from a line, on the ground, m."""
    import shapely

    between = shapely.get_coordinates(shapely.shortest_line(shapes, wire)).reshape(-1, 2, 2)
    return distances(between[:, 0], between[:, 1], crs) >= clearance


def _names(given: Places) -> list[str]:
    for column in ("peg", "name"):
        if column in given.frame:
            column_of = given.frame[column]
            return [
                str(number if missing else name)
                for number, (name, missing) in enumerate(
                    zip(column_of, column_of.isna(), strict=True), 1
                )
            ]
    return [str(number + 1) for number in range(len(given))]


def _numbers(frame: Any, column: str, names: list[str]) -> np.ndarray:
    """Return a column of numbers, NaN where it is empty or missing."""
    import pandas as pd

    if column not in frame:
        return np.full(len(frame), np.nan)
    text = frame[column]
    numbers = pd.to_numeric(text, errors="coerce").to_numpy(float)
    empty = text.isna() | (text.astype(str).str.strip() == "")
    wrong = np.isnan(numbers) & ~empty.to_numpy()
    if wrong.any():
        row = int(wrong.argmax())
        given = text.iloc[row]
        raise LayerError(f"peg {names[row]!r}: {column} must be a number, got {given!r}")
    return numbers
