"""Bases: what of the water a rate counts by."""

import math
from typing import Literal

from toolbox.stocking.rates import Per, Rate, Total

__all__ = ["BASES", "Basis", "check_basis"]

Basis = Literal[
    "surface",
    "littoral",
    "lit bed",
    "volume",
    "suitable volume",
    "suitable bed",
    "shoreline",
    "shoreline with islands",
]
"""What a rate may count by."""

BASES: dict[Basis, tuple[str, Per]] = {
    "surface": ("surface area", "area"),
    "littoral": ("littoral area", "area"),
    "lit bed": ("lit area", "area"),
    "volume": ("volume", "volume"),
    "suitable volume": ("suitable volume", "volume"),
    "suitable bed": ("suitable bed area", "area"),
    "shoreline": ("shoreline length", "length"),
    "shoreline with islands": ("shoreline length with islands", "length"),
}
"""The measure of the water behind each, and what it is."""


def check_basis(one: Rate | Total, basis: Basis, text: str) -> None:
    """Raise ValueError if a rate does not count by what its basis is."""
    if isinstance(one, Rate) and one.per != BASES[basis][1]:
        fitting = ", ".join(repr(name) for name, (_, per) in BASES.items() if per == one.per)
        raise ValueError(f"{text!r} is per {one.per} and fits basis {fitting}, got basis {basis!r}")
    if not math.isfinite(one.amount):
        raise ValueError(f"{text!r} must be finite")
