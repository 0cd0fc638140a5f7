"""Water levels over time, as read off a gauge."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.formats import columns as names
from toolbox.formats.delimited import notes_of, numbers, read_delimited
from toolbox.formats.paths import existing_file
from toolbox.formats.times import names_offset, read_times
from toolbox.layers import Table
from toolbox.notes import Assumption
from toolbox.tool import Range, checked
from toolbox.units import convert

if TYPE_CHECKING:
    import pandas as pd

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
    column = names.need(names.find(frame.columns, names.GAUGE), frame, path, "water level")
    unit = names.unit_of(column)
    level = zero + np.asarray(convert(numbers(frame, column, path), unit or "m", "m"), float)
    times, used, notes = read_times(
        frame, path, date_format=date_format, timezone=timezone or "UTC"
    )
    notes += notes_of(frame)
    if unit not in (None, "m"):
        notes.append(Assumption(f"column {column!r} read in {unit}, as its name says"))
    if timezone is None and _unsaid(frame, used):
        text = "times without an offset taken as UTC; give datum.timezone if they are local"
        notes.append(Assumption(text))
    known = np.isfinite(level)
    table = pd.DataFrame({"time": times[known], "level_m": level[known]})
    return Table(table, path.stem, tuple(notes))


def _unsaid(frame: "pd.DataFrame", used: tuple[str, ...]) -> bool:
    """Tell whether neither the names of the columns nor all of their texts tell the zone."""
    if any("utc" in name.lower() or "gmt" in name.lower() for name in used):
        return False
    return not names_offset(frame[used[-1]].astype(str).str.strip()).all()
