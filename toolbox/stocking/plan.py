"""Plan: how many fish of each lot, what they weigh, and what it takes to bring them."""

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from toolbox.layers import Profiles, Table
from toolbox.stocking.late import late_types
from toolbox.stocking.lines import Line
from toolbox.stocking.measured import Measured
from toolbox.stocking.season import check_season
from toolbox.tool import tool
from toolbox.water.series import ProfileSeries

if TYPE_CHECKING:
    from toolbox.stocking.proposal import Alternative, StockingProposal

__all__ = ["CAUTION", "stocking_plan"]

CAUTION = (
    "arithmetic, not advice: whether, what and how many fish may be released is decided by the "
    "permit and the licensed fisheries officer, who also check species, strain and health papers"
)

_COLUMNS = (
    "alternative", "fish", "species", "stage", "mean_length_cm", "mean_weight_g",
    "basis", "quantity", "quantity_low", "quantity_high", "quantity_unit", "quantity_us",
    "rate", "rate_metric", "rate_us", "target", "source", "survival", "survival_low",
    "survival_high", "existing_subtracted", "reckoned", "limit",
    "number", "number_low", "number_high", "weight_kg", "weight_low_kg", "weight_high_kg",
    "weight_lb", "number_per_ha", "number_per_acre", "weight_kg_ha", "weight_lb_acre",
    "recruits", "recruits_low", "recruits_high", "loads", "load_capacity_kg", "loading_kg_l",
    "loading_source", "cost_fish", "cost_transport", "cost", "cost_low", "cost_high",
    "cost_per_recruit", "season", "warnings",
)  # fmt: skip


@tool("Stocking plan", types=late_types)
def stocking_plan(
    measures: Table,
    proposal: "StockingProposal",
    profiles: Profiles | None = None,
    suitable: Table | None = None,
) -> Table:
    """Reckon the fish, loads and cost of each alternative of a proposal.

    Parameters
    ----------
    measures : Table
        What rates count by, as the tool of measures makes it.
    proposal : StockingProposal
        What is to be stocked.
    profiles : Profiles, optional
        Temperatures over the year, to check seasons and the receiving water.
    suitable : Table, optional
        Suitable water through the season, to check seasons.

    Returns
    -------
    Table
        One row an alternative and lot, in the order of the file; an alternative without stocking
        has one row with no fish. Columns: ``alternative, fish, species, stage, mean_length_cm,
        mean_weight_g``; ``basis, quantity, quantity_low, quantity_high, quantity_unit`` (m, m2 or
        m3; empty for a target that is a total), ``quantity_us`` (text: acres, acre-feet or miles);
        ``rate`` (as written), ``rate_metric, rate_us``, ``target`` (as written), ``source``;
        ``survival, survival_low, survival_high`` (of the whole chain), ``existing_subtracted``
        (text), ``reckoned`` (text: the number before cap and floor, written out), ``limit`` (text:
        what cap or floor did, and why); ``number, number_low, number_high`` (whole fish),
        ``weight_kg, weight_low_kg, weight_high_kg, weight_lb``; ``number_per_ha, number_per_acre,
        weight_kg_ha, weight_lb_acre`` (of the whole water's surface); ``recruits, recruits_low,
        recruits_high`` (from the number stocked, with a survival chain); ``loads, load_capacity_kg,
        loading_kg_l, loading_source``; ``cost_fish, cost_transport, cost, cost_low, cost_high,
        cost_per_recruit`` in the currency of the file; ``season`` and ``warnings`` (text, parts
        split by "; "). What is not known or does not apply is empty.

    Raises
    ------
    LayerError
        If a measure is missing, or existing weight cannot be told in fish.

    Notes
    -----
    Fish are rate times quantity less the existing stock; or for a target, the recruits wanted less
    those there, over the product of the survivals. A rate gives the nearest whole number, a target
    the next more, a cap the next less. A floor is looked at first, so that a cap has the last word.

    `number_low` and `number_high` take every input (measure, rate, survival, existing stock) at the
    end of its range that asks for fewest and for most fish at once: a bracket wider than 90 %, of
    which :func:`stocking_sensitivity` shows the parts. They are held within cap and floor too.
    Where stocking is by a rate, the existing stock is taken from the fish to be stocked, one for
    one; state it at the size that is stocked. Each lot comes in loads of its own.
    """
    import pandas as pd

    water = Measured(measures)
    warmth = None
    if profiles is not None and profiles.frame["temperature_c"].notna().any():
        warmth = ProfileSeries.of(profiles, "temperature_c")
    rows = [
        row
        for alternative in proposal.alternative
        for row in _rows(alternative, proposal, water, warmth, suitable)
    ]
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    return Table(frame, proposal.title, (*_notes(proposal), *measures.notes))


def _rows(
    alternative: "Alternative",
    proposal: "StockingProposal",
    water: Measured,
    warmth: ProfileSeries | None,
    suitable: Table | None,
) -> Iterator[dict[str, Any]]:
    if not alternative.stock:
        yield _nothing(alternative)
    for entry in alternative.stock:
        species = proposal.lot(entry.fish).species
        season = check_season(entry.season, species, warmth, suitable)
        line = Line.of(entry, proposal, water, season)
        yield {"alternative": alternative.name, **line.row(water)}


def _nothing(alternative: "Alternative") -> dict[str, Any]:
    zero = ("number", "number_low", "number_high", "weight_kg", "weight_low_kg", "weight_high_kg",
            "weight_lb", "number_per_ha", "number_per_acre", "weight_kg_ha", "weight_lb_acre",
            "loads", "cost_fish", "cost_transport", "cost", "cost_low", "cost_high")  # fmt: skip
    empty = ("fish", "species", "stage", "basis", "quantity_unit", "quantity_us", "rate",
             "rate_metric", "rate_us", "target", "source", "existing_subtracted", "reckoned",
             "limit", "loading_source", "season", "warnings")  # fmt: skip
    row = dict.fromkeys(_COLUMNS, math.nan)
    return {**row, **dict.fromkeys(zero, 0.0), **dict.fromkeys(empty, ""),
            "alternative": alternative.name}  # fmt: skip


def _notes(proposal: "StockingProposal") -> tuple[str, ...]:
    blank = [
        name.replace("_", " ")
        for name in ("authority", "permit_number", "licence", "health_certificate")
        if not getattr(proposal.permit, name).strip()
    ]
    told = [CAUTION]
    if blank:
        told.append(f"left blank, to be filled in before anything is stocked: {', '.join(blank)}")
    told.append(
        "number low and high: every input at the end that asks for fewest, or for most, at once"
    )
    if any(entry.subtract for one in proposal.alternative for entry in one.stock):
        told.append("existing stock is taken off one for one, of whatever age and size it is")
    if any(len(one.stock) > 1 for one in proposal.alternative) and proposal.transport:
        told.append("each lot comes in loads of its own")
    told.append("numbers, loads and costs are of one stocking each, not of a year")
    if proposal.currency:
        told.append(f"costs in {proposal.currency}")
    return tuple(told)
