"""Lot facts: one lot of a stocking plan, label by label."""

import math
from collections.abc import Iterator
from typing import Any

from toolbox.stocking.measured import Span, metric, plain

__all__ = ["lot_facts", "number_told"]


def lot_facts(row: Any, currency: str) -> tuple[tuple[str, str], ...]:
    """Tell one row of a stocking plan in words.

    Parameters
    ----------
    row : Series
        As the tool of the plan makes them.
    currency : str
        Of its costs.

    Returns
    -------
    tuple of (str, str)
        Label and what it says; what is not known is left out.
    """
    return tuple((label, says) for label, says in _facts(row, currency) if says)


def number_told(row: Any) -> str:
    """Tell how many fish a row asks for, and between what."""
    return _span(row, "number", "{:,.0f}")


def _facts(row: Any, currency: str) -> Iterator[tuple[str, str]]:
    yield "Fish", _fish(row)
    yield "Counted by", _quantity(row)
    yield "Rate", _rate(row)
    yield "Recruits wanted", row["target"]
    yield "Survival of the chain", _survival(row)
    yield "Source", row["source"]
    yield "Existing stock taken off", row["existing_subtracted"]
    yield "Reckoned", row["reckoned"]
    yield "Limit", row["limit"]
    yield "Number", number_told(row)
    yield "Weight", _weight(row)
    yield "On the whole water", _density(row)
    yield "Recruits expected", _span(row, "recruits", "{:,.0f}")
    yield "Transport", _loads(row)
    yield "Cost", _cost(row, currency)
    yield "Season", row["season"]


def _known(value: Any) -> bool:
    return not (isinstance(value, float) and math.isnan(value))


def _number(value: Any, form: str) -> str:
    return form.format(value) if _known(value) else ""


def _survival(row: Any) -> str:
    if not _known(row["survival"]):
        return ""
    told, low, high = (f"{row[f'survival{end}']:.4g}" for end in ("", "_low", "_high"))
    return told + (f" ({low} to {high})" if low < high else ", range not given")


def _span(row: Any, name: str, form: str) -> str:
    """Write a figure and the ends of its range, where they differ from it."""
    if not _known(row[name]):
        return ""
    told, low, high = (form.format(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
    return told if low == told == high else f"{told} ({low} to {high})"


def _fish(row: Any) -> str:
    size = (
        _number(row["mean_length_cm"], "{:.3g} cm"),
        _number(row["mean_weight_g"], "{:.3g} g"),
    )
    kind = " ".join(part for part in (row["species"], row["stage"]) if part)
    return ", ".join(part for part in (kind, *size) if part)


def _quantity(row: Any) -> str:
    unit = row["quantity_unit"]
    if not unit or not _known(row["quantity"]):
        return str(row["basis"])
    span = Span.of(*(float(row[f"quantity{end}"]) for end in ("", "_low", "_high")))
    return f"{row['basis']}: {metric(span, unit)} = {row['quantity_us']}"


def _rate(row: Any) -> str:
    told = [row["rate"], _short(row["rate_metric"]), _short(row["rate_us"])]
    return " = ".join(dict.fromkeys(part for part in told if part))


def _short(rate: str) -> str:
    """Write a rate to four figures."""
    amount, _, per = rate.partition(" ")
    return f"{plain(float(amount), trimmed=True)} {per}" if per else rate


def _weight(row: Any) -> str:
    if not _known(row["weight_kg"]):
        return ""
    kg, low, high, lb = (
        plain(row[name], 3)
        for name in ("weight_kg", "weight_low_kg", "weight_high_kg", "weight_lb")
    )
    return f"{kg} kg = {lb} lb ({low} to {high} kg)"


def _density(row: Any) -> str:
    told = f"{plain(row['number_per_ha'], 3)} per ha = {plain(row['number_per_acre'], 3)} per acre"
    if _known(row["weight_kg_ha"]):
        weights = (
            f"{plain(row['weight_kg_ha'], 3)} kg/ha = {plain(row['weight_lb_acre'], 3)} lb/acre"
        )
        told += f"; {weights}"
    return told


def _loads(row: Any) -> str:
    if not _known(row["loads"]):
        return ""
    loads = f"{row['loads']:.0f} load" + ("" if row["loads"] == 1 else "s")
    rate = f"at most {row['load_capacity_kg']:,.0f} kg each at {row['loading_kg_l']:.3g} kg/L"
    return f"{loads}, {rate} ({row['loading_source']})"


def _cost(row: Any, currency: str) -> str:
    told = _span(row, "cost", "{:,.0f}")
    if not told:
        return ""
    parts = [
        _number(row["cost_fish"], "fish {:,.0f}"),
        _number(row["cost_transport"], "transport {:,.0f}"),
        _number(row["cost_per_recruit"], "{:,.2f} for each recruit"),
    ]
    return f"{told} {currency}".rstrip() + "; " + ", ".join(part for part in parts if part)
