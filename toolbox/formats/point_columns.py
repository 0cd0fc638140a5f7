"""Columns of point files: which is the depth, and what thinning makes use of besides."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats import columns as names
from toolbox.formats.point_chunks import NUMBERS, Kind, PointChunk

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["UNSAID", "Columns", "coordinate_columns", "height_column", "kind_of", "texts"]

UNSAID = {"line": "", "source": "point", "reason": ""}
"""What a sounding is taken to have of columns of texts where a file holds nothing."""

_TRUE = ("True", "true", "1", "1.0")


@dataclass(frozen=True)
class Columns:
    """The columns of a table of points that are read beside the coordinates and the height.

    Parameters
    ----------
    numbers : tuple of str
        Those of numbers.
    line, source, flag, reason : str or None
        Those of texts, where there are any.
    """

    numbers: tuple[str, ...]
    line: str | None
    source: str | None
    flag: str | None
    reason: str | None

    @classmethod
    def among(cls, listed: Iterable[str]) -> "Columns":
        """Find them among the names of a table's columns."""
        table = list(listed)
        own = {name: name if name in table else None for name in ("source", "flag", "reason")}
        numbers = tuple(name for name in NUMBERS if name in table)
        return cls(numbers, names.find(table, names.LINE), **own)

    @property
    def read(self) -> tuple[str, ...]:
        """Names as they stand in the table."""
        texts = (self.line, self.source, self.flag, self.reason)
        return (*self.numbers, *(name for name in texts if name is not None))

    @property
    def carried(self) -> tuple[str, ...]:
        """Names as soundings carry them on."""
        texts = (("line", self.line), ("source", self.source))
        return (*self.numbers, *(name for name, column in texts if column is not None))

    def chunk(self, frame: "pd.DataFrame", place: np.ndarray, height: np.ndarray) -> PointChunk:
        """Put some rows together, those left out that are flagged."""
        import pandas as pd

        keep, refused = self._unflagged(frame)
        found = {
            name: pd.to_numeric(frame[name], errors="coerce").to_numpy(float)[keep]
            for name in self.numbers
        }
        for name, column in (("line", self.line), ("source", self.source)):
            if column is not None:
                found[name] = texts(frame[column], UNSAID[name])[keep]
        return PointChunk(place[keep], height[keep], found, refused)

    def _unflagged(self, frame: "pd.DataFrame") -> tuple[np.ndarray, dict[str, int]]:
        if self.flag is None:
            return np.ones(len(frame), bool), {}
        flagged = frame[self.flag].astype(str).isin(_TRUE).to_numpy(bool)
        if self.reason is None or not flagged.any():
            return ~flagged, {"flagged in the file": int(flagged.sum())} if flagged.any() else {}
        reasons = frame.loc[flagged, self.reason].fillna("").astype(str).value_counts()
        return ~flagged, {
            str(text) or "flagged in the file": int(count) for text, count in reasons.items()
        }


def texts(column: "pd.Series[Any]", unsaid: str) -> np.ndarray:
    """Return a column as texts, with one for the rows that hold nothing."""
    return column.astype(str).mask(column.isna(), unsaid).to_numpy(object)


def kind_of(column: str) -> Kind | None:
    """Tell by its name whether a column holds depths or elevations."""
    if names.find([column], names.DEPTH):
        return "depth"
    return "elevation" if names.find([column], names.ELEVATION) else None


def height_column(listed: Iterable[str], path: Path, given: str | None) -> str | None:
    """Return the column of depths or elevations; None where there is none and none is named.

    Raises
    ------
    InputFileError
        If there is no such column as named, or several may be the depth.
    """
    table = list(listed)
    if given is not None:
        return names.need(given, table, path, "depth")
    several = names.find_all(table, names.DEPTH)
    if len(several) > 1:
        raise InputFileError(
            f"{path} has several columns that may be the depth: {', '.join(several)}; name one"
        )
    return several[0] if several else names.find(table, (*names.ELEVATION, "z"))


def coordinate_columns(
    listed: Iterable[str], path: Path, easting: str | None, northing: str | None
) -> tuple[tuple[str, str], bool]:
    """Return the columns of eastings and northings, and whether they are degrees on WGS 84.

    Raises
    ------
    InputFileError
        If no column is plainly one of them.
    """
    table = list(listed)
    found: list[str | None] = [None, None]
    for pair in ((names.EASTING, names.NORTHING), (names.LONGITUDE, names.LATITUDE)):
        found = [names.find(table, words) for words in pair]
        if all(found):
            break
    east = names.need(easting or found[0], table, path, "easting or longitude")
    north = names.need(northing or found[1], table, path, "northing or latitude")
    degrees = names.find([east], names.LONGITUDE) and names.find([north], names.LATITUDE)
    return (east, north), bool(degrees)
