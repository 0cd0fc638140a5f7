"""XML text: what characters a file may hold, and how texts and degrees are put into it."""

import xml.etree.ElementTree as ET

__all__ = ["add_texts", "degrees_text", "xml_characters"]

_DIGITS = 7  # of a degree: a centimetre


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


def add_texts(parent: ET.Element, **texts: str) -> None:
    """Add an element for each text that says something, in their order."""
    for name, text in texts.items():
        if text:
            ET.SubElement(parent, name).text = text


def degrees_text(degrees: float) -> str:
    """Return degrees to about a centimetre on the ground.

    Examples
    --------
    >>> degrees_text(-64.5)
    '-64.5000000'
    """
    return f"{degrees:.{_DIGITS}f}"
