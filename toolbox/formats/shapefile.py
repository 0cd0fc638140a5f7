"""Shapefile: what it cannot hold, and whether all of it has been written."""

import struct
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.errors import ParameterError
from toolbox.formats.paths import without_end

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["check_whole", "for_shapefile"]

_HEAD = 28  # bytes, of which the last four are the length of the file in words of two


def for_shapefile(frame: "GeoDataFrame", path: Path) -> "GeoDataFrame":
    """Return features as a Shapefile can hold them: its tables know dates, but no times.

    Raises
    ------
    ParameterError
        If they are not all of one kind of shape.
    """
    kinds = frame.geometry.geom_type.dropna().str.removeprefix("Multi")
    kinds = sorted(kinds.replace("LinearRing", "LineString").unique())
    if len(kinds) > 1:
        raise ParameterError(
            f"a Shapefile holds one kind of shape, {path.name} would need {', '.join(kinds)}: "
            "write .gpkg or .geojson"
        )
    times = frame.select_dtypes(include=["datetime", "datetimetz"]).columns
    return frame.assign(**{name: frame[name].map(_iso) for name in times})


def _iso(time: Any) -> str:
    return "" if time != time else time.isoformat()


def check_whole(path: Path) -> None:
    """Raise OutputError if a part is not as long as it says: its writer tells of no full disk.

    Notes
    -----
    What was cut is shorter. GDAL before 3.12 leaves the heads as they were at the beginning, of a
    file without features.

    References
    ----------
    ESRI (1998). ESRI Shapefile technical description, tables 1 and 2 (from memory).
    """
    for part in (path, path.with_suffix(".shx")):
        with part.open("rb") as file:
            (words,) = struct.unpack(">i", file.read(_HEAD)[24:])
        if 2 * words != part.stat().st_size:
            raise without_end(path)
