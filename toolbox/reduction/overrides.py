"""Overrides: what a person decides about a sounding stands, whatever the tools say."""

from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Soundings, Table
from toolbox.tool import tool
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["BY_HAND", "apply_overrides"]

BY_HAND = "rejected by hand"

_CHOICES = ("record", "line", "start", "end")


@tool("Soundings kept and rejected by hand")
def apply_overrides(soundings: Soundings, overrides: Table) -> Soundings:
    """Keep and reject soundings as a person has listed them.

    Parameters
    ----------
    soundings : Soundings
        Points, flagged or not.
    overrides : Table
        One decision a row: ``action`` is "keep" or "reject"; ``record``, ``line``, ``start`` and
        ``end`` say which soundings, all that are given together; ``reason`` may say why. A record
        is the value of the soundings' own column ``record``, or their number in the layer, counted
        from 1, where there is none. Start and end are times (UTC where they name no zone), both
        included.

    Returns
    -------
    Soundings
        As many as before. What is rejected carries the reason given, or "rejected by hand"; what
        is kept has no flag and no reason. A later row overrides an earlier one.

    Raises
    ------
    LayerError
        If the table has no column ``action``, a row names no action or no soundings, a time cannot
        be read, or a sounding to keep has no depth or no place. A row that fits no sounding is
        told of in the notes.
    """
    if "action" not in overrides.frame:
        raise LayerError(f"overrides need a column 'action', got {list(overrides.frame.columns)}")
    flag, reason = soundings.flag.copy(), soundings.frame["reason"].to_numpy(object).copy()
    notes = []
    for number, row in enumerate(overrides.frame.to_dict("records"), start=1):
        which = _chosen(soundings, row, number)
        action = row["action"]
        if action not in ("keep", "reject"):
            raise LayerError(f"override {number}: action must be keep or reject, got {action!r}")
        flag[which] = action == "reject"
        reason[which] = (_given(row, "reason") or BY_HAND) if action == "reject" else ""
        notes.append(f"override {number}: {action} {counted(int(which.sum()), 'sounding')}")
    _check_kept(soundings, flag)
    frame = soundings.frame.assign(flag=flag, reason=reason)
    return Soundings(frame, (*soundings.notes, *notes))


def _given(row: dict[Any, Any], name: str) -> Any:
    """Return what a row has in a column, None where that is nothing."""
    value = row.get(name)
    return None if value is None or value != value or value == "" else value


def _chosen(soundings: Soundings, row: dict[Any, Any], number: int) -> np.ndarray:
    """Tell which soundings a row means."""
    asked = {name: value for name in _CHOICES if (value := _given(row, name)) is not None}
    if not asked:
        raise LayerError(f"override {number} must name at least one of {', '.join(_CHOICES)}")
    which = np.ones(len(soundings), bool)
    frame = soundings.frame
    if "record" in asked:
        own = frame["record"] if "record" in frame else np.arange(1, len(frame) + 1)
        which &= _same(np.asarray(own), asked["record"])
    if "line" in asked:
        which &= _same(frame["line"].to_numpy(object), asked["line"])
    time = _times(soundings)
    if "start" in asked:
        which &= (time >= _time(asked["start"], number)).to_numpy()
    if "end" in asked:
        which &= (time <= _time(asked["end"], number)).to_numpy()
    return which


def _same(values: np.ndarray, asked: Any) -> np.ndarray:
    """Compare names that may be numbers in one table and text, or 7.0, in another."""
    return np.array([_name(value) == _name(asked) for value in values], dtype=bool)


def _name(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _times(soundings: Soundings) -> "pd.Series[pd.Timestamp]":
    import pandas as pd

    return pd.to_datetime(soundings.frame["time"], utc=True)


def _time(text: Any, number: int) -> "pd.Timestamp":
    import pandas as pd

    try:
        time = pd.Timestamp(text)
    except ValueError as error:
        raise LayerError(f"override {number}: {text!r} is no time") from error
    return time.tz_localize("UTC") if time.tz is None else time.tz_convert("UTC")


def _check_kept(soundings: Soundings, flag: np.ndarray) -> None:
    """Refuse to keep what is no sounding."""
    place = np.isfinite(soundings.coordinates).all(axis=1)
    bad = ~flag & ~(np.isfinite(soundings.depth) & place)
    if bad.any():
        raise LayerError(
            f"overrides keep sounding {int(bad.argmax()) + 1}, which has no depth or no place"
        )
