"""Notes: what was assumed, mended or inferred, and what each means for whoever uses the result.

A note is a text. One made as a plain ``str`` is for the record; one that matters more says so by
its kind where it is made, and keeps it wherever it is passed on.
"""

from collections.abc import Iterable

__all__ = ["Assumption", "Caution", "Note", "ranked", "same_kind"]


class Note(str):
    """A note that says of what kind it is."""

    __slots__ = ()
    kind = "for the record"


class Caution(Note):
    """Changes how far a result can be trusted, or must be known before anyone acts on it."""

    __slots__ = ()
    kind = "caution"


class Assumption(Note):
    """Was taken to be so about the input, which does not say it; right it if it is not so."""

    __slots__ = ()
    kind = "assumed"


def same_kind(note: str, text: str) -> str:
    """Return a text as a note of the kind of another, as when a file's name is put before it.

    Examples
    --------
    >>> type(same_kind(Caution("too few"), "a.csv: too few")).kind
    'caution'
    """
    return type(note)(text)


def ranked(notes: Iterable[str]) -> dict[str, list[str]]:
    """Sort notes by kind, each told once and in the order in which it came.

    Parameters
    ----------
    notes : iterable of str
        Notes; plain texts are for the record.

    Returns
    -------
    dict of list of str
        All kinds in the order in which they are to be read: caution, assumed, for the record.

    Examples
    --------
    >>> ranked(["12 nodes", Caution("too few lines")])
    {'caution': ['too few lines'], 'assumed': [], 'for the record': ['12 nodes']}
    """
    found: dict[str, list[str]] = {kind.kind: [] for kind in (Caution, Assumption, Note)}
    for note in dict.fromkeys(notes):
        found[note.kind if isinstance(note, Note) else Note.kind].append(note)
    return found
