"""Counts as a person writes them."""

import pytest

from toolbox.words import counted


@pytest.mark.parametrize(
    ("count", "noun", "plural", "text"),
    [
        (0, "sounding", "", "0 soundings"),
        (1, "sounding", "", "1 sounding"),
        (2, "depth", "", "2 depths"),
        (1, "echo", "echoes", "1 echo"),
        (21, "echo", "echoes", "21 echoes"),
    ],
)
def test_only_one_is_singular(count: int, noun: str, plural: str, text: str) -> None:
    assert counted(count, noun, plural) == text
