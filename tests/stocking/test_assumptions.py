"""Assumptions: every figure of a plan, and its source."""

from invented_plan import MEASURES, proposal

from toolbox.stocking.assumptions import stocking_assumptions
from toolbox.stocking.proposal import StockingProposal


def test_every_figure_has_its_source_among_the_assumptions() -> None:
    table = stocking_assumptions(MEASURES, proposal())
    frame = table.frame
    assert list(frame) == ["alternative", "fish", "assumption", "value", "source"]
    assert (frame["source"].str.len() > 0).all()
    columns = [frame[name] for name in ("alternative", "assumption", "value", "source")]
    told = {(one, name): (value, source) for one, name, value, source in zip(*columns, strict=True)}
    assert told["", "littoral area"] == (
        "4.000 ha (3.000 to 6.000 ha) = 9.884 acre",
        "shallower than 4.572 m",
    )
    assert told["", "surface area"] == ("10.00 ha = 24.71 acre, no band", "islands left out")
    assert told["", "existing: old"] == ("10 fish, range not given", "net")
    assert told["", "price"] == ("2 per fish (crowns)", "offer")
    assert told["target", "survival: winter"] == ("0.5 (0.25 to 0.8)", "report A")
    assert told["target", "survival: summer"] == ("0.9, range not given", "report B")
    assert told["rate", "rate on littoral"] == ("30 /ha, range not given", "report D")
    assert told["rate", "cap"] == ("50 fish", "the board")


def test_transport_and_seasons_are_told() -> None:
    loading = {"rate": "1 lb/gal", "max_temperature": 15, "max_hours": "4 h", "source": "table E"}
    truck = {"tank": "1 m3", "haul": "2 h", "hatchery_temperature": 9, "loading": [loading]}
    season = {"first": "05-01", "last": "06-15", "max_temperature": 18, "source": "report F"}
    stock = {"fish": "lot", "rate": "3 /ha", "source": "report D", "season": season}
    plan = StockingProposal.model_validate(
        {
            "title": "Plan",
            "water": "Mere",
            "fish": [{"name": "lot", "species": "walleye", "mean_weight": "2 g"}],
            "transport": truck,
            "alternative": [{"name": "one", "stock": [stock | {"remarks": "first the bay"}]}],
        }
    )
    frame = stocking_assumptions(MEASURES, plan).frame
    told = dict(zip(frame["assumption"], frame["value"], strict=True))
    assert told["transport"] == "1 x 1000 L, 2 h, hatchery water of 9 °C"
    assert told["loading rate"] == "0.12 kg/L to 15 °C and 4 h"
    assert told["largest difference in temperature"] == "5 °C"
    assert told["season"] == "05-01 to 06-15, to 18 °C"
    assert told["remarks"] == "first the bay"
    assert told["size"] == "length not given, 2 g"
