"""A column that stands a row off is one fault, told at the row where it begins."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from toolbox.volume.consistency import Rows, chain
from toolbox.volume.row_shifts import Field, shifted

COUNT = 21
FIELDS: tuple[Field, ...] = ("area", "below", "depth")


def rows(power: float = 1.4, *, upward: bool = False) -> Rows:
    """Make a table of A = A0 (1 - z / zm)^p, listed from the top down or from the bottom up."""
    z = np.linspace(0, 10, COUNT)
    area, below = 1e6 * (1 - z / 10) ** power, 1e7 / (power + 1) * (1 - z / 10) ** (power + 1)
    number = np.arange(COUNT) + 1
    return Rows(number[::-1] if upward else number, z, area, below, 1.0, 1.0, 0.001)


def moved(good: Rows, field: Field, row: int, *, low: bool) -> Rows:
    """Enter a figure twice, or leave one out, at a row counted as listed from 0."""
    order = np.argsort(good.number)
    values = getattr(good, field)[order]
    if low:
        values = np.r_[values[:row], values[row - 1], values[row:-1]]
    else:
        values = np.r_[values[:row], values[row + 1 :], values[-1]]
    listed: dict[str, Any] = {
        name: getattr(good, name)[order] for name in ("number", "depth", "area", "below")
    }
    listed[field] = values
    down = np.argsort(listed["depth"], kind="stable")
    return replace(good, **{name: column[down] for name, column in listed.items()})


@pytest.mark.parametrize("row", [3, 9, 15])
@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("low", [True, False])
@pytest.mark.parametrize("upward", [False, True])
def test_shifts_are_found_where_they_begin(row: int, field: Field, low: bool, upward: bool) -> None:
    wrong = moved(rows(upward=upward), field, row, low=low)
    found = shifted(wrong, chain(wrong))
    assert found is not None
    assert (found.field, found.low) == (field, low)
    assert abs(found.row - row) <= 1  # beside it the neighbour fits as well where areas are smooth


@pytest.mark.parametrize("row", range(1, COUNT - 1))
@pytest.mark.parametrize(("field", "factor"), [("area", 3.0), ("below", 1.6), ("area", 0.1)])
def test_one_wrong_row_is_no_shift(row: int, field: str, factor: float) -> None:
    values = getattr(rows(), field).copy()
    values[row] *= factor
    wrong = replace(rows(), **{field: values})
    assert shifted(wrong, chain(wrong)) is None


@pytest.mark.parametrize("seed", range(20))
def test_two_wrong_rows_are_no_shift(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other = rng.choice(np.arange(1, COUNT - 1), 2, replace=False)
    area, below = rows().area.copy(), rows().below.copy()
    area[one] *= 3
    below[other] *= -1
    wrong = replace(rows(), area=area, below=below)
    assert shifted(wrong, chain(wrong)) is None


def test_rows_listed_in_no_order_have_no_shift() -> None:
    wrong = moved(rows(), "area", 9, low=True)
    number = wrong.number.copy()
    number[[4, 5]] = number[[5, 4]]
    assert shifted(replace(wrong, number=number), chain(wrong)) is None


def test_areas_alone_tell_no_shift_but_of_levels() -> None:
    # without volumes any areas that fall are possible: a shift leaves nothing at odds
    blank = replace(rows(), below=np.full(COUNT, np.nan))
    wrong = moved(blank, "area", 9, low=True)
    assert chain(wrong).kept.tolist() == list(range(COUNT))
    assert shifted(wrong, chain(wrong)) is None
