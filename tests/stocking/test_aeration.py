"""Aeration: both forms of the rule, and the weight of water."""

import math
from typing import Any

import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.aeration import aeration_sizing, depth_pressure
from toolbox.units import convert


def measured(area: float, deepest: float, low: float = math.nan) -> Table:
    rows = [
        ("surface area", area, math.nan, math.nan, "m2"),
        ("greatest depth", deepest, low, math.nan, "m"),
    ]
    return Table(pd.DataFrame(rows, columns=["measure", "value", "low", "high", "unit"]))


def rows(table: Table) -> dict[str, Any]:
    return dict(zip(table.frame["measure"], table.frame.to_dict("records"), strict=True))


def test_both_forms_of_the_rule_for_an_acre() -> None:
    # Lorenzen & Fast 1977 (from memory): 9.2 m3/min per km2, 30 scfm per million ft2;
    # derived: 1.315 and 1.307 ft3/min an acre
    found = rows(aeration_sizing(measured(convert(1.0, "acre", "m**2"), 4.0)))
    metric = found["air flow, destratification, metric form"]
    customary = found["air flow, destratification, customary form"]
    assert metric["us_value"] == pytest.approx(1.315, abs=5e-4)
    assert customary["us_value"] == pytest.approx(1.307, abs=5e-4)
    assert metric["us_unit"] == "ft3/min"
    assert found["air flow, small pond, at least 12 ft deep"]["us_value"] == pytest.approx(1.5)


def test_flow_of_a_square_kilometre() -> None:
    found = rows(aeration_sizing(measured(1e6, 4.0)))
    assert found["air flow, destratification, metric form"]["value"] == pytest.approx(9.2)


def test_pressure_of_a_foot() -> None:
    # from memory: 0.433 psi a foot of fresh water
    assert convert(depth_pressure(0.3048), "kPa", "psi") == pytest.approx(0.433, abs=6e-4)


def test_pressure_with_losses_and_its_band() -> None:
    found = rows(aeration_sizing(measured(1e4, 10.0, 9.0), losses=20.0))
    bare, whole = found["pressure of the water"], found["pressure with losses"]
    assert (bare["value"], bare["low"]) == pytest.approx((98.0665, 88.25985))
    assert whole["value"] == pytest.approx(118.0665)
    assert bare["high"] == bare["value"]
    chosen = rows(aeration_sizing(measured(1e4, 10.0), diffuser_depth=5.0))
    assert chosen["pressure of the water"]["value"] == pytest.approx(49.03325)


def test_notes_carry_the_cautions() -> None:
    notes = " ".join(aeration_sizing(measured(1e4, 10.0)).notes)
    for words in ("not a design", "permit", "kill fish", "open water in ice"):
        assert words in notes


def test_diffusers_lie_in_the_water() -> None:
    with pytest.raises(ParameterError, match=r"diffuser_depth must be at most 4 m, .* got 5$"):
        aeration_sizing(measured(1e4, 4.0), diffuser_depth=5.0)
    with pytest.raises(LayerError, match="the measures need 'greatest depth' once"):
        aeration_sizing(Table(measured(1e4, 4.0).frame[:1]))
