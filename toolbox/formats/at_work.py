"""At work: temporary folders held by their writers, and what killed writers left of theirs."""

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Literal

__all__ = ["State", "cleared", "hold", "left_over"]

State = Literal["held", "left", "unknown"]


def left_over(path: Path) -> list[Path]:
    """List the temporary folders beside `path` that were made for it, whether in use or not."""
    theirs = re.compile(rf"\.{re.escape(path.name)}\.[0-9a-f]{{8}}")
    with os.scandir(path.parent) as entries:
        found = [entry.name for entry in entries if theirs.fullmatch(entry.name)]
    return [path.parent / name for name in sorted(found)]


@contextmanager
def hold(place: Path) -> Iterator[None]:
    """Keep others from clearing a folder; whatever ends this process lets go of it."""
    descriptor = _taken(place)
    try:
        yield
    finally:
        _let_go(descriptor)


@contextmanager
def cleared(place: Path) -> Iterator[State]:
    """Tell how a temporary folder stands, and take it away after the block if it was left.

    Returns
    -------
    str
        ``"held"`` by a writer, ``"left"`` by one that was killed, or ``"unknown"``: of another
        user, or on a system or a disk that cannot tell. Only what was left is touched.
    """
    try:
        descriptor = _taken(place)
    except BlockingIOError:
        yield "held"
        return
    if descriptor is None:
        yield "unknown"
        return
    try:
        yield "left"
        shutil.rmtree(place, ignore_errors=True)
    finally:
        _let_go(descriptor)


def _taken(place: Path) -> int | None:
    """Take hold of a folder; None where that is not possible, BlockingIOError if it is held."""
    if os.name != "posix":
        return None
    import fcntl

    descriptor = None
    try:
        descriptor = os.open(place, os.O_RDONLY | os.O_DIRECTORY)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        _let_go(descriptor)
        raise
    except OSError:  # of another user, gone, or on a disk that knows no locks
        _let_go(descriptor)
        return None
    return descriptor


def _let_go(descriptor: int | None) -> None:
    if descriptor is not None:
        with suppress(OSError):
            os.close(descriptor)
