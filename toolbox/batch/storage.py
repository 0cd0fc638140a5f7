"""Storage: files on this machine or behind a URL, by one set of words."""

import os
import posixpath
import re
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError, MissingExtraError, OutputError
from toolbox.extras import needed
from toolbox.faults import said_by
from toolbox.formats.paths import new_file

__all__ = [
    "at_hand",
    "beside",
    "fetch",
    "found_below",
    "is_url",
    "joined",
    "original",
    "put_file",
    "put_folder",
    "read_bytes",
    "remove_file",
    "staged_path",
]

_URL = re.compile(r"([a-z][a-z0-9+.-]+)://(.*)", re.DOTALL)
_FLATTENED = re.compile(r".*?(?:^|/)([a-z][a-z0-9+.-]+):/+(.*)", re.DOTALL)
"""A URL that was taken for a path, which lets its second stroke go."""

_BESIDE_SHAPES = (".dbf", ".shx", ".prj", ".cpg")
_NOT_MERGED = "-wal"
"""What a database was changed by that another program still has open."""


def is_url(place: str) -> bool:
    """Tell a URL from a path."""
    return _URL.match(place) is not None


def joined(place: str, *parts: str) -> str:
    """Return a place below another."""
    return "/".join((place.rstrip("/"), *parts)) if is_url(place) else str(Path(place, *parts))


def staged_path(url: str, scratch: Path) -> Path:
    """Return where a copy of what a URL names stands: below `scratch`, as it stands there."""
    protocol, path = _parts(url)
    return scratch / protocol / path.lstrip("/")


def original(path: Path, scratch: Path) -> str | None:
    """Return the URL that a path stands for; None if it is a path of this machine.

    Either it lies below `scratch`, see :func:`staged_path`, or it ends in a URL that a survey file
    names and that was taken for a path.
    """
    text = Path(os.path.normpath(path)).as_posix()
    if (flat := _FLATTENED.match(text)) is not None:
        return _url(flat[1], flat[2])
    below = Path(text)
    if not below.is_relative_to(scratch):
        return None
    protocol, *rest = below.relative_to(scratch).parts
    return _url(protocol, posixpath.join(*rest))


def _url(protocol: str, path: str) -> str:
    return f"file:///{path}" if protocol == "file" else f"{protocol}://{path}"


def _parts(url: str) -> tuple[str, str]:
    found = _URL.match(url)
    assert found is not None
    return found[1], found[2]


def read_bytes(place: str) -> bytes | None:
    """Return what a small file holds; None if there is none."""
    if not is_url(place):
        try:
            return Path(place).read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            raise OutputError(f"{place} cannot be read: {error.strerror or error}") from error
    with _told(place):
        system, path = _system(place)
        try:
            return bytes(system.cat_file(path))
        except FileNotFoundError:
            return None


def beside(place: str, exists: Callable[[str], Any]) -> list[str]:
    """List the files that are read with a file: a Shapefile's tables, changes of a database.

    Parameters
    ----------
    place : str
        Path of the file.
    exists : callable
        Tells whether there is a file at a path.
    """
    stem, suffix = posixpath.splitext(place)
    if suffix.lower() == ".gpkg":
        return [part for part in (place + _NOT_MERGED,) if exists(part)]
    found = []
    for name in _BESIDE_SHAPES if suffix.lower() == ".shp" else ():
        spelled = (stem + name, stem + name.upper())  # a disk that knows no case has both
        found += [part for part in spelled if exists(part)][:1]
    return found


def fetch(url: str, path: Path) -> None:
    """Copy a file behind a URL to this machine, and what is read with it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with _told(url):
        system, there = _system(url)
        try:
            system.get_file(there, str(path))
        except FileNotFoundError as error:
            raise InputFileError(f"{url} does not exist") from error
        for part in beside(there, system.exists):
            system.get_file(part, str(path.with_name(posixpath.basename(part))))


def at_hand(place: str, scratch: Path, inputs: Callable[[Path], Iterable[Path]]) -> Path:
    """Return a file on this machine, and see that the files it names are on it too.

    Parameters
    ----------
    place : str
        Path or URL of the file.
    scratch : Path
        Where copies are made, if it or what it names lies behind a URL.
    inputs : callable
        Gives the files that it names.
    """
    if not is_url(place):
        path = Path(place).absolute()
        if all(original(given, scratch) is None for given in inputs(path)):
            return path
        place = _url("file", path.as_posix().lstrip("/"))
    path = staged_path(place, scratch)
    fetch(place, path)
    for given in inputs(path):
        if (url := original(given, scratch)) is not None:
            fetch(url, given)
    return path


def put_file(path: Path, place: str) -> None:
    """Copy a file to a place, replacing what is there; on this machine whole or not at all."""
    if not is_url(place):
        with new_file(Path(place), overwrite=True) as fresh:
            shutil.copyfile(path, fresh)
        return
    with _told(place):
        system, there = _system(place)
        system.makedirs(posixpath.dirname(there), exist_ok=True)
        system.put_file(str(path), there)


def put_folder(folder: Path, url: str, *, last: str) -> None:
    """Copy a folder to a URL instead of what is there.

    Parameters
    ----------
    folder : Path
        On this machine.
    url : str
        Where it goes.
    last : str
        Name of the file that tells a whole folder from one half-copied: it is taken away first and
        copied last.
    """
    with _told(url):
        system, there = _system(url)
        if system.exists(posixpath.join(there, last)):
            system.rm(posixpath.join(there, last))
        if system.exists(there):
            system.rm(there, recursive=True)
    files = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    for path in sorted(files, key=lambda path: path == folder / last):
        put_file(path, joined(url, path.relative_to(folder).as_posix()))


def remove_file(place: str) -> None:
    """Take a file away, if it is there."""
    if not is_url(place):
        Path(place).unlink(missing_ok=True)
        return
    with _told(place):
        system, there = _system(place)
        if system.exists(there):
            system.rm(there)


def found_below(place: str, name: str) -> list[str]:
    """List the files of a name in a folder and those below it, in order."""
    if not is_url(place):
        hidden = re.compile(r"(^|/)\.[^/.]")
        paths = (path for path in Path(place).rglob(name))
        return sorted(
            str(path)
            for path in paths
            if not hidden.search(path.relative_to(place).parent.as_posix())
        )
    with _told(place):
        system, there = _system(place)
        protocol = _parts(place)[0]
        found = [path for path in system.find(there) if posixpath.basename(path) == name]
        return [_url(protocol, path.lstrip("/")) for path in sorted(found)]


def _system(place: str) -> tuple[Any, str]:
    with needed("cluster", place):
        import fsspec
    system, path = fsspec.core.url_to_fs(place, use_listings_cache=False)
    return system, str(path)


@contextmanager
def _told(place: str) -> Iterator[None]:
    """Turn whatever goes wrong with a store into an error of ours."""
    from toolbox.errors import ToolboxError

    try:
        yield
    except ToolboxError:
        raise
    except ImportError as error:
        raise MissingExtraError(f"{place} cannot be reached: {said_by(error)}") from error
    except Exception as error:  # each store has errors of its own
        raise OutputError(f"{place} cannot be reached: {said_by(error)}") from error
