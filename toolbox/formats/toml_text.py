"""TOML: read within bounds, so that no small file takes a machine's time or memory; written."""

import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError
from toolbox.formats.paths import existing_file

__all__ = ["read_toml", "toml_text"]

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
        If there is no such file, it is no TOML file, or it is longer or nested deeper than a person
        writes.
    """
    existing_file(path)
    try:
        return _within_bounds(path)
    except ValueError as error:  # also bytes that are no text, and numbers too long
        raise InputFileError(f"{path} is not a TOML file: {error}") from error


def _within_bounds(path: Path) -> dict[str, Any]:
    with path.open(encoding="utf-8-sig") as file:
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


def toml_text(given: Mapping[str, Any]) -> str:
    """Write tables of numbers, texts, truths, lists and further tables; None is left out.

    Examples
    --------
    >>> print(toml_text({"water": {"name": "Mere"}, "soundings": [{"file": "a.csv"}]}), end="")
    [water]
    name = "Mere"
    <BLANKLINE>
    [[soundings]]
    file = "a.csv"
    """
    return "\n".join(_table(given, "", "")).strip("\n") + "\n"


def _table(given: Mapping[str, Any], name: str, head: str) -> list[str]:
    plain = {key: value for key, value in given.items() if not _is_table(value)}
    lines = [f"{_key(key)} = {_value(value)}" for key, value in plain.items() if value is not None]
    if head and (lines or not given or head.startswith("[[")):
        lines = ["", head, *lines]
    for key, value in given.items():
        full = f"{name}.{_key(key)}" if name else _key(key)
        if isinstance(value, Mapping):
            lines += _table(value, full, f"[{full}]")
        elif _is_table(value):
            lines += [line for part in value for line in _table(part, full, f"[[{full}]]")]
    return lines


def _is_table(value: Any) -> bool:
    if isinstance(value, Mapping):
        return True
    return isinstance(value, list | tuple) and bool(value) and isinstance(value[0], Mapping)


def _key(key: str) -> str:
    return key if key.isascii() and key.replace("_", "").replace("-", "").isalnum() else _text(key)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(part) for part in value) + "]"
    return repr(value)
