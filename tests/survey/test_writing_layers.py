"""Metadata tell the days of the survey as its owner told them, else those of its soundings."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS

from toolbox.layers import Soundings
from toolbox.survey.writing_layers import _days

FIRST, LAST = date(2026, 5, 12), date(2026, 5, 14)


def soundings(*times: str) -> Soundings:
    places = np.column_stack([5e5 + np.arange(len(times)), np.full(len(times), 5.2e6)])
    when = pd.to_datetime(pd.Series(times), utc=True)
    return Soundings.from_arrays(places, np.ones(len(times)), crs=CRS("EPSG:32633"), time=when)


@pytest.mark.parametrize(
    "told",
    [
        "2026-05-12 to 2026-05-14",
        "2026-05-14 (lead line), 2026-05-12 (boat)",
        "2026-05-12/2026-05-14, not 2026-02-30",
    ],
)
def test_days_are_those_told(told: str) -> None:
    # a lead line read on the last day noted no time: its soundings have none
    assert _days(told, soundings("2026-05-12T10:00Z", "2026-05-13T09:00Z", "")) == (FIRST, LAST)


def test_one_day_is_told_once() -> None:
    assert _days("2026-05-12", soundings("")) == (FIRST,)


@pytest.mark.parametrize("told", ["", "spring of 2026", "2026-13-41"])
def test_else_they_are_those_of_the_soundings(told: str) -> None:
    found = _days(told, soundings("2026-05-14T23:59Z", "2026-05-12T00:00Z", ""))
    assert found == (FIRST, LAST)
    assert _days(told, soundings("", "")) == ()
