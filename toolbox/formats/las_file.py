"""LAS and LAZ: point clouds, read some points at a time."""

import logging
import struct
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import InputFileError, TooLargeError
from toolbox.extras import needed
from toolbox.faults import said_by
from toolbox.formats.laz_chunks import chunks_fit
from toolbox.formats.point_chunks import Choices, Kind, PointChunk
from toolbox.layers import Places
from toolbox.layers.crs import parse_crs, project, working_crs
from toolbox.units import Unit
from toolbox.words import counted

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["NOT_BED", "LasFile", "las_places"]

NOT_BED = {
    7: "low noise",
    18: "high noise",
    41: "water surface",
    42: "derived water surface",
    45: "no bottom found",
}
"""Classes of points that are not the bed (ASPRS, 2019, LAS specification 1.4 R15, table 17, and
its topo-bathymetric classes 40 to 45; from memory)."""

_TOGETHER, _POINT_BYTES = 500_000, 600  # points read at a time; bytes of one as a sounding
_HEADER, _SHORTEST, _RECORD, _LATE_RECORD = 375, 227, 54, 60  # bytes, as the specification says
_PACKED = 0x80  # mark of a packed format
_UNITS: dict[str, Unit] = {
    "metre": "m",
    "meter": "m",
    "foot": "ft",
    "US survey foot": "survey_foot",
}


def _laspy(path: Path) -> Any:
    with needed("laz", str(path)):
        import laspy

        if path.suffix.lower() == ".laz":
            import lazrs  # noqa: F401  it unpacks
    logging.getLogger("laspy").addHandler(logging.NullHandler())  # it tells the terminal, too
    return laspy


def _check_header(path: Path) -> None:
    """Refuse a header that counts more records than the file has room for: each would be sought."""
    with path.open("rb") as file:
        head = file.read(_HEADER)
    if len(head) < _SHORTEST or not head.startswith(b"LASF"):
        raise InputFileError(f"{path} cannot be read as LAS: it does not begin like one")
    size = path.stat().st_size
    length, points, records = struct.unpack_from("<HII", head, 94)
    begin, more = struct.unpack_from("<QI", head, 235) if len(head) == _HEADER else (0, 0)
    if head[25] < 4:  # records after the points came with version 1.4
        begin, more = 0, 0
    fits = length + records * _RECORD <= points <= size and begin + more * _LATE_RECORD <= size
    if fits and head[104] >= _PACKED:
        fits = chunks_fit(path, length, records, points)
    if not fits:
        raise InputFileError(f"{path} cannot be read as LAS: it counts more than it has room for")


class LasFile:
    """A LAS or LAZ file.

    Parameters
    ----------
    path : Path
        The file.
    choices : Choices
        Its CRS if it names none; which classes and returns are wanted.

    Notes
    -----
    Left out, and counted, are points that are flagged as withheld, classes that are not wanted,
    and, unless all returns are asked for, returns after which the same pulse has a later one. The
    id of a point's source is its line (0 is none).
    """

    columns: tuple[str, ...] = ("line",)
    kind: Kind | None = None

    def __init__(self, path: Path, choices: Choices) -> None:
        self.path, self._choices = path, choices
        with self._open() as reader:
            header = reader.header
            self.rows = int(header.point_count)
            declared = self._declared(header)
        self.crs, self.unit = self._crs(declared, choices.crs)
        if not self.rows:
            raise InputFileError(f"{path} holds no points")

    def _open(self) -> Any:
        laspy = _laspy(self.path)
        _check_header(self.path)
        try:
            # one thread: several make room for whatever the file says, and end the process over it
            return laspy.open(self.path, laz_backend=laspy.LazBackend.Lazrs)
        except Exception as error:  # whatever the library makes of a broken header
            raise InputFileError(f"{self.path} cannot be read as LAS: {said_by(error)}") from error

    def _declared(self, header: Any) -> Any:
        try:
            return header.parse_crs()
        except Exception as error:  # whatever the libraries below make of a broken record
            if self._choices.crs is not None:
                return None
            raise InputFileError(
                f"{self.path} has a CRS that cannot be read ({said_by(error)}): give one with crs"
            ) from error

    def _crs(self, declared: Any, given: str | None) -> tuple["CRS", Unit | None]:
        if declared is None and given is None:
            raise InputFileError(
                f"{self.path} names no CRS: give one with crs, such as 'EPSG:32633'"
            )
        if declared is None:
            return parse_crs(given), None
        vertical = [axis for axis in declared.axis_info if axis.direction in ("up", "down")]
        unit = _UNITS.get(vertical[0].unit_name) if vertical else None
        return parse_crs(declared), unit

    def chunks(self, rows: int) -> Iterator[PointChunk]:
        """Go through the points, at most `rows` at a time."""
        read = 0
        try:
            with self._open() as reader:
                for points in reader.chunk_iterator(rows):
                    read += len(points)
                    yield self._chunk(points)
        except InputFileError:
            raise
        except Exception as error:  # whatever the libraries below make of broken points
            raise InputFileError(
                f"{self.path} is damaged after point {read}: {said_by(error)}"
            ) from error
        if read != self.rows:
            raise InputFileError(f"{self.path} says it holds {self.rows} points, it holds {read}")

    def _chunk(self, points: Any) -> PointChunk:
        keep, refused = self._wanted(points)
        place = np.column_stack([np.asarray(points.x)[keep], np.asarray(points.y)[keep]])
        ids = np.asarray(points.point_source_id)[keep]
        names, which = np.unique(ids, return_inverse=True)
        line = np.array(["" if name == 0 else str(name) for name in names], object)[which]
        return PointChunk(place, np.asarray(points.z)[keep], {"line": line}, refused)

    def _wanted(self, points: Any) -> tuple[np.ndarray, dict[str, int]]:
        """Tell which points are wanted, and count the others by the first reason that holds."""
        keep, refused = np.ones(len(points), bool), {}
        for reason, bad in self._faults(points):
            if count := int((keep & bad).sum()):
                refused[reason] = count
                keep &= ~bad
        return keep, refused

    def _faults(self, points: Any) -> Iterator[tuple[str, np.ndarray]]:
        yield "withheld", np.asarray(points.withheld).astype(bool)
        kinds, wanted = np.asarray(points.classification), self._choices.classes
        for kind in np.unique(kinds).tolist():
            if kind not in wanted if wanted else kind in NOT_BED:
                name = f" ({NOT_BED[kind]})" if kind in NOT_BED else ""
                yield f"class {kind}{name}", kinds == kind
        if self._choices.returns == "last":
            number, of = np.asarray(points.return_number), np.asarray(points.number_of_returns)
            yield "not the last return", number < of


def las_places(
    path: Path, *, crs: str | None = None, into: str | None = None
) -> tuple[Places, Unit | None]:
    """Read a LAS or LAZ file that fits into memory.

    Parameters
    ----------
    path : Path
        The file.
    crs : str, optional
        Its CRS, where it names none.
    into : str, optional
        Projected CRS in metres to work in; if left out, the file's own if it is one, else a
        suitable one.

    Returns
    -------
    places : Places
        With columns ``Z`` (as it stands in the file) and ``line``; the notes say how many points
        were left out, and why.
    unit : str or None
        Of ``Z``, where the file says so.

    Raises
    ------
    InputFileError
        If the file is damaged, names no CRS, or holds no point that is wanted.
    TooLargeError
        If there is not enough memory for so many points.
    """
    import pandas as pd

    file = LasFile(path, Choices(crs=crs))
    _check_memory(file)
    chunks = list(file.chunks(_TOGETHER))
    place = np.concatenate([chunk.place for chunk in chunks])
    refused = sum((Counter(chunk.refused) for chunk in chunks), Counter[str]())
    notes = tuple(f"left out: {counted(n, 'point')}: {reason}" for reason, n in refused.items())
    if not len(place):
        raise InputFileError(f"{path} holds no point that is wanted: {'; '.join(notes)}")
    frame = pd.DataFrame(
        {
            "Z": np.concatenate([chunk.height for chunk in chunks]),
            "line": np.concatenate([chunk.columns["line"] for chunk in chunks]),
        }
    )
    low, high = place.min(axis=0), place.max(axis=0)
    target = working_crs(file.crs, (low[0], low[1], high[0], high[1]), into)
    moved = place if target == file.crs else project(place, file.crs, target)
    return Places(moved, frame, target, notes), file.unit


def _check_memory(file: LasFile) -> None:
    import psutil

    needed, free = _POINT_BYTES * file.rows, psutil.virtual_memory().available
    if needed > free:
        raise TooLargeError(
            f"{file.path} holds {file.rows:,} points, which need {needed / 2**30:,.1f} GiB; "
            f"{free / 2**30:,.1f} GiB are free; thin it first: leadline thin-file"
        )
