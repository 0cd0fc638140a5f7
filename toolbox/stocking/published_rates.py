"""Published rates: what agencies and papers give, as a start for a proposal of one's own."""

from typing import Any

from toolbox.layers import Table
from toolbox.stocking.bases import Basis
from toolbox.stocking.rates import Rate
from toolbox.tool import tool

__all__ = ["published_rates"]

_MINNESOTA = "Minnesota Department of Natural Resources, help to its stocking reports"
_KANSAS = "Kansas Department of Wildlife, Parks and Tourism, What to stock initially"
_MISSISSIPPI = "Mississippi State University Extension"
_SOUTH = "a page on ponds of the South, second hand"
_JOURNAL = "North American Journal of Fisheries Management"

_RATES: tuple[tuple[str, str, str, Basis, str], ...] = (
    ("walleye", "fry", "1000 /acre", "littoral", _MINNESOTA),
    ("walleye", "fingerlings", "1 lb/acre", "littoral", _MINNESOTA),
    ("walleye", "small fingerlings", "30 /ha", "littoral", f"{_JOURNAL} 2017, abstract"),
    ("walleye", "small fingerlings, the more", "60 /ha", "littoral", f"{_JOURNAL} 2017, abstract"),
    ("largemouth bass", "new pond", "100 /acre", "surface", _KANSAS),
    ("bluegill", "new pond", "500 /acre", "surface", _KANSAS),
    ("channel catfish", "new pond", "100 /acre", "surface", _KANSAS),
    ("channel catfish", "catfish alone, the fewer", "100 /acre", "surface", _MISSISSIPPI),
    ("channel catfish", "catfish alone, the more", "150 /acre", "surface", _MISSISSIPPI),
    ("bluegill", "fertilised pond of the South", "1000 /acre", "surface", _SOUTH),
    ("largemouth bass", "fertilised pond of the South", "100 /acre", "surface", _SOUTH),
    ("channel catfish", "fertilised pond of the South", "100 /acre", "surface", _SOUTH),
)

_NOTES = (
    "examples from the waters and the climate of their sources, not advice: the agency of the "
    "place has its own, and its permit governs",
    f"a pond without aeration holds about 500 lb of fish an acre ({_MISSISSIPPI})",
)


@tool("Published stocking rates")
def published_rates() -> Table:
    """List stocking rates that agencies and papers give.

    Returns
    -------
    Table
        Columns ``species, size, basis, rate`` (as published), ``rate_metric, rate_us, source``, in
        the order of the sources.
    """
    import pandas as pd

    return Table(pd.DataFrame([_row(*one) for one in _RATES]), "Published stocking rates", _NOTES)


def _row(species: str, size: str, text: str, basis: Basis, source: str) -> dict[str, Any]:
    rate = Rate.parse(text, source=source)
    return {
        "species": species,
        "size": size,
        "basis": basis,
        "rate": text,
        "rate_metric": rate.metric,
        "rate_us": rate.customary,
        "source": source,
    }
