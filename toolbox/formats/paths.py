"""Paths: checked before anything is read, written beside and moved in whole."""

import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from toolbox.errors import InputFileError, OutputError

__all__ = ["existing_file", "new_file", "new_folder"]


def existing_file(path: Path) -> Path:
    """Return `path` if it is a file with something in it; raise InputFileError otherwise."""
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
        raise OutputError(f"{path} exists already; choose another name or allow overwriting")
    with _beside(path) as place:
        yield place / path.name
        main = place / path.name
        main.stat()  # a writer that wrote nothing failed
        beside = sorted(part for part in place.iterdir() if part != main)
        for part in beside:
            there = path.parent / part.name
            if _exists(there) and (there.is_dir() or not overwrite):
                raise OutputError(
                    f"{there} exists already; choose another name or allow overwriting"
                )
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
    """
    if _exists(path) and not (overwrite and path.is_dir()):
        raise OutputError(f"{path} exists already; choose another name or allow overwriting")
    with _beside(path) as place:
        fresh = place / "fresh"
        fresh.mkdir()
        yield fresh
        former = place / "former"
        if path.exists():
            path.rename(former)
        try:
            fresh.rename(path)
        except BaseException:
            if former.exists():
                former.rename(path)
            raise


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error
    place = path.parent / f".{path.name}.{secrets.token_hex(4)}"
    try:  # named before it is made: whatever stops us in between, it is taken away
        place.mkdir(mode=0o700)
        yield place
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(place, ignore_errors=True)
