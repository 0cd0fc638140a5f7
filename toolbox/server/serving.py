"""Serving: the application on a socket, until somebody stops it."""

import asyncio
import socket
from typing import TYPE_CHECKING, Any

from toolbox.errors import OutputError
from toolbox.extras import needed

if TYPE_CHECKING:
    from starlette.applications import Starlette

__all__ = ["bound", "serve"]

_CONNECTIONS = 1000
_STOPPING = 5


def bound(host: str, port: int) -> socket.socket:
    """Return a socket that listens.

    Parameters
    ----------
    host : str
        Address of this machine.
    port : int
        0 for any that is free.

    Raises
    ------
    OutputError
        If it cannot be had.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        found = socket.socket(family, kind, protocol)
        try:
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            found.bind(address)
            found.listen(512)
        except OSError:
            found.close()
            raise
    except OSError as error:
        raise OutputError(
            f"{host} port {port} cannot be listened at: {error.strerror or error}"
        ) from error
    return found


def serve(app: "Starlette", listening: socket.socket, patience: float) -> None:
    """Answer requests until somebody stops this process.

    Parameters
    ----------
    app : Starlette
        What answers.
    listening : socket
        Of :func:`bound`.
    patience : float
        Seconds to wait for the head of a request.
    """
    with needed("server", "leadline serve"):
        import uvicorn

    config = uvicorn.Config(
        app,
        http=_protocol(patience),
        loop="asyncio",
        ws="none",
        lifespan="on",
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=_STOPPING,
        backlog=512,
    )
    uvicorn.Server(config).run(sockets=[listening])


def _protocol(patience: float) -> type[Any]:
    """Make uvicorn's protocol drop who connects and then says nothing, and who are too many."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Impatient(H11Protocol):
        _until: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            if len(self.connections) > _CONNECTIONS:
                transport.abort()
                return
            self._until = self.loop.call_later(patience, self._drop)

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            begun = self.cycle is not None and not self.cycle.response_complete
            if begun and self._until is not None:
                self._until.cancel()
                self._until = None
            elif not begun and self._until is None:
                self._until = self.loop.call_later(patience, self._drop)

        def connection_lost(self, exc: Exception | None) -> None:
            if self._until is not None:
                self._until.cancel()
            super().connection_lost(exc)

        def _drop(self) -> None:
            self._until = None
            if self.cycle is None or self.cycle.response_complete:
                self.transport.abort()

    return Impatient
