"""Text that people typed is printed and drawn literally, whatever it holds."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.cbook import is_math_text

from toolbox.report.text import one_line, title_lines


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("Figment Mere", "Figment Mere"),
        ("  two\n\nlines\t", "two lines"),
        ("bell\x07 and\x00 nil", "bell and nil"),
        ("\x1b[2Jclear", "[2Jclear"),
        ("right\u202eto left", "right to left"),
        ("Þingvallavatn 青海湖", "Þingvallavatn 青海湖"),
        ("", ""),
    ],
)
def test_one_line(text: str, line: str) -> None:
    assert one_line(text) == line


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=400))
def test_any_text_becomes_one_line_without_control_characters(text: str) -> None:
    line = one_line(text)
    assert len(line.splitlines()) <= 1
    assert line.isprintable()
    assert one_line(line) == line


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=400) | st.text("$\\{}ab ^_", max_size=400))
def test_any_title_is_a_few_short_lines_and_no_mathematics(text: str) -> None:
    title = title_lines(text, width=40, most=3)
    assert not is_math_text(title)  # the drawing library's own judgement
    lines = title.replace(r"\$", "$").split("\n")
    assert len(lines) <= 3
    assert all(len(line) <= 40 for line in lines)


def test_what_is_cut_off_ends_in_an_ellipsis() -> None:
    assert title_lines("Llyn " * 60).endswith("\u2026")
    assert len(title_lines("Y" * 300).split("\n")) == 3
    assert not re.search("\u2026", title_lines("Figment Mere"))
