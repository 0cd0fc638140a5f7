"""Of a row that contradicts the others, the figure to blame is named, and the slip behind it."""

from dataclasses import replace

import numpy as np
import pytest

from toolbox.volume.consistency import Rows, chain
from toolbox.volume.row_faults import Words, row_faults, slip

SI = Words((1.0, 1.0, 1.0), False, 0.0)


def rows() -> Rows:
    z = np.linspace(0, 10, 21)
    area, below = 1e6 * (1 - z / 10), 5e6 * (1 - z / 10) ** 2
    return Rows(np.arange(21) + 1, z, area, below, 1.0, 1.0, 0.0)


@pytest.mark.parametrize(
    ("field", "factor", "what", "text"),
    [
        ("area", 0.40468564224, "area", ": as acres for hectares, or the other way round"),
        ("area", 10.0, "area", ": as a decimal point moved by one, or the other way round"),
        ("area", 2.2, "area", "the other rows lead to 600000"),
        ("below", 0.3048, "volume", ": as feet for metres, or the other way round"),
        ("below", 1 / 100, "volume", ": as a decimal point moved by two, or the other way round"),
    ],
)
def test_slips_of_one_figure(field: str, factor: float, what: str, text: str) -> None:
    values = getattr(rows(), field).copy()
    values[8] *= factor
    wrong = replace(rows(), **{field: values})
    (found,) = row_faults(SI, wrong, chain(wrong))
    assert (found["row"], found["what"], found["level"]) == (9, what, 4.0)
    assert found["found"] == pytest.approx(values[8])
    assert found["expected"] == pytest.approx(values[8] / factor, rel=1e-3)
    assert found["off_share"] == pytest.approx(factor - 1, rel=1e-2)
    assert found["text"].endswith(text)


def test_figures_are_said_in_the_words_of_the_table() -> None:
    # feet of elevation, acres and acre-feet above the level
    words = Words((0.3048, 4046.8564224, 1233.48183754752), True, 5e6 / 1233.48183754752)
    area = rows().area.copy()
    area[8] = 4046.8564224
    wrong = replace(rows(), area=area)
    (found,) = row_faults(words, wrong, chain(wrong))
    assert found["level"] == pytest.approx(-4 / 0.3048)
    assert found["found"] == pytest.approx(1.0)
    assert words.volume(5e6) == pytest.approx(0, abs=1e-9)
    assert words.volume(0.0) == pytest.approx(5e6 / 1233.48183754752)


@pytest.mark.parametrize("columns", [("area",), ("below",), ("area", "below")])
def test_neighbours_swapped_are_both_named(columns: tuple[str, ...]) -> None:
    order = np.arange(21)
    order[[7, 8]] = [8, 7]
    wrong = replace(rows(), **{name: getattr(rows(), name)[order] for name in columns})
    found = row_faults(SI, wrong, chain(wrong))
    name = {1: "areas" if columns == ("area",) else "volumes", 2: "levels"}[len(columns)]
    assert {each["row"] for each in found} == {8, 9}
    assert {each["what"] for each in found} == {"swapped"}
    assert sorted(each["text"] for each in found) == [
        f"the {name} of rows 8 and 9 look swapped",
        f"the {name} of rows 9 and 8 look swapped",
    ]


def test_ratios_that_are_no_slip_say_nothing() -> None:
    assert slip(1.7) == ""
    assert slip(-1.0) == ""
    assert slip(np.nan) == ""
    assert slip(3.28) == ": as feet for metres, or the other way round"
