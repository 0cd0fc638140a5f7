"""Store: the work folder, which holds uploads and jobs and nothing of which lies elsewhere."""

import os
import shutil
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from toolbox.jobs.names import is_id, new_id
from toolbox.jobs.record import Record, now, read_record, write_record
from toolbox.jobs.work import INPUTS

__all__ = ["Store"]

_RECORD = "job.json"
_SECONDS = 2.0
"""How old a count of the bytes used may be."""


class Store:
    """The work folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there. Nobody else may be at it, see :func:`toolbox.jobs.lock.held`.

    Notes
    -----
    What others send is found by names that are given out here and looked up, never by a path made
    of what they ask for. A job that was not over when its server stopped has failed.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.uploads: dict[str, Path] = {}
        self.jobs: dict[str, Record] = {}
        self._counted, self._bytes = 0.0, 0
        self._lock = threading.Lock()
        for part in ("uploads", "jobs", "scratch"):
            (self.folder / part).mkdir(parents=True, exist_ok=True, mode=0o700)
        self._clear_scratch()
        self._find_uploads()
        self._find_jobs()

    @property
    def scratch(self) -> Path:
        """Folder for what is not whole yet."""
        return self.folder / "scratch"

    def _clear_scratch(self) -> None:
        for path in self.scratch.iterdir():
            _remove(path)

    def _find_uploads(self) -> None:
        for folder in (self.folder / "uploads").iterdir():
            files = list(folder.iterdir()) if _is_own(folder) else []
            if len(files) == 1 and files[0].is_file() and not files[0].is_symlink():
                self.uploads[folder.name] = files[0]
            else:
                _remove(folder)

    def _find_jobs(self) -> None:
        for folder in (self.folder / "jobs").iterdir():
            record = read_record(folder / _RECORD) if _is_own(folder) else None
            if record is None or record.id != folder.name:
                _remove(folder)
                continue
            self.jobs[record.id] = record
            if not record.over:
                record.fail("server", "the server stopped before this job was done")
                self.keep(record)

    def job_folder(self, record: Record) -> Path:
        """Return the folder of a job."""
        return self.folder / "jobs" / record.id

    def add_upload(self, file: Path, name: str) -> str:
        """Take a whole file in under a checked name; return the id of the upload."""
        id_ = new_id()
        folder = self.folder / "uploads" / id_
        folder.mkdir(mode=0o700)
        self._bytes += file.stat().st_size
        self.uploads[id_] = file.rename(folder / name)
        return id_

    def remove_upload(self, id_: str) -> None:
        """Remove an upload; jobs that were given it keep it."""
        if (path := self.uploads.pop(id_, None)) is not None:  # else another was first
            _remove(path.parent)

    def add_job(self, record: Record) -> Path:
        """Take a job in and return its folder, which has one for inputs."""
        folder = self.job_folder(record)
        (folder / INPUTS).mkdir(parents=True, mode=0o700)
        write_record(record, folder / _RECORD)
        self.jobs[record.id] = record
        return folder

    def keep(self, record: Record) -> None:
        """Write down how a job stands; when it is over only its result stays beside that."""
        folder = self.job_folder(record)
        with self._lock:
            if record.id not in self.jobs:
                return
            if record.over:
                for path in folder.iterdir():
                    if path.name not in (_RECORD, record.result):
                        _remove(path)
            write_record(record, folder / _RECORD)

    def remove_job(self, record: Record) -> None:
        """Remove a job and all it left."""
        with self._lock:
            self.jobs.pop(record.id, None)
            _remove(self.job_folder(record))

    def result_file(self, record: Record) -> Path | None:
        """Return the file of a result; None if there is none (any more)."""
        path = self.job_folder(record) / record.result if record.result else None
        return path if path and path.is_file() and not path.is_symlink() else None

    def used(self) -> int:
        """Count the bytes of the work folder, anew every few seconds."""
        if time.monotonic() - self._counted > _SECONDS:
            self._bytes, self._counted = _bytes_below(self.folder), time.monotonic()
        return self._bytes

    def remove_older(self, seconds: float, busy: Callable[[Record], bool]) -> None:
        """Remove jobs that are over, and uploads, which are older than that."""
        before = time.time() - seconds
        for record in list(self.jobs.values()):
            path = self.job_folder(record) / _RECORD
            if record.over and not busy(record) and _older(path, before):
                self.remove_job(record)
        for id_, path in list(self.uploads.items()):
            if _older(path.parent, before):
                self.remove_upload(id_)

    def stop(self) -> None:
        """Say of all jobs that are not over that the server stopped."""
        for record in list(self.jobs.values()):
            if not record.over:
                record.fail("server", f"the server stopped at {now()} before this job was done")
                self.keep(record)


def _is_own(folder: Path) -> bool:
    return is_id(folder.name) and folder.is_dir() and not folder.is_symlink()


def _older(path: Path, before: float) -> bool:
    try:
        return path.stat().st_mtime < before
    except FileNotFoundError:
        return True


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)


def _bytes_below(folder: Path) -> int:
    total = 0
    stack = [str(folder)]
    while stack:
        with suppress(FileNotFoundError), os.scandir(stack.pop()) as entries:
            for entry in entries:
                if entry.is_dir(follow_symlinks=False):
                    stack.append(entry.path)
                    continue
                with suppress(FileNotFoundError):  # removed meanwhile
                    total += entry.stat(follow_symlinks=False).st_size
    return total
