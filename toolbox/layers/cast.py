"""CastLog: what is noted at a peg about each cast, and what the sounder read on the way back."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected, project

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["CastLog"]

_NEEDED = ("cast", "easting", "northing", "bearing", "line_out")
_FILL = {"rod_tip": 0.0, "speed": np.nan, "arrival": np.nan, "water_level": np.nan}


@dataclass(frozen=True, eq=False)
class CastLog:
    """Casts with a sounder on a line, each retrieved from a known place.

    Parameters
    ----------
    casts : DataFrame
        One row a cast: ``cast`` (name), ``easting``, ``northing`` of the rod (m), ``bearing``
        (degrees clockwise from true north), ``line_out`` (m of line when the retrieve begins).
        Added where missing: ``rod_tip`` (height above the water, m; 0), ``speed`` (of the
        retrieve, m/s), ``arrival`` (seconds until the sounder is at the rod), ``start`` (UTC),
        ``water_level`` (elevation, m).
    pings : DataFrame
        One row a reading: ``cast``, ``seconds`` since the retrieve began, ``depth`` (m below the
        surface); further columns, such as ``canopy``, stay with it.
    crs : CRS or None
        Projected, in metres; None is a plane whose north is true.
    notes : tuple of str
        What was assumed when the log was read.

    Raises
    ------
    LayerError
        If a cast is named twice or lacks what it needs, or a ping belongs to no cast.
    """

    casts: "pd.DataFrame"
    pings: "pd.DataFrame"
    crs: "CRS | None"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_projected(self.crs, "casts")
        for name, frame, needed in (
            ("casts", self.casts, _NEEDED),
            ("pings", self.pings, ("cast", "seconds", "depth")),
        ):
            if missing := [column for column in needed if column not in frame]:
                raise LayerError(f"{name} need columns {missing}, got {list(frame.columns)}")
        absent = {name: fill for name, fill in _FILL.items() if name not in self.casts}
        if "start" not in self.casts:
            absent["start"] = np.datetime64("NaT", "ns")  # type: ignore[assignment]
        casts = self.casts.assign(**absent, cast=self.casts["cast"].astype(str))
        object.__setattr__(self, "casts", casts.reset_index(drop=True))
        object.__setattr__(self, "pings", self.pings.assign(cast=self.pings["cast"].astype(str)))
        self._check_casts()

    def _check_casts(self) -> None:
        repeated = self.casts["cast"][self.casts["cast"].duplicated()]
        if len(repeated):
            raise LayerError(f"cast {repeated.iloc[0]!r} is in the log twice")
        unknown = self.pings["cast"][~self.pings["cast"].isin(self.casts["cast"])]
        if len(unknown):
            raise LayerError(f"pings name cast {unknown.iloc[0]!r}, which is not in the log")
        allowed = (
            ("line_out", lambda v: v > 0, "more than 0 m"),
            ("rod_tip", lambda v: v >= 0, "0 m or more"),
            ("bearing", np.isfinite, "a number of degrees"),
            ("speed", lambda v: np.isnan(v) | (v > 0), "more than 0 m/s, or empty"),
            ("arrival", lambda v: np.isnan(v) | (v > 0), "more than 0 s, or empty"),
        )
        for name, holds, text in allowed:
            values = self.casts[name].to_numpy(float)
            wrong = ~holds(values)
            if wrong.any():
                row = int(wrong.argmax())
                cast = self.casts["cast"].iloc[row]
                raise LayerError(f"cast {cast!r}: {name} must be {text}, got {values[row]:g}")

    def to_crs(self, crs: "CRS") -> "CastLog":
        """Project to another CRS in metres."""
        if self.crs is None or self.crs == crs:
            return self
        place = self.casts[["easting", "northing"]].to_numpy(float)
        easting, northing = project(place, self.crs, crs).T
        return CastLog(
            self.casts.assign(easting=easting, northing=northing), self.pings, crs, self.notes
        )
