"""Comparison: the alternatives of a stocking plan side by side."""

from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.tool import tool

__all__ = ["compare_alternatives"]

_RECRUITS = ("recruits", "recruits_low", "recruits_high")
_SUMS = (
    "number", "number_low", "number_high", "weight_kg", "weight_lb", "weight_kg_ha", *_RECRUITS,
    "loads", "cost", "cost_low", "cost_high",
)  # fmt: skip


@tool("Alternatives of a stocking plan side by side")
def compare_alternatives(plan: Table) -> Table:
    """Add up the lots of each alternative of a stocking plan.

    Parameters
    ----------
    plan : Table
        As the tool of the plan makes it.

    Returns
    -------
    Table
        One row an alternative, in order: ``alternative, lots`` (text); the sums ``number,
        number_low, number_high, weight_kg, weight_lb, weight_kg_ha, recruits, recruits_low,
        recruits_high, loads, cost, cost_low, cost_high``, empty where one lot of it is not known
        (recruits are those of the lots with a survival chain);
        ``cost_more``, the cost beyond that of the first; ``warnings``, how many.

    Raises
    ------
    LayerError
        If a column is missing.
    """
    import pandas as pd

    missing = [
        name for name in ("alternative", "fish", "warnings", *_SUMS) if name not in plan.frame
    ]
    if missing:
        raise LayerError(f"a plan needs a column {missing[0]!r}, got {list(plan.frame.columns)}")
    rows = [_row(str(name), part) for name, part in plan.frame.groupby("alternative", sort=False)]
    frame = pd.DataFrame(rows)
    frame.insert(len(frame.columns) - 1, "cost_more", frame["cost"] - frame["cost"].iloc[0])
    return Table(frame, "Alternatives side by side", plan.notes)


def _row(name: str, lots: Any) -> dict[str, Any]:
    said = [text for text in _filled(lots["fish"]) if text]
    warned = [text for text in _filled(lots["warnings"]) if text]
    sums = {column: float(np.sum(lots[column].to_numpy(float))) for column in _SUMS}
    grown = lots[list(_RECRUITS)].astype(float).sum(min_count=1).to_dict()
    count = sum(len(text.split("; ")) for text in warned)
    head = {"alternative": name, "lots": ", ".join(said) or "none"}
    return head | sums | grown | {"warnings": count}


def _filled(texts: Any) -> Any:
    """Give empty text for empty cells: a column that is all empty comes from a file as numbers."""
    return texts.astype(object).fillna("")
