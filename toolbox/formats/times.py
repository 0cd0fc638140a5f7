"""Times of a table: one column, or a date and a time of day, in whatever zone they were noted."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.formats import columns as names
from toolbox.formats.delimited import refuse
from toolbox.moments import check_zone, names_offset
from toolbox.notes import Assumption

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["TAKEN_AS_UTC", "read_times"]

TAKEN_AS_UTC = Assumption(
    "times without an offset taken as UTC; give timezone if they are of the clock on the wall"
)

_DATE_ALONE = r"\d{4}-?\d{2}-?\d{2}"
_CLOCK = r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?"
_NOON = "12:00"
_LONGEST = 100  # characters of a time: what is longer is none


def read_times(
    frame: "pd.DataFrame",
    path: Path,
    *,
    time: str | None = None,
    date: str | None = None,
    date_format: str | None = None,
    timezone: str | None = None,
) -> tuple["pd.DatetimeIndex", tuple[str, ...], list[str]]:
    """Read when each row of a table was noted.

    Parameters
    ----------
    frame : DataFrame
        From :func:`toolbox.formats.delimited.read_delimited`.
    path : Path
        Named in errors.
    time : str, optional
        Column of times, or of times of day beside dates, if its name does not tell.
    date : str, optional
        Column of dates, if its name does not tell.
    date_format : str, optional
        How dates are written, such as ``"%d.%m.%Y"``, if not as ISO 8601.
    timezone : str, optional
        Zone of times that name no offset; if left out, they are taken as UTC, and that is told.

    Returns
    -------
    times : (n,) DatetimeIndex
        UTC. A date alone is noon in the zone.
    used : tuple of str
        The columns they were read from.
    notes : list of str
        What was assumed.

    Raises
    ------
    InputFileError
        If there is no such column, or at the first cell that holds no time.
    ParameterError
        If there is no such zone.
    """
    zone = timezone or "UTC"
    check_zone(zone)
    time = time or names.find(frame.columns, names.TIME)
    date = date or names.find(frame.columns, names.DATE)
    used = tuple(dict.fromkeys(name for name in (date, time) if name is not None))
    for name in used or (None,):
        names.need(name, frame.columns, path, "date or time")
    text, column = _joined(frame, path, time, date)
    alone = text.str.fullmatch(_DATE_ALONE if date_format is None else r"\S+").to_numpy()
    found = _parsed(text.where(~alone, text + " " + _NOON), date_format, zone)
    _refuse(frame, path, column, found, zone, date_format)
    noon = Assumption(f"dates without a time of day were taken as noon, {zone}")
    notes: list[str] = [noon] if alone.any() else []
    if timezone is None and _zone_unsaid(text[~alone], used):
        notes.append(TAKEN_AS_UTC)
    return found, used, notes


def _zone_unsaid(text: "pd.Series[Any]", used: tuple[str, ...]) -> bool:
    """Tell whether neither the names of the columns nor all of their texts tell the zone."""
    if any("utc" in name.lower() or "gmt" in name.lower() for name in used):
        return False
    return not names_offset(text).all()


def _joined(
    frame: "pd.DataFrame", path: Path, time: str | None, date: str | None
) -> tuple["pd.Series[Any]", str]:
    """Text of date and time of each row, and the column to name in errors."""
    texts = {name: frame[name].astype(str).str.strip() for name in (time, date) if name is not None}
    if time is None:
        return texts[str(date)], str(date)
    clocks = texts[time].str.fullmatch(_CLOCK)
    if date is None or date == time or not clocks.any():
        return texts[time], time
    wrong = ~(clocks | (texts[time] == "")).to_numpy()
    refuse(frame, time, path, wrong, "a time of day such as 14:30, or be empty")
    return (texts[date] + " " + texts[time]).str.strip(), date


def _parsed(text: "pd.Series[Any]", date_format: str | None, timezone: str) -> "pd.DatetimeIndex":
    """Read times in UTC; NaT where the text holds none, or one that the zone skips or has twice."""
    import pandas as pd

    text = text.where(text.str.len() <= _LONGEST, "")
    if date_format is not None:
        day, clock = (text.str.extract(r"^(\S+) +(\S+)$")[k] for k in (0, 1))
        hours = pd.to_timedelta(
            clock.where(clock.str.count(":") == 2, clock + ":00"), errors="coerce"
        )
        naive = pd.to_datetime(day, format=date_format, errors="coerce") + hours
        return _localised(naive, timezone)
    offset = names_offset(text)
    naive = pd.to_datetime(text.mask(offset), format="ISO8601", errors="coerce")
    aware = pd.to_datetime(text.where(offset), format="ISO8601", errors="coerce", utc=True)
    return pd.DatetimeIndex(aware.fillna(pd.Series(_localised(naive, timezone), text.index)))


def _localised(naive: "pd.Series[Any]", timezone: str) -> "pd.DatetimeIndex":
    import pandas as pd

    index = pd.DatetimeIndex(naive)
    return index.tz_localize(timezone, ambiguous="NaT", nonexistent="NaT").tz_convert("UTC")


def _refuse(
    frame: "pd.DataFrame",
    path: Path,
    column: str,
    found: "pd.DatetimeIndex",
    timezone: str,
    date_format: str | None,
) -> None:
    how = (
        "ISO 8601, such as 2026-05-14 or 2026-05-14T09:30; for others name date_format"
        if date_format is None
        else date_format
    )
    allowed = f"a time ({how}) that comes once in {timezone}"
    refuse(frame, column, path, np.asarray(found.isna()), allowed)
