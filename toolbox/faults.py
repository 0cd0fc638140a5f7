"""Faults: what other libraries say went wrong, made fit for a message of one line."""

import errno
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

__all__ = ["FULL", "disk_full", "first_fault", "one_line"]

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


def one_line(error: BaseException) -> str:
    r"""Return what an error says, on one line.

    Examples
    --------
    >>> one_line(ValueError("of two\n  lines"))
    'of two lines'
    """
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
    first = error.errors(include_url=False)[0]
    key = ".".join(str(part + 1 if isinstance(part, int) else part) for part in first["loc"])
    what = first["msg"].removeprefix("Value error, ")
    if key.endswith(".[key]"):  # of a table whose keys are a choice
        allowed = what.removeprefix("Input should be ")
        return f"key {key.removesuffix('.[key]')!r} is unknown; allowed here: {allowed}"
    if first["type"] == "extra_forbidden":
        return f"key {key!r} is unknown; allowed here: {', '.join(_allowed(model, first['loc']))}"
    if first["type"] == "missing":
        return f"key {key!r} is missing"
    plain = isinstance(first["input"], unsaid) or ", got " in what
    given = "" if plain else f", got {first['input']!r}"
    return f"key {key!r}: {what}{given}" if key else what


def _allowed(model: Any, location: tuple[int | str, ...]) -> list[str]:
    from pydantic import BaseModel

    for part in location[:-1]:
        if isinstance(part, str):
            hint = model.model_fields[part].annotation
            options = [hint, *getattr(hint, "__args__", ())]
            model = next(o for o in options if isinstance(o, type) and issubclass(o, BaseModel))
    return sorted(model.model_fields)
