"""Sensitivity: what a plan hangs on, one figure at a time."""

import math
from typing import Any

import pandas as pd
import pytest

from toolbox.layers import Table
from toolbox.stocking.proposal import StockingProposal
from toolbox.stocking.sensitivity import stocking_sensitivity

MEASURES = Table(
    pd.DataFrame(
        {
            "measure": ["surface area", "littoral area"],
            "value": [1e5, 4e4],
            "low": [math.nan, 3e4],
            "high": [math.nan, 6e4],
            "unit": "m2",
            "note": ["islands left out", "shallower than 4.572 m"],
        }
    )
)


def proposal() -> StockingProposal:
    steps = [
        {"step": "winter", "likely": 0.5, "low": 0.25, "high": 0.8, "source": "report A"},
        {"step": "summer", "likely": 0.9, "source": "report B"},
    ]
    target = {"recruits": "3 /ha", "survival": steps, "subtract": "old", "source": "report C"}
    cap = {"amount": "50 fish", "reason": "the board"}
    rate = {"basis": "littoral", "rate": "30 /ha", "source": "report D", "cap": cap}
    return StockingProposal.model_validate(
        {
            "title": "Plan",
            "water": "Mere",
            "currency": "crowns",
            "fish": [{"name": "lot", "species": "walleye", "mean_weight": "2 g",
                      "price": "2 per fish", "price_source": "offer"}],
            "existing": [{"name": "old", "stock": "10 fish", "source": "net"}],
            "alternative": [
                {"name": "nothing"},
                {"name": "target", "stock": [{"fish": "lot"} | target]},
                {"name": "rate", "stock": [{"fish": "lot"} | rate, {"fish": "lot"} | rate]},
            ],
        }
    )  # fmt: skip


def of_alternative(table: Table, name: str) -> dict[str, Any]:
    rows = table.frame[table.frame["alternative"] == name].to_dict("records")
    return {row["input"]: row for row in rows}


def test_one_input_at_a_time() -> None:
    table = stocking_sensitivity(MEASURES, proposal(), rate_share=0.2)
    rate = of_alternative(table, "rate")
    # derived: 30 /ha of 4 ha (3 to 6), and of 30 /ha a fifth less and more
    littoral = rate["littoral area"]
    assert (littoral["value"], littoral["low"], littoral["high"]) == pytest.approx((4, 3, 6))
    assert (littoral["unit"], littoral["range"]) == ("ha", "band")
    ends = (littoral["number_at_low"], littoral["number"], littoral["number_at_high"])
    assert ends == pytest.approx((90, 120, 180))
    assert littoral["change_at_high_percent"] == pytest.approx(50)
    tried = rate["rate"]
    assert (tried["number_at_low"], tried["number_at_high"]) == pytest.approx((96, 144))
    assert tried["value"] == pytest.approx(30)
    assert (tried["unit"], tried["range"]) == ("fish/ha", "tried")


def test_inputs_of_a_target_most_telling_first() -> None:
    table = stocking_sensitivity(MEASURES, proposal(), rate_share=0.2)
    target = of_alternative(table, "target")
    # derived: (30 - 10) / 0.45 = 44.4
    assert list(target) == [
        "survival 1: winter", "recruits", "survival 2: summer", "existing: old", "surface area",
    ]  # fmt: skip
    winter = target["survival 1: winter"]
    assert (winter["number_at_low"], winter["number_at_high"]) == pytest.approx(
        (20 / 0.225, 20 / 0.72)
    )
    assert winter["range"] == "given"
    assert target["survival 2: summer"]["high"] == 1.0
    old = target["existing: old"]
    assert (old["number_at_low"], old["number_at_high"]) == pytest.approx((22 / 0.45, 18 / 0.45))
    surface = target["surface area"]
    assert (surface["range"], surface["change_at_low_percent"]) == ("none", 0)
