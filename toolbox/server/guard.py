"""Guard: stands before all answers and lets through what comes from where it may."""

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from toolbox.server.problems import ProblemError, problem_response
from toolbox.server.service import Service

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Guard"]

_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"content-security-policy", b"default-src 'none'; sandbox"),
    (b"cache-control", b"no-store"),
    (b"cross-origin-resource-policy", b"same-origin"),
)


class Guard:
    """Refuses requests under foreign names and from pages of foreign origin.

    A page in a browser can send requests to a server on the same machine, and a name that its
    owner points to that machine makes them look like its own.

    Parameters
    ----------
    app : ASGIApp
        What answers.
    service : Service
        Knows the names.
    """

    def __init__(self, app: "ASGIApp", service: Service) -> None:
        self.app, self.service = app, service

    async def __call__(self, scope: "Scope", receive: "Receive", send: "Send") -> None:
        """Answer a request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: "Message") -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            await send(message)

        headers = dict(scope["headers"])
        problem = self._problem(headers.get(b"host", b""), headers.get(b"origin"))
        answer = problem_response(problem) if problem else self.app
        await answer(scope, receive, with_headers)

    def _problem(self, host: bytes, origin: bytes | None) -> ProblemError | None:
        named = host.decode("latin-1").lower()
        hosts = self.service.hosts
        if hosts and _without_port(named) not in hosts:
            return ProblemError(421, f"this server is not known as {named[:100]!r}")
        if origin is None:
            return None
        from_ = origin.decode("latin-1").lower()
        own = {named, urlsplit(self.service.url or "").netloc.lower()} - {""}
        if urlsplit(from_).netloc not in own:
            return ProblemError(403, f"pages of {from_[:100]!r} may not use this server")
        return None


def _without_port(host: str) -> str:
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]
