"""Lineage: where every figure came from."""

import hashlib
import json
import platform
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from toolbox.layers import Soundings
from toolbox.survey.settings import Settings

__all__ = ["Lineage"]

_LIBRARIES = ("numpy", "scipy", "shapely", "pyproj", "geopandas", "pyogrio", "rasterio", "numba")


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
    begun: datetime = field(default_factory=lambda: datetime.now(UTC))

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
    def notes(self) -> list[str]:
        """All that was assumed or mended, in order, each told once."""
        return list(dict.fromkeys(note for step in self.steps for note in step["notes"]))

    def write(self, path: Path) -> None:
        """Write everything as JSON."""
        told = {
            "made_with": {"leadline": version("leadline"), "python": platform.python_version()}
            | {name: version(name) for name in _LIBRARIES},
            "made_at": self.begun.isoformat(timespec="seconds"),
            "inputs": [_fingerprint(file) for file in self.settings.inputs],
            "settings": self.settings.model_dump(mode="json"),
            "steps": self.steps,
            "rejections": self.rejections,
        }
        path.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _fingerprint(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {"file": str(path), "bytes": path.stat().st_size, "sha256": digest}
