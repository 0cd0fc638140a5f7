"""Levels are round, lie in the water, and are refused where nobody knows the water."""

import numpy as np
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.isobaths.levels import chosen_levels, round_interval
from toolbox.layers import Tin, VertexKind

CORNERS = np.array([[0, 0], [30, 0], [30, 40]], float)


def bed(*depth: float, kind: int = VertexKind.SHORELINE) -> Tin:
    kinds = np.array([kind, kind, VertexKind.SOUNDING])
    return Tin(CORNERS, np.array(depth), np.array([[0, 1, 2]]), kinds, None)


def test_a_round_interval_gives_about_ten_levels() -> None:
    for span in np.geomspace(0.003, 900, 200):
        step = round_interval(float(span))
        assert 7 <= span / step <= 14.2
        assert f"{step:e}"[:3] in ("1.0", "2.0", "2.5", "5.0")


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
