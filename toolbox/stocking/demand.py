"""Demand: how many fish one lot asks for, as a formula of what is not known exactly."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from toolbox.errors import LayerError
from toolbox.stocking.bases import BASES, Basis
from toolbox.stocking.measured import Measured, Span, plain
from toolbox.stocking.rates import Of, Rate, Total, amount

if TYPE_CHECKING:
    from toolbox.stocking.lots import Existing, Fish, Limit, Step
    from toolbox.stocking.proposal import Stocking, StockingProposal

__all__ = ["MEASURED", "Demand", "Input", "demand", "limited", "whole"]

MEASURED = "measured on the bed"
"""Source of what is no rate, target or share."""

_HAIR, _LACK = 1e-9, 1e-12
"""What a product that is whole may lack of it, in fish and as a share."""


@dataclass(frozen=True)
class Input:
    """One figure a demand rests on.

    Parameters
    ----------
    name : str
        What it is.
    span : Span
        Its value and ends, SI.
    grows : bool
        Whether more of it asks for more fish.
    source : str
        Where it comes from.
    unit : str
        A person's unit of it, and
    scale : float
        how many of those its SI unit holds.
    """

    name: str
    span: Span
    grows: bool
    source: str
    unit: str = "1"
    scale: float = 1.0

    @property
    def lacks_range(self) -> bool:
        """Whether somebody gave it without saying how far off it may be; a target is a wish."""
        return self.source != MEASURED and self.name != "recruits" and not self.span.known


@dataclass(frozen=True)
class Demand:
    """How many fish one lot asks for.

    Parameters
    ----------
    asked : tuple of Input
        Their product is what is asked for, in fish or kg: a measure of the water and a rate, or a
        target.
    existing : Input or None
        What is there already, in fish or kg, taken from it.
    survival : tuple of Input
        Shares that survive.
    target : bool
        Whether what is asked for are recruits, and more must be stocked than are wanted.
    weight : float
        Of one fish, kg, where kg are asked for; NaN else.
    """

    asked: tuple[Input, ...]
    existing: Input | None
    survival: tuple[Input, ...]
    target: bool
    weight: float = math.nan

    @property
    def inputs(self) -> tuple[Input, ...]:
        """All that the number of fish depends on."""
        there = (self.existing,) if self.existing else ()
        return (*self.asked, *there, *(self.survival if self.target else ()))

    def number(self, changed: Mapping[str, float] | None = None) -> float:
        """Return the fish to stock, not rounded, with some inputs other than likely."""
        at = {one.name: one.span.likely for one in self.inputs} | dict(changed or {})
        wanted = math.prod(at[one.name] for one in self.asked)
        wanted = max(0.0, wanted - (at[self.existing.name] if self.existing else 0.0))
        if not math.isnan(self.weight):
            wanted /= self.weight
        if self.target:
            wanted /= math.prod(at[one.name] for one in self.survival)
        return wanted

    @property
    def reckoned(self) -> str:
        """The number written out, so that it can be followed by hand."""
        told = " x ".join(_written(one) for one in self.asked)
        if self.existing:
            told = f"({told} - {_written(self.existing)})"
        if not math.isnan(self.weight):
            told += f" / {plain(self.weight, trimmed=True)} kg"
        if self.target:
            told += "".join(f" / {one.span.likely:.6g}" for one in self.survival)
        return f"{told} = {self.number():,.2f} fish"

    @property
    def span(self) -> Span:
        """The number with every input at the end that asks for fewest, and for most."""
        ends = [
            {one.name: one.span.high if one.grows == most else one.span.low for one in self.inputs}
            for most in (False, True)
        ]
        return Span(self.number(ends[0]), self.number(), self.number(ends[1]))

    def recruits(self, stocked: Span) -> Span | None:
        """Return the recruits that this many stocked fish become; None without a survival chain.

        The ends are of the likely number stocked, for which permits are given.
        """
        if not self.survival:
            return None
        low, likely, high = (
            math.prod(getattr(one.span, end) for one in self.survival)
            for end in ("low", "likely", "high")
        )
        return Span(stocked.likely * low, stocked.likely * likely, stocked.likely * high)


def _written(one: Input) -> str:
    return f"{plain(one.span.likely * one.scale)} {one.unit}"


def demand(entry: "Stocking", proposal: "StockingProposal", water: Measured) -> Demand:
    """Return the demand of one lot of an alternative.

    Parameters
    ----------
    entry : Stocking
        The lot and its rate or target.
    proposal : StockingProposal
        Its lots and existing stocks.
    water : Measured
        What is known of the water.

    Raises
    ------
    LayerError
        If a measure is missing, or existing weight cannot be told in fish.
    """
    fish = proposal.lot(entry.fish)
    of: Of = entry.rates[0].of if entry.rates else "number"
    existing = None
    if entry.subtract is not None:
        existing = _existing(proposal.stock_of(entry.subtract), of, water)
    weight = fish.mean_weight if of == "weight" and fish.mean_weight else math.nan
    steps = tuple(_step(number, step) for number, step in enumerate(entry.survival, start=1))
    asked = _asked(entry, fish, water)
    return Demand(asked, existing, steps, entry.target is not None, weight)


def _asked(entry: "Stocking", fish: "Fish", water: Measured) -> tuple[Input, ...]:
    target = entry.target
    if isinstance(target, Total):
        return (Input("recruits", Span.of(target.amount), True, entry.source, "fish"),)
    if target is not None:
        wanted = _density("recruits", (target, target, target), entry.source)
    else:
        wanted = _density("rate", entry.rates, entry.source)
    return (_quantity(entry.basis, fish.species, water), wanted)


def _density(name: str, rates: Sequence[Rate], source: str) -> Input:
    unit, scale = rates[1].metric_unit
    return Input(name, Span(*(one.amount for one in rates)), True, source, unit, scale)


def _quantity(basis: Basis, species: str, water: Measured) -> Input:
    span, (name, per) = water.basis(basis, species), BASES[basis]
    unit, scale = {"length": ("km", 1e-3), "area": ("ha", 1e-4), "volume": ("m3", 1.0)}[per]
    return Input(name, span, True, MEASURED, unit, scale)


def _existing(stock: "Existing", of: Of, water: Measured) -> Input:
    texts = [stock.low or stock.stock, stock.stock, stock.high or stock.stock]
    ends = [_counted(amount(text, source=stock.source), stock, of, water) for text in texts]
    unit = "fish" if of == "number" else "kg"
    return Input(f"existing: {stock.name}", Span(*ends), False, stock.source, unit)


def _counted(one: Rate | Total, stock: "Existing", of: Of, water: Measured) -> float:
    """Return an existing stock in fish or kg, as is asked for."""
    value = one.amount * stock.remaining
    if isinstance(one, Rate):
        value *= water.basis(stock.basis, stock.species).likely
    if one.of == of:
        return value
    if stock.mean_weight is None:
        raise LayerError(
            f"existing {stock.name!r} is told by {one.of}, but {of} is asked for: it needs "
            f"mean_weight, got {stock.stock!r}"
        )
    return value / stock.mean_weight if of == "number" else value * stock.mean_weight


def _step(number: int, step: "Step") -> Input:
    span = Span(step.ends[0], step.likely, step.ends[1])
    return Input(f"survival {number}: {step.step}", span, False, step.source)


def limited(
    number: float, entry: "Stocking", fish: "Fish", water: Measured
) -> tuple[float, Literal["", "raised", "held"]]:
    """Return a number of fish within floor and cap, and what became of it; the cap goes first."""
    told: Literal["", "raised", "held"] = ""
    if entry.floor is not None and number < (least := _bound(entry.floor, fish, water)):
        number, told = least, "raised"
    if entry.cap is not None and number > (most := _bound(entry.cap, fish, water)):
        number, told = most, "held"
    return number, told


def _bound(limit: "Limit", fish: "Fish", water: Measured) -> float:
    one = limit.parsed
    value = one.amount
    if isinstance(one, Rate):
        value *= water.basis(limit.basis, fish.species).likely
    return value / (fish.mean_weight or math.nan) if one.of == "weight" else value


def whole(number: float, how: Literal["nearest", "up", "down"]) -> int:
    """Return whole fish: the nearest of a rate, the next more of a target, the next less of a cap.

    Examples
    --------
    >>> whole(692.02, "nearest"), whole(200 / (0.5 * 0.6), "up"), whole(99.9, "down")
    (692, 667, 99)
    """
    if how == "nearest":
        return math.floor(number + 0.5)
    hair = max(_HAIR, _LACK * number)
    return math.ceil(number - hair) if how == "up" else math.floor(number + hair)
