"""Bodies: what requests carry, within limits of size and time."""

import asyncio
import secrets
import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import TYPE_CHECKING, Any

from toolbox.server.problems import ProblemError
from toolbox.server.service import RETRY_AFTER, Service

if TYPE_CHECKING:
    from starlette.requests import Request

__all__ = ["Body", "check_media", "held_body", "stored_body"]

_SLOWEST = 16 * 1024
"""Bytes per second that a body must come with, beyond the patience for one piece."""

_DRAINED = 2
"""How many times the largest body is read before the connection is cut: who is still sending does
not hear an answer."""

_AT_ONCE = 4
"""How many of the largest bodies may be held at one time."""

_SMALL = 256 * 1024
"""Bytes of a body that is held in memory and read here: in the worst case others wait for that some
hundredths of a second."""


def check_media(request: "Request", allowed: str) -> None:
    """Raise ProblemError if a body is of another media type, or packed."""
    media = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media != allowed:
        raise ProblemError(415, f"Content-Type must be {allowed}, got {media[:100]!r}")
    packing = request.headers.get("content-encoding", "identity")
    if packing != "identity":
        raise ProblemError(415, f"Content-Encoding must be identity, got {packing[:100]!r}")


@dataclass(frozen=True)
class Body:
    """What a request carries, at its beginning.

    Parameters
    ----------
    file : file
        Of bytes, in memory if it is small.
    large : bool
        Whether it lies on the disk, and is to be read by another process.
    """

    file: Any
    large: bool


@asynccontextmanager
async def held_body(request: "Request", service: Service) -> AsyncIterator[Body]:
    """Hold a body until the block ends, and count it.

    Raises
    ------
    ProblemError
        If it is too large or too slow, too many are held, or the work folder is full.
    """
    most, held = service.limits.body, 0
    with SpooledTemporaryFile(_SMALL, dir=str(service.store.scratch)) as file:

        def keep(piece: bytes) -> None:
            nonlocal held
            if service.held + len(piece) > _AT_ONCE * most:
                file.seek(0)
                file.truncate()
                service.held, held = service.held - held, 0
                raise ProblemError(503, "too many large requests at one time", headers=RETRY_AFTER)
            service.held, held = service.held + len(piece), held + len(piece)
            if held > _SMALL:
                service.office.check_room(service.held)
            file.write(piece)

        try:
            await _keep(request, service.limits.patience, most, keep)
            file.seek(0)
            yield Body(file, held > _SMALL)
        finally:
            service.held -= held


@asynccontextmanager
async def stored_body(request: "Request", service: Service) -> AsyncIterator[Path]:
    """Write a body to a file of the work folder; what is not moved away in the block is removed.

    Raises
    ------
    ProblemError
        If it is too large, too slow or empty.
    FullDiskError
        If the work folder is full.
    """
    path, size = service.store.scratch / secrets.token_hex(16), 0
    try:
        with path.open("xb") as file:

            def keep(piece: bytes) -> None:
                nonlocal size
                service.arriving, size = service.arriving + len(piece), size + len(piece)
                service.office.check_room(service.arriving)
                file.write(piece)

            await _keep(request, service.limits.patience, service.limits.upload, keep)
        if not size:
            raise ProblemError(400, "the body is empty")
        yield path
    finally:
        service.arriving -= size
        path.unlink(missing_ok=True)


async def _keep(
    request: "Request", patience: float, most: int, keep: Callable[[bytes], None]
) -> None:
    """Keep a body; if it cannot be kept, tell it when all of it has come.

    Who is still sending does not hear an answer.
    """
    fault: Exception | None = None
    async for piece in _pieces(request, patience, most):
        try:
            if fault is None:
                keep(piece)
        except (ProblemError, OSError) as error:
            fault = error
    if fault is not None:
        raise fault


async def _pieces(request: "Request", patience: float, most: int) -> AsyncGenerator[bytes, None]:
    stated = request.headers.get("content-length")
    too_large = stated is not None and int(stated) > most
    begun, size = time.monotonic(), 0
    stream = request.stream()
    while True:
        left = begun + patience + size / _SLOWEST - time.monotonic()
        try:
            piece = await asyncio.wait_for(anext(stream), min(max(left, 0), patience))
        except StopAsyncIteration:
            if too_large:
                raise _too_large(most) from None
            return
        except TimeoutError as error:
            raise ProblemError(408, "the body comes too slowly") from error
        size += len(piece)
        too_large = too_large or size > most
        if size > _DRAINED * most:
            raise _too_large(most)
        if not too_large:
            yield piece


def _too_large(most: int) -> ProblemError:
    return ProblemError(413, f"the body may have at most {most:,} bytes; large files are uploaded")
