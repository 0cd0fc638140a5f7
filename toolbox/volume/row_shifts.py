"""Shifts in a stage table: a column that stands a row too low or too high from some row on."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from toolbox.volume.consistency import Chain, Rows

__all__ = ["Shift", "shifted"]

_FEWEST = 3  # rows that a shift must move
_TRIED = 20  # rows from which on it may begin, the likeliest first
_WRONG = 2  # rows at odds from which one looks for a shift

Field = Literal["area", "below", "depth"]


@dataclass(frozen=True)
class Shift:
    """A column whose figures stand a row from where they belong.

    Parameters
    ----------
    field : str
        Of :class:`Rows`.
    row : int
        The first that is wrong, counted as the table is listed, from 0.
    low : bool
        Whether figures stand a row too low in the list, as after one was entered twice; else too
        high, as after one was left out.
    """

    field: Field
    row: int
    low: bool


def shifted(rows: Rows, found: Chain) -> Shift | None:
    """Return the shift without which a table does not contradict itself, if there is one.

    Parameters
    ----------
    rows : Rows
        As sorted from the top down.
    found : Chain
        Its rows that do not contradict each other.

    Returns
    -------
    Shift or None
        None too where but one row is at odds: that is wrong itself. Of several rows from which on a
        shift would mend the table, the one where it fits best.
    """
    wrong = len(rows) - len(found.kept) + len(found.broken)
    listed = _as_listed(rows)
    if wrong < _WRONG or listed is None:
        return None
    fields: tuple[Field, ...] = ("area", "below", "depth") if rows.has_volume else ("area", "depth")
    fits = [fit for field in fields for low in (True, False) for fit in _fits(listed, field, low)]
    return min(fits, key=lambda fit: fit[0])[1] if fits else None


def _as_listed(rows: Rows) -> "_Listed | None":
    steps = np.diff(rows.number)
    upward = bool((steps < 0).sum() > (steps > 0).sum())
    order = np.lexsort((-rows.number if upward else rows.number, rows.depth))
    listed = _Listed(rows, order[::-1] if upward else order)
    return listed if (np.diff(rows.number[listed.order]) > 0).all() else None


@dataclass(frozen=True)
class _Listed:
    """Rows, and their places in the order in which the table lists them."""

    rows: Rows
    order: np.ndarray

    def misfit(self, field: Field, place: np.ndarray, kept: np.ndarray) -> np.ndarray:
        """Tell how well neighbours follow if a column of the rows `kept` is that of `place`."""
        own, other = self.order[kept], self.order[place]
        columns = {name: getattr(self.rows, name)[own] for name in ("depth", "area", "below")}
        columns[field] = getattr(self.rows, field)[other]
        units = {
            name: np.broadcast_to(getattr(self.rows, name), len(self.rows))[
                other if field == moved else own
            ]
            for name, moved in (("area_unit", "area"), ("volume_unit", "below"))
        }
        moved = replace(self.rows, number=self.rows.number[own], **columns, **units)
        first = np.arange(len(kept) - 1)
        down = columns["depth"][-1] > columns["depth"][0]
        return moved.misfit(*((first, first + 1) if down else (first + 1, first)))


def _fits(listed: _Listed, field: Field, low: bool) -> Iterator[tuple[float, Shift]]:
    """Give shifts of a column that leave nothing at odds, and how ill the rows fit then."""
    whole = np.arange(len(listed.rows))
    last = len(whole) - 1
    ways = (whole[1:], whole[:-1]) if low else (whole[:-1], whole[1:])
    # the rows above the first that is wrong follow each other, and so do those from it on, moved
    before = np.r_[0.0, 0.0, listed.misfit(field, whole, whole).cumsum()[:-1]]
    after = np.r_[listed.misfit(field, *ways)[::-1].cumsum()[::-1], 0.0, 0.0]
    misfit = (before + after)[: last - _FEWEST + 1]
    likely = np.argsort(misfit, kind="stable")[:_TRIED]
    for row in likely[np.isfinite(misfit[likely])].tolist():
        kept = whole[whole != (last if low else row)]
        place = np.where(kept < row, kept, kept + (1 if low else -1))
        mended = listed.misfit(field, place, kept)
        if np.isfinite(mended).all():
            yield float(mended.mean()), Shift(field, row, low)
