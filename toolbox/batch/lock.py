"""Lock: one batch at a time in a folder."""

import json
import os
import secrets
import socket
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from toolbox.batch.storage import is_url, joined, put_file, read_bytes, remove_file
from toolbox.errors import OutputError

__all__ = ["LOCK", "locked"]

LOCK = ".batch.lock"

_TRIES = 3


@contextmanager
def locked(out: str) -> Iterator[None]:
    """Keep other batches out of a folder.

    Parameters
    ----------
    out : str
        Path or URL.

    Raises
    ------
    OutputError
        If another batch is at it. What a batch left that was killed is no obstacle, if it ran on
        this machine.

    Notes
    -----
    A store behind a URL cannot tell who was first: two batches started in the same instant are
    told apart only if one sees the other's lock.
    """
    place, own = joined(out, LOCK), _own()
    if is_url(out):
        _take_url(place, own)
    else:
        _take(Path(place), own)
    try:
        yield
    finally:
        if read_bytes(place) == own:
            remove_file(place)


def _own() -> bytes:
    import psutil

    begun = psutil.Process().create_time()
    told = {"host": socket.gethostname(), "pid": os.getpid(), "begun": begun}
    return json.dumps(told | {"mark": secrets.token_hex(8)}).encode()


def _take(path: Path, own: bytes) -> None:
    mine = path.with_name(f"{LOCK}.{secrets.token_hex(4)}")
    try:
        mine.write_bytes(own)
        for _ in range(_TRIES):
            with suppress(FileExistsError):
                _put(mine, path)
                return
            holder = read_bytes(str(path))
            _check_stale(str(path), holder)
            _clear(path, holder)
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error
    finally:
        mine.unlink(missing_ok=True)
    raise OutputError(f"{path} is fought for by several batches; start one at a time")


def _put(file: Path, path: Path) -> None:
    """Put a lock to its place; raise FileExistsError if one is there."""
    try:
        os.link(file, path)  # there with all it says, or not at all
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no links, such as a memory stick
        with path.open("xb") as there:
            there.write(file.read_bytes())


def _clear(path: Path, stale: bytes | None) -> None:
    """Take a stale lock away; if another batch has just replaced it, put that one's back."""
    aside = path.with_name(f"{LOCK}.{secrets.token_hex(4)}")
    with suppress(FileNotFoundError):
        path.rename(aside)
        if read_bytes(str(aside)) != stale:
            with suppress(FileExistsError):
                _put(aside, path)
        aside.unlink()


def _take_url(place: str, own: bytes) -> None:
    holder = read_bytes(place)
    if holder is not None:
        _check_stale(place, holder)
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / LOCK
        file.write_bytes(own)
        put_file(file, place)


def _check_stale(place: str, holder: bytes | None) -> None:
    """Refuse if whoever holds a lock may still be at work."""
    if holder is None:  # just given back
        return
    try:
        told: dict[str, Any] = json.loads(holder)
        host, pid, begun = str(told["host"]), int(told["pid"]), float(told["begun"])
    except (ValueError, KeyError, TypeError):
        raise OutputError(f"{place} is no lock of a batch; remove it") from None
    if host != socket.gethostname():
        raise OutputError(
            f"a batch of {host} (process {pid}) is at this folder; if it is gone, remove {place}"
        )
    if _alive(pid, begun):
        raise OutputError(f"another batch (process {pid}) is at this folder: {place}")


def _alive(pid: int, begun: float) -> bool:
    """Tell whether a process still runs, and is not another one with its number."""
    import psutil

    try:
        return abs(psutil.Process(pid).create_time() - begun) < 1
    except psutil.NoSuchProcess:
        return False
