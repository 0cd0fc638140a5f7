"""Assumptions: every figure of a plan that somebody could question, and who stands for it."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from toolbox.layers import Table
from toolbox.stocking.bases import BASES
from toolbox.stocking.late import late_types
from toolbox.stocking.measured import Measured, customary, metric
from toolbox.stocking.rates import Total
from toolbox.tool import tool

if TYPE_CHECKING:
    from toolbox.stocking.lots import Existing, Fish
    from toolbox.stocking.proposal import Stocking, StockingProposal
    from toolbox.stocking.transport import Transport

__all__ = ["stocking_assumptions"]

_Row = tuple[str, str, str, str, str]

_COLUMNS = ("alternative", "fish", "assumption", "value", "source")


@tool("Assumptions of a stocking plan", types=late_types)
def stocking_assumptions(measures: Table, proposal: "StockingProposal") -> Table:
    """List every figure that a stocking plan rests on, with its source.

    Parameters
    ----------
    measures : Table
        What rates count by, as the tool of measures makes it.
    proposal : StockingProposal
        What is to be stocked.

    Returns
    -------
    Table
        Columns ``alternative, fish, assumption, value, source``, all text. First what concerns all:
        the measures that are counted by, existing stocks, lots (size, origin, price), transport.
        Then, lot by lot, its rate or target, survival steps, limits and season.

    Raises
    ------
    LayerError
        If a measure is missing.
    """
    import pandas as pd

    water = Measured(measures)
    rows = [*_measured(proposal, water), *_shared(proposal)]
    for alternative in proposal.alternative:
        for entry in alternative.stock:
            rows += [(alternative.name, entry.fish, *told) for told in _entry(entry)]
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    return Table(frame, "Assumptions of the stocking plan", measures.notes)


def _measured(proposal: "StockingProposal", water: Measured) -> Iterator[_Row]:
    used = {("surface area", "")}
    for entry in (entry for one in proposal.alternative for entry in one.stock):
        if not isinstance(entry.target, Total):
            name = BASES[entry.basis][0]
            species = proposal.lot(entry.fish).species
            used.add((name, species if name.startswith("suitable") else ""))
    for name, species in sorted(used):
        span, unit = water.span(name, species), water.unit(name, species)
        band = "" if span.known else ", no band"
        told = f"{metric(span, unit)} = {customary(span.likely, unit)}{band}"
        yield "", species, name, told, water.note(name, species)


def _shared(proposal: "StockingProposal") -> Iterator[_Row]:
    for stock in proposal.existing:
        yield "", stock.species, f"existing: {stock.name}", _stock(stock), stock.source
    for fish in proposal.fish:
        yield "", fish.name, "size", _size(fish), fish.origin or "origin not given"
        if fish.price:
            yield "", fish.name, "price", f"{fish.price} ({proposal.currency})", fish.price_source
    if proposal.transport:
        yield from (("", "", *told) for told in _transport(proposal.transport, proposal.currency))


def _stock(stock: "Existing") -> str:
    ends = f" ({stock.low or stock.stock} to {stock.high or stock.stock})"
    left = f", {stock.remaining:g} of it still there by then" if stock.remaining < 1 else ""
    return stock.stock + (ends if stock.low or stock.high else ", range not given") + left


def _size(fish: "Fish") -> str:
    length = f"{100 * fish.mean_length:.3g} cm" if fish.mean_length else "length not given"
    weight = f"{1000 * fish.mean_weight:.3g} g" if fish.mean_weight else "weight not given"
    return f"{length}, {weight}"


def _transport(truck: "Transport", currency: str) -> Iterator[tuple[str, str, str]]:
    tanks = f"{truck.tanks} x {1000 * truck.tank:.6g} L, {truck.haul:g} h, hatchery water of "
    yield "transport", f"{tanks}{truck.hatchery_temperature:g} °C", "the proposal"
    if (given := truck.receiving_temperature) is not None:
        yield "receiving water", f"{given:g} °C", "the proposal"
    for row in truck.loading:
        of = f" for {row.fish}" if row.fish else ""
        rate = f"{row.rate / 1000:.3g} kg/L to {row.max_temperature:g} °C and {row.max_hours:g} h"
        yield "loading rate", rate + of, row.source
    apart = f"{truck.largest_difference:g} °C"
    yield "largest difference in temperature", apart, truck.difference_source
    if truck.price_per_load is not None:
        price = f"{truck.price_per_load:g} {currency}".rstrip()
        yield "price of a load", price, truck.price_source


def _entry(entry: "Stocking") -> Iterator[tuple[str, str, str]]:
    if entry.rate:
        ends = f" ({entry.rate_low or entry.rate} to {entry.rate_high or entry.rate})"
        told = ends if entry.rate_low or entry.rate_high else ", range not given"
        yield f"rate on {entry.basis}", entry.rate + told, entry.source
    if entry.recruits:
        yield "recruits wanted", entry.recruits, entry.source
    for step in entry.survival:
        low, high = step.ends
        ends = f" ({low:g} to {high:g})" if low < high else ", range not given"
        yield f"survival: {step.step}", f"{step.likely:g}{ends}", step.source
    for limit, name in ((entry.cap, "cap"), (entry.floor, "floor")):
        if limit:
            yield name, limit.amount, limit.reason
    if season := entry.season:
        limits = (("from", season.min_temperature), ("to", season.max_temperature))
        warmth = " ".join(f"{what} {value:g}" for what, value in limits if value is not None)
        told = f"{season.first} to {season.last}"
        yield "season", f"{told}, {warmth} °C" if warmth else told, season.source
    if entry.remarks:
        yield "remarks", entry.remarks, "the proposal"
