"""Batch: the whole job for many waters, which can be stopped and taken up again."""

import re
import shutil
from collections import Counter
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from toolbox.batch.engines import by_processes, one_by_one
from toolbox.batch.gathering import WATERS, Gathered
from toolbox.batch.storage import is_url
from toolbox.batch.summary import without_soundings, write_summary
from toolbox.batch.waters import Job, Record
from toolbox.batch.work import do_water, finished
from toolbox.errors import OutputError
from toolbox.formats.at_work import cleared

__all__ = ["Outcome", "Watch", "batch", "clear_orphans", "make_folder"]

Watch = Callable[[Record], None]


@dataclass(frozen=True)
class Outcome:
    """What became of a batch.

    Parameters
    ----------
    records : tuple of Record
        One for each water, in the order in which they were gathered.
    interrupted : bool
        Whether somebody stopped it.
    """

    records: tuple[Record, ...]
    interrupted: bool = False

    @property
    def counts(self) -> Counter[str]:
        """Waters by status."""
        return Counter(record.status for record in self.records)

    @property
    def made(self) -> int:
        """Waters that were done now, and not found done."""
        return sum(record.made for record in self.records)


def make_folder(out: str) -> None:
    """Make the folder of a batch, if it is not there."""
    if is_url(out):
        return
    try:
        Path(out, WATERS).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{out} cannot be written: {error.strerror or error}") from error


def clear_orphans(out: str) -> None:
    """Take away what a batch left half-done that was killed; nobody else may be at the folder."""
    if is_url(out):  # there, folders are made in place, and one without its last file is no result
        return
    pattern = re.compile(r"\..+\.[0-9a-f]{8}")
    for folder in (Path(out), Path(out, WATERS)):
        for path in folder.iterdir():
            if path.is_dir() and pattern.fullmatch(path.name):
                _clear(path)


def _clear(orphan: Path) -> None:
    """Clear one, unless a worker of a scheduler is still at it: it cannot be called back."""
    with cleared(orphan) as state:
        if state != "held":
            _put_back(orphan)
    if state == "unknown":
        shutil.rmtree(orphan, ignore_errors=True)


def _put_back(orphan: Path) -> None:
    """Put a former result back that was set aside when the process was killed."""
    former = orphan / "former"
    place = orphan.parent / orphan.name[1:-9]
    if former.is_dir() and not place.exists():
        former.rename(place)


def batch(
    gathered: Gathered,
    out: str,
    *,
    workers: int = 1,
    scheduler: str | None = None,
    watch: Watch = lambda record: None,
) -> Outcome:
    """Do all waters that are not done yet, and write the summary.

    Parameters
    ----------
    gathered : Gathered
        The waters.
    out : str
        Folder of the batch, path or URL; nobody else may be at it, see
        :func:`toolbox.batch.lock.locked`.
    workers : int
        Processes of this machine.
    scheduler : str, optional
        Address of a scheduler whose workers do it instead.
    watch : callable
        Told what became of each water, as it is known.

    Returns
    -------
    Outcome
        Of each water, also if it was interrupted.

    Raises
    ------
    OutputError
        If the scheduler or the folder cannot be used. That a water fails raises nothing.
    """
    make_folder(out)
    clear_orphans(out)
    known: dict[str, Record] = {}
    interrupted = False
    try:
        with closing(_records(gathered.jobs, workers, scheduler)) as records:
            for record in records:
                known[record.folder] = record
                watch(record)
    except KeyboardInterrupt:
        interrupted = True
    clear_orphans(out)
    told = [known.get(job.folder) or _not_reached(job) for job in gathered.jobs]
    if gathered.split is not None:
        told += without_soundings(out)
    write_summary(told, out)
    return Outcome(tuple(told), interrupted)


def _records(
    jobs: Sequence[Job], workers: int, scheduler: str | None
) -> Generator[Record, None, None]:
    if scheduler is not None:
        from toolbox.batch.cluster import by_cluster

        return by_cluster(jobs, do_water, scheduler)
    if workers == 1:
        return one_by_one(jobs, do_water)
    return by_processes(jobs, do_water, min(workers, max(len(jobs), 1)))


def _not_reached(job: Job) -> Record:
    former = finished(job.out)
    if former is None:
        return Record(job.folder, "not done")
    return replace(former, folder=job.folder, status="not checked")
