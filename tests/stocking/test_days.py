"""Days of the year, which may span New Year."""

import pandas as pd
import pytest

from toolbox.errors import ParameterError
from toolbox.stocking.days import in_days, month_day


def test_days_of_the_year() -> None:
    times = pd.DatetimeIndex(pd.to_datetime(["2026-12-24", "2027-01-05", "2027-06-01"], utc=True))
    assert in_days(times, "12-01", "02-29").tolist() == [True, True, False]
    assert in_days(times, "01-05", "06-01").tolist() == [False, True, True]


@pytest.mark.parametrize(
    "text", ["02-30", "W01-1", "5-15", "05-15T00", "\u0660\u0665-\u0661\u0665", ""]
)
def test_no_such_day(text: str) -> None:
    with pytest.raises(ParameterError, match=r"^day must be month and day, such as '05-15', got '"):
        month_day(text)
