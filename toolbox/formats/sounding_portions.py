"""Soundings of a file of any size, some rows at a time, each as if all had been read at once."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats import columns as names
from toolbox.formats.places import check_degrees
from toolbox.formats.sounding_rows import Portion, SoundingRows, sounding_rows
from toolbox.formats.soundings_file import (
    check_direction,
    depth_column,
    depths_of,
    put_together,
    read_soundings,
    text_columns,
)
from toolbox.layers import Soundings
from toolbox.layers.crs import is_metric, project, working_crs

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["ROWS", "sounding_portions"]

ROWS = 250_000
"""Rows read at a time if nobody says how many: with all that is made of them some 150 MB."""

_DEPTH = ("depth", "elevation", "unit", "positive", "datum")


def sounding_portions(path: Path, *, rows: int = ROWS, **options: Any) -> Iterator[Soundings]:
    """Read point soundings some rows at a time.

    Parameters
    ----------
    path : Path
        A file that :func:`toolbox.formats.soundings_file.read_soundings` reads.
    rows : int
        How many at a time.
    **options
        As there, but for ``into``.

    Yields
    ------
    Soundings
        One after the other they are what would be read at once, in the same CRS.

    Raises
    ------
    InputFileError
        As there; that most depths lie above the water, or that nothing has a place, is known only
        at the end.

    Notes
    -----
    What a column holds, and the zone that degrees are projected to, depend on all rows. Where that
    is not plain from the first of them, the file is gone through once more before. Files that
    cannot be read in portions come as one, as do texts that are held as times: how those are
    written depends on all of them.
    """
    file = sounding_rows(path, options)
    found = None if file is None else _Whole.of(file, rows)
    if file is None or found is None:
        yield read_soundings(path, **options)
        return
    wanted: dict[str, Any] = {name: options.get(name) for name in _DEPTH}
    wanted["unit"] = wanted["unit"] or file.unit
    wanted["positive"] = wanted["positive"] or "down"
    zone = options.get("timezone")
    seen = _Seen()
    whole, portions = found
    for crs, (place, frame) in portions:
        if len(place):
            table = whole.settled(frame)
            depth, _ = depths_of(table, path, **wanted, whole=False)
            seen.note(place, depth, table, path, wanted)
            moved = place if whole.crs == crs else project(place, crs, whole.crs)
            yield put_together(moved, depth, table, whole.crs, timezone=zone)
    seen.check(path)


@dataclass(frozen=True)
class _Whole:
    """What only all rows tell.

    Parameters
    ----------
    crs : CRS
        To work in.
    fractions : tuple of str
        Columns of texts or times that are numbers with a fraction, or with gaps.
    """

    crs: "CRS"
    fractions: tuple[str, ...]

    @classmethod
    def of(
        cls, file: SoundingRows, rows: int
    ) -> "tuple[_Whole, Iterator[tuple[CRS, Portion]]] | None":
        """Find it out, and begin with the rows; None where the file must be read at once."""
        portions = file.portions(rows)
        first = next(portions)
        crs, (_, frame) = first
        kinds = {name: frame[name].dtype.kind for name in text_columns(frame.columns)}
        times = names.find(map(str, frame.columns), names.TIME)
        if any(kind in "mM" for name, kind in kinds.items() if name != times):
            return None
        unsure = [name for name, kind in kinds.items() if kind in "iuf"]
        if is_metric(crs) and not unsure:
            return cls(crs, ()), chain([first], portions)
        return cls._of_all(file.path, [first], portions, unsure), file.portions(rows)

    @classmethod
    def _of_all(
        cls,
        path: Path,
        first: "list[tuple[CRS, Portion]]",
        rest: "Iterable[tuple[CRS, Portion]]",
        unsure: list[str],
    ) -> "_Whole":
        low, high = np.full(2, np.inf), np.full(2, -np.inf)
        fractions: set[str] = set()
        crs = first[0][0]
        for part in (first, rest):
            for _, (place, frame) in part:
                known = place[np.isfinite(place).all(axis=1)]
                low = np.minimum(low, known.min(axis=0, initial=np.inf))
                high = np.maximum(high, known.max(axis=0, initial=-np.inf))
                fractions |= {name for name in unsure if frame[name].dtype.kind == "f"}
        if not np.isfinite([low, high]).all():
            raise InputFileError(f"{path} holds no coordinates")
        check_degrees(low, high, crs, path)
        target = working_crs(crs, (low[0], low[1], high[0], high[1]))
        return cls(target, tuple(fractions))

    def settled(self, frame: "pd.DataFrame") -> "pd.DataFrame":
        """Read columns as they are in the whole."""
        if not self.fractions:
            return frame
        attrs = frame.attrs
        frame = frame.astype(dict.fromkeys(self.fractions, "float64"))
        frame.attrs |= attrs
        return frame


@dataclass
class _Seen:
    """What is checked when all rows were read."""

    above: int = 0
    below: int = 0
    column: str = ""
    places: int = 0
    rows: int = 0

    def note(
        self,
        place: np.ndarray,
        depth: np.ndarray,
        frame: "pd.DataFrame",
        path: Path,
        wanted: dict[str, Any],
    ) -> None:
        """Count depths above and below the water, and places."""
        self.rows += len(place)
        self.places += int(np.isfinite(place).all(axis=1).sum())
        column, elevation = depth_column(frame, path, wanted["depth"], wanted["elevation"])
        if not elevation and wanted["positive"] == "down":
            self.column = column
            self.above += int((depth < 0).sum())
            self.below += int((depth > 0).sum())

    def check(self, path: Path) -> None:
        """Raise InputFileError if nothing has a place, or most depths lie above the water."""
        if not self.rows:
            raise InputFileError(f"{path} holds no point that is wanted")
        if not self.places:
            raise InputFileError(f"{path} holds no coordinates")
        check_direction(self.above, self.below, self.column, path)
