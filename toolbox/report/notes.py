"""Notes on a terminal: those that matter first, in few lines, and where all of them are."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from toolbox.notes import Assumption, Caution, Note
from toolbox.report.text import one_line

__all__ = ["foremost", "rejected", "told"]

_MOST = 10  # lines that one still reads
_MORE = {
    Caution.kind: "more to be cautious of",
    Assumption.kind: "more assumed",
    Note.kind: "more for the record",
}


def told(notes: Mapping[str, list[str]]) -> list[str]:
    """Return all notes, a line each, with their kind before them.

    Parameters
    ----------
    notes : mapping of list of str
        By kind, in the order in which they are to be read.
    """
    words = {Note.kind: "note"}
    return [
        f"{words.get(kind, kind)}: {one_line(note)}"
        for kind, some in notes.items()
        for note in some
    ]


def foremost(notes: Mapping[str, list[str]], file: Path, *, most: int = _MOST) -> list[str]:
    """Return the notes that somebody should read now, and a line that tells of the others.

    Parameters
    ----------
    notes : mapping of list of str
        By kind, in the order in which they are to be read.
    file : Path
        What holds all of them.
    most : int
        Lines of notes; what is only for the record gets none.
    """
    urgent = {kind: some for kind, some in notes.items() if kind != Note.kind}
    lines = told(urgent)
    shown = lines[:most]
    left = {**_left(urgent, len(shown)), Note.kind: len(notes.get(Note.kind, []))}
    more = ", ".join(f"{count} {_MORE[kind]}" for kind, count in left.items() if count)
    return [*shown, one_line(f"note: {more}: see {file}")] if more else shown


def _left(notes: Mapping[str, list[str]], shown: int) -> dict[str, int]:
    """Count the notes of each kind beyond the first few."""
    left = {}
    for kind, some in notes.items():
        left[kind] = max(0, len(some) - shown)
        shown = max(0, shown - len(some))
    return left


def rejected(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """Return a line a file that says how many of its soundings were rejected, and why."""
    files: dict[str, list[str]] = {}
    for row in rows:
        files.setdefault(str(row["file"]), []).append(f"{row['soundings']} {row['reason']}")
    return [one_line(f"rejected: {file}: {', '.join(why)}") for file, why in files.items()]
