"""A spool: rows of figures put down on disk as they come, and taken up again cell by cell."""

import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import IO, Self

import numpy as np

from toolbox.errors import OutputError, TooLargeError

__all__ = ["Spool"]

_SLICE = 2**18  # rows written or looked through at a time


class _Run:
    """Rows that lie in the file one after the other, from west to east.

    Parameters
    ----------
    start : int
        Of its first row, counted from the beginning of the file.
    columns : (n,) array of int
        The columns of cells that it has rows in, in their order.
    ends : (n,) array of int
        Rows up to the end of each.
    """

    def __init__(self, start: int, column: np.ndarray) -> None:
        last = np.flatnonzero(np.append(column[1:] != column[:-1], True))
        self.start, self.columns, self.ends = start, column[last], last + 1

    def rows(self, first: int, last: int) -> tuple[int, int]:
        """Return the first row of some columns, and how many they have."""
        low, high = np.searchsorted(self.columns, [first, last + 1])
        begin = self.ends[low - 1] if low else 0
        end = self.ends[high - 1] if high else 0
        return self.start + int(begin), int(end - begin)


class Spool:
    """Rows of figures on disk, sorted by the column of cells they lie in.

    Rows are gathered in memory until there are `gathered` of them, brought into the order of their
    columns and added to one file. A file of such runs gives back the rows of neighbouring columns
    in one stretch from each run. Rows of one column keep the order in which they came.

    Parameters
    ----------
    folder : Path
        Where the file is made. It has no name, so nothing is left behind however the program
        ends (on Windows, as long as that is not by force).
    cell : float
        Width of the cells, m.
    fields : int
        Figures in a row; the first two are easting and northing, m.
    gathered : int
        Rows in memory.

    Examples
    --------
    >>> with Spool(Path(), 10.0, 3, gathered=2) as spool:
    ...     spool.add(np.array([[25.0, 1.0, 7.0], [5.0, 1.0, 8.0], [5.0, 1.0, 9.0]]))
    ...     [tile[:, 2].tolist() for tile in spool.tiles(2)]
    [[8.0, 9.0], [7.0]]
    """

    def __init__(self, folder: Path, cell: float, fields: int, *, gathered: int) -> None:
        self.cell, self.count, self._filled = cell, 0, 0
        self._gathered = np.empty((gathered, fields))
        self._runs: list[_Run] = []
        try:
            self._file: IO[bytes] = tempfile.TemporaryFile(dir=folder, buffering=0)  # noqa: SIM115
        except OSError as error:
            raise OutputError(f"no temporary file can be made in {folder}: {error}") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    @property
    def size(self) -> int:
        """Bytes on disk."""
        return sum(int(run.ends[-1]) for run in self._runs) * self._row_bytes

    @property
    def _row_bytes(self) -> int:
        return self._gathered.shape[1] * self._gathered.itemsize

    def add(self, rows: np.ndarray) -> None:
        """Take in more rows.

        Parameters
        ----------
        rows : (n, fields) array
            Finite eastings and northings first.

        Raises
        ------
        OutputError
            If the disk is full.
        """
        self.count += len(rows)
        while len(rows):
            part, rows = np.split(rows, [len(self._gathered) - self._filled])
            self._gathered[self._filled : self._filled + len(part)] = part
            self._filled += len(part)
            if self._filled == len(self._gathered):
                self._put_down()

    def _put_down(self) -> None:
        """Add what has been gathered to the file, as a run."""
        if not self._filled:
            return
        rows = self._gathered[: self._filled]
        column = self._index(rows[:, 0])
        order = _stable_order(column)
        start = sum(int(run.ends[-1]) for run in self._runs)
        try:
            for part in range(0, len(order), _SLICE):
                self._write(rows[order[part : part + _SLICE]])
        except OSError as error:
            raise OutputError(f"the temporary file cannot be written: {error.strerror}") from error
        self._runs.append(_Run(start, column[order]))
        self._filled = 0

    def _write(self, rows: np.ndarray) -> None:
        left = rows.data.cast("B")
        while len(left):  # a file without a buffer may take less than it is given
            left = left[self._file.write(left) :]

    def _index(self, place: np.ndarray) -> np.ndarray:
        from toolbox.reduction.thinning import cell_index

        return cell_index(place, self.cell)

    def tiles(self, most: int) -> Iterator[np.ndarray]:
        """Take up all rows, in tiles of whole cells from west to east, then from south to north.

        Parameters
        ----------
        most : int
            Rows of a tile.

        Yields
        ------
        (n, fields) array
            Within a cell in the order in which rows were added.

        Raises
        ------
        TooLargeError
            If one cell holds more rows.
        """
        self._put_down()
        self._gathered = self._gathered[:0].copy()
        columns, counts = self._histogram()
        for first, last in _groups(counts, most):
            if counts[first : last + 1].sum() <= most:
                yield self._take(columns[first], columns[last])
            else:
                yield from self._column_tiles(columns[first], most)

    def _histogram(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the columns with rows, and how many."""
        columns, counts = np.empty(0, int), np.empty(0, int)
        for run in self._runs:
            both = np.concatenate([columns, run.columns])
            columns, where = np.unique(both, return_inverse=True)
            own = np.diff(run.ends, prepend=0)
            counts = np.bincount(where, np.concatenate([counts, own])).astype(int)
        return columns, counts

    def _take(self, first: int, last: int) -> np.ndarray:
        """Read the rows of some columns."""
        parts = [run.rows(first, last) for run in self._runs]
        rows = np.empty((sum(count for _, count in parts), self._gathered.shape[1]))
        done = 0
        for start, count in parts:
            self._read(start, rows[done : done + count])
            done += count
        return rows

    def _read(self, start: int, into: np.ndarray) -> None:
        left = into.data.cast("B") if len(into) else memoryview(b"")
        self._file.seek(start * self._row_bytes)
        while len(left):
            left = left[self._file.readinto(left) :]  # type: ignore[attr-defined]

    def _pieces(self, column: int) -> Iterator[np.ndarray]:
        """Go through the rows of one column."""
        for run in self._runs:
            start, count = run.rows(column, column)
            for done in range(0, count, _SLICE):
                piece = np.empty((min(_SLICE, count - done), self._gathered.shape[1]))
                self._read(start + done, piece)
                yield piece

    def _column_tiles(self, column: int, most: int) -> Iterator[np.ndarray]:
        """Divide a column that holds too many rows from south to north."""
        north, counts = np.empty(0, int), np.empty(0, int)
        for piece in self._pieces(column):
            own, many = np.unique(self._index(piece[:, 1]), return_counts=True)
            north, where = np.unique(np.concatenate([north, own]), return_inverse=True)
            counts = np.bincount(where, np.concatenate([counts, many])).astype(int)
        for first, last in _groups(counts, most):
            if counts[first] > most:
                raise TooLargeError(
                    f"the cell at easting {column * self.cell:.10g}, northing "
                    f"{north[first] * self.cell:.10g} holds {counts[first]} soundings, more than "
                    f"the {most} that memory allows; allow more memory or take a smaller cell"
                )
            yield self._take_between(column, north[first], north[last])

    def _take_between(self, column: int, south: int, north: int) -> np.ndarray:
        parts = []
        for piece in self._pieces(column):
            index = self._index(piece[:, 1])
            parts.append(piece[(index >= south) & (index <= north)])
        return np.concatenate(parts)


def _stable_order(column: np.ndarray) -> np.ndarray:
    """Return the order from west to east in which rows of one column stay as they are."""
    offset = column - column.min()
    if offset.max() < 2**16:  # numbers as short are sorted digit by digit, ten times as fast
        offset = offset.astype(np.uint16)
    return np.argsort(offset, kind="stable")


def _groups(counts: np.ndarray, most: int) -> Iterator[tuple[int, int]]:
    """Put neighbours together up to a sum, given as first and last; one too large stands alone."""
    ends = np.cumsum(counts)
    first, before = 0, 0
    while first < len(counts):
        last = max(int(np.searchsorted(ends, before + most, side="right")) - 1, first)
        yield first, last
        first, before = last + 1, int(ends[last])
