"""Stocking file: a proposal as an officer writes it, in TOML."""

import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from toolbox.errors import InputFileError
from toolbox.formats.paths import existing_file
from toolbox.stocking.proposal import StockingProposal
from toolbox.tool import checked

__all__ = ["read_stocking"]


@checked
def read_stocking(path: Path) -> StockingProposal:
    """Read and check a stocking file.

    Parameters
    ----------
    path : Path
        A TOML file.

    Returns
    -------
    StockingProposal
        All checked; quantities are text with units in the file and SI inside.

    Raises
    ------
    InputFileError
        At the first key that is unknown, missing or wrong: a rate without unit or source, a basis
        that does not fit, a survival above 1.
    """
    try:
        given = tomllib.loads(existing_file(path).read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError) as error:  # also numbers too long, nesting too deep
        if isinstance(error, InputFileError):
            raise
        raise InputFileError(f"{path} is not a TOML file: {error}") from error
    try:
        return StockingProposal.model_validate(given)
    except ValidationError as error:
        raise InputFileError(f"{path}: {_told(error)}") from error


def _told(error: ValidationError) -> str:
    """Say the first thing that is wrong in one line: key, what is wrong, value given."""
    first = error.errors(include_url=False)[0]
    key = ".".join(str(part + 1 if isinstance(part, int) else part) for part in first["loc"])
    if first["type"] == "extra_forbidden":
        return f"key {key!r} is unknown; allowed here: {', '.join(_allowed(first['loc']))}"
    if first["type"] == "missing":
        why = ": every figure names where it comes from" if key.endswith("source") else ""
        return f"key {key!r} is missing{why}"
    what = first["msg"].removeprefix("Value error, ")
    plain = isinstance(first["input"], (dict, list)) or ", got " in what
    given = "" if plain else f", got {first['input']!r}"
    return f"key {key!r}: {what}{given}" if key else what


def _allowed(location: tuple[int | str, ...]) -> list[str]:
    model: Any = StockingProposal
    for part in location[:-1]:
        if isinstance(part, str):
            hint = model.model_fields[part].annotation
            options = [hint, *getattr(hint, "__args__", ())]
            model = next(o for o in options if isinstance(o, type) and issubclass(o, BaseModel))
    return sorted(model.model_fields)
