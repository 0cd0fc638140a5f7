"""Words fit the width they are given."""

import pytest

from toolbox.report.pdf_tables import register_fonts
from toolbox.report.sheet.lettering import fitted, width_of, wrapped

LONG = "the quick brown fox " + "x" * 80 + " jumps over the lazy dog"


@pytest.fixture(autouse=True)
def _fonts() -> None:
    register_fonts()


@pytest.mark.parametrize("width", [30.0, 60.0, 200.0])
@pytest.mark.parametrize("bold", [False, True])
def test_no_line_is_wider_than_asked(width: float, bold: bool) -> None:
    lines = wrapped(LONG, width, 7, bold=bold)
    assert max(width_of(line, 7, bold=bold) for line in lines) <= width
    assert "".join(lines).replace(" ", "") == LONG.replace(" ", "")


def test_too_many_lines_end_in_an_ellipsis() -> None:
    lines = wrapped(LONG, 60, 7, most=2)
    assert len(lines) == 2
    assert lines[1].endswith("\u2026")
    assert width_of(lines[1], 7) <= 60


def test_few_words_are_left_alone() -> None:
    assert wrapped("a b", 100, 7) == ["a b"]
    assert wrapped(" \n ", 100, 7) == []
    assert fitted("a b", 100, 7) == "a b"


def test_what_does_not_fit_ends_in_an_ellipsis() -> None:
    words = fitted("a very long name of a water", 40, 7)
    assert words.endswith("\u2026")
    assert width_of(words, 7) <= 40
    assert words[:3] == "a v"


def test_characters_that_steer_are_no_part_of_a_line() -> None:
    assert wrapped("a\u202eb\x1b[1mc\td", 100, 7) == ["a b [1mc d"]
