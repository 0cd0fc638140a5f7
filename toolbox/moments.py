"""Moments: times as texts of ISO 8601, read in UTC."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Literal

from toolbox.errors import ParameterError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["check_zone", "in_utc", "names_offset", "zone_unsaid"]

_WITH_OFFSET = r"(?i).*[t ]\d.*(z|[+-]\d{2}(:?\d{2})?)"
_SAMPLE = 10_000


def in_utc(
    times: Iterable[Any],
    *,
    timezone: str | None = None,
    errors: Literal["coerce", "raise"] = "coerce",
) -> "pd.Series[pd.Timestamp]":
    """Read times in ISO 8601; one without an offset is in UTC, or in the zone given.

    Parameters
    ----------
    times : iterable
        Texts or times.
    timezone : str, optional
        Zone of times that name no offset. One that the zone skips or has twice is no time.
    errors : {"coerce", "raise"}
        Whether what is no time becomes NaT or raises ValueError.

    Returns
    -------
    Series
        Times in UTC, with the index of `times` where that is a Series.

    Examples
    --------
    >>> in_utc(["2026-05-12T13:00+02:00", "2026-05-12T11:00"]).dt.hour.tolist()
    [11, 11]
    """
    import pandas as pd

    if timezone is not None:
        return _in_zone(pd.Series(times), timezone, errors)
    return pd.to_datetime(pd.Series(times), utc=True, errors=errors, format="ISO8601")


def _in_zone(
    times: "pd.Series[Any]", timezone: str, errors: Literal["coerce", "raise"]
) -> "pd.Series[pd.Timestamp]":
    import pandas as pd

    if isinstance(times.dtype, pd.DatetimeTZDtype):
        return times.dt.tz_convert("UTC")
    aware, naive = pd.Series(pd.NaT, times.index, dtype="datetime64[ns, UTC]"), times
    if times.dtype.kind != "M":
        text = times.where(times.notna(), "").astype(str).str.strip()
        offset = names_offset(text)
        aware = pd.to_datetime(text.where(offset), format="ISO8601", errors=errors, utc=True)
        naive = pd.to_datetime(text.mask(offset), format="ISO8601", errors=errors)
    local = naive.dt.tz_localize(timezone, ambiguous="NaT", nonexistent="NaT")
    return aware.fillna(local.dt.tz_convert("UTC"))


def names_offset(text: "pd.Series[Any]") -> "pd.Series[bool]":
    """Tell which times name an offset from UTC."""
    return text.str.fullmatch(_WITH_OFFSET)


def zone_unsaid(times: "pd.Series[Any]") -> bool:
    """Tell whether a column holds times that name no offset, and its name no zone.

    Of a long column only every so manieth row is looked at.
    """
    import pandas as pd

    if any(word in str(times.name).lower() for word in ("utc", "gmt", "gps")):
        return False
    if isinstance(times.dtype, pd.DatetimeTZDtype):
        return False
    some = times.iloc[:: max(len(times) // _SAMPLE, 1)].dropna()
    if some.dtype.kind == "M":
        return len(some) > 0
    text = some.astype(str).str.strip()
    return not names_offset(text[text != ""]).all()


def check_zone(timezone: str) -> None:
    """Raise ParameterError if there is no such zone."""
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(timezone)
    except (KeyError, ValueError, OSError) as error:
        raise ParameterError(
            f"timezone must be the name of a zone, such as 'Europe/Berlin', got {timezone!r}"
        ) from error
