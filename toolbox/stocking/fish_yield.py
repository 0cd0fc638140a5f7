"""Fish yield: the morphoedaphic index, as a rough screen."""

from collections.abc import Callable
from typing import Annotated

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.measured import Measured, Span
from toolbox.tool import Range, tool
from toolbox.units import convert

__all__ = ["fish_yield_screen", "ryder_yield"]

_FACTOR, _POWER = 2.094, 0.446

_NOTES = (
    "a rough screen: the index tells little of production in single lakes (Downing et al. 1990), "
    "and says nothing of what may be harvested or stocked",
    "drawn from lakes of north-temperate climate fished hard and for several kinds (from memory); "
    "elsewhere it is not known to hold",
)


def ryder_yield(dissolved_solids: float, mean_depth: float) -> float:
    """Return the yield by the morphoedaphic index, kg/ha and year.

    Parameters
    ----------
    dissolved_solids : float
        mg/L.
    mean_depth : float
        m.

    Notes
    -----
    Reckoned by Ryder's own form, 2.094 x^0.446 lb/acre with x = dissolved solids over mean depth in
    feet. In metres and kg/ha the factor is 1.3816; a printed 1.24 is not that conversion.

    Examples
    --------
    >>> round(ryder_yield(60.0, 10.0), 3)
    3.072
    """
    index = dissolved_solids / convert(mean_depth, "m", "ft")
    return float(convert(_FACTOR * index**_POWER, "lb/acre", "kg/ha"))


@tool("Fish yield, a rough screen")
def fish_yield_screen(
    measures: Table,
    *,
    dissolved_solids: Annotated[float, Range("mg/L", above=0, max=100_000)],
    dissolved_solids_source: str,
) -> Table:
    """Estimate yearly fish yield from dissolved solids and mean depth.

    Parameters
    ----------
    measures : Table
        With rows ``mean depth`` and ``surface area``, as the tool of measures makes it.
    dissolved_solids : float
        Total dissolved solids.
    dissolved_solids_source : str
        Who measured them, and when.

    Returns
    -------
    Table
        Columns ``measure, value, low, high, unit, note``: ``morphoedaphic index`` (mg/L over m),
        ``yield per area`` (kg/ha and lb/acre) and ``yield`` (kg a year); `low` and `high` are of
        the mean depth alone, not of the formula, whose own error is far larger.

    Raises
    ------
    LayerError
        If a measure is missing or the mean depth is 0.
    ParameterError
        If dissolved_solids is not above 0, or its source is empty.

    References
    ----------
    Ryder 1965, Transactions of the American Fisheries Society 94:214 (from memory), in the form of
    FAO AC231E; Downing, Plante & Lalonde 1990, Canadian Journal of Fisheries and Aquatic Sciences
    47:1929 (their finding; page from memory).
    """
    import pandas as pd

    if not dissolved_solids_source.strip():
        raise ParameterError("dissolved_solids_source must say who measured them, got nothing")
    water = Measured(measures)
    depth, hectares = water.span("mean depth"), water.surface / 1e4
    if not depth.low > 0:
        raise LayerError(f"mean depth must be above 0, got {depth.low:g} m")
    index = _each(depth, lambda mean: dissolved_solids / mean)
    per_area = _each(depth, lambda mean: ryder_yield(dissolved_solids, mean))
    rows = [
        ("morphoedaphic index", index, 1.0, "mg/L/m", dissolved_solids_source),
        ("yield per area", per_area, 1.0, "kg/ha", "2.094 x^0.446 lb/acre, x in mg/L over ft"),
        ("yield per area", per_area, convert(1.0, "kg/ha", "lb/acre"), "lb/acre", "the same"),
        ("yield", per_area, hectares, "kg", "a year, of the whole surface"),
    ]
    frame = pd.DataFrame(
        [
            (name, span.likely * by, span.low * by, span.high * by, unit, note)
            for name, span, by, unit, note in rows
        ],
        columns=["measure", "value", "low", "high", "unit", "note"],
    )
    return Table(frame, "Fish yield, a rough screen", _NOTES)


def _each(depth: Span, formula: Callable[[float], float]) -> Span:
    """Apply a formula that falls with depth."""
    return Span(formula(depth.high), formula(depth.likely), formula(depth.low))
