"""Words: counts as a person writes them, and texts that others typed on one line."""

__all__ = ["counted", "one_line", "short"]


def counted(count: int, noun: str, plural: str = "") -> str:
    """Return a count with its noun, in the singular where it is one.

    Parameters
    ----------
    count : int
        How many.
    noun : str
        What, in the singular.
    plural : str
        Its plural where that is not made by an s.

    Returns
    -------
    str
        With thousands not set apart.

    Examples
    --------
    >>> counted(1, "sounding"), counted(2, "depth"), counted(0, "echo", "echoes")
    ('1 sounding', '2 depths', '0 echoes')
    """
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


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
