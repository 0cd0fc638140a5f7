"""Content: a digest of all that a result depends on, to know a finished water again."""

import functools
import hashlib
import json
import os
from importlib.metadata import version
from pathlib import Path
from typing import Any

from toolbox.batch.storage import beside
from toolbox.formats.paths import existing_file
from toolbox.survey.settings import Settings

__all__ = ["content_digest"]


def content_digest(settings: Settings) -> str:
    """Digest the bytes of a survey's inputs, its settings, and Leadline's version.

    Parameters
    ----------
    settings : Settings
        Of a survey.

    Returns
    -------
    str
        64 hexadecimal digits. Folders do not count: a survey that was moved stays the same.

    Raises
    ------
    InputFileError
        If an input is missing.
    """
    told = {"leadline": _version(), "settings": _contents(settings.model_dump())}
    text = json.dumps(told, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def _contents(value: Any) -> Any:
    """Put what files hold in place of their paths."""
    if isinstance(value, dict):
        return {key: _contents(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_contents(part) for part in value]
    return _file(value) if isinstance(value, Path) else value


def _file(path: Path) -> list[str]:
    existing_file(path)
    parts = [path, *map(Path, beside(path.as_posix(), os.path.isfile))]
    return [part.name + ":" + _digest_of(part) for part in parts]


def _digest_of(path: Path) -> str:
    told = path.stat()
    return _digest(path, told.st_size, told.st_mtime_ns)


@functools.lru_cache(maxsize=64)
def _digest(path: Path, size: int, changed: int) -> str:
    """Digest a file; one that many waters share is read once."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@functools.cache
def _version() -> str:
    return version("leadline")
