"""Days of the year: a season by month and day, which may span New Year."""

import re
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import ParameterError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["in_days", "month_day"]


def month_day(text: str, *, name: str = "day") -> str:
    """Return month and day, such as ``"05-15"``, if it is one; 02-29 is.

    Raises
    ------
    ParameterError
        If it is not.
    """
    told = f"{name} must be month and day, such as '05-15', got {text!r}"
    if not re.fullmatch(r"\d\d-\d\d", text, re.ASCII):
        raise ParameterError(told)
    try:
        date.fromisoformat(f"2024-{text}")
    except ValueError as error:
        raise ParameterError(told) from error
    return text


def in_days(times: "pd.DatetimeIndex", first: str, last: str) -> np.ndarray:
    """Tell which times (n,) lie on days from `first` to `last`, both included, of any year."""
    day = times.strftime("%m-%d").to_numpy(str)
    after, before = day >= first, day <= last
    return np.asarray(after & before if first <= last else after | before)
