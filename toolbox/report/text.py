"""Text that people typed, made safe to print, draw and lay out."""

import textwrap

__all__ = ["one_line", "short", "title_lines"]


def one_line(text: str) -> str:
    r"""Return text on one line, without characters that steer a terminal.

    Examples
    --------
    >>> one_line("a\x1b[31m\nb")
    'a [31m b'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def short(text: str, most: int) -> str:
    """Return text on one line of at most so many characters; what is longer ends in an ellipsis.

    Examples
    --------
    >>> short("the old oak", 8)
    'the old\u2026'
    """
    text = one_line(text)
    return text if len(text) <= most else text[: most - 1].rstrip() + "\u2026"


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
