"""Words: counts as a person writes them."""

__all__ = ["counted"]


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
