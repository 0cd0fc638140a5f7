"""Haul: how many loads a lot needs, and what the way asks of the fish."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from toolbox.stocking.transport import LoadingRow, Transport

__all__ = ["Haul", "haul"]


@dataclass(frozen=True)
class Haul:
    """What it takes to bring a lot to the water.

    Parameters
    ----------
    loads : float
        How many, whole; NaN where no loading rate holds or the weight is not known.
    capacity : float
        What one load carries, kg.
    loading : LoadingRow or None
        The rate it rests on.
    cost : float
        Of all loads.
    warnings : tuple of str
        What asks for attention.
    """

    loads: float = math.nan
    capacity: float = math.nan
    loading: "LoadingRow | None" = None
    cost: float = math.nan
    warnings: tuple[str, ...] = ()


def haul(
    transport: "Transport", fish: str, weight: float, coldest: float, warmest: float | None = None
) -> Haul:
    """Reckon the loads of one lot.

    Parameters
    ----------
    transport : Transport
        Truck and way.
    fish : str
        Name of the lot.
    weight : float
        Of all its fish, kg; NaN if not known.
    coldest : float
        Temperature of the water they go to, °C; NaN if not known.
    warmest : float, optional
        Temperature of it on the warmest day they may come, where they may come on several.

    Returns
    -------
    Haul
        Loads are weight over tank water times loading rate, rounded up.
    """
    warnings = _difference(transport, coldest, coldest if warmest is None else warmest)
    row = transport.loading_for(fish)
    if row is None:
        said = (
            f"no loading rate for {transport.hatchery_temperature:g} °C and {transport.haul:g} h: "
            "loads not reckoned"
        )
        return Haul(warnings=(*warnings, said))
    capacity = transport.tank * transport.tanks * row.rate
    if math.isnan(weight):
        return Haul(
            math.nan, capacity, row, math.nan, (*warnings, "mean weight not known: no loads")
        )
    loads = math.ceil(weight / capacity - 1e-9)
    price = math.nan if transport.price_per_load is None else transport.price_per_load
    return Haul(loads, capacity, row, loads * price, warnings)


def _difference(transport: "Transport", coldest: float, warmest: float) -> tuple[str, ...]:
    if math.isnan(coldest) or math.isnan(warmest):
        return ("temperature of the receiving water not known: measure it on the day",)
    apart = max(abs(end - transport.hatchery_temperature) for end in (coldest, warmest))
    if apart <= transport.largest_difference:
        return ()
    ends = dict.fromkeys((f"{coldest:.3g}", f"{warmest:.3g}"))
    upto = "up to " if len(ends) > 1 else ""
    return (
        f"hatchery {transport.hatchery_temperature:.3g} °C, receiving water "
        f"{' to '.join(ends)} °C: {upto}{apart:.3g} °C apart, more than "
        f"{transport.largest_difference:g} °C, temper the fish ({transport.difference_source})",
    )
