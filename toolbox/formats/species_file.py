"""Species files: limits of species in TOML, as a person edits them."""

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.toml_text import read_toml
from toolbox.habitat.species import Limit, Measure, OxygenDemand, Species, SpeciesLimits
from toolbox.tool import checked
from toolbox.units import parse_quantity

__all__ = ["read_species", "shipped_species", "shipped_species_text"]

_SHIPPED = ("toolbox.habitat", "species.toml")

_KEYS: dict[str, tuple[Measure, str]] = {
    "temperature": ("temperature_c", "degC"),
    "oxygen": ("oxygen_mg_l", "mg/L"),
    "depth": ("depth_m", "m"),
    "light": ("light", ""),
    "plants": ("plants", "%"),
    "slope": ("slope_deg", "degree"),
}
"""Keys of a species that are limits: the measure and the unit of a bare number."""

_DEMAND = {"base": "mg/L", "factor": "mg/L", "rate": "per degree"}
_SPECIES = ("name", "remarks", *_KEYS, "oxygen_demand")
_LONGEST = 100  # characters of a quantity


@checked
def read_species(path: Path) -> SpeciesLimits:
    """Read a species file.

    Parameters
    ----------
    path : Path
        TOML as the shipped file explains it.

    Returns
    -------
    SpeciesLimits
        In SI units.

    Raises
    ------
    InputFileError
        At the first key or value that is unknown, missing or wrong, with the species it is in.
    """
    return _parsed(read_toml(path), str(path))


def shipped_species() -> SpeciesLimits:
    """Return the species of the file that comes with the toolbox."""
    return _parsed(tomllib.loads(shipped_species_text()), _SHIPPED[1])


def shipped_species_text() -> str:
    """Return that file as it stands, for a person to edit a copy."""
    return files(_SHIPPED[0]).joinpath(_SHIPPED[1]).read_text(encoding="utf-8")


def _parsed(given: dict[str, Any], name: str) -> SpeciesLimits:
    try:
        _check_keys(given, ("species",))
        rows = given.get("species", [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise ParameterError("species must be written as [[species]], each with a name")
        species = tuple(_species(row, number) for number, row in enumerate(rows, start=1))
        return SpeciesLimits(species)
    except ParameterError as error:
        raise InputFileError(f"{name}: {error}") from error


def _species(row: dict[str, Any], number: int) -> Species:
    name = row.get("name", "")
    if not isinstance(name, str) or not name.strip():
        raise ParameterError(f"species {number}: key 'name' must be a text, got {name!r}")
    try:
        _check_keys(row, _SPECIES)
        limits = tuple(limit for key in _KEYS if key in row for limit in _limits(key, row[key]))
        demand = _demand(row["oxygen_demand"]) if "oxygen_demand" in row else None
        remarks = _text(row, "remarks")
        if not limits and demand is None:
            allowed = ", ".join((*_KEYS, "oxygen_demand"))
            raise ParameterError(f"needs at least one limit of {allowed}")
    except ParameterError as error:
        raise ParameterError(f"species {name!r}: {error}") from error
    return Species(name, limits, demand, remarks)


def _limits(key: str, given: Any) -> list[Limit]:
    """Read one limit, or a list of several on the same measure."""
    rows = given if isinstance(given, list) else [given]
    if not rows:
        raise ParameterError(f"key {key!r} must hold a limit, got an empty list")
    return [_limit(key, row) for row in rows]


def _limit(key: str, row: Any) -> Limit:
    _check_table(key, row, ("least", "most", "source"))
    measure, unit = _KEYS[key]
    ends = {
        end: _quantity(f"{key}.{end}", row[end], unit) for end in ("least", "most") if end in row
    }
    if not ends:
        raise ParameterError(f"key {key!r} must have least or most, got neither")
    source = _source(key, row)
    try:
        return Limit(measure, ends.get("least"), ends.get("most"), source)
    except ParameterError as error:
        raise ParameterError(f"key {key!r}: {error}") from error


def _demand(row: Any) -> OxygenDemand:
    key = "oxygen_demand"
    _check_table(key, row, (*_DEMAND, "source"))
    if missing := [name for name in _DEMAND if name not in row]:
        raise ParameterError(f"key '{key}.{missing[0]}' is missing")
    base, factor, rate = (
        _quantity(f"{key}.{name}", row[name], unit) for name, unit in _DEMAND.items()
    )
    return OxygenDemand(base, factor, rate, _source(key, row))


def _source(key: str, row: dict[str, Any]) -> str:
    source = _text(row, "source")
    if not source.strip():
        raise ParameterError(
            f"key '{key}.source' is missing: a citation, or \"illustrative\" where there is none"
        )
    return source


def _text(row: dict[str, Any], key: str) -> str:
    text = row.get(key, "")
    if not isinstance(text, str):
        raise ParameterError(f"key {key!r} must be a text, got {text!r}")
    return text


def _check_table(key: str, row: Any, allowed: tuple[str, ...]) -> None:
    if not isinstance(row, dict):
        example = '{ least = 1, source = "..." }' if key in _KEYS else "{ base = ..., ... }"
        raise ParameterError(f"key {key!r} must be written as {example}, got {row!r}")
    _check_keys(row, allowed, f"{key}.")


def _check_keys(row: dict[str, Any], allowed: tuple[str, ...], within: str = "") -> None:
    if unknown := [key for key in row if key not in allowed]:
        raise ParameterError(
            f"key {within + unknown[0]!r} is unknown; allowed here: {', '.join(allowed)}"
        )


def _quantity(key: str, given: Any, unit: str) -> float:
    """Read a number, or a number with a unit, in `unit`; a share may be given in per cent."""
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise ParameterError(f"key {key!r} must be a number or a text with a unit, got {given!r}")
    if isinstance(given, str) and len(given) > _LONGEST:
        raise ParameterError(f"key {key!r} must be a quantity of at most {_LONGEST} characters")
    try:
        if isinstance(given, str) and unit in ("", "%"):
            return _in_percent(given) / (1 if unit else 100)
        if unit == "degC":
            return round(parse_quantity(_spelled(given), unit), 9)
        return float(given) if unit == "per degree" else parse_quantity(given, unit)
    except (ValueError, OverflowError) as error:  # of float, and of what no unit library converts
        if not isinstance(error, ParameterError):
            raise ParameterError(f"key {key!r} must be a number, got {given!r}") from error
        raise ParameterError(f"key {key!r} {error}") from error


def _in_percent(text: str) -> float:
    if not (found := re.fullmatch(r"\s*(\d+\.?\d*|\.\d+)\s*%\s*", text)):
        raise ParameterError(
            f"must be a number, or a text in per cent such as '20 %', got {text!r}"
        )
    return float(found[1])


def _spelled(given: float | str) -> float | str:
    """Spell degrees as the unit library does, where F alone would be farad."""
    if not isinstance(given, str):
        return given
    return re.sub(
        r"(?:\s|°|degrees?\s)*(?<![A-Za-z])([CF])(elsius|ahrenheit)?\s*$", r" deg\1", given
    )
