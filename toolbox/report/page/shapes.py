"""Shapes of a page: points, lines and polygons, packed, with what is said of each."""

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.layers import Soundings, Vectors
from toolbox.report.page.packing import packed, packed_bits, whole_steps
from toolbox.report.text import short

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MOST_SOUNDINGS", "MOST_VERTICES", "packed_shapes", "packed_soundings", "plain"]

MOST_VERTICES = 120_000
"""Of one layer of a page."""

MOST_SOUNDINGS = 40_000
"""Of those kept, and a quarter as many of those rejected."""

_STEP = 0.01  # m
_LONGEST = 300  # characters of a text
_TOO_LONG = 1e9  # m: no place on earth


def plain(value: Any) -> Any:
    """Return a value as JSON holds it: text on one line, numbers with 10 digits, else None."""
    if isinstance(value, str):
        return short(value, _LONGEST)
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(f"{value:.10g}") if math.isfinite(value) else None
    return None


def packed_shapes(
    layer: Vectors | None, names: tuple[str, ...], *, west: float, north: float
) -> dict[str, Any] | None:
    """Pack a layer.

    Parameters
    ----------
    layer : Vectors or None
        Shapes of any kind; what is empty is left out.
    names : tuple of str
        Columns to take along where there are such.
    west, north : float
        Easting and northing from which the page counts, m.

    Returns
    -------
    dict or None
        ``kind`` (0 point, 1 line, 2 polygon) and ``row`` of each part; ``rings``, how many rings
        each has; ``sizes``, how many places each ring has; ``east`` and ``south``, packed, in
        ``step``; ``rows``, what is said of each shape. None where there is no shape.
    """
    import shapely

    if layer is None or not len(layer):
        return None
    shapes = _few(shapely.force_2d(layer.frame.geometry.to_numpy()))
    parts, row = shapely.get_parts(shapes, return_index=True)
    parts, row = _simple(parts, row)
    rings = [_rings(part) for part in parts]
    places = [place for part in rings for place in part]
    if not places:
        return None
    away = np.round((np.vstack(places) - (west, north)) * (1, -1) / _STEP)
    return {
        "kind": [shapely.get_dimensions(part).item() for part in parts],
        "row": row.tolist(),
        "rings": [len(part) for part in rings],
        "sizes": [len(place) for place in places],
        "step": _STEP,
        "east": packed(away[:, 0]),
        "south": packed(away[:, 1]),
        "rows": _rows(layer.frame, names),
    }


def _simple(parts: np.ndarray, row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Take collections apart, and leave out what is empty."""
    import shapely

    inner, which = shapely.get_parts(parts, return_index=True)
    keep = ~shapely.is_empty(inner)
    return inner[keep], row[which][keep]


def _few(shapes: np.ndarray) -> np.ndarray:
    """Leave out vertices of large layers that no screen can show."""
    import shapely

    west, south, east, north = shapely.total_bounds(shapes)
    hair = max(east - west, north - south, 1.0) / 20_000
    if shapely.get_num_coordinates(shapes).sum() <= MOST_VERTICES:
        return np.asarray(shapely.simplify(shapes, _STEP, preserve_topology=True))
    while shapely.get_num_coordinates(shapes).sum() > MOST_VERTICES and hair < _TOO_LONG:
        shapes = shapely.simplify(shapes, hair, preserve_topology=True)
        hair *= 2
    return np.asarray(shapes)


def _rings(part: Any) -> list[np.ndarray]:
    import shapely

    lines = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
    return [shapely.get_coordinates(line) for line in lines]


def _rows(frame: "pd.DataFrame", names: tuple[str, ...]) -> list[dict[str, Any]]:
    there = [name for name in names if name in frame]
    columns = [[plain(value) for value in frame[name].tolist()] for name in there]
    return [dict(zip(there, row, strict=True)) for row in zip(*columns, strict=True)] or [
        {} for _ in range(len(frame))
    ]


def packed_soundings(
    soundings: Soundings | None, *, west: float, north: float, most: int = MOST_SOUNDINGS
) -> dict[str, Any] | None:
    """Pack soundings, evenly thinned where there are many.

    Parameters
    ----------
    soundings : Soundings or None
        All of them; those without a place are left out.
    west, north : float
        Easting and northing from which the page counts, m.
    most : int
        Of those kept; of those rejected a quarter as many.

    Returns
    -------
    dict or None
        ``east``, ``south`` in ``step`` (m), ``depth`` in mm where ``deep`` says there is one,
        ``source`` and ``reason`` as places in ``sources`` and ``reasons`` (0 is none, not
        rejected); ``all``, ``placed`` and ``shown``, how many there are, have a place and are
        held, of those kept and of those rejected.
    """
    if soundings is None or not len(soundings):
        return None
    flag, placed = soundings.flag, np.isfinite(soundings.coordinates).all(axis=1)
    kept, out = np.flatnonzero(placed & ~flag), np.flatnonzero(placed & flag)
    index = np.r_[_thin(kept, most), _thin(out, most // 4)]
    if not len(index):
        return None
    frame, depth = soundings.frame.iloc[index], soundings.depth[index]
    away = np.round((soundings.coordinates[index] - (west, north)) * (1, -1) / _STEP)
    deep = np.isfinite(depth)
    sources, source = _codes(frame["source"])
    reasons, reason = _codes(frame["reason"])
    return {
        "step": _STEP,
        "east": packed(away[:, 0]),
        "south": packed(away[:, 1]),
        "depth": packed(whole_steps(np.where(deep, depth, 0), 0.001, shown=10)),
        "deep": packed_bits(deep),
        "sources": sources,
        "source": packed(source),
        "reasons": reasons,
        "reason": packed(reason),
        "all": [int((~flag).sum()), int(flag.sum())],
        "placed": [len(kept), len(out)],
        "shown": [len(_thin(kept, most)), len(_thin(out, most // 4))],
    }


def _thin(index: np.ndarray, most: int) -> np.ndarray:
    return index[:: max(1, -(-len(index) // most))]


def _codes(texts: "pd.Series") -> tuple[list[str], np.ndarray]:
    """Return the texts that there are, the empty one first, and which of them each is."""
    found = texts.fillna("").astype(str)
    names = ["", *sorted(set(found) - {""})]
    code = found.map({name: number for number, name in enumerate(names)}).to_numpy(int)
    return [short(name, _LONGEST) for name in names], code
