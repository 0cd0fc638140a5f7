"""Serving: a desk on a free port of this machine, until it is closed."""

import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from toolbox.desk.app import make_app
from toolbox.desk.desk import Desk
from toolbox.desk.guard import Guard
from toolbox.desk.hand import Hand
from toolbox.desk.workplace import MOST_BYTES, Workplace
from toolbox.extras import needed

__all__ = ["serve"]

_ENVELOPE = 2**20  # around the files of a request


def serve(tell: Callable[[str], None], *, folder: Path | None, browser: bool) -> None:
    """Open a desk and keep it until it is closed.

    Parameters
    ----------
    tell : callable
        Told where it is.
    folder : Path or None
        Where files and results are kept; None is a temporary folder that is taken away.
    browser : bool
        Whether to open a browser.

    Raises
    ------
    MissingExtraError
        If the web libraries are not installed.
    OutputError
        If the folder cannot be used.
    """
    with needed("desk", "leadline desk"):
        import uvicorn

    place, hand = Workplace(folder), Hand()
    try:
        with socket.create_server(("127.0.0.1", 0)) as door:
            port = int(door.getsockname()[1])
            desk = Desk(place, hand)
            app = make_app(desk, lambda: setattr(server, "should_exit", True))
            guard = Guard(app, port=port, most=MOST_BYTES + _ENVELOPE)
            server = uvicorn.Server(
                uvicorn.Config(
                    guard,
                    access_log=False,  # addresses are nobody's business
                    log_level="warning",
                    server_header=False,
                    lifespan="off",
                    timeout_graceful_shutdown=2,
                )
            )
            with _signals(server), suppress(KeyboardInterrupt):
                _begin(desk)
                tell(_told(guard, place))
                if browser:
                    threading.Thread(target=_open, args=(guard.ticket,), daemon=True).start()
                server.run(sockets=[door])
    finally:
        hand.stop()
        place.close()


def _begin(desk: Desk) -> None:
    """Load what will be needed, and look at what a kept folder holds."""
    if desk.place.names:
        desk.look()
    else:
        desk.hand.ready()


def _told(guard: Guard, place: Workplace) -> str:
    kept = "stays" if place.kept else "is taken away at the end"
    return (
        f"The desk is open at {guard.address}\n"
        f"Files are in {place.folder}, which {kept}. To close it: Ctrl-C, or the page's button."
    )


def _open(address: str) -> None:
    import webbrowser

    webbrowser.open(address)


@contextmanager
def _signals(server: Any) -> Iterator[None]:
    """End in order when told to, also when the terminal's window is closed."""

    def ended(*_: object) -> None:
        server.should_exit = True

    known = [getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP")]
    former = {number: signal.signal(number, ended) for number in known if number is not None}
    try:
        yield
    finally:
        for number, handler in former.items():
            signal.signal(number, handler)
