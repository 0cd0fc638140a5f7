"""Sounded: pings and the echoes of fish in them, checked and put on one scale of depth."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.fish.beam import Beam
from toolbox.layers import Table
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Sounded", "night_hours"]

_GAP = 5.0
"""Pings farther apart than so many usual steps have a gap between them, as behind an island."""


def night_hours(start: float | None, end: float | None) -> tuple[float, float] | None:
    """Return both hours of the night, or None if neither is given."""
    if start is None and end is None:
        return None
    if start is None or end is None or start == end:
        raise ParameterError(
            f"night_start and night_end must be two hours, got {start!r} and {end!r}"
        )
    return start, end


@dataclass(frozen=True, eq=False)
class Sounded:
    """Pings along transects (or casts) and the echoes of fish in them.

    Parameters
    ----------
    transects : (n,) tuple of str
        The sampling units, in the order in which they first come.
    unit : (p,) array of int
        Of each ping, its transect.
    bed_range : (p,) array
        From the transducer to the bed, m.
    step : (p,) array or None
        Distance run for each ping, m; None where the pings do not tell.
    period : (p,) array of str
        ``day``, ``night`` or what the pings say; empty where they say nothing.
    ping : (e,) array of int
        Of each echo, its ping.
    range : (e,) array
        From the transducer to the fish, m.
    echoes : DataFrame
        Rows of the echoes, (e,).
    notes : tuple of str
        What was left out.
    """

    transects: tuple[str, ...]
    unit: np.ndarray
    bed_range: np.ndarray
    step: np.ndarray | None
    period: np.ndarray
    ping: np.ndarray
    range: np.ndarray
    echoes: "pd.DataFrame"
    notes: tuple[str, ...]

    @classmethod
    def of(
        cls,
        echoes: Table,
        pings: Table,
        *,
        draft: float = 0.0,
        night: tuple[float, float] | None = None,
    ) -> "Sounded":
        """Match echoes with pings.

        Parameters
        ----------
        echoes : Table
            Columns ``transect, ping``, and ``range_m`` (below the transducer) or ``depth_m``
            (below the surface).
        pings : Table
            Columns ``transect, ping``, and ``bed_range_m`` (below the transducer) or ``bed_m``
            (below the surface); ``distance_m`` along the transect, ``period`` or ``time`` (UTC)
            where wanted. A ping in which no fish answered belongs here as well.
        draft : float
            Of the transducer below the surface, m.
        night : (begin, end), optional
            Hours UTC; then the period is told by ``time``.

        Raises
        ------
        LayerError
            If a column is missing, a ping is there twice, or an echo has no ping.
        """
        named = _keys(pings, "pings")
        _check_lone(named)
        bed_range = _ranges(pings, "bed_range_m", "bed_m", draft)
        row = named.get_indexer(_keys(echoes, "echoes"))
        _check_found(row, echoes)
        heard = np.isfinite(bed_range)
        fish = _ranges(echoes, "range_m", "depth_m", draft)
        kept = heard[row] & np.isfinite(fish)
        notes = _left_out(int((~heard).sum()), int((~kept).sum()))
        names, unit = _numbered(named.get_level_values(0).to_numpy()[heard])
        step = _steps(pings, heard, unit)
        moved = np.cumsum(heard) - 1
        return cls(
            names,
            unit,
            bed_range[heard],
            step,
            _periods(pings, night)[heard],
            moved[row[kept]],
            fish[kept],
            echoes.frame[kept].reset_index(drop=True),
            (*echoes.notes, *pings.notes, *notes),
        )

    @property
    def periods(self) -> tuple[str, ...]:
        """The periods there are, in the order in which they first come."""
        return _numbered(self.period)[0]

    def during(self, period: str) -> "Sounded":
        """Keep the pings of one period; their transects are numbered anew."""
        if period not in self.periods:
            known = ", ".join(repr(name) for name in self.periods)
            raise ParameterError(f"period must be one of {known}, got {period!r}")
        pings = self.period == period
        echoes = pings[self.ping]
        moved = np.cumsum(pings) - 1
        names, unit = _numbered(np.array(self.transects, object)[self.unit[pings]])
        return Sounded(
            names,
            unit,
            self.bed_range[pings],
            None if self.step is None else self.step[pings],
            self.period[pings],
            moved[self.ping[echoes]],
            self.range[echoes],
            self.echoes[echoes].reset_index(drop=True),
            self.notes,
        )

    def told(self, beam: Beam) -> np.ndarray:
        """Tell which echoes lie where a beam tells fish, (e,)."""
        last = beam.last(self.bed_range)[self.ping]
        return (self.range >= beam.first) & (self.range < last)


def _keys(table: Table, what: str) -> "pd.MultiIndex":
    """Return transect and ping of each row; a transect may be a number or a name."""
    import pandas as pd

    if missing := [name for name in ("transect", "ping") if name not in table.frame]:
        raise LayerError(
            f"{what} must have the column {missing[0]!r}, got {list(table.frame.columns)}"
        )
    transect = table.frame["transect"].astype(str).to_numpy(object)
    return pd.MultiIndex.from_arrays([transect, table.column("ping")])


def _check_lone(named: "pd.MultiIndex") -> None:
    if not len(named):
        raise LayerError("pings must have at least one row")
    if (again := named.duplicated()).any():
        transect, ping = named[int(again.argmax())]
        raise LayerError(
            f"pings must be there once, got ping {ping:g} of transect {transect} twice"
        )


def _check_found(row: np.ndarray, echoes: Table) -> None:
    if (lost := row < 0).any():
        first = echoes.frame.iloc[int(lost.argmax())]
        raise LayerError(
            f"{counted(int(lost.sum()), 'echo has', 'echoes have')} no row in pings, the first in"
            f" ping {first['ping']} of transect {first['transect']}: pings must list every ping"
        )


def _ranges(table: Table, by_range: str, by_depth: str, draft: float) -> np.ndarray:
    if by_range in table.frame:
        return table.column(by_range)
    if by_depth in table.frame:
        return table.column(by_depth) - draft
    raise LayerError(
        f"the table needs a column {by_range!r} (below the transducer) or {by_depth!r} (below the"
        f" surface), got {list(table.frame.columns)}"
    )


def _left_out(deaf: int, echoes: int) -> tuple[str, ...]:
    notes = []
    if deaf:
        notes.append(f"{counted(deaf, 'ping')} without a bed left out")
    if echoes:
        notes.append(
            f"{counted(echoes, 'echo', 'echoes')} in such pings or without a range left out"
        )
    return tuple(notes)


def _numbered(names: np.ndarray) -> tuple[tuple[str, ...], np.ndarray]:
    import pandas as pd

    number, unique = pd.factorize(names)
    return tuple(unique), number


def _steps(pings: Table, heard: np.ndarray, unit: np.ndarray) -> np.ndarray | None:
    """Return half the way to the ping before and half to the next, m."""
    if "distance_m" not in pings.frame:
        return None
    along = pings.column("distance_m")[heard]
    step = np.zeros(len(along))
    for number in np.unique(unit):
        rows = np.flatnonzero(unit == number)
        order = rows[np.argsort(along[rows], kind="stable")]
        way = np.diff(along[order])
        usual = np.median(way) if len(way) else 0.0
        half = np.where(way > _GAP * usual, usual, way) / 2  # a gap was not sounded
        step[order] = np.r_[0, half] + np.r_[half, 0]
    return step


def _periods(pings: Table, night: tuple[float, float] | None) -> np.ndarray:
    import pandas as pd

    if night is None:
        if "period" not in pings.frame:
            return np.full(len(pings.frame), "", object)
        return pings.frame["period"].fillna("").astype(str).to_numpy(object)
    if "time" not in pings.frame:
        raise LayerError("pings need a column 'time' to tell night from day by hours")
    time = pd.to_datetime(pings.frame["time"], utc=True)
    hour = (time.dt.hour + time.dt.minute / 60 + time.dt.second / 3600).to_numpy(float)
    begin, end = night
    dark = (hour >= begin) & (hour < end) if begin < end else (hour >= begin) | (hour < end)
    return np.where(dark, "night", "day").astype(object)
