"""Thinning of point files that are larger than memory."""

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import numpy as np

from toolbox.blocks.memory import in_gib, memory_allowed, memory_left
from toolbox.blocks.reduced import Heights, Reduction, common_crs
from toolbox.blocks.spool import Spool
from toolbox.errors import InputFileError, OutputError, ParameterError
from toolbox.formats.growing_points import GrowingPoints, check_growing
from toolbox.formats.paths import new_file
from toolbox.formats.point_chunks import Choices, PointFile, open_points
from toolbox.formats.shoreline_file import read_shoreline
from toolbox.reduction.thinning import By, thin
from toolbox.tool import Range
from toolbox.words import counted

__all__ = ["Account", "Share", "Watch", "thin_files"]

_READ_BYTES = 600  # of a point while it is read and reduced, the libraries' own included
_THIN_BYTES = 1_100  # of a point while it is a sounding and is thinned
_FIGURE = 8  # bytes
_ORDER_BYTES = 40  # of a row while rows are put into order
_SPARE = 64 * 2**20  # for what the output gathers, and what allocators keep
_LEAST, _MOST_READ, _MOST_THINNED, _MOST_GATHERED = 20_000, 500_000, 400_000, 8_000_000

Watch = Callable[[str, int, int], None]
"""Told the stage, and how much of how much is done."""

_UNTOLD, _NONE_MADE = Heights(), Choices()


@dataclass(frozen=True)
class Account:
    """What became of the points.

    Parameters
    ----------
    read : int
        Points in the files.
    thinned : int
        Those that went into cells; with those left out they add up to those read.
    cells : int
        Soundings written.
    refused : dict
        How many were left out, by reason.
    disk : int
        Size of the temporary file, bytes.
    """

    read: int
    thinned: int
    cells: int
    refused: dict[str, int]
    disk: int

    @classmethod
    def of(cls, reduction: Reduction, spool: Spool, cells: int) -> "Account":
        """Draw it up at the end."""
        refused = dict(reduction.refused)
        return cls(reduction.read, spool.count, cells, refused, spool.size)

    @property
    def notes(self) -> tuple[str, ...]:
        """The same in words."""
        left = [f"left out: {counted(n, 'point')}: {why}" for why, n in self.refused.items()]
        thinned = f"{counted(self.thinned, 'point')} of {self.read} thinned"
        return (f"{thinned} to {counted(self.cells, 'sounding')}", *left)


@dataclass(frozen=True)
class Share:
    """How many rows fit into memory at each step.

    Parameters
    ----------
    fields : int
        Figures in a row.
    read, gathered, thinned : int
        Rows read at a time, gathered for a run of the spool, and thinned at a time.
    """

    fields: int
    read: int
    gathered: int
    thinned: int

    @classmethod
    def of(cls, allowed: int, fields: int) -> "Share":
        """Share out what is left of the memory that the whole process may use, bytes.

        Raises
        ------
        ParameterError
            If that is too little to work.
        """
        least = _SPARE + _LEAST * (_READ_BYTES + _THIN_BYTES + 2 * fields * _FIGURE)
        left = memory_left(allowed, least) - _SPARE
        row = fields * _FIGURE
        read = min(_MOST_READ, left // 2 // (_READ_BYTES + 3 * row))
        gathered = min(_MOST_GATHERED, left // 2 // (row + _ORDER_BYTES))
        thinned = min(_MOST_THINNED, left // (_THIN_BYTES + 2 * row))
        return cls(fields, read, gathered, thinned)

    @property
    def row_bytes(self) -> int:
        """Of a row on disk."""
        return self.fields * _FIGURE


def thin_files(
    paths: Sequence[Path],
    out: Path,
    *,
    cell: float,
    by: By = "mean",
    heights: Heights = _UNTOLD,
    choices: Choices = _NONE_MADE,
    into: str | None = None,
    shoreline: Path | None = None,
    memory: str | None = None,
    temporary: Path | None = None,
    overwrite: bool = False,
    tell: Callable[[str], None] | None = None,
    watch: Watch | None = None,
) -> Account:
    """Put one sounding in the place of all of a cell, for files larger than memory.

    Parameters
    ----------
    paths : sequence of Path
        LAS, LAZ, Parquet, GeoParquet or delimited text. What thinning makes use of is carried on:
        ``line`` (of LAS points the id of their source), ``source``, ``sd``, ``sd_xy``,
        ``sd_shared``, and ``count`` and ``cell`` of what was thinned before.
    out : Path
        GeoParquet (.parquet, .geoparquet) or GeoPackage (.gpkg).
    cell : float
        Width of the square cells, m; their edges lie on whole multiples of it.
    by : str
        What stands for a cell: the mean, or the median, shoalest or deepest sounding.
    heights : Heights
        What the third coordinate is, where the files do not say.
    choices : Choices
        What else the files do not say, and which LAS points are wanted.
    into : str, optional
        Projected CRS in metres of the result; if left out, that of the first file if it is one,
        else one that suits it.
    shoreline : Path, optional
        Polygons of the water: points outside are left out.
    memory : str, optional
        How much the whole process may use; if left out, what :func:`memory_allowed` says.
    temporary : Path, optional
        Folder for the temporary file; if left out, that of the output.
    overwrite : bool
        Whether an output that is there may be replaced.
    tell : callable, optional
        Told what is worth knowing beforehand.
    watch : callable, optional
        Told the stage, and how much of how much is done.

    Returns
    -------
    Account
        How many points were read, thinned and left out.

    Raises
    ------
    ParameterError
        If it is not known what the third coordinate is, or memory is less than needed.
    InputFileError
        If a file is damaged, or no point is kept.
    OutputError
        If there is not enough space on disk.
    TooLargeError
        If one cell holds more soundings than memory allows.

    Notes
    -----
    The soundings are those of :func:`~toolbox.reduction.thinning.thin` over all points at once, to
    the bit and in its order: points are put down on disk by columns of cells, taken up again in
    tiles of whole cells, and each tile is thinned by that very function. Times are not carried on.
    """
    _check(paths, out, cell, by)
    allowed = memory_allowed(memory)
    files = [open_points(path, choices) for path in paths]
    for file in files:
        heights.check(file)
    with new_file(out, overwrite=overwrite) as place:
        crs = common_crs(files, into, _LEAST)
        water = read_shoreline(shoreline, into=crs.to_wkt()) if shoreline else None
        reduction = Reduction.of(files, crs, heights, water)
        _load(reduction, cell, by)
        share = Share.of(allowed, 3 + len(reduction.fields))
        folder = temporary or out.parent
        _check_disk(folder, files, share.row_bytes, tell or _ignore)
        with Spool(folder, cell, share.fields, gathered=share.gathered) as spool:
            _read(files, reduction, spool, share, watch or _ignore)
            cells = _thin(reduction, spool, share, by, place, watch or _ignore)
            return Account.of(reduction, spool, cells)


def _ignore(*_: object) -> None:
    pass


def _check(paths: Sequence[Path], out: Path, cell: float, by: str) -> None:
    check_growing(out)
    Range("m", above=0).check("cell", cell)
    if by not in get_args(By):
        allowed = ", ".join(map(repr, get_args(By)))
        raise ParameterError(f"by must be one of {allowed}, got {by!r}")
    if not paths:
        raise ParameterError("paths must name one file or more, got none")


def _load(reduction: Reduction, cell: float, by: By) -> None:
    """Load all libraries that will be used, so that what they take is known."""
    import pyarrow.parquet  # noqa: F401

    row = np.zeros((1, 3 + len(reduction.fields)))
    thin(reduction.soundings(row), cell=cell, by=by)


def _check_disk(
    folder: Path, files: list[PointFile], row_bytes: int, tell: Callable[[str], None]
) -> None:
    """Say how large the temporary file will be, and refuse what does not fit."""
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        raise OutputError(f"temporary folder {folder}: {error.strerror}") from error
    needed = sum(file.rows for file in files) * row_bytes
    told = f"the temporary file in {folder} takes about {in_gib(needed)}; {in_gib(free)} are free"
    if needed > free:
        raise OutputError(f"{told}: give another folder as temporary")
    tell(told)


def _read(
    files: list[PointFile], reduction: Reduction, spool: Spool, share: Share, watch: Watch
) -> None:
    """Put all points that are kept down on the spool."""
    total = sum(file.rows for file in files)
    for file in files:
        for rows in reduction.rows(file, share.read):
            spool.add(rows)
            watch("reading", reduction.read, total)
    if not spool.count:
        why = "; ".join(f"{count} {reason}" for reason, count in reduction.refused.items())
        raise InputFileError(f"{files[0].path} holds no point that is kept: {why or 'it is empty'}")


def _thin(reduction: Reduction, spool: Spool, share: Share, by: By, out: Path, watch: Watch) -> int:
    """Thin tile after tile, and return how many soundings were written."""
    cells = done = 0
    with GrowingPoints(out, reduction.crs) as file:
        for tile in spool.tiles(share.thinned):
            thinned = thin(reduction.soundings(tile), cell=spool.cell, by=by)
            file.add(thinned.frame)
            cells, done = cells + len(thinned), done + len(tile)
            watch("thinning", done, spool.count)
    return cells
