"""An invented stocking plan, for the tests of what is made of one."""

import math

import pandas as pd

from toolbox.layers import Table
from toolbox.stocking.proposal import StockingProposal

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
    """Make three alternatives: nothing, a target, and the same rate twice."""
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
