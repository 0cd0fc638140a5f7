"""Captions: what files for a globe, a phone, a handheld or a drawing say of each feature."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Vectors
from toolbox.layers.crs import is_plane, parse_crs
from toolbox.words import short

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS

__all__ = ["CAUTION", "WGS84", "captions", "check_on_earth", "depths_of", "in_degrees", "plain"]

CAUTION = "Not for navigation. Depths hold for the datum; between soundings they are interpolated."
WGS84 = "EPSG:4326"

_LONGEST = 200
_UNITS = ("m", "m2", "m3", "ft", "deg", "degree")
_BRACKETS = str.maketrans("<>", "\u2039\u203a")


def plain(text: Any, *, most: int = _LONGEST) -> str:
    r"""Return text on one line that no program takes for anything but text.

    Parameters
    ----------
    text
        Anything a person typed.
    most : int
        Characters; what is longer ends in an ellipsis.

    Returns
    -------
    str
        Without characters that are not printed, which XML forbids or which turn the direction of
        writing, and with pointed brackets that look alike: globe viewers and phones show
        descriptions as web pages.

    Examples
    --------
    >>> plain("the\noak\x00"), plain("<b>") == "\u2039b\u203a"
    ('the oak', True)
    """
    return short(str(text).translate(_BRACKETS), most)


def check_on_earth(crs: "CRS | None", what: str) -> "CRS":
    """Return `crs`; raise LayerError if it is a plane, which has no longitudes and latitudes."""
    if crs is None or is_plane(crs):
        raise LayerError(f"{what} must be tied to the earth for this format, got a plane")
    return crs


def in_degrees(vectors: Vectors) -> "GeoDataFrame":
    """Return the features that have a place, in longitude and latitude on WGS 84.

    Raises
    ------
    LayerError
        If they lie on a plane, cross the antimeridian, or lie outside what can be projected.
    """
    check_on_earth(vectors.crs, vectors.name)
    frame = vectors.frame[~(vectors.frame.geometry.is_empty | vectors.frame.geometry.isna())]
    frame = frame.to_crs(parse_crs(WGS84)).reset_index(drop=True)
    west, _, east, _ = bounds = frame.total_bounds
    if len(frame) and not np.isfinite(bounds).all():
        raise LayerError(f"{vectors.name} lies outside what can be told in degrees")
    if east - west > 180:
        raise LayerError(
            f"{vectors.name} spans longitudes {west:.4f} to {east:.4f}, as one cut by the "
            "antimeridian does; this format has no way to say so"
        )
    return frame


def depths_of(frame: "GeoDataFrame") -> np.ndarray:
    """Return ``depth_m`` of each feature; NaN where it has none."""
    import pandas as pd

    if "depth_m" not in frame:
        return np.full(len(frame), np.nan)
    return np.asarray(pd.to_numeric(frame["depth_m"], errors="coerce"), float)


def captions(frame: "GeoDataFrame", layer: str) -> list[tuple[str, str]]:
    """Name and describe each feature of a layer.

    Parameters
    ----------
    frame : GeoDataFrame
        Marks, pegs, planned soundings, isobaths and features are named by their own columns,
        others after their layer and counted.
    layer : str
        Name of the layer.

    Returns
    -------
    list of (str, str)
        A short name, with the depth where there is one, and a description: the ``sentence`` of
        the feature, or its columns.
    """
    rows = frame[[name for name in frame.columns if name != frame.geometry.name]].to_dict("records")
    digits = len(str(len(rows)))
    return [
        (plain(_name(row, depth, layer, str(number).zfill(digits)), most=60), _described(row))
        for number, (row, depth) in enumerate(zip(rows, depths_of(frame), strict=True), start=1)
    ]


def _name(row: Mapping[Any, Any], depth: float, layer: str, number: str) -> str:
    deep = f" {depth:.1f} m" if np.isfinite(depth) else ""
    if _told(row.get("mark")):  # lists on handhelds are sorted as text
        return f"{str(row['mark']).zfill(len(number))}{deep}"
    if "index_line" in row and deep:
        return f"{round(row['depth_ft'], 2):g} ft" if "depth_ft" in row else f"{depth:g} m"
    for column in ("name", "label"):
        if _told(row.get(column)):
            return f"{row[column]}{deep}"
    if _told(row.get("order")):
        return f"S{str(row['order']).zfill(len(number))}{deep}"
    if _told(row.get("peg")):
        return str(row["peg"])
    what = row["kind"] if _told(row.get("kind")) else layer.replace("_", " ")
    counted = row["feature"] if _told(row.get("feature")) else number.lstrip("0")
    return f"{what} {_value(counted)}{deep}"


def _described(row: Mapping[Any, Any]) -> str:
    if _told(row.get("sentence")):
        return plain(row["sentence"], most=1000)
    said = [
        f"{words}: {_value(value)}{unit}"
        for name, value in row.items()
        if _told(value) and not isinstance(value, bool)
        for words, unit in [_words(str(name))]
    ]
    return plain("; ".join(said), most=1000)


def _words(column: str) -> tuple[str, str]:
    """Split the name of a column into words and the unit it ends in."""
    stem, _, unit = column.rpartition("_")
    known = bool(stem) and unit in _UNITS
    return (stem if known else column).replace("_", " "), f" {unit}" if known else ""


def _value(value: Any) -> str:
    if not isinstance(value, float):
        return str(value)
    return f"{value:.0f}" if value == round(value) or abs(value) >= 1000 else f"{value:.3g}"


def _told(value: Any) -> bool:
    """Tell whether a cell holds something."""
    import pandas as pd

    return not (pd.api.types.is_scalar(value) and (pd.isna(value) or value == ""))
