"""Words of styles: what an XML file may hold, and no longer than a legend can show."""

from toolbox.formats.xml_text import xml_characters
from toolbox.report.text import short

__all__ = ["allowed", "title"]

allowed = xml_characters

_LONGEST = 120


def title(words: str) -> str:
    """Return words on one line, for a legend."""
    return short(allowed(words), _LONGEST)
