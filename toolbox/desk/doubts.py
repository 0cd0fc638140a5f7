"""Doubts: what looks wrong in soundings that can be read, and the answer that would mend it."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.desk.seen import Doubt
from toolbox.errors import ToolboxError
from toolbox.formats import columns as names
from toolbox.formats.containers import is_read_workbook
from toolbox.formats.delimited import numbers, read_delimited
from toolbox.layers import Shoreline
from toolbox.layers.crs import parse_crs, project

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["Raw", "depth_doubts", "mostly_inside", "place_doubts", "raw_of"]

_STEEP = 4.0
"""Relative depth, %: most lakes have less than 2, deep ones of small area more than 4 (Wetzel 2001,
Limnology, from memory)."""
_ENOUGH, _LEAST_GAIN, _SAMPLE = 0.5, 0.3, 4000


@dataclass(frozen=True)
class Raw:
    """The columns of a text file as they stand in it.

    Parameters
    ----------
    easting, northing, depth : str
        Names of columns; empty where none is known.
    places : (n, 2) array
        NaN where missing.
    values : (n,) array
        Of the depths.
    """

    easting: str
    northing: str
    depth: str
    places: np.ndarray
    values: np.ndarray


def raw_of(path: Path, source: dict[str, Any]) -> Raw | None:
    """Read the columns of a text file or workbook that a source names or that its names tell."""
    told = ("delimiter", "decimal", "encoding")
    options: dict[str, Any] = {k: source[k] for k in told if k in source}
    if is_read_workbook(path) and "layer" in source:
        options["sheet"] = source["layer"]
    try:
        frame = read_delimited(path, **options)
        if not frame.attrs["header"] and len(frame.columns) >= 3:
            east, north, deep = "1", "2", "3"
        else:
            east = names.find(frame, (*names.EASTING, *names.LONGITUDE)) or ""
            north = names.find(frame, (*names.NORTHING, *names.LATITUDE)) or ""
            deep = names.find(frame, (*names.DEPTH, *names.ELEVATION)) or ""
        east, north = source.get("easting", east), source.get("northing", north)
        deep = source.get("depth", source.get("elevation", deep))
        empty = np.full(len(frame), np.nan)
        read = [numbers(frame, c, path) if c in frame else empty for c in (east, north, deep)]
    except ToolboxError:
        return None
    return Raw(east, north, deep, np.column_stack(read[:2]), read[2])


def place_doubts(
    name: str, source: dict[str, Any], raw: Raw | None, shoreline: Shoreline, places: np.ndarray
) -> list[Doubt]:
    """Doubt places that lie outside the water, and try what would bring them into it.

    Parameters
    ----------
    name : str
        Of the file.
    source : dict
        What the survey file says of it.
    raw : Raw or None
        Of a text file.
    shoreline : Shoreline
        Of the water.
    places : (n, 2) array
        As they were read, in the CRS of the shoreline; may be empty.

    Returns
    -------
    list of Doubt
        Empty where at least half lie in the water.
    """
    inside = _inside(places, shoreline)
    if inside >= _ENOUGH:
        return []
    found = _better(name, raw, shoreline, inside) if raw is not None else None
    part = f"only {100 * inside:.0f} %" if inside >= 0.005 else "none"
    told = f"{name}: {part} of the soundings lie in the water"
    if not len(places):
        told = f"{name}: in no known CRS"
    if found is None and "pegs" in source:
        text = f"{told}. Are shoreline and pegs of one water, and bearings and distances right?"
        return [Doubt(text)]
    if found is None:
        text = f"{told}. Are shoreline and soundings of one water, and is the CRS right?"
        return [Doubt(text)]
    share, how, answers = found
    text = f"{told}; {how}, {100 * share:.0f} % of them would lie there."
    if not len(places):
        text = f"{told}; {how}, {100 * share:.0f} % of its places lie in the water."
    return [Doubt(text, ((f"Read it {how}", answers),))]


def _better(
    name: str, raw: Raw, shoreline: Shoreline, inside: float
) -> tuple[float, str, dict[str, str]] | None:
    assert shoreline.crs is not None  # every reader makes sure of it
    known = raw.places[np.isfinite(raw.places).all(axis=1)]
    known = known[:: max(len(known) // _SAMPLE, 1)]
    tried = []
    for swapped in (False, True):
        points = known[:, ::-1] if swapped else known
        for code, crs in _candidates(shoreline, points):
            share = _inside(project(points, crs, shoreline.crs), shoreline)
            answers = {f"{name}/crs": code}
            how = f"in {code}"
            if swapped:
                answers |= {f"{name}/easting": raw.northing, f"{name}/northing": raw.easting}
                how = f"with {raw.easting} and {raw.northing} exchanged, in {code}"
            tried.append((share, how, answers))
    best = max(tried, key=lambda one: one[0], default=None)
    if best is None or best[0] < max(_ENOUGH, inside + _LEAST_GAIN):
        return None
    return best


def _candidates(shoreline: Shoreline, points: np.ndarray) -> list[tuple[str, "CRS"]]:
    """CRS that coordinates may be in: degrees if they can be, else that of the shoreline."""
    if len(points) and (np.abs(points) <= [180, 90]).all():
        return [("EPSG:4326", parse_crs("EPSG:4326"))]
    own = shoreline.crs.to_authority() if shoreline.crs else None
    return [(":".join(own), parse_crs(":".join(own)))] if own else []


def mostly_inside(places: np.ndarray, shoreline: Shoreline) -> bool:
    """Tell whether at least half of the places (n, 2) lie in the water."""
    return _inside(places, shoreline) >= _ENOUGH


def _inside(places: np.ndarray, shoreline: Shoreline) -> float:
    known = places[np.isfinite(places).all(axis=1)]
    return float(shoreline.contains(known).sum() / max(len(places), 1)) if len(known) else 0.0


def depth_doubts(
    name: str, source: dict[str, Any], raw: Raw, shoreline: Shoreline | None
) -> list[Doubt]:
    """Doubt depths that look like elevations, negative numbers or another unit.

    Parameters
    ----------
    name : str
        Of the file.
    source : dict
        What the survey file says of it.
    raw : Raw
        As they stand in the file.
    shoreline : Shoreline or None
        Of the water.
    """
    values = raw.values[np.isfinite(raw.values)]
    if not len(values) or "elevation" in source:
        return []
    low, middle, high = (float(v) for v in np.percentile(values, [2, 50, 98]))
    told = f"{name}: depths from {values.min():g} to {values.max():g} as they stand in the file"
    as_elevation = ("They are elevations of the bed", {f"{name}/meaning": "elevation"})
    if middle < 0 and source.get("positive") != "up":
        ways = (("They are depths, written as negative numbers", {f"{name}/meaning": "up"}),)
        return [Doubt(f"{told}: below zero, most of them.", (*ways, as_elevation))]
    if low > 15 and low > 2 * (high - low):
        return [Doubt(f"{told}: nowhere shallow. Are they elevations?", (as_elevation,))]
    if shoreline is None or "unit" in source or names.unit_of(raw.depth):
        return []
    across = 2 * float(np.sqrt(shoreline.ground_area() / np.pi))
    deep = max(abs(low), abs(high))  # negative numbers are as deep as they are low
    relative = 100 * deep / across
    if relative <= _STEEP:
        return []
    text = (
        f"{told}: {deep:.3g} m deep in a water some {across:.0f} m across, a relative depth "
        f"of {relative:.2g} %. Most lakes have less than 2 %, small deep ones more than "
        f"{_STEEP:g} %. Is the file in feet?"
    )
    unit = f"{name}/unit"
    feet, metres = ("The depths are in feet", {unit: "ft"}), ("They are in metres", {unit: "m"})
    return [Doubt(text, (feet, metres))]
