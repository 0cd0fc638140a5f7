"""Text that people typed, made safe to print, draw and lay out."""

import textwrap

from toolbox.words import one_line, short

__all__ = ["one_line", "short", "title_lines"]


def title_lines(text: str, *, width: int = 60, most: int = 3) -> str:
    """Return text broken into few lines that a drawing takes literally.

    Parameters
    ----------
    text : str
        Anything.
    width, most : int
        Characters in a line, and lines; what is longer ends in an ellipsis.

    Returns
    -------
    str
        Dollar signs escaped, because between two of them a figure would read mathematics.
    """
    lines = textwrap.wrap(one_line(text), width, max_lines=most, placeholder=" \u2026")
    return "\n".join(lines).replace("$", r"\$")
