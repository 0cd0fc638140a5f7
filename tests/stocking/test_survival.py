"""Survival chains run both ways."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.survival import survival_chain

SHARES = st.lists(st.floats(0.01, 1), min_size=1, max_size=6)


def steps(shares: list[float], **columns: Any) -> Table:
    names = [f"step {number}" for number in range(1, len(shares) + 1)]
    return Table(pd.DataFrame({"step": names, "likely": shares, "source": "told"} | columns))


def test_back_from_recruits() -> None:
    frame = survival_chain(steps([0.5, 0.6]), recruits=200).frame
    # derived: 200 / 0.6, and 200 / 0.3 rounded up
    assert frame["fish_before"].tolist() == [667, pytest.approx(333.333, abs=1e-3)]
    assert frame["fish_after"].tolist() == [pytest.approx(333.333, abs=1e-3), 200]


def test_onward_with_the_survival_of_stocked_trout() -> None:
    # Wisconsin Conservation Department, Research Report 18 (1966): autumn-stocked brown trout
    # fingerlings 51 to 90 % over winter
    table = survival_chain(steps([0.7], low=[0.51], high=[0.90]), stocked=1000)
    row = table.frame.iloc[0]
    assert (row["fish_after_low"], row["fish_after"], row["fish_after_high"]) == (510, 700, 900)
    assert table.notes == ("0.7 of the fish stocked become recruits (0.51 to 0.9)",)


@settings(max_examples=40)
@given(SHARES, st.integers(1, 10**6))
def test_what_is_stocked_for_recruits_brings_them(shares: list[float], recruits: int) -> None:
    stocked = float(survival_chain(steps(shares), recruits=recruits).frame["fish_before"].iloc[0])
    assert stocked == int(stocked)
    grown = survival_chain(steps(shares), stocked=stocked).frame["fish_after"].iloc[-1]
    assert grown >= recruits * (1 - 1e-6)
    assert (stocked - 1) * np.prod(shares) < recruits


def test_the_ends_run_the_other_way_from_a_target() -> None:
    frame = survival_chain(steps([0.5], low=[0.25], high=[np.nan]), recruits=100).frame
    row = frame.iloc[0]
    assert (row["fish_before_low"], row["fish_before"], row["fish_before_high"]) == (200, 200, 400)
    assert list(frame) == [
        "step", "survival", "survival_low", "survival_high", "fish_before", "fish_before_low",
        "fish_before_high", "fish_after", "fish_after_low", "fish_after_high", "source",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "told"),
    [
        (
            steps([0.5], low=[0.6]),
            r"step 'step 1': low, likely and high must ascend .* got 0\.6",
        ),
        (steps([0.0]), r"must ascend from above 0 to at most 1, got 0, 0, 0$"),
        (steps([np.nan]), "must ascend from above 0 to at most 1"),
        (steps([1.2]), r"got 1\.2, 1\.2, 1\.2$"),
        (steps([0.5], source=[" "]), r"^step 'step 1': survival 0\.5 needs a source$"),
        (steps([0.5], source=[None]), r"^step 'step 1': survival 0\.5 needs a source$"),
        (steps([]), "survival steps must be one or more, got none"),
        (Table(pd.DataFrame({"step": ["a"]})), "survival steps need a column 'likely', got"),
    ],
)
def test_steps_are_checked(table: Table, told: str) -> None:
    with pytest.raises(LayerError, match=told):
        survival_chain(table, recruits=10)


@pytest.mark.parametrize("given", [{}, {"recruits": 1.0, "stocked": 1.0}])
def test_one_end_is_given(given: dict[str, float]) -> None:
    with pytest.raises(ParameterError, match="give recruits or stocked, one of them"):
        survival_chain(steps([0.5]), **given)
