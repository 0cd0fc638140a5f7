"""Crew: processes kept ready, each of which does one job at a time."""

import multiprocessing
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from toolbox.errors import ToolboxError
from toolbox.jobs.limits import Limits
from toolbox.jobs.work import Order
from toolbox.jobs.worker import DONE, FAILED, READY, work
from toolbox.processes import start_child

__all__ = ["BEGUN", "DISMISSED", "Crew", "FullError", "Watch"]

BEGUN, DISMISSED = "begun", "dismissed"

Watch = Callable[[str, Any], None]
"""Told a word, ``BEGUN``, ``PROGRESS``, ``DONE``, ``FAILED`` or ``DISMISSED``, and what belongs to
it, from the thread of the crew."""

_JOBS_EACH = 500
"""Jobs after which a fresh process takes the place of one: what libraries keep is given back."""

_FRESH_ABOVE = 512 * 1024**2
"""Bytes that a process without a job may hold; else a fresh one takes its place."""

_FALSE_STARTS = 3
"""Processes in a row that end before they are ready, until all waiting jobs have failed."""

_AGAIN = 5.0
"""Seconds after which one is started anew where the system had no room for it."""


class FullError(ToolboxError, RuntimeError):
    """As many jobs wait as may."""


@dataclass(eq=False)
class _Task:
    order: Order
    watch: Watch
    until: float = float("inf")
    dismissed: bool = False

    def tell(self, word: str, told: Any) -> None:
        """Tell the watcher; a fault of its own must not end the thread of the crew."""
        try:
            self.watch(word, told)
        except Exception:
            traceback.print_exc()  # for who keeps the server


@dataclass(eq=False)
class _Worker:
    process: Any
    pipe: Connection
    ready: bool = False
    done: int = 0
    task: _Task | None = None


@dataclass
class Crew:
    """Processes kept ready.

    Parameters
    ----------
    limits : Limits
        Of each job and of their number.
    environment : dict
        Of each process.
    scratch : Path
        Folder for what libraries write aside.

    Notes
    -----
    A process that dies takes only its job with it: that one has failed. A job that takes too long
    and one that is dismissed end with their process.
    """

    limits: Limits
    environment: dict[str, str]
    scratch: Path
    _waiting: deque[_Task] = field(default_factory=deque)
    _workers: list[_Worker] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _closing: bool = False
    _false_starts: int = 0

    def __post_init__(self) -> None:
        self._bell, self._ring = multiprocessing.Pipe(duplex=False)
        self._thread = threading.Thread(target=self._run, name="crew", daemon=True)

    def start(self) -> None:
        """Begin; processes are started now."""
        self._thread.start()

    @property
    def pids(self) -> list[int]:
        """The processes, as the system numbers them."""
        return [worker.process.pid for worker in list(self._workers)]

    def submit(self, order: Order, watch: Watch) -> Callable[[], None]:
        """Take a job in; return what dismisses it.

        Raises
        ------
        FullError
            If as many jobs wait as may.
        """
        task = _Task(order, watch)
        with self._lock:
            idle = sum(worker.ready and worker.task is None for worker in self._workers)
            if self._closing or len(self._waiting) >= self.limits.queued + idle:
                raise FullError(f"{len(self._waiting)} jobs are waiting, no more are taken")
            self._waiting.append(task)
        self._wake()

        def dismiss() -> None:
            task.dismissed = True
            self._wake()

        return dismiss

    def close(self) -> None:
        """End all processes and wait for that."""
        self._closing = True
        self._wake()
        self._thread.join()

    def _wake(self) -> None:
        with suppress(OSError):
            self._ring.send_bytes(b"!")

    def _run(self) -> None:
        try:
            while not self._closing:
                self._staff()
                self._deal()
                self._listen()
                self._end_dismissed()
                self._end_overdue()
        finally:
            for worker in self._workers:
                worker.process.kill()
            for worker in self._workers:
                worker.process.join()

    def _staff(self) -> None:
        for worker in [one for one in self._workers if one.task is None and _spent(one)]:
            self._end(worker)  # it holds nothing, and to let it end itself takes longer
        while len(self._workers) < self.limits.running:
            try:
                self._workers.append(self._hired())
            except OSError:  # of processes, memory or open files there are no more
                self._false_start()
                return

    def _hired(self) -> _Worker:
        most = self.limits
        given = (self.environment, most.memory, most.disk, self.scratch)
        return _Worker(*start_child(work, *given))

    def _deal(self) -> None:
        for worker in self._workers:
            if not worker.ready or worker.task is not None:
                continue
            with self._lock:
                if not self._waiting:
                    return
                task = self._waiting.popleft()
            if task.dismissed:
                task.tell(DISMISSED, None)
                continue
            worker.task, worker.done = task, worker.done + 1
            task.until = time.monotonic() + self.limits.seconds
            task.tell(BEGUN, None)
            with suppress(OSError):  # it is gone, as its end of the pipe will tell
                worker.pipe.send(task.order)

    def _listen(self) -> None:
        """Wait until a worker says something, somebody rings, or a job has had its time."""
        soonest = min((one.task.until for one in self._workers if one.task), default=float("inf"))
        if len(self._workers) < self.limits.running:
            soonest = min(soonest, time.monotonic() + _AGAIN)
        left = max(soonest - time.monotonic(), 0) if soonest < float("inf") else None
        for ready in wait([self._bell, *(worker.pipe for worker in self._workers)], left):
            if ready is self._bell:
                while self._bell.poll():
                    self._bell.recv_bytes()
                continue
            worker = next(one for one in self._workers if one.pipe is ready)
            try:
                word, told = worker.pipe.recv()
            except (EOFError, OSError):
                self._bury(
                    worker, "its process died: it took more memory than a job may, or crashed"
                )
                continue
            self._hear(worker, word, told)

    def _hear(self, worker: _Worker, word: str, told: Any) -> None:
        if word == READY:
            worker.ready, self._false_starts = True, 0
            return
        task = worker.task
        if task is None or task.dismissed:
            return
        if word in (DONE, FAILED):
            worker.task = None
        task.tell(word, told)

    def _end_dismissed(self) -> None:
        with self._lock:
            gone = [task for task in self._waiting if task.dismissed]
            self._waiting = deque(task for task in self._waiting if not task.dismissed)
        for task in gone:
            task.tell(DISMISSED, None)
        for worker in [one for one in self._workers if one.task and one.task.dismissed]:
            self._bury(worker, "")

    def _end_overdue(self) -> None:
        for worker in list(self._workers):
            if worker.task and time.monotonic() >= worker.task.until:
                self._bury(worker, f"it took longer than {self.limits.seconds:g} s")

    def _end(self, worker: _Worker) -> None:
        worker.process.kill()
        worker.process.join()
        worker.pipe.close()
        self._workers.remove(worker)

    def _bury(self, worker: _Worker, why: str) -> None:
        self._end(worker)
        if worker.task is not None:
            dismissed = worker.task.dismissed
            worker.task.tell(*((DISMISSED, None) if dismissed else (FAILED, ("limit", why))))
        elif not worker.ready:
            self._false_start()

    def _false_start(self) -> None:
        self._false_starts += 1
        if self._false_starts >= _FALSE_STARTS:
            with self._lock:
                gone, self._waiting = self._waiting, deque()
            for task in gone:
                task.tell(FAILED, ("server", "no process can be started for it"))
        time.sleep(min(self._false_starts, 10))


def _spent(worker: _Worker) -> bool:
    """Tell whether a fresh process should take the place of one that has no job."""
    import psutil

    if worker.done == 0:
        return False
    try:
        held = psutil.Process(worker.process.pid).memory_info().rss
    except psutil.Error:
        return False
    return worker.done >= _JOBS_EACH or bool(held > _FRESH_ABOVE)
