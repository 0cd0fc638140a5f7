"""TrackLog: where a boat was, and what its sounder read on the way, each by its own clock."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["MEASURED_FROM", "TrackLog"]

MEASURED_FROM = ("surface", "transducer", "keel")
"""What a depth in a log may be counted from."""

_NEEDED = {
    "fixes": ("time", "longitude", "latitude"),
    "depths": ("time", "depth"),
    "temperatures": ("time", "temperature"),
}
_FILL: dict[str, dict[str, Any]] = {
    "fixes": {"valid": True, "run": 0},
    "depths": {"measured_from": "transducer", "run": 0},
    "temperatures": {"run": 0},
}


@dataclass(frozen=True, eq=False)
class TrackLog:
    """Fixes and depths in the order of the log, none of them placed yet.

    Parameters
    ----------
    fixes : DataFrame
        ``time`` (UTC), ``longitude``, ``latitude`` (degrees on WGS 84); ``valid`` (False: the
        receiver itself says that it has no fix), added where missing.
    depths : DataFrame
        ``time`` (UTC, NaT where the log does not tell), ``depth`` (m, positive down, NaN where the
        bottom was lost); ``measured_from`` (surface, transducer, keel), "transducer" if missing.
        Further columns, such as ``depth_read``, stay with them.
    temperatures : DataFrame, optional
        ``time`` (UTC) and ``temperature`` of the water (degrees Celsius).
    counts : mapping of str to int
        What was read, and what was skipped and why.
    notes : tuple of str
        What was assumed when the log was read.
    crs : CRS, optional
        Projected, in metres: the one to place its depths in. None: a suitable zone of the Universal
        Transverse Mercator. The fixes stay in degrees.

    Raises
    ------
    LayerError
        If a column is missing, a time is not UTC, a valid fix has no time or no place on Earth, or
        the CRS is not projected in metres.

    Notes
    -----
    All three frames have a column ``run``, added where missing: a log whose clock was set back
    starts a new run there, and nothing is interpolated from one run to another.
    """

    fixes: "pd.DataFrame"
    depths: "pd.DataFrame"
    temperatures: "pd.DataFrame | None" = None
    counts: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    crs: "CRS | None" = None

    def __post_init__(self) -> None:
        import pandas as pd

        if self.temperatures is None:
            none = pd.DataFrame({"time": pd.DatetimeIndex([], tz="UTC"), "temperature": []})
            object.__setattr__(self, "temperatures", none)
        for name in _NEEDED:
            object.__setattr__(self, name, _checked(getattr(self, name), name))
        self._check_fixes()
        check_projected(self.crs, "the track")
        unknown = sorted(set(self.depths["measured_from"].unique()) - set(MEASURED_FROM))
        if unknown:
            allowed = ", ".join(MEASURED_FROM)
            raise LayerError(f"depths must be measured from one of {allowed}, got {unknown[0]!r}")

    def to_crs(self, crs: "CRS") -> "TrackLog":
        """Have its depths placed in another CRS in metres."""
        return replace(self, crs=crs)

    def _check_fixes(self) -> None:
        valid = self.fixes["valid"].to_numpy(bool)
        for name, limit in (("longitude", 360), ("latitude", 90)):
            degrees = self.fixes[name].to_numpy(float)
            wrong = valid & ~(np.abs(degrees) <= limit)
            if wrong.any():
                row = int(wrong.argmax())
                raise LayerError(
                    f"fix {row}: {name} must be within {limit} degrees, got {degrees[row]:g}"
                )
        timeless = valid & self.fixes["time"].isna().to_numpy()
        if timeless.any():
            raise LayerError(f"fix {int(timeless.argmax())} has no time")

    def __len__(self) -> int:
        """Count the depth readings, missing ones too."""
        return len(self.depths)


def _checked(frame: "pd.DataFrame", name: str) -> "pd.DataFrame":
    """Return the frame with all its columns; raise LayerError if it lacks one it needs."""
    import pandas as pd

    if missing := [column for column in _NEEDED[name] if column not in frame]:
        raise LayerError(f"{name} need columns {missing}, got {list(frame.columns)}")
    if not isinstance(frame["time"].dtype, pd.DatetimeTZDtype):
        raise LayerError(f"times of {name} must be in UTC, got {frame['time'].dtype}")
    absent = {column: fill for column, fill in _FILL[name].items() if column not in frame}
    time = frame["time"].dt.tz_convert("UTC").dt.as_unit("us")
    return frame.assign(**absent, time=time).reset_index(drop=True)
