"""Alternatives side by side."""

import math

import pytest
from invented_plan import MEASURES, proposal

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.stocking.comparison import compare_alternatives
from toolbox.stocking.plan import stocking_plan


def test_alternatives_side_by_side() -> None:
    frame = compare_alternatives(stocking_plan(MEASURES, proposal())).frame
    assert frame["alternative"].tolist() == ["nothing", "target", "rate"]
    assert frame["lots"].tolist() == ["none", "lot", "lot, lot"]
    # derived: 20 / 0.45 = 44.4 rounded up; 120 held at 50, twice; 2 a fish
    assert frame["number"].tolist() == [0, 45, 100]
    assert frame["cost_more"].tolist() == [0, 90, 200]
    assert frame["weight_kg"].tolist() == pytest.approx([0, 0.09, 0.2])
    assert frame["recruits"][1] == pytest.approx(45 * 0.45)
    assert math.isnan(frame["recruits"][2])
    assert frame["warnings"][0] == 0


def test_a_plan_of_nothing_as_a_file_holds_it() -> None:
    plan = stocking_plan(MEASURES, proposal()).frame[:1].assign(fish=math.nan, warnings=math.nan)
    row = compare_alternatives(Table(plan)).frame.iloc[0]
    assert (row["lots"], row["number"], row["warnings"]) == ("none", 0, 0)


def test_a_comparison_needs_a_plan() -> None:
    with pytest.raises(LayerError, match="a plan needs a column 'alternative', got"):
        compare_alternatives(MEASURES)


def test_recruits_are_those_of_the_lots_with_a_chain() -> None:
    plan = stocking_plan(MEASURES, proposal())
    both = Table(plan.frame.assign(alternative="both"))
    row = compare_alternatives(both).frame.iloc[0]
    assert row["recruits"] == pytest.approx(45 * 0.45)
    assert row["number"] == 145
