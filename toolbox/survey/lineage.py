"""Lineage: where every figure came from."""

import functools
import hashlib
import json
import platform
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError
from toolbox.formats.stamps import moment
from toolbox.layers import Soundings
from toolbox.notes import ranked
from toolbox.survey.settings import Settings

__all__ = ["Lineage"]

_LIBRARIES = (
    "leadline",
    "numpy",
    "scipy",
    "shapely",
    "pyproj",
    "geopandas",
    "pyogrio",
    "rasterio",
    "numba",
)


@dataclass
class Lineage:
    """What a run read, did, counted and assumed.

    Parameters
    ----------
    settings : Settings
        Of the survey.
    """

    settings: Settings
    steps: list[dict[str, Any]] = field(default_factory=list)
    rejections: list[dict[str, Any]] = field(default_factory=list)
    begun: datetime = field(default_factory=moment)
    _inputs: list[dict[str, Any]] = field(default_factory=list)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Record what the inputs are before they are read, and see that they stayed so.

        Raises
        ------
        InputFileError
            If one was changed or removed while they were read.
        """
        states = {file: _state(file) for file in self.settings.inputs}
        with suppress(OSError):  # its reader says what is wrong with it
            self._inputs = [_fingerprint(file) for file in self.settings.inputs]
        yield
        for file, state in states.items():
            if _state(file) != state:
                raise InputFileError(f"{file} was changed while it was read; run again")

    def step(self, name: str, notes: tuple[str, ...] = (), **counts: Any) -> None:
        """Record one step: what went in, what came out, what was assumed."""
        self.steps.append({"step": name, **counts, "notes": list(notes)})

    def rejected(self, soundings: Soundings) -> None:
        """Record how many soundings of each file were rejected, and why."""
        flagged = soundings.frame[soundings.flag]
        counts = flagged.groupby(["file", "reason"], sort=True).size()
        self.rejections = [
            {"file": file, "reason": reason, "soundings": int(count)}
            for (file, reason), count in counts.items()
        ]

    @property
    def ranked(self) -> dict[str, list[str]]:
        """All notes by their kind, each told once: cautions, what was assumed, the rest."""
        return ranked(note for step in self.steps for note in step["notes"])

    @property
    def notes(self) -> list[str]:
        """All notes, cautions first, then what was assumed of the input, then the rest."""
        return [note for told in self.ranked.values() for note in told]

    def write(self, path: Path) -> None:
        """Write everything as JSON."""
        told = {
            "made_with": {"python": platform.python_version()} | _versions(),
            "made_at": self.begun.isoformat(timespec="seconds"),
            "inputs": self._inputs or [_fingerprint(file) for file in self.settings.inputs],
            "settings": self.settings.model_dump(mode="json"),
            "notes": self.ranked,
            "steps": self.steps,
            "rejections": self.rejections,
        }
        path.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


@functools.cache
def _versions() -> dict[str, str]:
    return {name: version(name) for name in _LIBRARIES}


def _state(path: Path) -> tuple[int, int, int] | None:
    with suppress(OSError):
        found = path.stat()
        return found.st_size, found.st_mtime_ns, found.st_ino
    return None


def _fingerprint(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {"file": str(path), "bytes": path.stat().st_size, "sha256": digest}
