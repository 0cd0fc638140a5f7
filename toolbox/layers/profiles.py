"""Profiles: temperature, oxygen and light down the water, at stations over time."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MEASURES", "Profiles"]

MEASURES = ("temperature_c", "oxygen_mg_l", "par")
"""What may be read at a depth; light in any unit that grows with it."""

_RANGES = {"temperature_c": (-2.0, 60.0), "oxygen_mg_l": (0.0, 40.0), "par": (0.0, np.inf)}


@dataclass(frozen=True, eq=False)
class Profiles:
    """Readings at depths, any number of stations and visits together.

    Parameters
    ----------
    frame : DataFrame
        One row a reading: ``time`` (UTC), ``station`` (text; one unnamed station where missing),
        ``depth_m`` (below the water surface of that day, positive down), and of ``temperature_c``,
        ``oxygen_mg_l``, ``par`` (light, in any linear unit) those that were read: at least one;
        those missing are added empty. ``surface_m`` is the depth of that day's water surface below
        the datum, 0 where missing. Further columns stay with them. Rows are put in the order of
        station, time and depth.
    notes : tuple of str
        What was assumed when they were read.

    Raises
    ------
    LayerError
        If a column is missing, a value is out of all reason, a depth negative, a time not UTC or
        empty, or one visit holds a depth twice.
    """

    frame: "pd.DataFrame"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        frame = self.frame
        if missing := [name for name in ("time", "depth_m") if name not in frame]:
            raise LayerError(f"profiles need a column {missing[0]!r}, got {list(frame.columns)}")
        if not any(name in frame for name in MEASURES):
            allowed = ", ".join(MEASURES)
            raise LayerError(f"profiles need one of {allowed}, got {list(frame.columns)}")
        filled: dict[str, Any] = {"station": "", "surface_m": 0.0}
        filled |= dict.fromkeys(MEASURES, np.nan)
        frame = frame.assign(**{name: fill for name, fill in filled.items() if name not in frame})
        _check(frame)
        order = ["station", "time", "depth_m"]
        frame = frame.sort_values(order, kind="stable", ignore_index=True)
        if (twice := frame.duplicated(order)).any():
            row = frame[twice].iloc[0]
            raise LayerError(
                f"the profile of {row['time']:%Y-%m-%d %H:%M} at station {row['station']!r} must "
                f"hold each depth once, got {row['depth_m']:g} m twice"
            )
        object.__setattr__(self, "frame", frame)

    def __len__(self) -> int:
        return len(self.frame)

    @property
    def stations(self) -> tuple[str, ...]:
        """Names of the stations, in order."""
        return tuple(str(name) for name in self.frame["station"].unique())

    def visits(self) -> Iterator[tuple[str, "pd.Timestamp", "pd.DataFrame"]]:
        """Give station, time and readings (from the surface down) of each visit."""
        groups: Any = self.frame.groupby(["station", "time"], sort=True)
        for (station, time), readings in groups:
            yield str(station), time, readings


def _check(frame: "pd.DataFrame") -> None:
    import pandas as pd

    if not isinstance(frame["time"].dtype, pd.DatetimeTZDtype) or str(frame["time"].dt.tz) != "UTC":
        raise LayerError(f"profile times must be UTC, got {frame['time'].dtype}")
    if frame["time"].isna().any():
        raise LayerError(
            f"row {int(frame['time'].isna().argmax()) + 1} of the profiles has no time"
        )
    depth = frame["depth_m"].to_numpy(float)
    _check_range("depth_m", depth, (0.0, 2000.0), empty=False)
    _check_range("surface_m", frame["surface_m"].to_numpy(float), (-1000.0, 1000.0), empty=False)
    for name, bounds in _RANGES.items():
        _check_range(name, frame[name].to_numpy(float), bounds, empty=True)


def _check_range(
    name: str, values: np.ndarray, bounds: tuple[float, float], *, empty: bool
) -> None:
    low, high = bounds
    wrong = ~((values >= low) & (values <= high))
    if empty:
        wrong &= ~np.isnan(values)
    if wrong.any():
        row = int(wrong.argmax())
        raise LayerError(
            f"row {row + 1} of the profiles: {name} must be {low:g} to {high:g}, "
            f"got {values[row]:g}"
        )
