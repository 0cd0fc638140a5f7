"""Record: what is known of a job, kept in its folder."""

import json
from dataclasses import asdict, dataclass, field, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

__all__ = ["OVER", "Record", "now", "read_record", "write_record"]

OVER = frozenset({"successful", "failed", "dismissed"})
"""Statuses of a job at which nothing is done any more."""


def now() -> str:
    """Return the time as ISO 8601 writes it, UTC to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@dataclass
class Record:
    """What is known of a job.

    Parameters
    ----------
    id, process : str
        Its own name and that of what is carried out.
    status : str
        accepted, running, successful, failed or dismissed.
    message : str
        In one line.
    created, updated, started, finished : str, optional
        Times as :func:`now` writes them.
    progress : int
        Percent.
    fault : str, optional
        Why it failed: ``input``, what was given is wrong; ``limit``, it took more than it may;
        ``disk``, there was no room for its result; or ``server``, anything else.
    result : str, optional
        File name of its result.
    media : str
        Media type of that file.
    wanted : dict
        How the result is wanted, for who hands it over.
    notes : list of str
        What the reader of the result should know.
    """

    id: str
    process: str
    status: str = "accepted"
    message: str = "waits for its turn"
    created: str = field(default_factory=now)
    updated: str = field(default_factory=now)
    started: str | None = None
    finished: str | None = None
    progress: int = 0
    fault: str | None = None
    result: str | None = None
    media: str = ""
    wanted: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    @property
    def over(self) -> bool:
        """Whether nothing is done any more."""
        return self.status in OVER

    def begin(self) -> None:
        """Say that it runs now."""
        self.started = self.updated = now()
        self.status, self.message = "running", "runs"

    def advance(self, percent: int, stage: str) -> None:
        """Say how far it is."""
        self.progress, self.message, self.updated = percent, stage, now()

    def succeed(self, notes: list[str]) -> None:
        """Say that its result is there."""
        self.notes, self.progress = notes, 100
        self._end("successful", "done")

    def fail(self, fault: str, message: str) -> None:
        """Say that it failed, and why."""
        self.fault, self.result = fault, None
        self._end("failed", message)

    def dismiss(self) -> None:
        """Say that nobody wants it any more."""
        self.result = None
        self._end("dismissed", "dismissed")

    def _end(self, status: str, message: str) -> None:
        self.status, self.message, self.finished = status, message, now()
        self.updated = self.finished


def write_record(record: Record, path: Path) -> None:
    """Write a record to a file, which is replaced as a whole."""
    fresh = path.with_name(f".{path.name}")
    fresh.write_text(json.dumps(asdict(record)), encoding="utf-8")
    fresh.replace(path)


def read_record(path: Path) -> Record | None:
    """Read a record; None if the file is not whole or is none."""
    known = {field.name for field in fields(Record)}
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Record(**{key: value for key, value in told.items() if key in known})
    except (OSError, ValueError, TypeError, AttributeError):
        return None
