"""Rows of the table are chosen evenly."""

import numpy as np
import pytest

from toolbox.report.sheet.hypsography_block import chosen_rows


@pytest.mark.parametrize("count", [1, 6, 7, 26, 143, 2000])
@pytest.mark.parametrize("room", [1, 6, 26])
def test_rows_fit_the_room_at_even_steps(count: int, room: int) -> None:
    rows = chosen_rows(np.arange(count) / 2, room)
    assert rows[0] == 0
    assert 1 <= len(rows) <= max(room, 1)
    assert len(set(np.diff(rows))) <= 1


def test_all_rows_where_there_is_room() -> None:
    assert chosen_rows(np.arange(12.0), 12) == list(range(12))
    assert chosen_rows(np.arange(12.0), 11) == [0, 2, 4, 6, 8, 10]
