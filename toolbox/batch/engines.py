"""Engines: waters one after the other, or over processes of this machine."""

import os
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from typing import Any

from toolbox.batch.waters import Job, Record
from toolbox.blocks.memory import SHARE, memory_share
from toolbox.errors import OutputError
from toolbox.processes import settle_child, start_child

__all__ = ["ONE_THREAD", "by_processes", "one_by_one"]

ONE_THREAD = {
    "NUMBA_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "GDAL_NUM_THREADS": "1",
}
"""Environment of a worker: as many workers as cores, and each on one."""

_AHEAD = 2
"""Waters that a worker has in hand, so that it never waits for the next."""

Do = Callable[[Job], Record]


def one_by_one(jobs: Sequence[Job], do: Do) -> Generator[Record, None, None]:
    """Do waters one after the other in this process, and tell of each."""
    yield from map(do, jobs)


def by_processes(
    jobs: Sequence[Job], do: Do, workers: int, *, waters_each: int = 500
) -> Generator[Record, None, None]:
    """Do waters over processes of this machine, and tell of each as it is done.

    Parameters
    ----------
    jobs : sequence of Job
        What to do.
    do : callable
        How: a function of a module.
    workers : int
        How many processes.
    waters_each : int
        How many waters a process does before a fresh one takes its place: whatever a library does
        not give back to the system is given back then.

    Yields
    ------
    Record
        In the order in which they are done.

    Raises
    ------
    OutputError
        If the system starts no process at all; with fewer than asked for it takes longer.

    Notes
    -----
    A process that dies, because memory ran out or a library crashed, takes only the water with it
    that it was at. Of the memory that may be used each process has an equal share, unless somebody
    says how much (``LEADLINE_MEMORY``, or the survey). A water whose process died, or that needs
    more than a share, is tried once more when the others are done, alone and with all memory; if
    its process dies then, it has failed.
    """
    many = min(workers, len(jobs))
    aside = _Aside()
    share = memory_share(many) if many > 1 else None
    yield from _crew(deque(jobs), _Terms(do, workers, waters_each, share), aside)
    for job in (*aside.died, *aside.short):
        again = _Aside()
        yield from _crew(deque([job]), _Terms(do, 1, 1), again)
        yield from (_lost(job, job in aside.short) for job in again.died)


def _lost(job: Job, short: bool) -> Record:
    died = "its process died 2 times, the second time alone"
    died = "its share of memory was too little, and alone its process died" if short else died
    return Record(job.folder, "failed", error=f"{died}: out of memory, or a crash")


@dataclass(frozen=True)
class _Terms:
    """How the waters are done, and the memory of each process in bytes if they share it."""

    do: Do
    workers: int
    waters_each: int
    share: int | None = None


@dataclass(frozen=True)
class _Aside:
    """Waters to be tried once more: their process died, or its share of memory was too little."""

    died: list[Job] = field(default_factory=list)
    short: list[Job] = field(default_factory=list)


@dataclass
class _Worker:
    process: Any
    pipe: Connection
    hand: deque[Job] = field(default_factory=deque)
    given: int = 0


def _crew(waiting: deque[Job], terms: _Terms, aside: _Aside) -> Generator[Record, None, None]:
    crew: list[_Worker] = []
    try:
        while waiting or any(worker.hand for worker in crew):
            _staff(crew, waiting, terms)
            for ready in wait([worker.pipe for worker in crew]):
                worker = next(one for one in crew if one.pipe is ready)
                try:
                    record: Record = worker.pipe.recv()
                except (EOFError, OSError):  # it is gone
                    _bury(worker, crew, waiting, aside.died)
                    continue
                job = worker.hand.popleft()
                _deal(worker, waiting, terms.waters_each)
                if record.short and terms.share is not None:
                    aside.short.append(job)
                else:
                    yield record
    finally:
        for worker in crew:
            worker.process.terminate()
        for worker in crew:
            worker.process.join()


def _staff(crew: list[_Worker], waiting: deque[Job], terms: _Terms) -> None:
    """Send home who has done his share, and hire while there is work."""
    for worker in [one for one in crew if not one.hand]:
        if worker.given >= terms.waters_each or not waiting:
            worker.pipe.close()  # which ends it
            worker.process.join()
            crew.remove(worker)
    for worker in crew:  # also who had nothing left when another died
        _deal(worker, waiting, terms.waters_each)
    while waiting and len(crew) < terms.workers:
        try:
            crew.append(_hired(terms))
        except OSError as error:  # of processes, memory or open files there are no more
            if crew:
                return
            why = error.strerror or error
            raise OutputError(f"no process can be started to do the waters: {why}") from error
        _deal(crew[-1], waiting, terms.waters_each)


def _deal(worker: _Worker, waiting: deque[Job], waters_each: int) -> None:
    while waiting and len(worker.hand) < _AHEAD and worker.given < waters_each:
        job = waiting.popleft()
        worker.hand.append(job)
        worker.given += 1
        try:
            worker.pipe.send(job)
        except OSError:  # it is gone, as its end of the pipe will tell
            return


def _bury(worker: _Worker, crew: list[_Worker], waiting: deque[Job], died: list[Job]) -> None:
    """Take what a dead worker had in hand back; the first of it is what it was at."""
    crew.remove(worker)
    worker.process.join()
    worker.pipe.close()
    if worker.hand:
        died.append(worker.hand.popleft())
    waiting.extendleft(reversed(worker.hand))


def _hired(terms: _Terms) -> _Worker:
    share = {} if terms.share is None else {SHARE: f"{terms.share / 2**30:.6f} GiB"}
    with _environment(ONE_THREAD | share):
        return _Worker(*start_child(_serve, terms.do))


@contextmanager
def _environment(wanted: dict[str, str]) -> Iterator[None]:
    """Set variables that a new process finds; what a person has set stays."""
    fresh = {name: value for name, value in wanted.items() if name not in os.environ}
    os.environ.update(fresh)
    try:
        yield
    finally:
        for name in fresh:
            del os.environ[name]


def _serve(pipe: Connection, do: Do) -> None:
    """Do waters until there are no more."""
    settle_child()
    while True:
        try:
            job = pipe.recv()
        except (EOFError, OSError):
            return
        pipe.send(do(job))
