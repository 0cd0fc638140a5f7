"""Keys: what may stand behind a key of the survey file, and how it is checked."""

import re
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    ValidationInfo,
    WithJsonSchema,
)

from toolbox.errors import LayerError, ParameterError
from toolbox.layers.crs import check_projected, parse_crs
from toolbox.moments import check_zone
from toolbox.units import parse_quantity

__all__ = [
    "Crs",
    "Day",
    "Degrees",
    "Input",
    "Length",
    "Metres",
    "Name",
    "Width",
    "WorkCrs",
    "Zone",
    "east_of",
]


def _metres(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("must be a number in m, or a number and a unit such as '2 m'")
    if isinstance(value, str):
        try:
            return parse_quantity(value, "m")
        except ParameterError as error:
            raise ValueError(str(error)) from error
    return value


def _spelled(value: Any) -> Any:
    """Take a date as TOML writes dates for what it says."""
    return value.isoformat() if isinstance(value, date) else value


def _beside(path: Path, info: ValidationInfo) -> Path:
    """Take a path as seen from the survey file."""
    return Path((info.context or {}).get("folder", ".")) / path


def _known_crs(text: str) -> str:
    try:
        parse_crs(text)
    except ParameterError as error:
        raise ValueError(str(error)) from error
    return text


def _metric_crs(text: str) -> str:
    try:
        check_projected(parse_crs(text), "crs")
    except LayerError as error:
        raise ValueError(str(error)) from error
    return text


def _east(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    found = east_of(value)
    if found is None:
        raise ValueError("must be degrees east, west negative, such as 3.5, -2 or '2 W'")
    return found


def east_of(text: str) -> float | None:
    """Return degrees east of text such as ``"2.5 W"`` or ``"-2.5"``; None if it is none."""
    found = re.fullmatch(r"([-+]?\d{1,3}(?:\.\d{1,9})?)\s?°?\s?([EeWw]?)", text.strip())
    if found is None:
        return None
    return float(found[1]) * (-1 if found[2] in ("W", "w") else 1)


def _known_zone(text: str) -> str:
    try:
        check_zone(text)
    except ParameterError as error:
        raise ValueError(str(error)) from error
    return text


_TEXT = {"type": "string"}

Metres = Annotated[
    float,
    BeforeValidator(_metres),
    Field(allow_inf_nan=False),
    WithJsonSchema({"anyOf": [{"type": "number"}, _TEXT]}),
]
"""A length: a number in metres, or text with a unit such as ``"1.5 ft"``."""

Width = Annotated[
    Metres,
    Field(gt=0),
    WithJsonSchema({"anyOf": [{"type": "number", "exclusiveMinimum": 0}, _TEXT]}),
]
Length = Annotated[
    Metres,
    Field(ge=0),
    WithJsonSchema({"anyOf": [{"type": "number", "minimum": 0}, _TEXT]}),
]
Degrees = Annotated[
    float,
    BeforeValidator(_east),
    Field(ge=-180, le=180),
    WithJsonSchema({"anyOf": [{"type": "number", "minimum": -180, "maximum": 180}, _TEXT]}),
]
"""Degrees east: a number, or text such as ``"2.5 W"``."""
Input = Annotated[Path, AfterValidator(_beside)]
Crs = Annotated[str, AfterValidator(_known_crs)]
WorkCrs = Annotated[Crs, AfterValidator(_metric_crs)]
Zone = Annotated[str, AfterValidator(_known_zone)]
"""Name of a time zone, such as ``"Europe/Berlin"``."""
Name = Annotated[str, Field(min_length=1, max_length=300)]
Day = Annotated[str, BeforeValidator(_spelled)]
