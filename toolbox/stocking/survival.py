"""Survival: from fish stocked to recruits, and back, step by step."""

import math
from typing import Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.stocking.demand import whole
from toolbox.tool import Range, tool

__all__ = ["survival_chain"]


@tool("Survival chain")
def survival_chain(
    steps: Table,
    *,
    recruits: Annotated[float, Range("fish", above=0)] | None = None,
    stocked: Annotated[float, Range("fish", above=0)] | None = None,
) -> Table:
    """Follow fish through steps of survival, from the recruits wanted or from those stocked.

    Parameters
    ----------
    steps : Table
        Columns ``step, likely, source``: a name, the share that survives (above 0, to 1), where
        the share comes from; and ``low, high``, the ends of its range, where known. In order.
    recruits : float, optional
        Fish wanted at the end.
    stocked : float, optional
        Fish at the beginning instead.

    Returns
    -------
    Table
        One row a step: ``step, survival, survival_low, survival_high``; ``fish_before, fish_after``
        with the likely shares; ``fish_before_low, fish_before_high, fish_after_low,
        fish_after_high``, the fewest and most there with every share at one end; ``source``. From
        `recruits` the fish after the last step are those wanted, and the first row holds what to
        stock, rounded up to whole fish; from `stocked` the first row holds those.

    Raises
    ------
    LayerError
        If a column is missing, a share is out of range or has no source.
    ParameterError
        If recruits and stocked are both given, or neither.

    Examples
    --------
    Of 200 recruits wanted, after half and then 60 % survive:

    >>> import pandas as pd
    >>> steps = pd.DataFrame({"step": ["winter", "summer"], "likely": [0.5, 0.6], "source": "told"})
    >>> float(survival_chain(Table(steps), recruits=200).frame["fish_before"][0])
    667.0
    """
    import pandas as pd

    if (recruits is None) == (stocked is None):
        raise ParameterError("give recruits or stocked, one of them")
    low, likely, high = _shares(steps)
    if stocked is not None:
        ends = [_onward(stocked, shares) for shares in (low, likely, high)]
    else:
        assert recruits is not None
        ends = [_back(recruits, shares) for shares in (high, likely, low)]
    columns: dict[str, object] = {"step": steps.frame["step"].to_numpy()}
    columns |= {"survival": likely, "survival_low": low, "survival_high": high}
    for place, name in ((0, "fish_before"), (1, "fish_after")):
        columns[name] = ends[1][place]
        columns |= {f"{name}_low": ends[0][place], f"{name}_high": ends[2][place]}
    columns["source"] = steps.frame["source"].to_numpy()
    total = f"{likely.prod():.4g} of the fish stocked become recruits"
    span = f" ({low.prod():.4g} to {high.prod():.4g})" if (low < high).any() else ""
    return Table(pd.DataFrame(columns), "Survival chain", (total + span,))


def _onward(stocked: float, shares: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    after = stocked * shares.cumprod()
    return np.r_[stocked, after[:-1]], after


def _back(recruits: float, shares: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    before = recruits / shares[::-1].cumprod()[::-1]
    after = np.r_[before[1:], recruits]
    before[0] = whole(float(before[0]), "up")
    return before, after


def _shares(steps: Table) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    frame = steps.frame
    for name in ("step", "likely", "source"):
        if name not in frame:
            raise LayerError(f"survival steps need a column {name!r}, got {list(frame.columns)}")
    likely = steps.column("likely")
    ends = [
        np.where(np.isnan(given := steps.column(name)), likely, given) if name in frame else likely
        for name in ("low", "high")
    ]
    wrong = ~((ends[0] > 0) & (ends[0] <= likely) & (likely <= ends[1]) & (ends[1] <= 1))
    unsourced = frame["source"].isna() | (frame["source"].astype(str).str.strip() == "")
    for row in range(len(frame)):
        name, share = frame["step"].iloc[row], likely[row]
        if wrong[row] or math.isnan(share):
            raise LayerError(
                f"step {name!r}: low, likely and high must ascend from above 0 to at most 1, got "
                f"{ends[0][row]:g}, {share:g}, {ends[1][row]:g}"
            )
        if unsourced[row]:
            raise LayerError(f"step {name!r}: survival {share:g} needs a source")
    if not len(frame):
        raise LayerError("survival steps must be one or more, got none")
    return ends[0], likely, ends[1]
