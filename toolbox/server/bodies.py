"""Bodies: what requests carry, within limits of size and time."""

import asyncio
import json
import secrets
import time
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.faults import one_line
from toolbox.jobs.office import FullDiskError
from toolbox.server.problems import ProblemError
from toolbox.server.service import RETRY_AFTER, Service

if TYPE_CHECKING:
    from starlette.requests import Request

__all__ = ["as_json", "check_media", "held_body", "stored_body"]

_SLOWEST = 16 * 1024
"""Bytes per second that a body must come with, beyond the patience for one piece."""

_DRAINED = 2
"""How many times the largest body is read before the connection is cut: who is still sending does
not hear an answer."""

_SIZES = {b"{": 200, b"[": 88, b",": 32}
"""Bytes that what such a mark begins takes in memory, about; points in GeoJSON make it seven times
as large as its text."""

_SWOLLEN = 10
"""How many times the largest body what is made of one may take."""

_AT_ONCE = 4
"""How many of the largest bodies may be in memory at one time."""


def check_media(request: "Request", allowed: str) -> None:
    """Raise ProblemError if a body is of another media type, or packed."""
    media = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media != allowed:
        raise ProblemError(415, f"Content-Type must be {allowed}, got {media[:100]!r}")
    packing = request.headers.get("content-encoding", "identity")
    if packing != "identity":
        raise ProblemError(415, f"Content-Encoding must be identity, got {packing[:100]!r}")


def as_json(body: bytes | bytearray, most: int) -> dict[str, Any]:
    """Return the object that a body holds, of at most so many bytes, or raise ProblemError.

    Twenty million empty lists are 60 MB as text and 1.4 GB as objects, and while they are made no
    other request is answered.
    """
    if sum(size * body.count(mark) for mark, size in _SIZES.items()) > _SWOLLEN * most:
        raise ProblemError(413, "the body holds too many numbers, lists or objects: upload a file")
    try:
        found = json.loads(body or b"{}", parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        why = "it is nested too deeply" if isinstance(error, RecursionError) else one_line(error)
        raise ProblemError(400, f"the body is not JSON: {why}") from error
    if not isinstance(found, dict):
        raise ProblemError(400, "the body must be a JSON object")
    return found


def _refuse_constant(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON")


@asynccontextmanager
async def held_body(request: "Request", service: Service) -> AsyncIterator[bytearray]:
    """Read a body into memory, and count it there until the block ends.

    Raises
    ------
    ProblemError
        If it is too large or too slow, or too many are in memory.
    """
    most, body, full = service.limits.body, bytearray(), False
    try:
        async for piece in _pieces(request, service.limits.patience, most):
            full = full or service.held + len(piece) > _AT_ONCE * most
            if full:  # read all the same: who is still sending does not hear an answer
                service.held -= len(body)
                body.clear()
            else:
                service.held += len(piece)
                body += piece
        if full:
            raise ProblemError(503, "too many large requests at one time", headers=RETRY_AFTER)
        yield body
    finally:
        service.held -= len(body)


@asynccontextmanager
async def stored_body(request: "Request", service: Service) -> AsyncIterator[Path]:
    """Write a body to a file of the work folder; what is not moved away in the block is removed.

    Raises
    ------
    ProblemError
        If it is too large, too slow or empty, or the work folder is full.
    """
    path, size = service.store.scratch / secrets.token_hex(16), 0
    try:
        with path.open("xb") as file:
            async for piece in _pieces(request, service.limits.patience, service.limits.upload):
                size += len(piece)
                service.arriving += len(piece)
                service.office.check_room(service.arriving)
                file.write(piece)
        if not size:
            raise ProblemError(400, "the body is empty")
        yield path
    except FullDiskError as error:
        raise ProblemError(507, str(error)) from error
    finally:
        service.arriving -= size
        path.unlink(missing_ok=True)


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
