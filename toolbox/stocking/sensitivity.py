"""Sensitivity: which figure of a stocking plan the number of fish hangs on."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

from toolbox.layers import Table
from toolbox.stocking.demand import MEASURED, Demand, Input, demand
from toolbox.stocking.late import late_types
from toolbox.stocking.measured import Measured, Span
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    from toolbox.stocking.proposal import StockingProposal

__all__ = ["stocking_sensitivity"]

_COLUMNS = (
    "alternative", "fish", "input", "value", "low", "high", "unit", "range", "number",
    "number_at_low", "number_at_high", "change_at_low_percent", "change_at_high_percent", "source",
)  # fmt: skip


@tool("Sensitivity of a stocking plan", types=late_types)
def stocking_sensitivity(
    measures: Table,
    proposal: "StockingProposal",
    *,
    rate_share: Annotated[float, Range("", min=0, max=0.95)] = 0.25,
) -> Table:
    """Change one input at a time to the ends of its range, and tell what becomes of the fish.

    Parameters
    ----------
    measures : Table
        What rates count by, as the tool of measures makes it.
    proposal : StockingProposal
        What is to be stocked.
    rate_share : float
        By what share a rate, a target, a survival or an existing stock whose range nobody gives is
        tried lower and higher.

    Returns
    -------
    Table
        One row a lot and input, the lots in the order of the file, inputs by the fish between
        their ends, most first. Columns: ``alternative, fish, input``; ``value, low, high, unit``
        of the input (ha, km, m3, fish, kg, and per these; shares as 1); ``range``: ``band`` of the
        bed's draws, ``given`` in the file, ``tried`` (`rate_share` to either side, a survival to 1
        at most) or ``none``; ``number`` of fish, and ``number_at_low, number_at_high`` with this
        input alone at its ends; ``change_at_low_percent, change_at_high_percent``; ``source``.

    Raises
    ------
    LayerError
        If a measure is missing, or existing weight cannot be told in fish.

    Notes
    -----
    Before rounding, caps and floors, which would hide what an input does. A measure without a band
    is of a bed that does not know its own error: its row has no range.
    """
    import pandas as pd

    water, rows = Measured(measures), list[dict[str, Any]]()
    for alternative in proposal.alternative:
        for entry in alternative.stock:
            lot = {"alternative": alternative.name, "fish": entry.fish}
            found = [lot | row for row in _inputs(demand(entry, proposal, water), rate_share)]
            found.sort(key=lambda row: -abs(row["number_at_high"] - row["number_at_low"]))
            rows += found
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    notes = (
        "one input at a time, the others as likely; before rounding, caps and floors",
        f"range = tried: nobody gave one, {rate_share:.0%} to either side shows what it would do",
    )
    return Table(frame, "Sensitivity of the stocking plan", notes)


def _inputs(asked: Demand, share: float) -> Iterator[dict[str, Any]]:
    number = asked.number()
    for one in asked.inputs:
        span, what = _tried(one, share)
        low, high = (asked.number({one.name: end}) for end in (span.low, span.high))
        yield {
            "input": one.name,
            "value": span.likely * one.scale,
            "low": span.low * one.scale,
            "high": span.high * one.scale,
            "unit": one.unit,
            "range": what,
            "number": number,
            "number_at_low": low,
            "number_at_high": high,
            "change_at_low_percent": _percent(low, number),
            "change_at_high_percent": _percent(high, number),
            "source": one.source,
        }


def _tried(one: Input, share: float) -> tuple[Span, str]:
    """Return the range to try, and where it is from."""
    measured, likely = one.source == MEASURED, one.span.likely
    if one.span.known:
        return one.span, "band" if measured else "given"
    if measured:
        return Span.of(likely), "none"
    most = 1.0 if one.name.startswith("survival") else float("inf")
    return Span(likely * (1 - share), likely, min(most, likely * (1 + share))), "tried"


def _percent(changed: float, number: float) -> float:
    return 100 * (changed / number - 1) if number else float("nan")
