"""Files: those that a survey file names must be there before anything is read."""

import difflib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from toolbox.errors import InputFileError, SettingsError
from toolbox.faults import Fault, Key, every_fault, in_order
from toolbox.formats.paths import existing_file
from toolbox.survey.sections import Known, Section
from toolbox.survey.settings import Settings, read_keys

__all__ = ["check_files", "load_survey"]


def load_survey(survey: Path) -> Settings:
    """Read and check a survey file, and that every file which it names is there.

    Parameters
    ----------
    survey : Path
        A TOML file; paths in it are as seen from its folder.

    Returns
    -------
    Settings
        All checked, defaults filled in.

    Raises
    ------
    SettingsError
        At keys that are unknown, missing or wrong. All are told in the order of the file, one line
        each, and with them the files of other keys that are not there.
    InputFileError
        At files that are not there, if nothing else is wrong.
    """
    given, context = read_keys(survey), {"folder": survey.parent}
    try:
        settings = Settings.model_validate(given, context=context)
    except ValidationError as error:
        found = every_fault(error, Settings)
        found += _absent(Known(Settings, given, context), survey, given)
        raise SettingsError(*(f"{survey}: {fault}" for fault in in_order(found, given))) from error
    _check(settings, survey, given)
    return settings


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
        At those that are not, one line each: the survey file, the key, what it says and the folder
        where the file was looked for.
    """
    _check(settings, survey, read_keys(survey))


def _check(settings: Settings, survey: Path, given: Any) -> None:
    if found := in_order(_absent(settings, survey, given), given):
        raise InputFileError(*(f"{survey}: {fault}" for fault in found))


def _absent(settings: Settings | Known, survey: Path, given: dict[str, Any]) -> Iterator[Fault]:
    for key, path in _named(settings, ()):
        try:
            existing_file(path)
        except InputFileError as error:
            where = _told(key)
            if path.exists():
                yield key, f"{where}: {error}"
                continue
            said = _said(given, key, path)
            folder = "" if Path(said).is_absolute() else f" in {survey.parent.absolute()}"
            yield key, f"{where}: {said!r} does not exist{folder}{_alike(path)}"


def _named(value: Any, key: Key) -> Iterator[tuple[Key, Path]]:
    if isinstance(value, Path):
        yield key, value
    elif isinstance(value, Section | Known):
        for name, part in value:
            yield from _named(part, (*key, name))
    elif isinstance(value, tuple):
        for place, part in enumerate(value):
            yield from _named(part, (*key, place))


def _told(key: Key) -> str:
    section, *rest = key
    if isinstance(rest[0], int):
        return f"[[{section}]] {rest[0] + 1}, {'.'.join(map(str, rest[1:]))}"
    return f"[{section}] {'.'.join(map(str, rest))}"


def _said(given: Any, key: Key, path: Path) -> str:
    """Return what the survey file says, as it stands there."""
    value = given
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
