"""Lettering: type that is set into the file, how wide words are, and lines that fit."""

import functools
from collections.abc import Iterator

from toolbox.report.pdf_tables import BOLD, FONT
from toolbox.report.text import one_line, short

__all__ = ["LEADING", "fitted", "width_of", "wrapped"]

LEADING = 1.27
"""From line to line, in sizes of the type."""


@functools.lru_cache(maxsize=10_000)
def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """Return how wide words are, points."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(words, BOLD if bold else FONT, size))


def fitted(words: str, width: float, size: float, *, bold: bool = False) -> str:
    """Return words on one line no wider than `width`; what is longer ends in an ellipsis."""
    words = short(words, 1000)
    if width_of(words, size, bold=bold) <= width:
        return words
    low, high = 0, len(words)
    while high - low > 1:
        middle = (low + high) // 2
        fits = width_of(words[:middle].rstrip() + "\u2026", size, bold=bold) <= width
        low, high = (middle, high) if fits else (low, middle)
    return words[:low].rstrip() + "\u2026"


def wrapped(
    text: str, width: float, size: float, *, bold: bool = False, most: int = 99
) -> list[str]:
    """Break text into lines no wider than `width`; words that are wider are broken too.

    Parameters
    ----------
    text : str
        Anything.
    width : float
        Of a line, points.
    size : float
        Of the type, points.
    bold : bool
        Whether it is heavy.
    most : int
        Lines; what is longer ends in an ellipsis.
    """
    lines: list[str] = []
    for word in _pieces(one_line(text), width, size, bold):
        longer = f"{lines[-1]} {word}" if lines else word
        if not lines or width_of(longer, size, bold=bold) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], fitted(" ".join(lines[most - 1 :]), width, size, bold=bold)]


def _pieces(text: str, width: float, size: float, bold: bool) -> Iterator[str]:
    """Split text into words, and words that are too long for a line into parts."""
    for word in text.split():
        rest = word
        while width_of(rest, size, bold=bold) > width:
            count = 1
            while count < len(rest) and width_of(rest[: count + 1], size, bold=bold) <= width:
                count += 1
            yield rest[:count]
            rest = rest[count:]
        if rest:
            yield rest
