"""Faults: what other libraries say went wrong, made fit for a message of one line."""

__all__ = ["one_line"]


def one_line(error: BaseException) -> str:
    r"""Return what an error says, on one line.

    Examples
    --------
    >>> one_line(ValueError("of two\n  lines"))
    'of two lines'
    """
    return " ".join(str(error).split())
