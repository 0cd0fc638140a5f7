"""Spool: soundings of a large layer, put down by water on the way from one file to many."""

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import OutputError
from toolbox.faults import said_by
from toolbox.formats.vector import write_features
from toolbox.layers import Soundings
from toolbox.layers.soundings import points_at

if TYPE_CHECKING:
    import pandas as pd
    from geopandas import GeoDataFrame

__all__ = ["Outside", "Spool"]

_OWNER, _EASTING, _NORTHING = "the water", "its easting", "its northing"


class Spool:
    """Soundings in a folder, a file for each portion that came, its rows sorted by water.

    Parameters
    ----------
    folder : Path
        It is made.
    waters : int
        How many there are.
    together : int
        Soundings of neighbouring waters that are taken up at once.

    Attributes
    ----------
    counts : (waters,) array of int
        Soundings in each water so far.

    Notes
    -----
    One file is open at a time. Waters are taken up in their order, as many at once as hold
    `together` soundings, a larger one alone: memory follows the largest water.
    """

    def __init__(self, folder: Path, waters: int, *, together: int) -> None:
        folder.mkdir()
        self._folder, self._files, self._together = folder, 0, together
        self.counts = np.zeros(waters, np.int64)
        self._frame: GeoDataFrame | None = None
        self._schema: Any = None
        self._held: tuple[int, int, GeoDataFrame, np.ndarray] | None = None

    def add(self, soundings: Soundings, owner: np.ndarray) -> None:
        """Put down more soundings of the same layer.

        Parameters
        ----------
        soundings : Soundings
            With the columns of those before.
        owner : (n,) array of int
            The water of each; those of none are left out.

        Raises
        ------
        OutputError
            If the disk is full.
        """
        import pyarrow

        order = np.argsort(owner, kind="stable")
        order = order[np.searchsorted(owner[order], 0) :]
        self.counts += np.bincount(owner[order], minlength=len(self.counts))
        frame = soundings.frame
        table = pyarrow.Table.from_pandas(
            frame.drop(columns="geometry").iloc[order], preserve_index=False
        )
        named = zip((_EASTING, _NORTHING), soundings.coordinates[order].T, strict=True)
        for name, values in ((_OWNER, owner[order]), *named):
            table = table.append_column(name, pyarrow.array(values))
        self._note(frame, table.schema)
        try:
            with pyarrow.ipc.new_file(self._path(self._files), table.schema) as file:
                file.write_table(table.combine_chunks())
        except OSError as error:
            raise OutputError(f"{self._folder} cannot be written: {said_by(error)}") from error
        self._files += 1

    def of_water(self, number: int) -> "GeoDataFrame":
        """Take up the soundings of a water, in the order in which they came."""
        held = self._held
        if held is None or not held[0] <= number < held[1]:
            held = self._held = None  # let go of those before the next are taken up
            held = self._held = self._taken_up(number)
        frame, owner = held[2:]
        begin, end = np.searchsorted(owner, (number, number + 1))
        return frame.iloc[begin:end]

    def _path(self, number: int) -> str:
        return str(self._folder / f"{number}.arrow")

    def _note(self, frame: "GeoDataFrame", schema: Any) -> None:
        """Keep what kind of column each is; times that a portion lacks have no zone there."""
        if self._frame is None:
            self._frame, self._schema = frame.iloc[:0], schema
            return
        for name in frame.columns:
            if name == "geometry" or frame[name].dtype == self._frame[name].dtype:
                continue
            if _finer(frame[name], self._frame[name]):
                self._frame = self._frame.assign(**{name: frame[name].iloc[:0]})
                at = self._schema.get_field_index(name)
                self._schema = self._schema.set(at, schema.field(name))

    def _taken_up(self, first: int) -> "tuple[int, int, GeoDataFrame, np.ndarray]":
        """Take up a water and those after it that are few enough together."""
        import geopandas
        import pyarrow

        assert self._frame is not None
        together = np.cumsum(self.counts[first:])
        end = first + max(int(np.searchsorted(together, self._together, side="right")), 1)
        parts = [self._slice(number, first, end) for number in range(self._files)]
        table = pyarrow.concat_tables(parts)
        del parts
        owner = table.column(_OWNER).to_numpy()
        order = np.argsort(owner, kind="stable")
        place = np.column_stack([table.column(n).to_numpy() for n in (_EASTING, _NORTHING)])
        table = table.drop_columns([_OWNER, _EASTING, _NORTHING])
        plain = table.to_pandas(self_destruct=True).astype(
            {n: kind for n, kind in self._frame.dtypes.items() if n != "geometry"}
        )
        del table
        plain = plain.iloc[order].reset_index(drop=True)
        plain["geometry"] = points_at(place[order])
        frame = geopandas.GeoDataFrame(
            plain[list(self._frame.columns)], geometry="geometry", crs=self._frame.crs
        )
        return first, end, frame, owner[order]

    def _slice(self, number: int, first: int, end: int) -> Any:
        """Copy the rows of some waters from a file; only these come into memory."""
        import pyarrow

        with pyarrow.memory_map(self._path(number)) as source:
            table = pyarrow.ipc.open_file(source).read_all()
            rows = np.searchsorted(table.column(_OWNER).to_numpy(), (first, end))
            return table.take(pyarrow.array(np.arange(*rows))).cast(self._schema)


def _finer(one: "pd.Series[Any]", other: "pd.Series[Any]") -> bool:
    """Tell whether times have a zone that others lack, or a finer unit."""
    if one.dt.tz is None or other.dt.tz is None:
        return one.dt.tz is not None
    units = ("s", "ms", "us", "ns")
    return units.index(one.dt.unit) > units.index(other.dt.unit)


class Outside:
    """Soundings in no water, each with the reason; a file that is there if there are any.

    Parameters
    ----------
    path : Path
        GeoPackage.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.counts: dict[str, int] = {}

    def add(self, soundings: Soundings, rows: np.ndarray, before: int, file: str) -> None:
        """Add soundings of a portion.

        Parameters
        ----------
        soundings : Soundings
            All of it.
        rows : (m,) array of int
            Those in no water, from 0.
        before : int
            Rows of the file before this portion.
        file : str
            Its name.
        """
        if not len(rows):
            return
        frame = soundings.frame.iloc[rows][["depth", "geometry"]]
        placed = np.isfinite(soundings.coordinates[rows]).all(axis=1)
        why = np.where(placed, "in no water", "no place")
        part = frame.to_crs(4326) if frame.crs is not None else frame
        part = part.assign(file=file, row=before + rows + 1, why=why).reset_index(drop=True)
        more = bool(self.counts)
        write_features(part, self._path, layer="outside", append=more, kind="Point")
        self.counts = dict(Counter(self.counts) + Counter(why.tolist()))
