"""Levels are round, lie in the water, and are refused where nobody knows the water."""

import numpy as np
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.isobaths.levels import chosen_levels, round_interval
from toolbox.layers import Tin, VertexKind
from toolbox.units import MetreOrFoot

CORNERS = np.array([[0, 0], [30, 0], [30, 40]], float)


def bed(*depth: float, kind: int = VertexKind.SHORELINE) -> Tin:
    kinds = np.array([kind, kind, VertexKind.SOUNDING])
    return Tin(CORNERS, np.array(depth), np.array([[0, 1, 2]]), kinds, None)


def test_a_round_interval_gives_about_ten_levels() -> None:
    for span in np.geomspace(0.003, 900, 200):
        step = round_interval(float(span))
        assert 7 <= span / step <= 14.2
        assert f"{step:e}"[:3] in ("1.0", "2.0", "2.5", "5.0")


@pytest.mark.parametrize(
    ("span", "step"),
    [(7, 0.5), (8, 1), (14, 1), (15, 2), (31, 2), (32, 5), (70, 5), (71, 10), (140, 10), (300, 20)],
)
def test_an_interval_in_feet_is_one_two_or_five(span: float, step: float) -> None:
    """Derived: of 1, 2, 5, 10 and 20 the one nearest to a tenth of the span, by ratio."""
    assert round_interval(span, "ft") == round_interval(span, "survey_foot") == step


@pytest.mark.parametrize(("unit", "metres"), [("ft", 0.3048), ("survey_foot", 1200 / 3937)])
def test_a_chosen_interval_is_round_in_feet(unit: MetreOrFoot, metres: float) -> None:
    depth, fifth, notes = chosen_levels(bed(0, 0, 24 * metres), None, None, unit=unit)
    assert depth == pytest.approx([2 * metres * k for k in range(1, 13)], abs=1e-9)
    assert depth[fifth] == pytest.approx([10 * metres, 20 * metres], abs=1e-9)
    assert notes == ("interval of 2 ft chosen for depths of 0 to 24 ft",)
    given, _, notes = chosen_levels(bed(0, 0, 6), 2.0, None, unit=unit)
    assert given.tolist() == [2, 4, 6]  # one that is given stays
    assert notes == ()


def test_levels_are_multiples_of_the_interval_in_the_water() -> None:
    depth, fifth, notes = chosen_levels(bed(0, 0, 6), 0.5, None)
    assert depth.tolist() == [0.5 * k for k in range(1, 13)]
    assert depth[fifth].tolist() == [2.5, 5.0]
    assert notes == ()
    above, fifth, _ = chosen_levels(bed(-1.2, -1.2, 0.3), 0.1, None)
    assert above.tolist() == pytest.approx([round(-1.1 + 0.1 * k, 1) for k in range(15)], abs=1e-12)
    assert above[fifth].tolist() == [-1.0, -0.5, 0.0]


def test_an_interval_that_is_chosen_is_told() -> None:
    depth, _, notes = chosen_levels(bed(0, 0, 24), None, None)
    assert depth.tolist() == [2.5 * k for k in range(1, 10)]
    assert notes == ("interval of 2.5 m chosen for depths of 0 to 24 m",)


def test_levels_listed_are_sorted_and_those_below_the_bed_told() -> None:
    depth, fifth, notes = chosen_levels(bed(0, 0, 4.0), None, (5, 1, 0, 3, 2, 1))
    assert depth.tolist() == [0, 1, 2, 3, 5]
    assert depth[fifth].tolist() == [5]
    assert notes == ("the bed is nowhere as deep as 5 m",)


def test_a_level_bed_without_a_shore_has_the_level_it_lies_at() -> None:
    flat = bed(2, 2, 2, kind=VertexKind.SOUNDING)
    depth, _, notes = chosen_levels(flat, None, None)
    assert depth.tolist() == []
    assert notes == ("interval of 1 m chosen for depths of 2 to 2 m",)


def test_refusals() -> None:
    water = bed(0, 0, 4)
    with pytest.raises(ParameterError, match=r"^give interval or levels, not both$"):
        chosen_levels(water, 1.0, (1.0,))
    with pytest.raises(ParameterError, match=r"^levels must name at least one depth, got none$"):
        chosen_levels(water, None, ())
    with pytest.raises(ParameterError, match=r"mapped water's edge \(depth 0 m\), got -1$"):
        chosen_levels(water, None, (-1.0, 2.0))
    with pytest.raises(ParameterError, match=r"^interval must give at most 10,000 levels over 4 m"):
        chosen_levels(water, 1e-4, None)
    with pytest.raises(ParameterError, match=r"^levels must be at most 10,000, got 10,001$"):
        chosen_levels(water, None, tuple(np.linspace(0, 4, 10_001)))
    with pytest.raises(LayerError, match="there is no water in it"):
        chosen_levels(bed(0, 0, 0), None, None)
