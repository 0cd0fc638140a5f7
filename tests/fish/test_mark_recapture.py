"""Mark and recapture: the worked number, and how often the interval holds the true one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hypergeom

from toolbox.errors import ParameterError
from toolbox.fish.mark_recapture import mark_recapture


def test_worked_number() -> None:
    # Chapman's (M + 1)(C + 1) / (R + 1) - 1; derived for M = 200, C = 150, R = 30: 978.06, 20,134
    row = mark_recapture(marked=200, caught=150, recaptured=30).frame.iloc[0]
    assert row["number"] == pytest.approx(978.06, abs=0.005)
    assert row["number_sd"] ** 2 == pytest.approx(20_134, abs=0.5)
    assert row["number_low"] < 978.06 < row["number_high"]


def test_hardly_off_on_average() -> None:
    # derived: Chapman's form is unbiased where marked + caught >= the number
    count, marked, caught = 150, 90, 70
    recaptured = np.arange(marked + caught - count, caught + 1)
    chance = hypergeom(count, marked, caught).pmf(recaptured)
    found = [
        mark_recapture(marked=marked, caught=caught, recaptured=int(r)).frame["number"][0]
        for r in recaptured
    ]
    assert chance @ np.array(found) == pytest.approx(count, rel=1e-9)


@pytest.mark.parametrize(
    ("count", "marked", "caught"),
    [(150, 40, 50), (500, 100, 100), (2_000, 200, 150), (1_000, 400, 300)],
)
def test_interval_holds_the_true_number(count: int, marked: int, caught: int) -> None:
    # by the exact chances of each number of recaptures (hypergeometric)
    recaptured = np.arange(max(0, marked + caught - count), min(marked, caught) + 1)
    chance = hypergeom(count, marked, caught).pmf(recaptured)
    likely = recaptured[chance > 1e-7]
    rows = [
        mark_recapture(marked=marked, caught=caught, recaptured=int(r)).frame.iloc[0]
        for r in likely
    ]
    held = np.array([row["number_low"] <= count <= row["number_high"] for row in rows])
    assert 0.87 <= chance[chance > 1e-7] @ held <= 0.95


@given(st.integers(1, 500), st.integers(1, 500), st.data())
def test_never_fewer_than_were_seen(marked: int, caught: int, data: st.DataObject) -> None:
    recaptured = data.draw(st.integers(0, min(marked, caught)))
    row = mark_recapture(marked=marked, caught=caught, recaptured=recaptured).frame.iloc[0]
    seen = marked + caught - recaptured
    assert seen <= row["number_low"] <= row["number_high"]
    assert row["number"] >= seen - 1e-9


def test_few_recaptures_are_told() -> None:
    few = mark_recapture(marked=50, caught=50, recaptured=3)
    assert any("fewer than 7" in note for note in few.notes)
    many = mark_recapture(marked=50, caught=50, recaptured=7)
    assert not any("fewer than" in note for note in many.notes)


def test_bad_counts() -> None:
    with pytest.raises(ParameterError, match=r"at most marked \(20\) and caught \(9\), got 10"):
        mark_recapture(marked=20, caught=9, recaptured=10)
    with pytest.raises(ParameterError, match="marked must be >= 1"):
        mark_recapture(marked=0, caught=9, recaptured=0)
