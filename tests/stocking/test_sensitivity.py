"""Sensitivity: what a plan hangs on, one figure at a time."""

from typing import Any

import pytest
from invented_plan import MEASURES, proposal

from toolbox.layers import Table
from toolbox.stocking.sensitivity import stocking_sensitivity


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
