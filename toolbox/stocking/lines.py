"""Lines: one lot of one alternative, reckoned and laid out as a row of the plan."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from toolbox.stocking.bases import BASES
from toolbox.stocking.demand import Demand, demand, limited, whole
from toolbox.stocking.haul import Haul, haul
from toolbox.stocking.measured import Measured, Span, customary
from toolbox.stocking.rates import Price
from toolbox.stocking.season import SeasonCheck
from toolbox.stocking.suitable import LEFT_OUT, UNREAD
from toolbox.units import convert

if TYPE_CHECKING:
    from toolbox.stocking.lots import Fish
    from toolbox.stocking.proposal import Stocking, StockingProposal

__all__ = ["Line"]

_PLUMP = (0.2, 4.0)
"""Fulton's 100 W / L^3 (g, cm), eels to carp, beyond which a unit is likely wrong."""

_ROUNDED = {"nearest": "to the nearest whole fish", "up": "the next whole fish more"}

_Told = Literal["", "raised", "held"]


@dataclass(frozen=True)
class Line:
    """One lot of one alternative.

    Parameters
    ----------
    entry : Stocking
        What is asked for.
    fish : Fish
        The lot.
    asked : Demand
        The fish, as a formula.
    number : Span
        Whole fish within cap and floor; ends as the plan says.
    told : str
        ``"raised"`` to the floor, ``"held"`` at the cap, or empty.
    season : SeasonCheck
        The water in the season.
    ways : tuple of Haul
        For the fewest, the likely and the most fish; all empty without transport.
    """

    entry: "Stocking"
    fish: "Fish"
    asked: Demand
    number: Span
    told: _Told
    season: SeasonCheck
    ways: tuple[Haul, Haul, Haul]

    @classmethod
    def of(
        cls, entry: "Stocking", proposal: "StockingProposal", water: Measured, season: SeasonCheck
    ) -> "Line":
        """Reckon one lot."""
        fish, asked = proposal.lot(entry.fish), demand(entry, proposal, water)
        span = asked.span
        held = [limited(one, entry, fish, water) for one in (span.low, span.likely, span.high)]
        number = Span(*(float(whole(one, _rounding(asked, told))) for one, told in held))
        ways = tuple(_ways(proposal, fish, number, season))
        return cls(entry, fish, asked, number, held[1][1], season, ways)  # type: ignore[arg-type]

    def row(self, water: Measured) -> dict[str, Any]:
        """Lay the line out by the columns of the plan."""
        return {
            **_fish(self.fish),
            **_basis(self.asked, self.entry),
            "existing_subtracted": _existing(self.asked),
            "reckoned": f"{self.asked.reckoned}, {_ROUNDED[_rounding(self.asked, '')]}",
            "limit": self._limit(),
            **_numbers(self.number, self.fish, water),
            **_recruits(self.asked, self.number),
            **_haul(self.ways[1]),
            **self._cost(),
            "season": self.season.text,
            "warnings": "; ".join(
                one.replace(";", ",") for one in dict.fromkeys(self._warnings(water))
            ),
        }

    def _limit(self) -> str:
        entry = self.entry
        limit = {"": None, "raised": entry.floor, "held": entry.cap}[self.told]
        what = "cap" if self.told == "held" else "floor"
        return f"{what} of {limit.amount}: {limit.reason}" if limit else ""

    def _cost(self) -> dict[str, Any]:
        price = Price.parse(self.fish.price) if self.fish.price else None
        each = math.nan
        if price is not None:
            each = price.amount * (1 if price.of == "number" else self.fish.mean_weight or math.nan)
        counts = (self.number.low, self.number.likely, self.number.high)
        low, cost, high = (
            each * count + (0.0 if math.isnan(way.cost) else way.cost)
            for count, way in zip(counts, self.ways, strict=True)
        )
        grown = self.asked.recruits(self.number)
        return {
            "cost_fish": each * self.number.likely,
            "cost_transport": self.ways[1].cost,
            "cost": cost,
            "cost_low": low,
            "cost_high": high,
            "cost_per_recruit": cost / grown.likely if grown and grown.likely else math.nan,
        }

    def _of_water(self, water: Measured) -> Iterator[str]:
        """Say what is amiss with the measure that the fish are counted by."""
        if len(self.asked.asked) == 1:
            return
        measure = self.asked.asked[0]
        species = self.fish.species if "suitable" in self.entry.basis else ""
        note = water.note(BASES[self.entry.basis][0], species) if species else ""
        if LEFT_OUT in note and self.entry.basis == "suitable bed":
            yield (
                "the suitable bed leaves out the species' limits on the bed: less of it suits, and "
                "the rate asks for too many fish"
            )
        if UNREAD in note:
            yield "much of the water is unknown: nobody read all that the species needs"
        if not measure.span.likely > 0:
            yield f"there is none of the {measure.name} to count by"

    def _warnings(self, water: Measured) -> Iterator[str]:
        fish = self.fish
        yield from self._of_water(water)
        if unknown := [one.name for one in self.asked.inputs if one.lacks_range]:
            what = ", ".join(unknown)
            yield f"no range given for {what}: fewest and most fish leave out its doubt"
        if self.asked.existing and self.asked.number() == 0:
            yield "the existing stock is all that is asked for, or more"
        if fish.mean_weight is None:
            yield "mean weight not given: no weights and loads"
        elif fish.mean_length is not None:
            plump = 100 * 1000 * fish.mean_weight / (100 * fish.mean_length) ** 3
            if not _PLUMP[0] <= plump <= _PLUMP[1]:
                yield f"length and weight give a condition factor of {plump:.2g}: check their units"
        yield from self.season.warnings
        yield from self.ways[1].warnings
        if fish.price is None:
            yield "price not given: no cost"
        elif math.isnan(self.ways[1].cost):
            yield "cost without transport"


def _rounding(asked: Demand, told: _Told) -> Literal["nearest", "up", "down"]:
    if told:
        return "down" if told == "held" else "up"
    return "up" if asked.target else "nearest"


def _ways(
    proposal: "StockingProposal", fish: "Fish", number: Span, season: SeasonCheck
) -> Iterator[Haul]:
    truck = proposal.transport
    for count in (number.low, number.likely, number.high):
        if truck is None:
            yield Haul()
            continue
        given = truck.receiving_temperature
        ends = (season.coldest, season.warmest) if given is None else (given, given)
        yield haul(truck, fish.name, count * (fish.mean_weight or math.nan), *ends)


def _fish(fish: "Fish") -> dict[str, Any]:
    return {
        "fish": fish.name,
        "species": fish.species,
        "stage": fish.stage,
        "mean_length_cm": 100 * (fish.mean_length or math.nan),
        "mean_weight_g": 1000 * (fish.mean_weight or math.nan),
    }


def _basis(asked: Demand, entry: "Stocking") -> dict[str, Any]:
    rate = entry.rates[1] if entry.rates else None
    is_total = len(asked.asked) == 1
    span = Span.of(math.nan) if is_total else asked.asked[0].span
    unit = {"length": "m", "area": "m2", "volume": "m3"}[BASES[entry.basis][1]]
    survival = {
        f"survival{end}": math.prod(getattr(one.span, name) for one in asked.survival)
        if asked.survival
        else math.nan
        for end, name in (("", "likely"), ("_low", "low"), ("_high", "high"))
    }
    return {
        "basis": "target" if is_total else entry.basis,
        "quantity": span.likely,
        "quantity_low": span.low if span.known else math.nan,
        "quantity_high": span.high if span.known else math.nan,
        "quantity_unit": "" if is_total else unit,
        "quantity_us": "" if is_total else customary(span.likely, unit),
        "rate": rate.text if rate else "",
        "rate_metric": rate.metric if rate else "",
        "rate_us": rate.customary if rate else "",
        "target": entry.recruits or "",
        "source": entry.source,
        **survival,
    }


def _existing(asked: Demand) -> str:
    if asked.existing is None:
        return ""
    unit = "fish" if math.isnan(asked.weight) else "kg"
    what = "recruits" if asked.target else unit
    return f"{asked.existing.span.likely:,.4g} {what} ({asked.existing.name.partition(': ')[2]})"


def _numbers(number: Span, fish: "Fish", water: Measured) -> dict[str, Any]:
    hectares = water.surface / 1e4
    each = fish.mean_weight or math.nan
    weight = number.likely * each
    acres = convert(hectares, "ha", "acre")
    return {
        "number": number.likely,
        "number_low": number.low,
        "number_high": number.high,
        "weight_kg": weight,
        "weight_low_kg": number.low * each,
        "weight_high_kg": number.high * each,
        "weight_lb": convert(weight, "kg", "lb"),
        "number_per_ha": number.likely / hectares,
        "number_per_acre": number.likely / acres,
        "weight_kg_ha": weight / hectares,
        "weight_lb_acre": convert(weight, "kg", "lb") / acres,
    }


def _recruits(asked: Demand, number: Span) -> dict[str, Any]:
    found = asked.recruits(number) or Span.of(math.nan)
    return {"recruits": found.likely, "recruits_low": found.low, "recruits_high": found.high}


def _haul(way: Haul) -> dict[str, Any]:
    return {
        "loads": way.loads,
        "load_capacity_kg": way.capacity,
        "loading_kg_l": round(way.loading.rate / 1000, 12) if way.loading else math.nan,
        "loading_source": way.loading.source if way.loading else "",
    }
