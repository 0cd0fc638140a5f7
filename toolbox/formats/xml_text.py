"""XML text: what characters a file may hold."""

__all__ = ["xml_characters"]


def xml_characters(words: str) -> str:
    r"""Leave out what no XML 1.0 file may hold, escaped or not.

    Parameters
    ----------
    words : str
        Anything.

    Returns
    -------
    str
        Without control characters but tabulator and line breaks, and without halves of pairs.

    References
    ----------
    W3C 2008, "Extensible Markup Language (XML) 1.0", 2.2.

    Examples
    --------
    >>> xml_characters("a\x00b\ud800c<")
    'abc<'
    """
    return "".join(
        c
        for c in words
        if c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
    )
