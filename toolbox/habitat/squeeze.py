"""Squeeze: when suitable water runs short, and when there is enough of it."""

from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["habitat_squeeze", "suitable_periods"]

LEAST_THICKNESS = 1.0
"""Thickness below which a layer counts as a squeeze, m (no source: set it for the species)."""

_DAY = 86400.0

Spans = list[tuple[float, float]]
"""Periods from and to, s, ascending and apart."""


@tool("Squeeze of each species")
def habitat_squeeze(
    suitable: Table,
    *,
    least_thickness: Annotated[float, Range("m", min=0)] = LEAST_THICKNESS,
    least_share: Annotated[float, Range("", min=0, max=1)] = 0.0,
) -> Table:
    """Summarise through the season how little suitable water each species was left.

    Parameters
    ----------
    suitable : Table
        Suitable water through the season, best with moments a day apart.
    least_thickness : float
        Thickness of the thickest suitable layer below which the species is squeezed.
    least_share : float
        Share of all water below which it is squeezed too.

    Returns
    -------
    Table
        One row a species, in the order of `suitable`: ``species, from_time, to_time`` (what the
        profiles cover); ``least_volume_m3, least_volume_low_m3, least_volume_high_m3,
        least_volume_time`` (the first time of that least volume); ``least_thickness_m,
        least_thickness_time``; ``squeezes``, how many periods, ``squeezed_days`` in all, and the
        longest of them: ``longest_start, longest_end, longest_days``; ``days_without`` any suitable
        water; ``first_suitable, last_suitable``, between which lie all moments with suitable water;
        ``windows``, how many periods without squeeze there are. Times are UTC; empty where there
        are none.

    Raises
    ------
    LayerError
        If the table is no such table.

    Notes
    -----
    Between rows thickness and share are taken as linear, and a period begins or ends where the line
    crosses its least. Nothing is told beyond the first and the last row: a squeeze that holds there
    may be longer.
    """
    import pandas as pd

    rows = [
        {"species": name} | _summary(times, part, least_thickness, least_share)
        for name, times, part in _by_species(suitable)
    ]
    notes = (*suitable.notes, _terms(least_thickness, least_share))
    return Table(pd.DataFrame(rows), "Squeeze of suitable water", notes)


@tool("Periods of squeeze and of suitable water")
def suitable_periods(
    suitable: Table,
    *,
    least_thickness: Annotated[float, Range("m", min=0)] = LEAST_THICKNESS,
    least_share: Annotated[float, Range("", min=0, max=1)] = 0.0,
) -> Table:
    """List the periods in which each species is squeezed, and the windows in which it is not.

    Parameters
    ----------
    suitable : Table
        Suitable water through the season, best with moments a day apart.
    least_thickness : float
        Thickness of the thickest suitable layer below which the species is squeezed.
    least_share : float
        Share of all water below which it is squeezed too.

    Returns
    -------
    Table
        One row a period, by species and then by time: ``species, kind`` (``squeeze``, or ``window``
        in which fish put into the water find enough that suits them); ``start, end`` (UTC),
        ``days``; ``open_start, open_end``, whether it may have begun before the first row or gone
        on after the last; ``least_thickness_m, least_volume_m3`` in it, and ``least_volume_time``.

    Raises
    ------
    LayerError
        If the table is no such table.

    Notes
    -----
    As for the squeeze of each species. Fish to be stocked need the window to last: see how long it
    is, and what follows.
    """
    import pandas as pd

    names = [
        "species", "kind", "start", "end", "days", "open_start", "open_end", "least_thickness_m",
        "least_volume_m3", "least_volume_time",
    ]  # fmt: skip
    rows = [
        {"species": name} | row
        for name, times, part in _by_species(suitable)
        for row in _periods(times, part, least_thickness, least_share)
    ]
    notes = (*suitable.notes, _terms(least_thickness, least_share))
    return Table(pd.DataFrame(rows, columns=names), "Periods of suitable water", notes)


def _terms(least_thickness: float, least_share: float) -> str:
    share = f", or less than {least_share:.3g} of all water suits" if least_share > 0 else ""
    return f"squeezed: no suitable layer is as thick as {least_thickness:g} m{share}"


def _by_species(suitable: Table) -> list[tuple[str, np.ndarray, "pd.DataFrame"]]:
    """Split the table; times in seconds, each once and ascending."""
    import pandas as pd

    needed = ("species", "time", "suitable_volume_m3", "share", "thickness_m")
    if missing := [name for name in needed if name not in suitable.frame]:
        raise LayerError(
            f"a table of suitable water needs a column {missing[0]!r}, got "
            f"{list(suitable.frame.columns)}"
        )
    frame = suitable.frame
    try:
        times = pd.to_datetime(frame["time"], utc=True, format="ISO8601")
    except ValueError as error:
        raise LayerError(f"column 'time' must hold times: {error}") from error
    frame = frame.assign(time=times.dt.as_unit("ns"))
    if (twice := frame.duplicated(["species", "time"])).any():
        row = frame[twice].iloc[0]
        raise LayerError(
            f"each species must have each time once, got {row['species']!r} at "
            f"{row['time']:%Y-%m-%d %H:%M} twice"
        )
    ordered = frame.sort_values("time", kind="stable")
    parts = {str(name): part for name, part in ordered.groupby("species", sort=False)}
    names = dict.fromkeys(map(str, frame["species"]))
    return [(name, _seconds(parts[name]), parts[name].reset_index(drop=True)) for name in names]


def _seconds(part: "pd.DataFrame") -> np.ndarray:
    return part["time"].astype("int64").to_numpy() / 1e9


def _squeezed(times: np.ndarray, part: "pd.DataFrame", thickness: float, share: float) -> Spans:
    """Return the periods in which the thickness or the share lies below its least."""
    thick, shares = (part[name].to_numpy(float) for name in ("thickness_m", "share"))
    return _united(_below(times, thick, thickness) + _below(times, shares, share))


def _below(times: np.ndarray, values: np.ndarray, least: float) -> Spans:
    """Return the periods in which a line through values lies below its least."""
    low = values < least
    if len(times) == 1:
        return [(float(times[0]), float(times[0]))] if low[0] else []
    spans = []
    for row in np.flatnonzero(low[:-1] | low[1:]):
        start, end = times[row], times[row + 1]
        if low[row] != low[row + 1]:
            change = (least - values[row]) / (values[row + 1] - values[row])
            crossing = start + change * (end - start)
            start, end = (start, crossing) if low[row] else (crossing, end)
        spans.append((float(start), float(end)))
    return spans


def _united(spans: Spans) -> Spans:
    """Join spans that touch or overlap."""
    joined: Spans = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], end)
        else:
            joined.append((start, end))
    return joined


def _between(times: np.ndarray, spans: Spans) -> Spans:
    """Return what spans leave of the time from the first to the last."""
    edges = [float(times[0]), *(edge for span in spans for edge in span), float(times[-1])]
    rest = list(zip(edges[::2], edges[1::2], strict=True))
    if len(times) == 1:
        return [] if spans else rest
    return [(start, end) for start, end in rest if end > start]


def _without(times: np.ndarray, part: "pd.DataFrame") -> float:
    """Return the days between rows that both have no suitable water."""
    none = part["thickness_m"].to_numpy(float) <= 0
    return float(np.diff(times)[none[:-1] & none[1:]].sum() / _DAY)


def _summary(
    times: np.ndarray, part: "pd.DataFrame", least_thickness: float, least_share: float
) -> dict[str, Any]:
    import pandas as pd

    squeezes = _squeezed(times, part, least_thickness, least_share)
    longest = max(squeezes, key=lambda span: span[1] - span[0], default=None)
    least, thinnest = (
        part.iloc[int(part[name].argmin())] for name in ("suitable_volume_m3", "thickness_m")
    )
    some = part["time"][part["thickness_m"] > 0]
    bands = {
        f"least_volume_{end}_m3": least.get(f"suitable_volume_{end}_m3", np.nan)
        for end in ("low", "high")
    }
    return {
        "from_time": part["time"].iloc[0],
        "to_time": part["time"].iloc[-1],
        "least_volume_m3": least["suitable_volume_m3"],
        **bands,
        "least_volume_time": least["time"],
        "least_thickness_m": thinnest["thickness_m"],
        "least_thickness_time": thinnest["time"],
        "squeezes": len(squeezes),
        "squeezed_days": sum(end - start for start, end in squeezes) / _DAY,
        "longest_start": _time(longest[0]) if longest else pd.NaT,
        "longest_end": _time(longest[1]) if longest else pd.NaT,
        "longest_days": (longest[1] - longest[0]) / _DAY if longest else 0.0,
        "days_without": _without(times, part),
        "first_suitable": some.min(),
        "last_suitable": some.max(),
        "windows": len(_between(times, squeezes)),
    }


def _periods(
    times: np.ndarray, part: "pd.DataFrame", least_thickness: float, least_share: float
) -> list[dict[str, Any]]:
    squeezes = _squeezed(times, part, least_thickness, least_share)
    kinds = [("squeeze", span) for span in squeezes]
    kinds += [("window", span) for span in _between(times, squeezes)]
    return [
        _period(kind, span, times, part) for kind, span in sorted(kinds, key=lambda one: one[1])
    ]


def _period(
    kind: str, span: tuple[float, float], times: np.ndarray, part: "pd.DataFrame"
) -> dict[str, Any]:
    start, end = span
    inside = times[(times > start) & (times < end)]
    when = np.unique(np.r_[start, inside, end])
    volume, thickness = (
        np.interp(when, times, part[name].to_numpy(float))
        for name in ("suitable_volume_m3", "thickness_m")
    )
    return {
        "kind": kind,
        "start": _time(start),
        "end": _time(end),
        "days": (end - start) / _DAY,
        "open_start": bool(start == times[0]),
        "open_end": bool(end == times[-1]),
        "least_thickness_m": float(thickness.min()),
        "least_volume_m3": float(volume.min()),
        "least_volume_time": _time(float(when[volume.argmin()])),
    }


def _time(seconds: float) -> "pd.Timestamp":
    import pandas as pd

    return pd.Timestamp(round(seconds), unit="s", tz="UTC")
