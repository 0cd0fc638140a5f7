"""Soundings as long text of x, y, z: read in portions and thinned on the way."""

import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np

from toolbox.errors import InputFileError, TooLargeError
from toolbox.faults import said_by
from toolbox.formats import columns as names
from toolbox.formats.containers import refuse_container
from toolbox.formats.layout import Layout, find_layout, rows_of
from toolbox.formats.paths import existing_file
from toolbox.formats.text_portions import EMPTY, parsed
from toolbox.layers import Soundings
from toolbox.layers.crs import is_metric, parse_crs, project, working_crs
from toolbox.notes import Assumption
from toolbox.reduction.cell_table import CellTable
from toolbox.tool import Range, checked
from toolbox.units import Unit, convert
from toolbox.words import counted

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["thin_xyz"]

_PORTION = 500_000  # rows; some 60 MB while they are parsed and sorted
_CELL_BYTES = 400  # of a cell as a sounding in a layer, and while it becomes one
_LOOK = 1000  # rows that tell the decimal mark


@checked
def thin_xyz(
    path: Path,
    *,
    cell: Annotated[float, Range("m", above=0)],
    by: Literal["mean", "shoalest", "deepest"] = "mean",
    crs: str | None = None,
    easting: str | None = None,
    northing: str | None = None,
    depth: str | None = None,
    unit: Unit | None = None,
    positive: Literal["down", "up"] = "down",
    datum: Annotated[float, Range("m")] | None = None,
    delimiter: str | None = None,
    decimal: Literal[".", ","] | None = None,
    encoding: str = "utf-8-sig",
    rows: Annotated[int, Range("", min=1)] = _PORTION,
) -> Soundings:
    """Read soundings of any number, one for each cell.

    Parameters
    ----------
    path : Path
        Delimited text of any length.
    cell : float
        Width of the square cells, whose edges lie on whole multiples of it.
    by : str
        The mean of depths and places, or the shoalest or deepest sounding as it is.
    crs : str, optional
        CRS of the coordinates. Columns named longitude and latitude are taken as WGS 84 if this
        is left out.
    easting : str, optional
        Column of eastings or longitudes, if its name does not tell.
    northing : str, optional
        Column of northings or latitudes, if its name does not tell.
    depth : str, optional
        Column of depths, if its name does not tell. Without a header line the first three columns
        are easting, northing and depth.
    unit : str, optional
        Unit of the depths; if left out, what the column's name says, or metres.
    positive : str
        Direction in which depths grow.
    datum : float, optional
        Elevation of the datum water level: the column then holds elevations of the bed.
    delimiter : str, optional
        Between columns, if it cannot be found out.
    decimal : str, optional
        Decimal mark; if left out, what the first thousand rows tell.
    encoding : str
        Encoding of the text.
    rows : int
        Rows read at a time.

    Returns
    -------
    Soundings
        One per cell, in a projected CRS in metres, with columns ``count``, ``lines`` and ``cell``
        as :func:`~toolbox.reduction.thinning.thin` gives them; ``sd`` is not known. The notes say
        how many rows had no depth or no place: these and the counts add up to the rows.

    Raises
    ------
    InputFileError
        If the file is not what it should be; the message names the line or the columns.
    TooLargeError
        If there is no memory for so many cells.

    Notes
    -----
    What is in memory at a time are one portion of rows and the occupied cells. Coordinates that
    are not in metres are read twice: the first time to find out where they lie.
    """
    text = _text(path, (easting, northing, depth), delimiter, decimal, encoding)
    source, notes = _crs(path, text, crs)
    target = source if is_metric(source) else working_crs(source, _bounds(path, text, rows))
    said = unit or names.unit_of(text.wanted[2]) or "m"
    cells, empty = CellTable(cell, by=by), 0
    for figures in _portions(path, text, rows):
        figures = _in_metres(figures, source, target, said)
        if positive == "up" or datum is not None:
            figures[:, 2] = (datum or 0.0) - figures[:, 2]
        known = np.isfinite(figures).all(axis=1)
        cells.add(*figures[known].T)
        empty += int((~known).sum())
        _check_memory(path, cells)
    _check_depths(path, cells, text, up=positive == "up" or datum is not None)
    return cells.soundings(target, (*notes, *_account(cells, empty, unit, said)))


@dataclass(frozen=True)
class _Text:
    """How the lines of a file are divided, and which of their columns are wanted."""

    layout: Layout
    decimal: str
    wanted: tuple[str, str, str]

    @property
    def places(self) -> list[int]:
        return [self.layout.names.index(name) for name in self.wanted]


def _text(
    path: Path,
    given: tuple[str | None, str | None, str | None],
    delimiter: str | None,
    decimal: str | None,
    encoding: str,
) -> _Text:
    refuse_container(existing_file(path))
    layout = find_layout(path, delimiter=delimiter, encoding=encoding)
    text = _Text(layout, decimal or ".", _wanted(path, layout, given))
    if decimal is None and layout.mark != ",":
        rows = itertools.islice(rows_of(path, layout), _LOOK)
        figures = (cells[k] for _, cells in rows for k in text.places if k < len(cells))
        if any(re.fullmatch(r"\s*[-+]?\d+,\d+\s*", figure) for figure in figures):
            return _Text(layout, ",", text.wanted)
    return text


def _wanted(
    path: Path, layout: Layout, given: tuple[str | None, str | None, str | None]
) -> tuple[str, str, str]:
    """Columns of easting, northing and depth: as given, as their names tell, or the first three."""
    for pair in ((names.EASTING, names.NORTHING), (names.LONGITUDE, names.LATITUDE)):
        place = [names.find(layout.names, words) for words in pair]
        if all(place):
            break
    found = [*place, names.find(layout.names, (*names.DEPTH, "z", *names.ELEVATION))]
    if not layout.header and len(layout.names) >= 3:
        found = list(layout.names[:3])
    what = ("easting or longitude", "northing or latitude", "depth")
    east, north, depth = (
        names.need(one or other, layout.names, path, word)
        for one, other, word in zip(given, found, what, strict=True)
    )
    return east, north, depth


def _crs(path: Path, text: _Text, crs: str | None) -> tuple["CRS", tuple[str, ...]]:
    if crs is not None:
        return parse_crs(crs), ()
    east, north, _ = text.wanted
    if names.find([east], names.LONGITUDE) and names.find([north], names.LATITUDE):
        return parse_crs("EPSG:4326"), (Assumption("longitude and latitude taken as WGS 84"),)
    raise InputFileError(f"{path} names no CRS: give one with crs, such as 'EPSG:32633'")


def _bounds(path: Path, text: _Text, rows: int) -> tuple[float, float, float, float]:
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for figures in _portions(path, text, rows):
        low = np.fmin(low, np.fmin.reduce(figures))
        high = np.fmax(high, np.fmax.reduce(figures))
    return low[0], low[1], high[0], high[1]


def _in_metres(figures: np.ndarray, source: "CRS", target: "CRS", unit: str) -> np.ndarray:
    place = figures[:, :2] if target == source else project(figures[:, :2], source, target)
    return np.column_stack([place, convert(figures[:, 2], unit, "m")])


def _check_memory(path: Path, cells: CellTable) -> None:
    import psutil

    needed, free = _CELL_BYTES * len(cells), psutil.virtual_memory().available
    if needed > free:
        raise TooLargeError(
            f"{path} has {len(cells):,} cells of cell = {cells.cell:g} m and more to come, which "
            f"need {needed / 2**30:,.1f} GiB; {free / 2**30:,.1f} GiB are free; widen the cell"
        )


def _check_depths(path: Path, cells: CellTable, text: _Text, *, up: bool) -> None:
    if not len(cells):
        raise InputFileError(f"{path} holds no row with a depth and a place")
    depth = cells.columns()[2]
    if not up and (depth < 0).sum() > (depth > 0).sum():
        raise InputFileError(
            f"{path}: most depths in column {text.wanted[2]!r} are negative; if they grow "
            "upwards, give positive = 'up'; if they are elevations, give the datum"
        )


def _account(cells: CellTable, empty: int, unit: str | None, said: str) -> tuple[str, ...]:
    told = () if unit or said == "m" else (f"depths read in {said}, as their column's name says",)
    note = f"{counted(len(cells), 'sounding')}, by {cells.by} over cells of {cells.cell:g} m, "
    note += "stand for "
    note += counted(int(cells.count.sum()), "row")
    note += f"; left out: {counted(empty, 'row')} without a depth or a place" if empty else ""
    return (*told, note)


def _portions(path: Path, text: _Text, rows: int) -> Iterator[np.ndarray]:
    """Read easting, northing and depth, some rows at a time, as they stand; NaN where empty."""
    kinds = dict.fromkeys(text.layout.names, "str") | dict.fromkeys(text.wanted, "float64")
    try:
        for frame in parsed(
            path, text.layout, rows=rows, decimal=text.decimal, dtype=kinds, na_values=EMPTY
        ):
            figures = frame[list(text.wanted)].to_numpy(float)
            if np.isinf(figures).any():
                raise ValueError("infinite figures")
            yield figures
    except ValueError as error:  # it says what is wrong but seldom where
        raise _fault(path, text, said_by(error)) from error


def _fault(path: Path, text: _Text, reason: str) -> InputFileError:
    """Find the first line that does not hold what it should."""
    for number, cells in rows_of(path, text.layout, every=True):
        if any(cell.strip() for cell in cells[len(text.layout.names) :]):
            reason = f"the row must have {len(text.layout.names)} cells, got {len(cells)}"
            return InputFileError(f"{path}, line {number}: {reason}")
        for name, place in zip(text.wanted, text.places, strict=True):
            if place < len(cells) and not _is_figure(cells[place].strip(), text.decimal):
                return InputFileError(
                    f"{path}, line {number}: column {name!r} must hold a finite number or be "
                    f"empty, got {cells[place].strip()[:40]!r}"
                )
    return InputFileError(f"{path} is not an even table: {reason}")


def _is_figure(text: str, decimal: str) -> bool:
    try:
        return text.upper() in EMPTY or math.isfinite(float(text.replace(decimal, ".")))
    except ValueError:
        return False
