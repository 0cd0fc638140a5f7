"""Water levels over time, as read off a gauge."""

from pathlib import Path
from typing import Annotated

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats import columns as names
from toolbox.formats.delimited import notes_of, numbers, read_delimited
from toolbox.formats.paths import existing_file
from toolbox.formats.times import read_times
from toolbox.layers import Table
from toolbox.notes import Assumption
from toolbox.tool import Range, checked
from toolbox.units import convert

__all__ = ["read_levels"]


@checked
def read_levels(
    path: Path,
    *,
    timezone: str | None = None,
    date_format: str | None = None,
    zero: Annotated[float, Range("m")] = 0.0,
) -> Table:
    """Read a record of water levels.

    Parameters
    ----------
    path : Path
        Delimited text or a workbook (.xlsx, .xlsm) with a time, or a date and a time of day, and
        a level, in the unit that its column names (``level_m``, ``Gauge (cm)``), else in metres.
    timezone : str, optional
        Zone of times that name no offset; if left out, they are taken as UTC, and that is told.
    date_format : str, optional
        How dates are written, such as ``"%d.%m.%Y"``, if not as ISO 8601.
    zero : float
        Elevation of the gauge's zero; 0 for levels that are elevations.

    Returns
    -------
    Table
        Columns ``time`` (UTC) and ``level_m``, the elevation of the water; rows without a level
        are left out.

    Raises
    ------
    InputFileError
        If there is no such column, or at the first cell that holds no time or level.
    """
    import pandas as pd

    frame = read_delimited(existing_file(path))
    column = names.find(frame.columns, names.GAUGE)
    if column is None:
        raise InputFileError(
            f"{path} has no column that is plainly the water level, only "
            f"{', '.join(map(str, frame.columns))}: call it level_m, or level_cm, level_ft"
        )
    unit = names.unit_of(column)
    level = zero + np.asarray(convert(numbers(frame, column, path), unit or "m", "m"), float)
    times, _, notes = read_times(frame, path, date_format=date_format, timezone=timezone)
    notes += notes_of(frame)
    if unit not in (None, "m"):
        notes.append(Assumption(f"column {column!r} read in {unit}, as its name says"))
    known = np.isfinite(level)
    table = pd.DataFrame({"time": times[known], "level_m": level[known]})
    return Table(table, path.stem, tuple(notes))
