"""GPX 1.0 and 1.1: tracks, routes and waypoints that carry depths.

The schema has no place for a depth, so that programs put one where they like: any element below a
point whose name is ``depth`` or ends in it counts, whatever its namespace. The file is parsed as a
stream by expat, the standard library's own parser; it reads nothing from outside the file, and a
file that declares entities, which is how a small file swells to fill a machine, is refused.
"""

from array import array
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol
from xml.parsers import expat

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.paths import existing_file
from toolbox.layers import Soundings
from toolbox.layers.crs import parse_crs, project, working_crs
from toolbox.moments import in_utc
from toolbox.tool import checked
from toolbox.units import Unit, convert

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["degrees_of", "local_name", "parse_gpx", "read_gpx"]

_POINTS = {"wpt": "point", "rtept": "point", "trkpt": "track"}
_LINES = {"rte", "trkseg"}
_BLOCK = 1 << 20
_LONGEST = 100  # characters of a number or a time
_PORTION = 50_000  # times that are kept as text


@checked
def read_gpx(path: Path, *, unit: Unit = "m", depth_from_elevation: bool = False) -> Soundings:
    """Read soundings from a GPX file.

    Parameters
    ----------
    path : Path
        GPX 1.0 or 1.1.
    unit : str
        Unit of the depths; GPX itself measures everything in metres.
    depth_from_elevation : bool
        Whether a point without a depth has the negative of its ``ele`` as its depth, for files
        that note the bed as heights below the water, 0 being the surface.

    Returns
    -------
    Soundings
        One for each point with a depth, in the order of the file, in a projected CRS in metres.
        Points of a track are of source "track" and their ``line`` is its segment, counted from 1
        through the file along with routes; waypoints and points of routes are of source "point".
        A depth that is empty or no number is flagged, and so is a point without a place on Earth.
        The notes say how many points tell no depth.

    Raises
    ------
    InputFileError
        If the file is no GPX file, is cut short, declares entities, or tells no depth.

    Notes
    -----
    Of several depths at one point the one named ``depth`` counts, then the first of the others.

    References
    ----------
    Foster 2004, GPX 1.1 Schema Documentation (elements wpt, rtept, trkpt, trkseg; from memory).
    """
    existing_file(path)
    found = _Points(depth_from_elevation)
    parse_gpx(path, found)
    if not found.depth:
        raise InputFileError(f"{path} has {found.silent} points, none of them with a depth")
    degrees = np.column_stack([np.array(found.longitude), np.array(found.latitude)])
    place, crs = _projected(degrees, path)
    time = found.times()
    return Soundings.from_arrays(
        place,
        np.asarray(convert(np.array(found.depth), unit, "m")),
        crs=crs,
        notes=tuple(_notes(found)),
        time=time,
        line=np.array(["", *map(str, range(1, found.lines + 1))], object)[np.array(found.line)],
        source=np.array(["point", "track"], object)[np.array(found.on_track)],
    )


def _notes(found: "_Points") -> list[str]:
    notes = []
    if found.silent:
        notes.append(f"{found.silent} points tell no depth and were left out")
    if found.odd:
        notes.append(f"{found.odd} depths are no numbers, such as {found.example!r}")
    if found.timeless:
        notes.append(f"{found.timeless} times are not ISO 8601 and were left empty")
    return notes


def _projected(degrees: np.ndarray, path: Path) -> tuple[np.ndarray, "CRS"]:
    degrees = np.where((np.abs(degrees) <= (180, 90)).all(axis=1)[:, None], degrees, np.nan)
    known = degrees[np.isfinite(degrees).all(axis=1)]
    if not len(known):
        raise InputFileError(f"{path} holds no coordinates")
    wgs84 = parse_crs("EPSG:4326")
    (west, south), (east, north) = known.min(axis=0), known.max(axis=0)
    crs = working_crs(wgs84, (west, south, east, north))
    return project(degrees, wgs84, crs), crs


@dataclass
class _Points:
    """Points gathered as the parser passes them; the arrays are of points with a depth."""

    use_elevation: bool
    longitude: "array[float]" = field(default_factory=lambda: array("d"))
    latitude: "array[float]" = field(default_factory=lambda: array("d"))
    depth: "array[float]" = field(default_factory=lambda: array("d"))
    line: "array[int]" = field(default_factory=lambda: array("q"))
    on_track: "array[int]" = field(default_factory=lambda: array("b"))
    lines: int = 0
    silent: int = 0
    odd: int = 0
    timeless: int = 0
    example: str = ""
    root: str = ""
    _times: list[str] = field(default_factory=list)
    _read: "list[pd.Series[pd.Timestamp]]" = field(default_factory=list)
    _kind: str = ""
    _line: int = 0
    _place: tuple[float, float] = (np.nan, np.nan)
    _facts: dict[str, str] = field(default_factory=dict)
    _fact: str = ""
    _text: str = ""

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        """Take the start of an element."""
        name = local_name(name)
        self.root = self.root or name
        if name in _LINES:
            self.lines += 1
            self._line = self.lines
        elif name in _POINTS:
            self._kind, self._facts = name, {}
            self._place = degrees_of(attributes.get("lon")), degrees_of(attributes.get("lat"))
        self._fact, self._text = self._wanted(name), ""

    def _wanted(self, name: str) -> str:
        """Return which fact of a point an element tells, if any."""
        if not self._kind:
            return ""
        lower = name.lower()
        if lower == "depth":
            return "depth"
        if lower.endswith("depth"):
            return "other depth"
        return name if name in ("time", "ele") else ""

    def text(self, text: str) -> None:
        """Take text, which may come in pieces."""
        if self._fact and len(self._text) < _LONGEST:
            self._text += text

    def end(self, name: str) -> None:
        """Take the end of an element."""
        name = local_name(name)
        if self._fact:
            self._facts.setdefault(self._fact, self._text.strip())
            self._fact = ""
        if name == self._kind:
            self._finish()
            self._kind = ""
        elif name in _LINES:
            self._line = 0

    def _finish(self) -> None:
        depth = self._depth()
        if depth is None:
            self.silent += 1
            return
        self.depth.append(depth)
        self.longitude.append(self._place[0])
        self.latitude.append(self._place[1])
        self.line.append(self._line)
        self.on_track.append(_POINTS[self._kind] == "track")
        self._times.append(self._facts.get("time", ""))
        if len(self._times) >= _PORTION:
            self._read_times()

    def _depth(self) -> float | None:
        told = self._facts.get("depth", self._facts.get("other depth"))
        if told is None and self.use_elevation and (told := self._facts.get("ele")):
            told = told.removeprefix("-") if told.startswith("-") else f"-{told}"
        if told is None:
            return None
        try:
            depth = float(told) if told else np.nan
        except ValueError:
            depth = np.inf
        if np.isinf(depth):
            self.odd += 1
            self.example = self.example or told
            depth = np.nan
        return depth

    def _read_times(self) -> None:
        read = in_utc(self._times)
        self.timeless += int(np.asarray(read.isna()).sum()) - self._times.count("")
        self._read.append(read.dt.as_unit("us"))
        self._times = []

    def times(self) -> "pd.Series[pd.Timestamp]":
        """Return the times of all points, NaT where there is none."""
        import pandas as pd

        self._read_times()
        return pd.concat(self._read, ignore_index=True)


def local_name(name: str) -> str:
    """Return the name of an element without its namespace."""
    return name.rpartition(" ")[2]


def degrees_of(text: str | None) -> float:
    """Return the number of an attribute, NaN where it is none."""
    try:
        return float(text or "nan")
    except ValueError:
        return np.nan


class Gatherer(Protocol):
    """What takes the elements of a GPX file as the parser passes them."""

    root: str

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        """Take the start of an element."""

    def end(self, name: str) -> None:
        """Take the end of an element."""

    def text(self, text: str) -> None:
        """Take text, which may come in pieces."""


def parse_gpx(path: Path, found: Gatherer) -> None:
    """Run the parser over the file, a block at a time.

    Raises
    ------
    InputFileError
        If it is no GPX file, is cut short or declares entities.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = found.begin
    parser.EndElementHandler = found.end
    parser.CharacterDataHandler = found.text
    parser.EntityDeclHandler = _refuse_entity
    parser.buffer_text = True
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                parser.Parse(block, False)
                _check_root(found.root, path)
        parser.Parse(b"", True)
    except _EntityError as error:
        raise InputFileError(f"{path} declares the entity {error}: entities are refused") from None
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise InputFileError(f"{path} is no whole GPX file: {error}") from error


def _check_root(root: str, path: Path) -> None:
    if root not in ("", "gpx"):
        raise InputFileError(f"{path} is no GPX file: its first element is {root[:40]!r}")


class _EntityError(Exception):
    """A file declares an entity."""


def _refuse_entity(name: str, *_: Any) -> None:
    raise _EntityError(repr(name[:40]))
