"""Moments: times as texts of ISO 8601, read in UTC."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["in_utc"]

_OFFSET = r"\d[T ].*[+-]"


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

    Notes
    -----
    Texts with an offset are read apart from those without: pandas before 3 gives a text without
    one the offset of the text before it.

    Examples
    --------
    >>> in_utc(["2026-05-12T13:00+02:00", "2026-05-12T11:00"]).dt.hour.tolist()
    [11, 11]
    """
    import pandas as pd

    texts = pd.Series(times)
    if pd.api.types.is_datetime64_any_dtype(texts.dtype):
        return pd.to_datetime(texts, utc=True)
    offset = texts.astype(str).str.contains(_OFFSET).to_numpy(bool)
    parts = [
        pd.to_datetime(texts[kind], utc=True, errors=errors, format="ISO8601")
        for kind in (~offset, offset)
        if kind.any()
    ]
    if len(parts) < 2:
        return parts[0] if parts else pd.to_datetime(texts, utc=True)
    order = np.argsort(np.argsort(offset, kind="stable"), kind="stable")
    return pd.concat(parts).iloc[order]
