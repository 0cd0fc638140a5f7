"""Species: what water and bed each needs, value by value with its source."""

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Table
from toolbox.notes import Caution
from toolbox.tool import tool

__all__ = [
    "FROM_MEMORY",
    "ILLUSTRATIVE",
    "RANGES",
    "Limit",
    "Measure",
    "OxygenDemand",
    "Species",
    "SpeciesLimits",
    "species_table",
]

Measure = Literal["temperature_c", "oxygen_mg_l", "depth_m", "light", "plants", "slope_deg"]
"""What may be limited: ``light`` is a share of the light at the surface, ``plants`` cover or PVI
in per cent."""

RANGES: dict[str, tuple[float, float]] = {
    "temperature_c": (-2.0, 60.0),
    "oxygen_mg_l": (0.0, 40.0),
    "depth_m": (0.0, 2000.0),
    "light": (0.0, 1.0),
    "plants": (0.0, 100.0),
    "slope_deg": (0.0, 90.0),
}
"""Within which the limits of each measure must lie."""

ILLUSTRATIVE = "illustrative"
"""What stands as the source of a value that shows the form and is not to be relied on."""

FROM_MEMORY = "from memory"
"""What stands in the source of a value that was not looked up again."""


@dataclass(frozen=True)
class Limit:
    """The range of one measure in which a species is at home, both ends allowed.

    Parameters
    ----------
    measure : str
        A :data:`Measure`.
    least, most : float, optional
        Ends of the range; one of them at least.
    source : str
        Where they come from: a citation, or "illustrative".

    Raises
    ------
    ParameterError
        If there is no such measure, no end or no source, or an end is out of all reason.
    """

    measure: Measure
    least: float | None = None
    most: float | None = None
    source: str = ""

    def __post_init__(self) -> None:
        if self.measure not in RANGES:
            raise ParameterError(f"must limit one of {', '.join(RANGES)}, got {self.measure!r}")
        if self.least is None and self.most is None:
            raise ParameterError(f"{self.measure} must have least or most, got neither")
        low, high = RANGES[self.measure]
        for name, value in (("least", self.least), ("most", self.most)):
            if value is not None and not low <= value <= high:
                raise ParameterError(
                    f"{name} of {self.measure} must be {low:g} to {high:g}, got {value:g}"
                )
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ParameterError(
                f"least of {self.measure} must be at most {self.most:g}, its most, "
                f"got {self.least:g}"
            )
        _check_source(self.measure, self.source)


@dataclass(frozen=True)
class OxygenDemand:
    """The least oxygen where the demand grows with temperature.

    Parameters
    ----------
    base_mg_l, factor_mg_l, rate_per_c : float
        a, b and c of ``a + b exp(c T)``, mg/L with T in degrees Celsius; b and c greater than 0.
    source : str
        Where they come from: a citation, or "illustrative".

    Raises
    ------
    ParameterError
        If one is out of its range, or there is no source.

    Examples
    --------
    The lethal curve of cisco (Jacobson et al. 2008, from memory):

    >>> curve = OxygenDemand(0.40, 6e-6, 0.59, "from memory")
    >>> round(float(curve.least(22.0)), 2)
    3.0
    """

    base_mg_l: float
    factor_mg_l: float
    rate_per_c: float
    source: str

    def __post_init__(self) -> None:
        for name, most, allowed in (
            ("base_mg_l", 40.0, 0.0 <= self.base_mg_l <= 40.0),
            ("factor_mg_l", 40.0, 0.0 < self.factor_mg_l <= 40.0),
            ("rate_per_c", 2.0, 0.0 < self.rate_per_c <= 2.0),
        ):
            if not allowed:
                sign = ">= 0" if name == "base_mg_l" else "> 0"
                raise ParameterError(
                    f"{name} of the oxygen demand must be {sign} and <= {most:g}, "
                    f"got {getattr(self, name):g}"
                )
        _check_source("the oxygen demand", self.source)

    def least(self, temperature: np.ndarray | float) -> np.ndarray:
        """Return the least oxygen at temperatures in degrees Celsius, mg/L."""
        warm = np.minimum(self.rate_per_c * np.asarray(temperature, float), 700.0)
        return np.asarray(self.base_mg_l + self.factor_mg_l * np.exp(warm))


@dataclass(frozen=True)
class Species:
    """A species, or a stage of its life, and all limits that must hold together.

    Parameters
    ----------
    name : str
        Common name.
    limits : tuple of Limit
        Several of one measure all hold.
    oxygen_demand : OxygenDemand, optional
        Least oxygen by temperature, beside the limits.
    remarks : str
        What a reader should know.

    Raises
    ------
    ParameterError
        If it has no name or no limit, or no value of a measure meets all limits on it.
    """

    name: str
    limits: tuple[Limit, ...] = ()
    oxygen_demand: OxygenDemand | None = None
    remarks: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ParameterError("a species must have a name, got none")
        if not self.limits and self.oxygen_demand is None:
            raise ParameterError(f"species {self.name!r} must have at least one limit, got none")
        for measure in RANGES:
            low, high = self.range_of(measure)
            if low > high:
                raise ParameterError(
                    f"species {self.name!r}: limits of {measure} leave nothing, "
                    f"least {low:g} is more than most {high:g}"
                )

    def range_of(self, measure: str) -> tuple[float, float]:
        """Return the range of a measure that meets all limits on it; infinite where open."""
        mine = [limit for limit in self.limits if limit.measure == measure]
        return (
            max((limit.least for limit in mine if limit.least is not None), default=-math.inf),
            min((limit.most for limit in mine if limit.most is not None), default=math.inf),
        )

    @property
    def measures(self) -> tuple[str, ...]:
        """Measures it is limited by, in the order of :data:`Measure`."""
        found = {limit.measure for limit in self.limits}
        if self.oxygen_demand is not None:
            found |= {"temperature_c", "oxygen_mg_l"}
        return tuple(name for name in get_args(Measure) if name in found)

    @property
    def sources(self) -> tuple[str, ...]:
        """Where its values come from, in order."""
        curve = () if self.oxygen_demand is None else (self.oxygen_demand.source,)
        return (*(limit.source for limit in self.limits), *curve)


@dataclass(frozen=True)
class SpeciesLimits:
    """The species one asks about.

    Parameters
    ----------
    species : tuple of Species
        Each name once.
    notes : tuple of str
        What a reader must know to use them.

    Raises
    ------
    ParameterError
        If there is none, or a name is there twice.
    """

    species: tuple[Species, ...]
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.species:
            raise ParameterError("species must name at least one, got none")
        folded = [name.casefold() for name in self.names]
        if twice := [name for name in self.names if folded.count(name.casefold()) > 1]:
            raise ParameterError(f"each species must be named once, got {twice[0]!r} twice")

    @property
    def names(self) -> tuple[str, ...]:
        """Names in order."""
        return tuple(one.name for one in self.species)

    def of(self, name: str) -> Species:
        """Return the species of that name, capital or not.

        Raises
        ------
        ParameterError
            If there is none.
        """
        for one in self.species:
            if one.name.casefold() == name.strip().casefold():
                return one
        raise ParameterError(f"species must be one of {', '.join(self.names)}, got {name!r}")

    @property
    def cautions(self) -> tuple[str, ...]:
        """The notes, and which species have values that one should not decide by as they are."""
        notes = self.notes
        for word, advice in (
            (ILLUSTRATIVE, "some or all limits of species are only illustrative, not to decide by"),
            (
                FROM_MEMORY,
                "some or all limits of species were written from memory, to be checked",
            ),
        ):
            names = [
                one.name
                for one in self.species
                if any(word in source.casefold() for source in one.sources)
            ]
            notes += (Caution(f"{advice}: {', '.join(names)}"),) if names else ()
        return notes

    def only(self, names: tuple[str, ...] | None) -> "SpeciesLimits":
        """Return those of the names given, in their order; all if None."""
        if names is None:
            return self
        return SpeciesLimits(tuple(self.of(name) for name in names), self.notes)


def _check_source(of_what: str, source: str) -> None:
    if not source.strip():
        raise ParameterError(
            f"{of_what} must have a source, a citation or {ILLUSTRATIVE!r}, got none"
        )


@tool("Limits of species")
def species_table(species: SpeciesLimits) -> Table:
    """List the limits of species with their sources.

    Parameters
    ----------
    species : SpeciesLimits
        The species.

    Returns
    -------
    Table
        A row a limit, in the order of the species file: ``species, measure, least, most, source,
        remarks``. The unit is in the name of the measure; light is a share of that at the surface,
        plants are per cent. A demand of oxygen that grows with temperature is the measure
        ``oxygen_demand``, with its formula in ``remarks``.
    """
    import pandas as pd

    names = ["species", "measure", "least", "most", "source", "remarks"]
    rows = [row for one in species.species for row in _rows(one)]
    return Table(pd.DataFrame(rows, columns=names), "Limits of species", species.cautions)


def _rows(one: Species) -> list[tuple[str, str, float, float, str, str]]:
    def number(value: float | None) -> float:
        return math.nan if value is None else value

    rows: list[tuple[str, str, float, float, str, str]] = [
        (one.name, part.measure, number(part.least), number(part.most), part.source, one.remarks)
        for part in one.limits
    ]
    if (curve := one.oxygen_demand) is not None:
        formula = (
            f"oxygen_mg_l >= {curve.base_mg_l:g} + {curve.factor_mg_l:g} "
            f"exp({curve.rate_per_c:g} temperature_c)"
        )
        rows.append((one.name, "oxygen_demand", math.nan, math.nan, curve.source, formula))
    return rows
