"""Faults: what other libraries say went wrong, made fit for a message of one line."""

import difflib
import errno
import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from toolbox.errors import ToolboxError

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

__all__ = [
    "FULL",
    "Fault",
    "Key",
    "disk_full",
    "every_fault",
    "first_fault",
    "in_order",
    "said_by",
]

Key = tuple[str | int, ...]
"""Where something stands in a file: tables and keys by name, in lists by place from 0."""

Fault = tuple[Key, str]
"""Where something is wrong, and what."""

FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
"""What the system says where there is no room for a file: on the disk, of what this user may have,
or since files may not be as large."""


def disk_full(error: BaseException | None) -> bool:
    """Tell whether an error, or what it comes from, is that there is no room for a file.

    Examples
    --------
    >>> disk_full(OSError(errno.ENOSPC, "No space left on device"))
    True
    >>> disk_full(OSError("of another kind"))
    False
    """
    while error is not None:
        if isinstance(error, OSError) and error.errno in FULL:
            return True
        error = error.__cause__
    return False


def said_by(error: BaseException) -> str:
    r"""Return what an error says, on one line.

    Examples
    --------
    >>> said_by(ValueError("of two\n  lines"))
    'of two lines'
    """
    if isinstance(error, ToolboxError):
        return "; ".join(" ".join(fault.split()) for fault in str(error).splitlines())
    return " ".join(str(error).split())


def first_fault(
    error: "ValidationError", model: "type[BaseModel]", *, unsaid: tuple[type, ...] = (dict,)
) -> str:
    """Say the first thing that is wrong with a file's keys: key, what is wrong, value given.

    Parameters
    ----------
    error : ValidationError
        Of the file as a whole.
    model : type
        What the file should be.
    unsaid : tuple of type
        Kinds of values that are too long to be repeated.

    Returns
    -------
    str
        One line; places in lists are counted from one.
    """
    return _said(error.errors(include_url=False)[0], model, unsaid)


def every_fault(error: "ValidationError", model: "type[BaseModel]") -> list[Fault]:
    """Say all that is wrong with a file's keys, and where.

    Parameters
    ----------
    error : ValidationError
        Of the file as a whole.
    model : type
        What the file should be.

    Returns
    -------
    list of tuple
        Places, and one line each. What only follows from another fault is left out: a key that is
        missing because it is misspelt, a list that is too short without what is wrong in it.
    """
    found = error.errors(include_url=False)
    return [
        (each["loc"], _said(each, model, (dict,))) for each in found if not _follows(each, found)
    ]


def in_order(faults: Iterable[Fault], given: Any) -> list[str]:
    """Return what faults say, as the keys stand in a file.

    What concerns a table as a whole comes behind its keys, what is missing at its end.
    """
    return [text for _, text in sorted(faults, key=lambda fault: _place(fault[0], given))]


def _place(key: Key, given: Any) -> list[float]:
    place: list[float] = []
    for part in key:
        if isinstance(given, dict) and part in given:
            place.append(list(given).index(part))
            given = given[part]
        elif isinstance(given, list) and isinstance(part, int):
            place.append(part)
            given = given[part]
        else:
            place.append(math.inf)
    return [*place, math.inf]


def _follows(fault: Any, found: list[Any]) -> bool:
    """Tell whether a fault is gone when another one is mended."""
    key, kind = fault["loc"], fault["type"]
    if kind == "too_short":
        return any(each["loc"][:-1][: len(key)] == key for each in found)
    if kind != "missing":
        return False
    unknown = [each["loc"] for each in found if each["type"] == "extra_forbidden"]
    beside = [str(other[-1]) for other in unknown if other[:-1] == key[:-1]]
    return bool(difflib.get_close_matches(str(key[-1]), beside, cutoff=0.75))


def _said(fault: Any, model: "type[BaseModel]", unsaid: tuple[type, ...]) -> str:
    key = ".".join(str(part + 1 if isinstance(part, int) else part) for part in fault["loc"])
    what = fault["msg"].removeprefix("Value error, ")
    if key.endswith(".[key]"):  # of a table whose keys are a choice
        allowed = what.removeprefix("Input should be ")
        return f"key {key.removesuffix('.[key]')!r} is unknown; allowed here: {allowed}"
    if fault["type"] == "extra_forbidden":
        return f"key {key!r} is unknown; allowed here: {', '.join(_allowed(model, fault['loc']))}"
    if fault["type"] == "missing":
        return f"key {key!r} is missing"
    plain = isinstance(fault["input"], unsaid) or ", got " in what
    given = "" if plain else f", got {fault['input']!r}"
    return f"key {key!r}: {what}{given}" if key else what


def _allowed(model: Any, location: tuple[int | str, ...]) -> list[str]:
    from pydantic import BaseModel

    for part in location[:-1]:
        if isinstance(part, str):
            hint = model.model_fields[part].annotation
            options = [hint, *getattr(hint, "__args__", ())]
            model = next(o for o in options if isinstance(o, type) and issubclass(o, BaseModel))
    return sorted(model.model_fields)
