"""The table of measures as stocking reads it."""

import math
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.stocking.measured import Measured, Span, customary, metric, plain


def frame() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "measure": ["surface area", "suitable volume", "suitable volume", "mean depth"],
            "species": [np.nan, "tench", "pike", ""],  # empty cells of a file come as NaN
            "value": [1e5, 10.0, 20.0, 4.0],
            "low": [math.nan, 9.0, 25.0, 3.0],
            "unit": ["m2", "m3", "m3", "m"],
        }
    )


def test_measures_of_all_and_of_a_species() -> None:
    water = Measured(Table(frame()))
    assert water.surface == 1e5
    assert water.basis("suitable volume", "tench") == Span(9, 10, 10)
    assert water.basis("surface", "tench") == Span(1e5, 1e5, 1e5)
    assert water.unit("mean depth") == "m"
    assert water.note("mean depth") == "the table of measures"


def test_a_span_holds_its_figure() -> None:
    # the mean of draws may lie outside their band
    assert Measured(Table(frame())).span("suitable volume", "pike") == Span(20, 20, 20)
    assert Span.of(5.0, 4.0, 6.0).known
    assert not Span.of(5.0).known
    assert not Span.of(210_792.376168, 210_792.376167999).known


def test_a_table_of_two_columns_more_is_enough() -> None:
    water = Measured(Table(frame()[["measure", "value", "unit"]][:1]))
    assert water.span("surface area") == Span.of(1e5)
    empty = Measured(Table(frame()[:1].assign(species=np.nan)))
    assert empty.span("surface area") == Span(1e5, 1e5, 1e5)


@pytest.mark.parametrize(
    ("table", "told"),
    [
        (pd.concat([frame()] * 2), "the measures need 'surface area' once, got it 2 times"),
        (frame().assign(unit="ha"), "measure 'surface area' must be in m2, got 'ha'"),
        (frame().assign(value=math.nan), "measure 'surface area' must be >= 0, got nan"),
        (frame().assign(value="much"), "column 'value' must hold numbers"),
    ],
)
def test_tables_are_checked(table: pd.DataFrame, told: str) -> None:
    with pytest.raises(LayerError, match=told):
        Measured(Table(table)).span("surface area")


def test_customary_words() -> None:
    # derived: 1609.344 m, 4046.8564224 m2, 1233.48183754752 m3
    assert customary(1609.344, "m") == "1 mile"
    assert customary(2.5 * 4046.8564224, "m2") == "2.5 acre"
    assert customary(1233.48183754752, "m3") == "1 acre-foot"


@given(st.floats(1e-6, 1e12), st.integers(1, 6))
def test_plain_numbers_have_their_figures_and_no_power_of_ten(value: float, digits: int) -> None:
    told = plain(value, digits)
    assert re.fullmatch(r"[\d,]+(\.\d+)?", told)
    assert float(told.replace(",", "")) == pytest.approx(value, rel=0.51 * 10 ** (1 - digits))
    short = plain(value, digits, trimmed=True)
    assert float(short.replace(",", "")) == float(told.replace(",", ""))


def test_plain_zero() -> None:
    assert (plain(0.0), plain(math.nan)) == ("0", "nan")


def test_spans_are_written_in_one_unit() -> None:
    assert metric(Span(979_012.0, 1_001_363.5, 1_024_060.0), "m3") == (
        "1,001,000 m\u00b3 (979,000 to 1,024,000 m\u00b3)"
    )
    assert metric(Span.of(2672.4), "m") == "2.672 km"
