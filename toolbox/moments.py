"""Moments: times as texts of ISO 8601, read in UTC."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["in_utc"]


def in_utc(
    times: Iterable[Any], *, errors: Literal["coerce", "raise"] = "coerce"
) -> "pd.Series[pd.Timestamp]":
    """Read times in ISO 8601; one without an offset is in UTC.

    Parameters
    ----------
    times : iterable
        Texts or times.
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

    return pd.to_datetime(pd.Series(times), utc=True, errors=errors, format="ISO8601")
