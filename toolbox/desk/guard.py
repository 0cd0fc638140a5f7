"""Guard: who may speak to a desk, how much they may send, and what a browser may do with it."""

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

__all__ = ["PAGE_POLICY", "REPORT_POLICY", "Guard"]

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
REPORT_POLICY = (
    "sandbox allow-scripts allow-downloads allow-modals; default-src 'none'; "
    "script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; "
    "connect-src 'none'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)
"""For the report: its script runs in an origin of its own, out of reach of the desk."""

_HEADERS = {
    "content-security-policy": PAGE_POLICY,
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "same-origin",  # with none at all, forms would send no origin either
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
}
_ENTER = b"""<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Leadline desk</title>
<link rel="icon" href="data:,"><meta http-equiv="refresh" content="0;url=/"></head>
<body><p><a href="/">To the desk</a></p></body></html>"""
_CLOSED = "this desk opens by the address that its terminal printed"
_SAFE = ("GET", "HEAD")


class Guard:
    """Stand before an application and let through who knows the token.

    Parameters
    ----------
    app : callable
        The application (ASGI).
    port : int
        On which it is reached; only requests to 127.0.0.1 and localhost there are taken.
    most : int
        Bytes of one request.

    Notes
    -----
    The token comes once, on the URL, and is answered by a cookie of another value; so it stands in
    no later URL. A ticket is a token that is good once: for the browser that is opened by the
    desk, since other users of a machine can see with what a program was started.
    """

    def __init__(self, app: App, *, port: int, most: int) -> None:
        self.app, self.most = app, most
        self.hosts = (f"127.0.0.1:{port}", f"localhost:{port}")
        self.token = secrets.token_urlsafe(32)
        self._cookie = f"leadline_desk_{port}"  # browsers do not tell cookies apart by port
        self._session = secrets.token_urlsafe(32)
        self._tickets = {secrets.token_urlsafe(32)}

    @property
    def address(self) -> str:
        """Where the desk opens."""
        return f"http://{self.hosts[0]}/?token={self.token}"

    @property
    def ticket(self) -> str:
        """Where it opens once."""
        return f"http://{self.hosts[0]}/?token={next(iter(self._tickets))}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Take a request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {
            name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]
        }
        send = _with_headers(send)
        if headers.get("host") not in self.hosts:
            await _answer(send, 403, f"this desk is at {self.hosts[0]} and nowhere else")
        elif scope["path"] == "/" and self._knows_token(scope):
            await self._enter(send)
        elif not self._knows_cookie(headers):
            await _answer(send, 403, _CLOSED)
        elif not self._is_own(scope["method"], headers):
            await _answer(send, 403, "this request came from another page")
        else:
            await self._pass(scope, headers, receive, send)

    def _knows_token(self, scope: Scope) -> bool:
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        used = [ticket for ticket in self._tickets if _same(given, ticket)]
        self._tickets.difference_update(used)
        return _same(given, self.token) or bool(used)

    def _knows_cookie(self, headers: dict[str, str]) -> bool:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self._cookie)
        except CookieError:
            return False
        return found is not None and _same(found.value, self._session)

    def _is_own(self, method: str, headers: dict[str, str]) -> bool:
        origins = [f"http://{host}" for host in self.hosts]
        origin = headers.get("origin")
        if origin is None:
            if method not in _SAFE:
                return False
        elif origin not in origins:
            return False
        return headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")

    async def _enter(self, send: Send) -> None:
        """Give the cookie, and go on from a page of our own: only then is it sent back at once."""
        cookie = f"{self._cookie}={self._session}; HttpOnly; SameSite=Strict; Path=/"
        await _answer(send, 200, _ENTER, ("set-cookie", cookie))

    async def _pass(
        self, scope: Scope, headers: dict[str, str], receive: Receive, send: Send
    ) -> None:
        told = headers.get("content-length", "0")
        if not told.isdecimal() or int(told) > self.most:
            await _answer(send, 413, self._too_large())
            return
        taken = 0

        async def counted() -> MutableMapping[str, Any]:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self.most:
                from starlette.exceptions import HTTPException

                raise HTTPException(413, self._too_large())  # the application answers with it
            return message

        await self.app(scope, counted, send)

    def _too_large(self) -> str:
        return (
            f"that is more than {self.most / 2**20:.3g} MB at once, which this desk does not take"
        )


def _same(given: str, known: str) -> bool:
    return hmac.compare_digest(given.encode(), known.encode())


def _with_headers(send: Send) -> Send:

    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            given = {name.lower() for name, _ in message.get("headers", ())}
            more = [
                (n.encode(), v.encode()) for n, v in _HEADERS.items() if n.encode() not in given
            ]
            message["headers"] = [*message.get("headers", ()), *more]
        await send(message)

    return sent


async def _answer(send: Send, status: int, body: str | bytes, *more: tuple[str, str]) -> None:
    kind = "text/plain" if isinstance(body, str) else "text/html"
    body = body.encode() if isinstance(body, str) else body
    headers = [("content-type", f"{kind}; charset=utf-8"), ("content-length", str(len(body)))]
    coded = [(name.encode(), value.encode()) for name, value in (*headers, *more)]
    await send({"type": "http.response.start", "status": status, "headers": coded})
    await send({"type": "http.response.body", "body": body})
