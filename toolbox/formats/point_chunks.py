"""Point files of any size, read some rows at a time: text, Parquet, LAS and LAZ."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Protocol

import numpy as np

from toolbox.errors import ParameterError
from toolbox.formats.paths import existing_file
from toolbox.units import Unit

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = [
    "LAS_SUFFIXES",
    "NUMBERS",
    "TEXTS",
    "Choices",
    "Kind",
    "PointChunk",
    "PointFile",
    "open_points",
]

Kind = Literal["depth", "elevation"]
"""Depths are positive down, elevations up."""

NUMBERS = ("sd", "sd_xy", "sd_shared", "count", "cell")
"""Columns of numbers that thinning makes use of."""

TEXTS = ("line", "source")
"""Columns of texts that thinning makes use of."""

LAS_SUFFIXES = (".las", ".laz")
_PARQUET = (".parquet", ".geoparquet")
_TEXT = (".xyz", ".csv", ".txt", ".asc", ".tsv")


@dataclass(frozen=True)
class PointChunk:
    """Some points in the order of their file.

    Parameters
    ----------
    place : (n, 2) array
        Coordinates in the CRS of the file; NaN where missing.
    height : (n,) array
        Depth or elevation, in the unit and direction of the file; NaN where missing.
    columns : dict
        Those of :data:`NUMBERS` (arrays of float) and :data:`TEXTS` (arrays of str) the file has.
    refused : dict
        How many more points were left out, by reason.
    """

    place: np.ndarray
    height: np.ndarray
    columns: dict[str, np.ndarray]
    refused: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Choices:
    """What a person says about the files, where they do not say it themselves.

    Parameters
    ----------
    crs : str, optional
        CRS of files that name none.
    easting, northing, height : str, optional
        Names of their columns.
    decimal : str
        Decimal mark of text.
    classes : tuple of int
        Classes of LAS points that are taken; if left empty, all but those that are not the bed.
    returns : str
        Which echoes of a LAS pulse are taken.
    """

    crs: str | None = None
    easting: str | None = None
    northing: str | None = None
    height: str | None = None
    decimal: Literal[".", ","] = "."
    classes: tuple[int, ...] = ()
    returns: Literal["last", "all"] = "last"


class PointFile(Protocol):
    """A file of points, opened to the extent that it is known what it holds."""

    path: Path
    crs: "CRS"
    rows: int
    """How many points; about as many where only reading them all would tell."""
    columns: tuple[str, ...]
    """Which of :data:`NUMBERS` and :data:`TEXTS` it has."""
    kind: Kind | None
    """What its heights are, where it says so."""
    unit: Unit | None
    """Unit of its heights, where it says so."""

    def chunks(self, rows: int) -> Iterator[PointChunk]:
        """Go through the points from the first to the last, at most `rows` at a time."""
        ...


def open_points(path: Path, choices: Choices) -> PointFile:
    """Open a file of points by its suffix.

    Parameters
    ----------
    path : Path
        LAS, LAZ, Parquet, GeoParquet or delimited text.
    choices : Choices
        What the file does not say.

    Returns
    -------
    PointFile
        Nothing but its head has been read.

    Raises
    ------
    ParameterError
        If the suffix is of no such format.
    InputFileError
        If the file is not what its suffix says.
    """
    suffix = existing_file(path).suffix.lower()
    if suffix in LAS_SUFFIXES:
        from toolbox.formats.las_file import LasFile

        return LasFile(path, choices)
    if suffix in _PARQUET:
        from toolbox.formats.parquet_points import ParquetPoints

        return ParquetPoints(path, choices)
    if suffix in _TEXT:
        from toolbox.formats.text_points import TextPoints

        return TextPoints(path, choices)
    allowed = ", ".join((*LAS_SUFFIXES, *_PARQUET, *_TEXT))
    raise ParameterError(f"point files are {allowed}, got {path.name!r}")
