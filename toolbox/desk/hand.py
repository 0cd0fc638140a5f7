"""Hand: a process of its own that reads and computes, so that the page answers and can stop it."""

import os
import sys
import threading
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from toolbox.errors import ToolboxError
from toolbox.faults import said_by
from toolbox.processes import settle_child, start_child
from toolbox.surroundings import skipped_drivers

__all__ = ["Hand", "Tell"]

Tell = Callable[[str, Any], None]
"""Told ``stage`` with its name, and at the end ``done`` with the result or ``failed`` with why."""

_ABRUPT = "the work ended abruptly, perhaps for lack of memory: larger cells need less"
_NO_MEMORY = "there is not enough memory for this; use larger cells or fewer soundings"
# a file is what its name says: no list of other files, and nothing from a network
_CLOSED_DRIVERS = ("OGR_VRT", "HTTP", "WFS", "OAPIF", "CSW")


class Hand:
    """A process that does one job at a time; stopped, it is replaced by a fresh one."""

    def __init__(self) -> None:
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None
        self._lock = threading.Lock()

    def ready(self) -> None:
        """Start the process, which takes a while to load what it needs."""
        with self._lock:
            if self._process is None or not self._process.is_alive():
                self._process, self._pipe = start_child(_serve)

    def do(self, job: str, arguments: dict[str, Any], tell: Tell) -> None:
        """Have a job done; what it tells comes from a thread."""
        self.ready()
        assert self._pipe is not None
        threading.Thread(
            target=_listen, args=(self._pipe, job, arguments, tell), daemon=True
        ).start()

    def stop(self) -> None:
        """End whatever is being done."""
        with self._lock:
            process, self._process = self._process, None
            if process is not None:
                process.kill()
                process.join()


def _listen(pipe: Connection, job: str, arguments: dict[str, Any], tell: Tell) -> None:
    try:
        pipe.send((job, arguments))
        while True:
            kind, value = pipe.recv()
            tell(kind, value)
            if kind != "stage":
                return
    except (EOFError, OSError):
        tell("failed", _ABRUPT)


def _serve(pipe: Connection) -> None:
    """Do jobs until there are no more."""
    settle_child()
    os.environ["GDAL_SKIP"] = ",".join([*skipped_drivers(os.environ), *_CLOSED_DRIVERS])
    from toolbox.desk.jobs import JOBS

    while True:
        try:
            job, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        pipe.send(_done(JOBS[job], arguments, lambda name: pipe.send(("stage", name))))


def _done(
    job: Callable[..., Any], arguments: dict[str, Any], watch: Callable[[str], None]
) -> tuple[str, Any]:
    try:
        return "done", job(**arguments, watch=watch)
    except ToolboxError as error:
        return "failed", said_by(error)
    except MemoryError:
        return "failed", _NO_MEMORY
    except Exception as error:  # a fault of ours must not end the desk
        traceback.print_exc(file=sys.stderr)
        return "failed", f"a fault of the toolbox, {type(error).__name__}: {said_by(error)}"
