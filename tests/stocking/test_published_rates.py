"""Published rates fit a proposal as they are."""

from toolbox.stocking.bases import BASES
from toolbox.stocking.proposal import StockingProposal
from toolbox.stocking.published_rates import published_rates
from toolbox.stocking.rates import Rate


def test_each_can_be_put_into_a_proposal() -> None:
    rows = published_rates().frame.to_dict("records")
    stock = [
        {"fish": "lot", "basis": row["basis"], "rate": row["rate"], "source": row["source"]}
        for row in rows
    ]
    plan = StockingProposal.model_validate(
        {
            "title": "Plan",
            "water": "Mere",
            "fish": [{"name": "lot", "species": "any", "mean_weight": "1 g"}],
            "alternative": [{"name": "all", "stock": stock}],
        }
    )
    assert len(plan.alternative[0].stock) == len(rows) == 12
    assert {BASES[row["basis"]][0] for row in rows} == {"littoral area", "surface area"}


def test_both_systems_say_the_same() -> None:
    for row in published_rates().frame.to_dict("records"):
        metric, customary = (
            Rate.parse(row[name], source=row["source"]) for name in ("rate_metric", "rate_us")
        )
        assert abs(metric.amount / customary.amount - 1) < 1e-5
