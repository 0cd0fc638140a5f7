"""TOML text: settings written as a file that a person can read and change."""

import json
from collections.abc import Mapping
from typing import Any

__all__ = ["toml_text"]


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
