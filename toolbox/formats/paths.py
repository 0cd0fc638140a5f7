"""Paths: checked before anything is read, written beside and moved in whole."""

import os
import secrets
import shutil
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Literal

from toolbox.errors import InputFileError, OutputError
from toolbox.formats.at_work import cleared, hold, left_over

__all__ = ["existing_file", "new_file", "new_folder", "without_end"]

_NO_SPACE = 65_536
"""Bytes: with fewer left on a disk, what failed to be written failed for want of them."""


def existing_file(path: Path) -> Path:
    """Return `path` if it is a file with something in it; raise InputFileError otherwise."""
    if (told := _odd_name(path)) is not None:
        raise InputFileError("{} cannot be read: its path {}; rename it".format(*told))
    try:
        if path.is_dir():
            raise InputFileError(f"{path} is a folder, a file is needed")
        if not path.is_file():
            raise InputFileError(f"{path} does not exist")
        if path.stat().st_size == 0:
            raise InputFileError(f"{path} is empty")
        with path.open("rb"):
            return path
    except OSError as error:
        raise InputFileError(f"{path} cannot be read: {error.strerror or error}") from error


def without_end(path: Path) -> OutputError:
    """Return the error of a file that is shorter than it says of itself, as a full disk leaves it.

    Libraries may keep to themselves that they could not write; who looks at the file afterwards
    tells it so.
    """
    return OutputError(f"{path.name} cannot be written: its end is missing; is the disk full?")


@contextmanager
def new_file(path: Path, *, overwrite: bool = False) -> Iterator[Path]:
    """Give a temporary path beside `path`, and move it there when all went well.

    Parameters
    ----------
    path : Path
        Where the file is wanted. What is written beside it under its name, as a shapefile's
        tables are, goes with it.
    overwrite : bool
        Whether files that are there may be replaced.

    Raises
    ------
    OutputError
        If something is there already, or the folder cannot be written. Nothing is left behind.
    """
    if _exists(path) and (path.is_dir() or not overwrite):
        raise _is_there(path, "a file")
    with _beside(path) as place:
        yield place / path.name
        main = place / path.name
        main.stat()  # a writer that wrote nothing failed
        beside = sorted(part for part in place.iterdir() if part != main)
        for part in (*beside, main):
            there = path.parent / part.name
            if _exists(there) and (there.is_dir() or not overwrite):
                raise _is_there(there, "a file")
        for part in (*beside, main):
            part.replace(path.parent / part.name)


@contextmanager
def new_folder(path: Path, *, overwrite: bool = False) -> Iterator[Path]:
    """Give a temporary folder beside `path`, and move it there when all went well.

    Parameters
    ----------
    path : Path
        Where the folder is wanted.
    overwrite : bool
        Whether a folder that is there may be replaced, as a whole.

    Raises
    ------
    OutputError
        If something is there already, or the folder cannot be written. Nothing is left behind.

    Notes
    -----
    Where `path` is a symbolic link, what it points to is made or replaced, and the link stays.
    """
    if _exists(path) and not (overwrite and path.is_dir()):
        raise _is_there(path, "a folder")
    path = Path(os.path.realpath(path)) if path.is_symlink() else path
    with _beside(path) as place:
        fresh = place / "fresh"
        fresh.mkdir()
        yield fresh
        former = place / "former"
        if path.exists():
            path.rename(former)
        try:
            fresh.rename(path)
        except BaseException as error:
            if isinstance(error, OSError) and path.exists():  # of another process, just now
                raise _is_there(path, "a folder") from error
            _put_back(former, path)
            raise


def _odd_name(path: Path) -> tuple[str, str] | None:
    """Return a path as it can be shown and what is wrong, if libraries would not find it."""
    whole = str(path.absolute())
    try:
        whole.encode()
    except UnicodeEncodeError:
        return os.fsencode(path).decode(errors="backslashreplace"), "is not UTF-8"
    if any(unicodedata.category(letter) == "Cc" for letter in whole):  # which GDAL leaves out
        return repr(str(path)), "holds a line break, a tab or the like"
    return None


def _is_there(path: Path, wanted: Literal["a file", "a folder"]) -> OutputError:
    found: Literal["a file", "a folder"] = "a folder" if path.is_dir() else "a file"
    if found != wanted:  # which is never replaced by the other
        return OutputError(f"{path} exists already and is {found}; choose another name")
    return OutputError(
        f"{path} exists already; choose another name, or replace it with --overwrite "
        "(in Python overwrite=True)"
    )


def _exists(path: Path) -> bool:
    if (told := _odd_name(path)) is not None:
        raise OutputError("{} cannot be written: its path {}; choose another".format(*told))
    try:
        return path.exists()
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """Give a folder beside `path` that nobody else writes, and take it away in the end."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _make_way(path)
    except OSError as error:
        raise _told(path, error) from error
    place = path.parent / f".{path.name}.{secrets.token_hex(4)}"
    try:  # named before it is made: whatever stops us in between, it is taken away
        place.mkdir(mode=0o700)
        with hold(place):
            yield place
    except OSError as error:
        raise _told(path, error) from error
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _make_way(path: Path) -> None:
    """Clear what writers left here that were killed; raise OutputError if one is still at it."""
    for place in left_over(path):
        with cleared(place) as state:
            if state == "held":
                raise OutputError(f"{path} is being written by another process; wait until it ends")
            if state == "left":  # perhaps by one killed between the two moves of a replacement
                _put_back(place / "former", path)


def _put_back(former: Path, path: Path) -> None:
    if former.exists() and not path.exists():
        former.rename(path)


def _told(path: Path, error: OSError) -> OutputError:
    """Say why something cannot be written; libraries tell a full disk in many ways."""
    if isinstance(error, OutputError):
        with suppress(OSError):
            if shutil.disk_usage(path.parent).free < _NO_SPACE:
                return OutputError(f"{path} cannot be written: No space left on device")
        return error
    return OutputError(f"{path} cannot be written: {error.strerror or error}")
