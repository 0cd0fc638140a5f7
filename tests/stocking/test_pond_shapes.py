"""Ponds by tape: the worked examples of the Texas Parks and Wildlife Department."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.stocking.pond_shapes import pond_by_tape

FOOT = 0.3048


def rows(**options: Any) -> dict[str, Any]:
    table = pond_by_tape(**options)
    return dict(zip(table.frame["measure"], table.frame.to_dict("records"), strict=True))


# Texas Parks and Wildlife Department, page on pond size
@pytest.mark.parametrize(
    ("options", "acres"),
    [
        ({"shape": "round", "circumference": 800 * FOOT}, 1.17),
        ({"shape": "rectangle", "length": 260 * FOOT, "width": 408 * FOOT}, 2.44),
        ({"shape": "triangle", "length": 300 * FOOT, "width": 500 * FOOT}, 1.72),
    ],
)
def test_areas_of_the_page(options: dict[str, Any], acres: float) -> None:
    assert rows(**options)["surface area"]["us_value"] == pytest.approx(acres, abs=5e-3)


def test_divisor_of_the_page() -> None:
    # the page divides the circumference in feet, squared, by 547,390; derived: 4 pi 43,560
    assert 4 * math.pi * 43_560 == pytest.approx(547_390, abs=5)
    around = rows(shape="round", circumference=547_390**0.5 * FOOT)
    assert around["surface area"]["us_value"] == pytest.approx(1, rel=1e-5)


@given(st.floats(0.1, 1e4), st.floats(0.1, 1e4))
def test_a_triangle_is_half_a_rectangle(length: float, width: float) -> None:
    whole = rows(shape="rectangle", length=length, width=width)["surface area"]["value"]
    half = rows(shape="triangle", length=length, width=width)["surface area"]["value"]
    assert 2 * half == pytest.approx(whole)


def test_soundings_count_a_zero_at_both_shores() -> None:
    # derived: (1 + 2 + 3) / 5
    found = rows(shape="rectangle", length=50.0, width=20.0, depths=(1.0, 2.0, 3.0))
    assert found["mean depth"]["value"] == pytest.approx(1.2)
    assert found["volume"]["value"] == pytest.approx(1200)
    assert found["volume"]["us_value"] == pytest.approx(1200 / 1233.48183754752)
    assert set(rows(shape="rectangle", length=50.0, width=20.0)) == {"surface area"}


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"shape": "round"}, "a round pond needs circumference, got neither"),
        ({"shape": "round", "length": 9.0}, "a round pond needs circumference, got length"),
        (
            {"shape": "triangle", "length": 9.0},
            "a triangle pond needs length and width, got",
        ),
        ({"shape": "square", "length": 9.0}, "shape must be one of 'round', 'rectangle'"),
        ({"shape": "round", "circumference": 0.0}, "circumference must be > 0 m"),
    ],
)
def test_a_shape_needs_its_lengths(options: dict[str, Any], told: str) -> None:
    with pytest.raises(ParameterError, match=told):
        rows(**options)
