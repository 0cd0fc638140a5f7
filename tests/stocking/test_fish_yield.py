"""Fish yield: both systems of units, and a printed factor that is wrong."""

import math

import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.fish_yield import fish_yield_screen, ryder_yield


def measured(depth: float, low: float = math.nan, high: float = math.nan) -> Table:
    rows = [("surface area", 2e5, math.nan, math.nan, "m2"), ("mean depth", depth, low, high, "m")]
    return Table(pd.DataFrame(rows, columns=["measure", "value", "low", "high", "unit"]))


@pytest.mark.parametrize("solids", [10.0, 60.0, 400.0])
@pytest.mark.parametrize("depth", [1.0, 10.0, 60.0])
def test_both_forms_of_the_formula(solids: float, depth: float) -> None:
    # FAO AC231E: 2.094 x^0.446 lb/acre, x = mg/L over feet; derived: 1.3816 in metres and kg/ha
    pounds = 2.094 * (solids / (depth / 0.3048)) ** 0.446
    assert ryder_yield(solids, depth) == pytest.approx(
        pounds * 0.45359237 / 0.40468564224, rel=1e-7
    )
    assert ryder_yield(solids, depth) == pytest.approx(1.3816 * (solids / depth) ** 0.446, rel=1e-4)


def test_the_printed_metric_factor_is_not_the_conversion() -> None:
    # the same page prints 1.24 for metres, 10 % less than its own customary form
    assert ryder_yield(60.0, 10.0) == pytest.approx(3.072, abs=5e-4)
    assert 0.91 * ryder_yield(60.0, 10.0) > 1.24 * 6**0.446


def test_rows_and_their_band() -> None:
    frame = fish_yield_screen(
        measured(10.0, 8.0, 12.5), dissolved_solids=60.0, dissolved_solids_source="lab"
    ).frame
    assert frame["unit"].tolist() == ["mg/L/m", "kg/ha", "lb/acre", "kg"]
    assert frame["value"].tolist() == pytest.approx(
        [6, 3.072, 3.072 * 0.40468564224 / 0.45359237, 61.44], rel=2e-4
    )
    # derived: yield goes with depth to the power of -0.446
    assert frame["high"][1] / frame["value"][1] == pytest.approx(1.25**0.446)
    assert frame["low"][1] / frame["value"][1] == pytest.approx(0.8**0.446)
    assert frame["note"][0] == "lab"


def test_it_says_that_it_is_a_rough_screen() -> None:
    table = fish_yield_screen(measured(10.0), dissolved_solids=60.0, dissolved_solids_source="lab")
    # Downing, Plante & Lalonde 1990: the index is no predictor of production
    assert table.notes[0].startswith("a rough screen")
    assert "Downing" in table.notes[0]


def test_refusals() -> None:
    with pytest.raises(ParameterError, match="dissolved_solids_source must say who measured them"):
        fish_yield_screen(measured(10.0), dissolved_solids=60.0, dissolved_solids_source="")
    with pytest.raises(ParameterError, match="dissolved_solids must be > 0"):
        fish_yield_screen(measured(10.0), dissolved_solids=0.0, dissolved_solids_source="lab")
    with pytest.raises(LayerError, match="mean depth must be above 0, got 0 m"):
        fish_yield_screen(measured(0.0), dissolved_solids=60.0, dissolved_solids_source="lab")
