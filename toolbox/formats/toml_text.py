"""TOML: read as text within bounds, so that no small file takes a machine's time or memory."""

import re
import tomllib
from pathlib import Path
from typing import Any

from toolbox.formats.paths import existing_file

__all__ = ["read_toml"]

_LONGEST = 2**20  # characters: what people write is a hundredth of it
_DEEPEST = 32  # names joined by points in one key
_NAME = r"""(?:[\w-]+|"(?:[^"\\]|\\.)*"|'[^']*')[ \t]*"""
_JOINED = re.compile(rf"(?<![\w-])(?:{_NAME}\.[ \t]*){{{_DEEPEST}}}")


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        Text in UTF-8 of at most a million characters.

    Returns
    -------
    dict
        As the standard library gives it.

    Raises
    ------
    InputFileError
        If there is no such file.
    ValueError
        If it is no TOML file, or is longer or nested deeper than a person writes.
    """
    with existing_file(path).open(encoding="utf-8-sig") as file:
        text = file.read(_LONGEST + 1)
    if len(text) > _LONGEST:
        raise ValueError(f"it has more than {_LONGEST} characters")
    for number, line in enumerate(text.split("\n"), start=1):
        # the parser takes a time that grows with the square of the names in a key
        if _JOINED.search(line) and not line.lstrip().startswith("#"):
            raise ValueError(f"line {number} has a key of more than {_DEEPEST} names")
    try:
        given = tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("it is nested too deep") from error
    _check_depth(given)
    return given


def _check_depth(given: Any) -> None:
    level = [given]
    for _ in range(_DEEPEST):
        inner = (value.values() if isinstance(value, dict) else value for value in level)
        level = [part for values in inner for part in values if isinstance(part, dict | list)]
        if not level:
            return
    raise ValueError("it is nested too deep")
