"""Office: takes jobs in, keeps their records, and tells when they are over."""

import threading
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from toolbox.errors import ToolboxError
from toolbox.faults import disk_full
from toolbox.jobs.confine import environment
from toolbox.jobs.crew import BEGUN, DISMISSED, Crew
from toolbox.jobs.limits import Limits
from toolbox.jobs.record import Record
from toolbox.jobs.store import Store
from toolbox.jobs.work import Order
from toolbox.jobs.worker import DONE, PROGRESS

__all__ = ["FullDiskError", "Office"]

Fill = Callable[[Path], Order]
"""Writes a job's inputs into its folder and returns what is to be done."""


class FullDiskError(ToolboxError, OSError):
    """The work folder holds as much as it may."""


class Office:
    """Takes jobs in, keeps their records, and tells when they are over.

    Parameters
    ----------
    store : Store
        The work folder.
    limits : Limits
        Of jobs.
    drivers : set of str
        Drivers of GDAL that must not open anything.
    """

    def __init__(self, store: Store, limits: Limits, drivers: set[str]) -> None:
        self.store, self.limits = store, limits
        self.crew = Crew(limits, environment(drivers, limits.memory), store.scratch)
        self._over: dict[str, Future[Record]] = {}
        self._dismiss: dict[str, Callable[[], None]] = {}
        self._lock = threading.Lock()

    def start(self) -> None:
        """Begin to do jobs."""
        self.crew.start()

    def close(self) -> None:
        """Stop; jobs that are not over have failed."""
        self.crew.close()
        self.store.stop()
        with self._lock:
            left, self._over = self._over, {}
        for id_, over in left.items():
            if not over.done():
                over.set_result(self.store.jobs[id_])

    def check_room(self, more: int = 0) -> None:
        """Raise FullDiskError if the work folder may not hold so many bytes more."""
        if self.store.used() + more > self.limits.disk:
            raise FullDiskError("the work folder is full; results and uploads can be deleted")

    def take(self, record: Record, fill: Fill) -> "Future[Record]":
        """Take a job in, or leave nothing of it behind.

        Returns
        -------
        Future
            Its record when it is over.

        Raises
        ------
        FullError
            If as many jobs wait as may.
        FullDiskError
            If the work folder is full.
        """
        self.check_room()
        over: Future[Record] = Future()
        over.set_running_or_notify_cancel()  # whoever waits no more cannot take it from the crew
        try:
            order = fill(self.store.add_job(record))
            with self._lock:
                self._over[record.id] = over
                self._dismiss[record.id] = self.crew.submit(
                    order, lambda word, told: self._heard(record, word, told)
                )
        except BaseException:
            self._over.pop(record.id, None)
            self.store.remove_job(record)
            raise
        return over

    def dismiss(self, record: Record) -> "Future[Record] | None":
        """Ask for the end of a job; returns its record when that is so, None if it is over."""
        with self._lock:
            dismiss, over = self._dismiss.get(record.id), self._over.get(record.id)
        if dismiss is None or over is None:
            return None
        dismiss()
        return over

    def busy(self, record: Record) -> bool:
        """Tell whether something is still done for a job."""
        return record.id in self._over

    def _heard(self, record: Record, word: str, told: Any) -> None:
        if word == BEGUN:
            record.begin()
        elif word == PROGRESS:
            record.advance(*told)
        elif word == DONE:
            record.succeed(told)
        elif word == DISMISSED:
            record.dismiss()
        else:
            record.fail(*told)
        self._keep(record)
        if record.over:
            with self._lock:
                self._dismiss.pop(record.id, None)
                over = self._over.pop(record.id, None)
            if over is not None and not over.done():
                over.set_result(record)

    def _keep(self, record: Record) -> None:
        try:
            self.store.keep(record)
        except OSError as error:  # the disk is full: it must not stop the crew
            if record.status == "successful":
                fault = "disk" if disk_full(error) else "server"
                record.fail(fault, f"its result cannot be kept: {error.strerror or error}")
