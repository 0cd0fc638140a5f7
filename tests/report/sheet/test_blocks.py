"""Blocks share columns and the room that is left."""

from datetime import date
from pathlib import Path

import pytest

from toolbox.report.sheet.blocks import GAP, Block, column_height, draw_columns, even_columns
from toolbox.report.sheet.paper import Box
from toolbox.report.sheet.pen import Pen


def block(name: str, least: float, most: float | None = None) -> Block:
    return Block(name, least, least if most is None else most, lambda pen, box: None)


def test_columns_are_as_even_as_their_order_allows() -> None:
    heights = (10, 20, 30, 40, 20)
    columns = even_columns([block(str(n), h) for n, h in enumerate(heights)], 2)
    assert [[b.name for b in column] for column in columns] == [["0", "1", "2"], ["3", "4"]]
    assert [column_height(column) for column in columns] == [60 + 2 * GAP, 60 + GAP]


def test_a_title_never_stands_alone() -> None:
    columns = even_columns([block("title", 90), block("a", 10), block("b", 10)], 2)
    assert [b.name for b in columns[0]] == ["title", "a"]


def test_room_goes_to_those_that_can_use_it(tmp_path: Path) -> None:
    pen = Pen(tmp_path / "b.pdf", title="", author="", made=date(2026, 1, 1))
    pen.page((500, 500))
    column = [block("fixed", 50), block("grows", 40, 100), block("grows more", 40, 160)]
    room = 130 + 2 * GAP + 90  # half of what both can use
    draw_columns(pen, Box(0, 0, 100, room), [column])
    heights = {name: box.height for _, name, box in pen.blocks}
    assert heights == pytest.approx({"fixed": 50, "grows": 70, "grows more": 100})
    assert pen.blocks[-1][2].bottom == pytest.approx(0)
