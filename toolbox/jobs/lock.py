"""Lock: one server at a time in a work folder."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from toolbox.errors import OutputError

__all__ = ["held"]

_LOCK = ".lock"


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Keep others out of a folder; whatever ends this process opens it again.

    Raises
    ------
    OutputError
        If another process holds it, or the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        file = (folder / _LOCK).open("a+b")
    except OSError as error:
        raise OutputError(f"{folder} cannot be written: {error.strerror or error}") from error
    with file:
        try:
            _take(file)
        except OSError as error:
            raise OutputError(f"{folder} is in use by another server") from error
        yield


def _take(file: IO[bytes]) -> None:
    if os.name == "posix":
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    else:
        import msvcrt

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
