"""Mark and recapture: how many fish there are by how many marked ones are caught again."""

from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Table
from toolbox.tool import Range, tool

__all__ = ["mark_recapture"]

_FEW = 7
"""Recaptures below which the estimate itself is not to be trusted (from memory)."""


@tool("Number of fish by mark and recapture")
def mark_recapture(
    *,
    marked: Annotated[int, Range("", min=1)],
    caught: Annotated[int, Range("", min=1)],
    recaptured: Annotated[int, Range("", min=0)],
) -> Table:
    """Estimate how many fish there are from one marking and one later catch.

    Parameters
    ----------
    marked : int
        Fish marked and set free.
    caught : int
        Fish caught later, marked and unmarked.
    recaptured : int
        Marked ones among them.

    Returns
    -------
    Table
        One row: ``marked, caught, recaptured, number, number_sd, number_low, number_high``, the
        last two the ends of the 90 % interval.

    Raises
    ------
    ParameterError
        If more were recaptured than marked or caught.

    Notes
    -----
    Chapman's form, (M + 1)(C + 1) / (R + 1) - 1, which hardly errs on average, with the variance
    (M + 1)(C + 1)(M - R)(C - R) / ((R + 1)^2 (R + 2)). The interval is Sadinle's, on the scale of
    the log odds: unlike the number and two of its sd to either side it is never less than the fish
    seen, and holds the true number about as often as it says.

    Nothing may be born, die, come or go between, all must be as easy to catch, and no mark may be
    lost or overlooked.

    References
    ----------
    Chapman 1951, Univ. California Publ. Stat. 1:131; Seber 1982, The Estimation of Animal
    Abundance, 2nd ed., section 3.1 (variance, from memory).

    Sadinle 2009, Communications in Statistics - Simulation and Computation 38:1909, "Transformed
    logit confidence intervals for small populations in single capture-recapture estimation",
    doi:10.1080/03610910903168595 (from memory).
    """
    import pandas as pd

    if recaptured > min(marked, caught):
        raise ParameterError(
            f"recaptured must be at most marked ({marked}) and caught ({caught}), got {recaptured}"
        )
    m, c, r = marked, caught, recaptured
    number = (m + 1) * (c + 1) / (r + 1) - 1
    variance = (m + 1) * (c + 1) * (m - r) * (c - r) / ((r + 1) ** 2 * (r + 2))
    low, high = _interval(m, c, r)
    row = {"marked": m, "caught": c, "recaptured": r, "number": number}
    row |= {"number_sd": np.sqrt(variance), "number_low": low, "number_high": high}
    notes = ["low and high: 90 % interval", "holds for a closed water and marks that all are seen"]
    if r < _FEW:
        notes.append(f"{r} recaptured: with fewer than {_FEW} the number may be far too small")
    return Table(pd.DataFrame([row]), "Number of fish by mark and recapture", tuple(notes))


def _interval(marked: int, caught: int, recaptured: int) -> tuple[float, float]:
    """Return the ends of the 90 % interval."""
    both, first, second = recaptured + 0.5, marked - recaptured + 0.5, caught - recaptured + 0.5
    spread = np.sqrt(1 / both + 1 / first + 1 / second + both / (first * second))
    reach = np.exp(1.6448536269514722 * spread)
    seen, unseen = marked + caught - recaptured - 0.5, first * second / both
    low = max(seen + unseen / reach, float(marked + caught - recaptured))
    return float(low), float(seen + unseen * reach)
