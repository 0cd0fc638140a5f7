"""Cluster: waters over machines, by a scheduler of dask.distributed."""

from collections.abc import Callable, Generator, Iterator, Sequence
from importlib.metadata import version
from typing import Any

from toolbox.batch.waters import Job, Record
from toolbox.errors import OutputError
from toolbox.extras import needed
from toolbox.faults import said_by

__all__ = ["by_cluster"]

_PATIENCE = 60.0  # s
_MOST, _ROUNDS = 8, 8
"""Waters in one task at most, and tasks that each worker should get at least: a long task hides
how far the batch has come, and is all lost with its worker."""


Do = Callable[[Job], Record]


def by_cluster(jobs: Sequence[Job], do: Do, scheduler: str) -> Generator[Record, None, None]:
    """Do waters over the workers of a scheduler, and tell of each as it is done.

    Parameters
    ----------
    jobs : sequence of Job
        What to do; survey files and results lie where every worker sees them.
    do : callable
        How: a function of a module that workers have.
    scheduler : str
        Its address, such as ``tcp://host:8786``.

    Yields
    ------
    Record
        In the order in which they are done.

    Raises
    ------
    MissingExtraError
        If the library is not installed.
    OutputError
        If no scheduler answers, it has no workers, or these have another version of Leadline.

    Notes
    -----
    What a worker had in hand when it was lost is given to another. What was lost with several is
    done again at the end, water by water; one that takes workers down even alone has failed.
    """
    with needed("cluster", "a scheduler"):
        from distributed import Client
    try:
        client = Client(scheduler, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        raise OutputError(f"no scheduler answers at {scheduler}: {said_by(error)}") from error
    with client:
        yield from _shared(client, jobs, do, _workers(client, scheduler))


def _workers(client: Any, scheduler: str) -> int:
    try:
        client.wait_for_workers(1, timeout=_PATIENCE)
    except TimeoutError as error:
        raise OutputError(f"the scheduler at {scheduler} has no workers: start some") from error
    versions = client.run(_version)
    other = {place: told for place, told in versions.items() if told != _version()}
    for place, told in other.items():
        raise OutputError(
            f"worker {place} has Leadline {told}, this is {_version()}: they must be the same"
        )
    return len(versions)


def _version() -> str:
    return version("leadline")


def _shared(
    client: Any, jobs: Sequence[Job], do: Do, workers: int
) -> Generator[Record, None, None]:
    size = max(1, min(_MOST, len(jobs) // (workers * _ROUNDS)))
    parts = [tuple(jobs[start : start + size]) for start in range(0, len(jobs), size)]
    lost: list[Job] = []
    for part, found in _coming(client, do, parts):
        if isinstance(found, BaseException):
            lost += part  # a scheduler blames all that a dead worker had in hand
        else:
            yield from found
    for job in lost:
        for _, found in _coming(client, do, [(job,)]):
            if isinstance(found, BaseException):
                yield Record(
                    job.folder, "failed", error=f"it took its workers down: {said_by(found)}"
                )
            else:
                yield from found


def _coming(
    client: Any, do: Do, parts: list[tuple[Job, ...]]
) -> Iterator[tuple[tuple[Job, ...], list[Record] | BaseException]]:
    """Give tasks to the workers, and give each with what came of it."""
    from distributed import as_completed

    tasks = {_submitted(client, do, part): part for part in parts}
    try:
        for task in as_completed(list(tasks), loop=client.loop):
            part = tasks.pop(task)
            yield part, _result(task)
    finally:
        client.cancel(list(tasks))


def _result(task: Any) -> list[Record] | BaseException:
    try:
        found = task.result()
    except Exception as error:  # of the scheduler; a water that fails raises none
        return error
    if not isinstance(found, list):  # it went with its worker before it was fetched
        return RuntimeError("the result was lost with its worker")
    return found


def _submitted(client: Any, do: Do, part: tuple[Job, ...]) -> Any:
    return client.submit(_do_all, do, part, pure=False)


def _do_all(do: Do, part: tuple[Job, ...]) -> list[Record]:
    return [do(job) for job in part]
