"""Files: those that a survey file names must be there before anything is read."""

import difflib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from toolbox.errors import InputFileError
from toolbox.formats.paths import existing_file
from toolbox.survey.settings import Settings, read_keys

__all__ = ["check_files"]

Key = tuple[str | int, ...]
"""Of a file, by section and name, in a list by its place from 0."""


def check_files(settings: Settings, survey: Path) -> None:
    """Check that every file which a survey names is there, with something in it.

    Parameters
    ----------
    settings : Settings
        Of the survey.
    survey : Path
        Its file.

    Raises
    ------
    InputFileError
        At the first that is not, with the survey file, the key, what it says and the folder where
        the file was looked for.
    """
    for key, path in _named(settings, ()):
        try:
            existing_file(path)
        except InputFileError as error:
            where = f"{survey}: {_told(key)}"
            if path.exists():
                raise InputFileError(f"{where}: {error}") from error
            given = _given(survey, key, path)
            folder = "" if Path(given).is_absolute() else f" in {survey.parent.absolute()}"
            raise InputFileError(
                f"{where}: {given!r} does not exist{folder}{_alike(path)}"
            ) from error


def _named(value: Any, key: Key) -> Iterator[tuple[Key, Path]]:
    if isinstance(value, Path):
        yield key, value
    elif isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _named(getattr(value, name), (*key, name))
    elif isinstance(value, tuple):
        for place, part in enumerate(value):
            yield from _named(part, (*key, place))


def _told(key: Key) -> str:
    section, *rest = key
    if isinstance(rest[0], int):
        return f"[[{section}]] {rest[0] + 1}, {'.'.join(map(str, rest[1:]))}"
    return f"[{section}] {'.'.join(map(str, rest))}"


def _given(survey: Path, key: Key, path: Path) -> str:
    """Return what the survey file says, as it stands there."""
    value: Any = read_keys(survey)
    try:
        for part in key:
            value = value[part]
    except (KeyError, IndexError, TypeError):  # it was not the file that said so
        return str(path)
    return str(value)


def _alike(path: Path) -> str:
    """Name a file beside it that may be meant."""
    if not path.parent.is_dir():
        return ""
    names = {other.stem.lower(): other.name for other in path.parent.iterdir() if other.is_file()}
    close = difflib.get_close_matches(path.stem.lower(), names, n=1, cutoff=0.75)
    return f"; is {names[close[0]]!r} meant?" if close else ""
