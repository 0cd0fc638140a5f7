"""Points of many files brought to places in one CRS and depths below one water level."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.point_chunks import NUMBERS, TEXTS, PointChunk, PointFile
from toolbox.formats.point_columns import UNSAID
from toolbox.layers.crs import is_metric, project, working_crs
from toolbox.units import convert

if TYPE_CHECKING:
    from pyproj import CRS

    from toolbox.layers import Shoreline, Soundings

__all__ = ["Heights", "Reduction", "common_crs"]


@dataclass(frozen=True)
class Heights:
    """What the third coordinate of points is.

    Parameters
    ----------
    z : str, optional
        ``"depth"``, positive down, or ``"elevation"``, positive up; None leaves it to the files.
    datum : float, optional
        Elevation of the datum water level, m.
    unit : str, optional
        Of the third coordinate; None leaves it to the files, which are in metres if they say
        nothing.
    """

    z: Literal["depth", "elevation"] | None = None
    datum: float | None = None
    unit: str | None = None

    def check(self, file: PointFile) -> None:
        """Raise ParameterError unless it is known how to make depths of a file's heights."""
        kind = self.z or file.kind
        if kind is None:
            raise ParameterError(
                f"{file.path} does not say what its third coordinate is: give z as 'depth' "
                "(positive down) or 'elevation' (positive up)"
            )
        if kind == "elevation" and self.datum is None:
            raise ParameterError(
                f"{file.path}: elevations need the datum's elevation: give datum, m"
            )

    def depth(self, height: np.ndarray, file: PointFile) -> np.ndarray:
        """Return depths below the datum water level, m, positive down."""
        values = np.asarray(convert(height, self.unit or file.unit or "m", "m"), float)
        return self.datum - values if (self.z or file.kind) == "elevation" else values


@dataclass
class Reduction:
    """Makes rows of figures of points, and counts those it leaves out.

    A row is easting, northing, depth, and what else the files have of what thinning makes use of;
    texts are numbered.

    Parameters
    ----------
    crs : CRS
        Projected, in metres.
    heights : Heights
        What the third coordinate is.
    fields : tuple of str
        Columns besides easting, northing and depth.
    shoreline : Shoreline, optional
        Points outside are left out.
    """

    crs: "CRS"
    heights: Heights
    fields: tuple[str, ...]
    shoreline: "Shoreline | None" = None
    read: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    _numbers: dict[str, dict[str, int]] = field(
        default_factory=lambda: {name: {UNSAID[name]: 0} for name in TEXTS}
    )

    @classmethod
    def of(
        cls,
        files: "list[PointFile]",
        crs: "CRS",
        heights: Heights,
        shoreline: "Shoreline | None" = None,
    ) -> "Reduction":
        """Make one for all columns that any of the files has."""
        had = {name for file in files for name in file.columns}
        fields = tuple(name for name in (*NUMBERS, *TEXTS) if name in had)
        return cls(crs, heights, fields, shoreline)

    def rows(self, file: PointFile, rows: int) -> Iterator[np.ndarray]:
        """Go through a file's points that are kept, shape (n, 3 + fields).

        Raises
        ------
        InputFileError
            If most depths lie above the water; this shows at the end.
        """
        above = below = 0
        for chunk in file.chunks(rows):
            self.read += len(chunk.height) + sum(chunk.refused.values())
            self.refused.update(chunk.refused)
            table = self._kept(self._table(chunk, file))
            above, below = (
                above + int((table[:, 2] < 0).sum()),
                below + int((table[:, 2] > 0).sum()),
            )
            yield table
        if above > below and (self.heights.z or file.kind) == "depth":
            raise InputFileError(
                f"{file.path}: most depths are negative; if they grow upwards, give z as "
                "'elevation' and the datum (0 where they count from the water)"
            )

    def _table(self, chunk: PointChunk, file: PointFile) -> np.ndarray:
        place = chunk.place
        if file.crs != self.crs:
            place = project(place, file.crs, self.crs)
        depth = self.heights.depth(chunk.height, file)
        others = [self._column(name, chunk) for name in self.fields]
        return np.column_stack([place, depth, *others])

    def _column(self, name: str, chunk: PointChunk) -> np.ndarray:
        count = len(chunk.height)
        if name in NUMBERS:
            return chunk.columns.get(name, np.full(count, np.nan))
        known = self._numbers[name]
        if name not in chunk.columns:
            return np.zeros(count)
        import pandas as pd

        code, texts = pd.factorize(chunk.columns[name])
        return np.array([known.setdefault(text, len(known)) for text in texts], float)[code]

    def _kept(self, table: np.ndarray) -> np.ndarray:
        table = self._left(table, np.isfinite(table[:, :2]).all(axis=1), "no position")
        table = self._left(table, np.isfinite(table[:, 2]), "no depth")
        if self.shoreline is not None:
            inside = self.shoreline.contains(table[:, :2])
            table = self._left(table, inside, "outside the shoreline")
        return table

    def _left(self, table: np.ndarray, keep: np.ndarray, reason: str) -> np.ndarray:
        if keep.all():
            return table
        self.refused[reason] += int((~keep).sum())
        return table[keep]

    def soundings(self, table: np.ndarray) -> "Soundings":
        """Turn rows back into soundings, none of them rejected."""
        import geopandas
        import shapely

        from toolbox.layers import Soundings

        columns: dict[str, np.ndarray] = {"depth": table[:, 2]}
        for name, figures in zip(self.fields, table[:, 3:].T, strict=True):
            columns[name] = self._texts(name, figures) if name in TEXTS else figures
        points = shapely.points(np.ascontiguousarray(table[:, :2]))
        return Soundings(geopandas.GeoDataFrame(columns, geometry=points, crs=self.crs))

    def _texts(self, name: str, numbers: np.ndarray) -> np.ndarray:
        return np.array(list(self._numbers[name]), object)[numbers.astype(int)]


def common_crs(files: "list[PointFile]", into: str | None, rows: int) -> "CRS":
    """Choose a CRS in metres: the one wanted, else that of the first file or one that suits it.

    Parameters
    ----------
    files : list of PointFile
        The first is read once, `rows` at a time, if its own CRS is not in metres.
    into : str, optional
        The one wanted.
    rows : int
        Read at a time.

    Raises
    ------
    InputFileError
        If nothing in the first file has a place.
    """
    crs = files[0].crs
    if into is not None or is_metric(crs):
        return working_crs(crs, (0.0, 0.0, 0.0, 0.0), into)
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for chunk in files[0].chunks(rows):
        if len(chunk.place):
            low = np.fmin(low, np.fmin.reduce(chunk.place))
            high = np.fmax(high, np.fmax.reduce(chunk.place))
    if not np.isfinite([low, high]).all():
        raise InputFileError(f"{files[0].path} holds no coordinates")
    return working_crs(crs, (low[0], low[1], high[0], high[1]))
