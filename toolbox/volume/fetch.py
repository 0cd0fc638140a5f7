"""Fetch: how far the wind blows over open water before it reaches a place."""

import math
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np

from toolbox.errors import ParameterError, TooLargeError
from toolbox.layers import Grid, Places, Shoreline, Table
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool
from toolbox.units import round_number
from toolbox.volume.open_water import OpenWater, ground_vectors

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FAN", "RULES", "combined", "fetch", "fetch_grid"]

FAN = np.arange(-42.0, 43.0, 6.0)
"""Bearings of the 15 radials to either side of the wind's, degrees."""

_COSINES = np.cos(np.radians(FAN))
_DIRECT = np.where(FAN == 0, 1.0, 0.0)

RULES: dict[str, np.ndarray] = {
    "direct": _DIRECT,
    "a": _COSINES**2 / _COSINES.sum(),
    "b": _COSINES / _COSINES.sum(),
}
"""What each radial of the fan counts, by convention."""

_COMPASS = (0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0)
_CELLS = 20_000
_MOST_CELLS = 20_000_000
_TOGETHER = 20_000  # places: 60 rays of each are 10 MB
_EDGE = 0.05  # m: how far into the water a place on the bank is moved


@tool("Fetch at places")
def fetch(
    shoreline: Shoreline,
    places: Places,
    *,
    winds: Annotated[tuple[float, ...], Range("degree", min=0, max=360)] = _COMPASS,
    bank: Annotated[float, Range("m", min=0)] = 5.0,
) -> Table:
    """Measure the fetch at places, such as docks, pegs and banks, for winds from several sides.

    Parameters
    ----------
    shoreline : Shoreline
        The water.
    places : Places
        In the CRS of the shoreline.
    winds : tuple of float
        Bearings the wind blows from, clockwise from true north.
    bank : float
        A place on land this near to the water is taken to the water's edge.

    Returns
    -------
    Table
        A row for each place and wind, in the order of the places: the columns that stood beside
        the place, ``easting_m, northing_m``, how far it was moved ``moved_m``, ``wind_deg``, and
        on the ground

        - ``direct_m``: along the wind until land, islands included;
        - ``effective_a_m``: of 15 radials every 6 degrees to 42 degrees on either side of the
          wind, sum(r cos^2) / sum(cos): each is laid on the wind's bearing, then weighed by its
          cosine; 0.909 r where all are equal;
        - ``effective_b_m``: of the same radials sum(r cos) / sum(cos); r where all are equal.

        ``reason`` says why a place has none.

    Raises
    ------
    LayerError
        If the layers lie in different CRS.

    Notes
    -----
    Convention A is that of the engineers' tables of wave heights, B that of limnology and of
    formulas such as the wave base: they differ by 9 per cent, so use the one a formula was made
    with. An open edge of the water ends a ray as land does: the fetch is at least that. Bearings
    and lengths are those of the ground at the middle of the water.

    References
    ----------
    A: Saville, McClendon & Cochran 1962; US Army Coastal Engineering Research Center, Shore
    Protection Manual (1973), from memory. B: Hakanson & Jansson 1983, Principles of Lake
    Sedimentology, from memory.
    """
    import pandas as pd

    if not winds:
        raise ParameterError("winds must name at least one bearing, got none")
    check_same_crs(shoreline=shoreline, places=places)
    at, moved = _in_water(shoreline, places.coordinates, bank)
    wet = np.isfinite(moved)
    found = np.full((3, len(places), len(winds)), np.nan)
    found[:, wet] = _by_wind(shoreline, at[wet], np.asarray(winds, float))
    columns = {
        "easting_m": np.repeat(at[:, 0], len(winds)),
        "northing_m": np.repeat(at[:, 1], len(winds)),
        "moved_m": np.repeat(moved, len(winds)),
        "wind_deg": np.tile(np.asarray(winds, float), len(places)),
    }
    names = ("direct_m", "effective_a_m", "effective_b_m")
    columns |= {name: values.ravel() for name, values in zip(names, found, strict=True)}
    columns["reason"] = np.repeat(_reasons(places, wet), len(winds))
    frame = pd.concat([_beside(places, len(winds), set(columns)), pd.DataFrame(columns)], axis=1)
    return Table(frame, "Fetch at places", _notes(shoreline, wet))


@tool("Fetch")
def fetch_grid(
    shoreline: Shoreline,
    *,
    wind: Annotated[float, Range("degree", min=0, max=360)] | None = None,
    rule: Literal["direct", "a", "b"] = "b",
    over: Literal["greatest", "mean"] = "greatest",
    cell: Annotated[float, Range("m", above=0)] | None = None,
) -> Grid:
    """Grid the fetch over the whole water.

    Parameters
    ----------
    shoreline : Shoreline
        The water.
    wind : float, optional
        Bearing the wind blows from, clockwise from true north; if left out, winds from all sides,
        every 6 degrees.
    rule : str
        ``"direct"``: along the wind until land. ``"a"``: effective fetch of 15 radials,
        sum(r cos^2) / sum(cos). ``"b"``: sum(r cos) / sum(cos).
    over : str
        What to tell of winds from all sides.
    cell : float, optional
        Width of a cell; if left out, such that the water has at least 20,000.

    Returns
    -------
    Grid
        Fetch on the ground, m, at the centres of the cells that lie in the water.

    Raises
    ------
    ParameterError
        If cells are so wide that no centre lies in the water.
    TooLargeError
        If there would be more than 20 million cells.

    Notes
    -----
    As for fetch at places: an open edge ends a ray as land does.
    """
    from affine import Affine

    cell = round_number(math.sqrt(shoreline.polygons.area / _CELLS)) if cell is None else cell
    left, top, shape = _snapped(shoreline, cell)
    values = np.full(shape, np.nan, np.float32)
    row, col = _wet_cells(shoreline, left, top, cell, shape)
    places = np.column_stack([left + (col + 0.5) * cell, top - (row + 0.5) * cell])
    values[row, col] = _told(shoreline, places, wind, rule, over)
    name = f"fetch_{rule}" + ("" if wind is None else f"_{wind:g}")
    grid = Affine(cell, 0, left, 0, -cell, top)
    return Grid(values, grid, shoreline.crs, name, "m", _notes(shoreline, np.array([True])))


def combined(radials: np.ndarray, rule: str) -> np.ndarray:
    """Weigh the 15 radials (..., 15) of a fan by a convention."""
    return np.asarray(radials @ RULES[rule])


def _by_wind(shoreline: Shoreline, places: np.ndarray, winds: np.ndarray) -> np.ndarray:
    """Direct fetch, effective fetch A and B of places (n, 2), shape (3, n, winds)."""
    rays = (winds[:, None] + FAN).ravel()
    out = _around(shoreline, places, rays).reshape(len(places), len(winds), len(FAN))
    return np.stack([combined(out, rule) for rule in RULES])


def _around(shoreline: Shoreline, places: np.ndarray, rays: np.ndarray) -> np.ndarray:
    """Lengths of rays over the water, m on the ground, (n, rays)."""
    middle = np.array(shoreline.polygons.centroid.coords[0])
    ways = ground_vectors(rays, shoreline.crs, middle)
    reach = OpenWater.of(shoreline.polygons).around(places, ways)
    return np.where(np.isfinite(reach), reach, np.nan)


def _told(
    shoreline: Shoreline, places: np.ndarray, wind: float | None, rule: str, over: str
) -> np.ndarray:
    parts = np.array_split(places, math.ceil(len(places) / _TOGETHER))
    if wind is not None:
        return np.concatenate([combined(_around(shoreline, p, wind + FAN), rule) for p in parts])
    sides = np.arange(0.0, 360.0, 6.0)
    # of the wind from each side, the radials of its fan: some of the same sixty rays
    fan = (np.arange(len(sides))[:, None] + np.round(FAN / 6).astype(int)) % len(sides)
    several = (combined(_around(shoreline, part, sides)[:, fan], rule) for part in parts)
    return np.concatenate(
        [one.max(axis=1) if over == "greatest" else one.mean(axis=1) for one in several]
    )


def _in_water(
    shoreline: Shoreline, places: np.ndarray, bank: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return places in the water, and how far each was moved: NaN where it is too far from it."""
    import shapely

    known = np.isfinite(places).all(axis=1)
    wet = shoreline.contains(places) & known
    at, moved = np.where(known[:, None], places, np.nan), np.where(wet, 0.0, np.nan)
    ashore = np.flatnonzero(known & ~wet)
    if not len(ashore):
        return at, moved
    inner = shapely.buffer(shoreline.polygons, -_EDGE)
    if inner.is_empty:
        return at, moved
    ways = shapely.shortest_line(shapely.points(places[ashore]), inner)
    near = shapely.length(ways) <= bank + _EDGE
    ends = shapely.get_coordinates(ways).reshape(-1, 2, 2)[:, 1]
    at[ashore[near]] = ends[near]
    moved[ashore[near]] = shapely.length(ways)[near]
    return at, moved


def _reasons(places: Places, wet: np.ndarray) -> np.ndarray:
    known = np.isfinite(places.coordinates).all(axis=1)
    return np.where(wet, "", np.where(known, "outside the water", "no position"))


def _beside(places: Places, times: int, taken: set[str]) -> "pd.DataFrame":
    """Return the columns beside the places, without shapes, each row several times."""
    frame = places.frame
    shapes = [name for name, kind in frame.dtypes.items() if str(kind) == "geometry"]
    clash = {name: f"given_{name}" for name in frame if name in taken}
    beside = frame.drop(columns=shapes).rename(columns=clash)
    return beside.iloc[np.repeat(np.arange(len(beside)), times)].reset_index(drop=True)


def _notes(shoreline: Shoreline, wet: np.ndarray) -> tuple[str, ...]:
    notes: tuple[str, ...] = ()
    if lost := int((~wet).sum()):
        notes += (f"{lost} of {len(wet)} places have no fetch, see their reason",)
    if shoreline.open_edges is not None:
        notes += ("the water goes on beyond its open edges: fetch through them is at least that",)
    return notes


def _snapped(shoreline: Shoreline, cell: float) -> tuple[float, float, tuple[int, int]]:
    """Left, top and shape of the cells over the water, their edges on whole multiples."""
    west, south, east, north = np.array(shoreline.polygons.bounds) / cell
    rows, cols = math.ceil(north) - math.floor(south), math.ceil(east) - math.floor(west)
    if rows * cols > _MOST_CELLS:
        raise TooLargeError(
            f"cell = {cell:g} m makes {rows:,} x {cols:,} cells, at most {_MOST_CELLS:,} allowed"
        )
    return math.floor(west) * cell, math.ceil(north) * cell, (rows, cols)


def _wet_cells(
    shoreline: Shoreline, left: float, top: float, cell: float, shape: tuple[int, int]
) -> tuple[np.ndarray, np.ndarray]:
    """Row and column of the cells whose centre lies in the water."""
    row, col = np.indices(shape).reshape(2, -1)
    centres = np.column_stack([left + (col + 0.5) * cell, top - (row + 0.5) * cell])
    wet = shoreline.contains(centres)
    if not wet.any():
        raise ParameterError(f"no cell centre lies in the water: cell = {cell:g} m is too wide")
    return row[wet], col[wet]
