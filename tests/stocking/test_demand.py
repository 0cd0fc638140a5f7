"""Demand: the formula behind a number of fish, and its rounding."""

import math
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.layers import Table
from toolbox.stocking.demand import Demand, demand, limited, whole
from toolbox.stocking.measured import Measured, Span
from toolbox.stocking.proposal import StockingProposal

SHARES = st.lists(st.floats(0.01, 1), min_size=1, max_size=4)


def water(low: float = 0.9, high: float = 1.2) -> Measured:
    frame = pd.DataFrame(
        {"measure": ["surface area"], "value": [1e5], "low": [1e5 * low], "high": [1e5 * high],
         "unit": ["m2"]}
    )  # fmt: skip
    return Measured(Table(frame))


def proposal(entry: dict[str, Any]) -> StockingProposal:
    return StockingProposal.model_validate(
        {
            "title": "Plan",
            "water": "Mere",
            "fish": [{"name": "lot", "species": "walleye", "mean_weight": "4 g"}],
            "existing": [
                {"name": "old", "stock": "20 fish", "low": "5 fish", "high": "60 fish",
                 "source": "net"}
            ],
            "alternative": [
                {"name": "one", "stock": [{"fish": "lot", "source": "told"} | entry]}
            ],
        }
    )  # fmt: skip


def made(entry: dict[str, Any]) -> Demand:
    plan = proposal(entry)
    return demand(plan.alternative[0].stock[0], plan, water())


def test_kilograms_become_fish() -> None:
    # derived: 10 ha at 2 kg, of 4 g
    asked = made({"rate": "2 kg/ha"})
    assert asked.number() == pytest.approx(5000)
    assert asked.number({"surface area": 2e5}) == pytest.approx(10_000)
    assert [one.name for one in asked.inputs] == ["surface area", "rate"]


def test_ends_ask_for_fewest_and_most() -> None:
    asked = made({"rate": "30 /ha", "rate_low": "20 /ha", "subtract": "old"})
    # derived: 9 ha x 20 - 60, 10 ha x 30 - 20, 12 ha x 30 - 5
    span = asked.span
    assert (span.low, span.likely, span.high) == pytest.approx((120, 280, 355))


@settings(max_examples=40)
@given(SHARES, st.integers(1, 10**6))
def test_recruits_of_what_is_asked_are_those_wanted(shares: list[float], wanted: int) -> None:
    steps = [{"step": "some", "likely": share, "source": "told"} for share in shares]
    asked = made({"recruits": f"{wanted} fish", "survival": steps})
    grown = asked.recruits(Span.of(asked.number()))
    assert grown is not None
    assert grown.likely == pytest.approx(wanted)


def test_without_a_chain_nobody_knows_the_recruits() -> None:
    assert made({"rate": "30 /ha"}).recruits(Span.of(100.0)) is None


def test_what_held_the_number() -> None:
    cap, floor = ({"amount": text, "reason": "board"} for text in ("9 fish", "5 fish"))
    plan = proposal({"rate": "30 /ha", "cap": cap, "floor": floor})
    entry, fish = plan.alternative[0].stock[0], plan.fish[0]
    assert limited(20.0, entry, fish, water()) == (9.0, "held")
    assert limited(2.0, entry, fish, water()) == (5.0, "raised")
    assert limited(9.0, entry, fish, water()) == (9.0, "")


@given(st.floats(0, 1e9))
def test_whole_fish(number: float) -> None:
    assert math.isclose(whole(number, "nearest"), number, abs_tol=0.5)
    assert whole(number, "down") <= whole(number, "nearest") <= whole(number, "up")
    assert whole(number, "up") >= number * (1 - 1e-11) - 1e-8
    assert whole(float(round(number)), "up") == whole(float(round(number)), "down")
