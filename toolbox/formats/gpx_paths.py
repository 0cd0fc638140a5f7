"""GPX paths: tracks and routes as lines, such as a walk round a water."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.gpx import degrees_of, local_name, parse_gpx
from toolbox.formats.paths import existing_file

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["depths_in_gpx", "read_gpx_paths"]

_PATHS = {"trk", "rte"}
_PLACES = {"trkpt", "rtept"}


def read_gpx_paths(path: Path) -> "GeoDataFrame":
    """Read tracks and routes as lines, longitude and latitude on WGS 84.

    The segments of a track follow each other in one line: a receiver begins a new one where it was
    stopped for a while.

    Raises
    ------
    InputFileError
        If the file is no GPX file, or holds no track or route of three places.
    """
    import geopandas
    import shapely

    lines = [places for places in _parsed(path).paths if len(places) > 2]
    if not lines:
        raise InputFileError(f"{path} holds no track or route of 3 places or more")
    shapes = [shapely.LineString(np.array(places)) for places in lines]
    return geopandas.GeoDataFrame(geometry=shapes, crs="EPSG:4326")


def depths_in_gpx(path: Path) -> tuple[bool, int]:
    """Tell whether any point of a GPX file has a depth, and how many places its paths have."""
    found = _parsed(path)
    return found.deep, sum(map(len, found.paths))


def _parsed(path: Path) -> "_Paths":
    found = _Paths()
    parse_gpx(existing_file(path), found)
    return found


@dataclass
class _Paths:
    """Paths gathered as the parser passes them."""

    paths: list[list[tuple[float, float]]] = field(default_factory=list)
    deep: bool = False
    root: str = ""

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        """Take the start of an element."""
        name = local_name(name)
        self.root = self.root or name
        if name in _PATHS:
            self.paths.append([])
        elif name in _PLACES and self.paths:
            place = degrees_of(attributes.get("lon")), degrees_of(attributes.get("lat"))
            if abs(place[0]) <= 180 and abs(place[1]) <= 90:
                self.paths[-1].append(place)
        elif name.lower().endswith("depth"):
            self.deep = True

    def end(self, name: str) -> None:
        """Take the end of an element: nothing hangs on it."""

    def text(self, text: str) -> None:
        """Take text: nothing hangs on it."""
