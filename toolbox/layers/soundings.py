"""Soundings: the depths that were read, each with its place, its source and its fate."""

import copy
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected, project

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS

__all__ = ["Soundings", "points_at"]

T = TypeVar("T")

_FILL = {
    "time": np.datetime64("NaT", "ns"),
    "line": "",
    "source": "point",
    "sd": np.nan,
    "sd_xy": np.nan,
    "flag": False,
    "reason": "",
}


@dataclass(frozen=True, eq=False)
class Soundings:
    """Point soundings, none of them ever dropped.

    Parameters
    ----------
    frame : GeoDataFrame
        Points in a projected CRS in metres. Column ``depth``: metres below the datum water level,
        positive down. Columns added where missing: ``time`` (UTC), ``line``, ``source`` (cast,
        track, plummet, point), ``sd`` and ``sd_xy`` (m), ``flag`` (True: rejected), ``reason``.
    notes : tuple of str
        What was assumed or mended when the layer was read.

    Raises
    ------
    LayerError
        If a sounding that is not flagged has no depth or no place, or a flag has no reason.
    """

    frame: "GeoDataFrame"
    notes: tuple[str, ...] = ()
    _found: dict[Any, Any] = field(init=False, repr=False, default_factory=dict)

    def __post_init__(self) -> None:
        if "depth" not in self.frame:
            raise LayerError(f"soundings need a column 'depth', got {list(self.frame.columns)}")
        self._check_points()
        absent = {name: fill for name, fill in _FILL.items() if name not in self.frame}
        object.__setattr__(self, "frame", self.frame.assign(**absent))
        check_projected(self.crs, "soundings")
        place = np.isfinite(self.coordinates).all(axis=1)
        bad = ~self.flag & ~(np.isfinite(self.depth) & place)
        if bad.any():
            raise LayerError(f"sounding {int(bad.argmax())} has no depth or no place, and no flag")
        unexplained = self.flag & (self.frame["reason"] == "").to_numpy()
        if unexplained.any():
            raise LayerError(f"sounding {int(unexplained.argmax())} is flagged without a reason")

    def _check_points(self) -> None:
        import shapely

        other = shapely.get_type_id(self.frame.geometry.to_numpy()) > 0  # -1: none, 0: a point
        if other.any():
            kinds = sorted(set(self.frame.geometry[other].geom_type))
            raise LayerError(f"soundings must be points, got {', '.join(kinds)}")

    @classmethod
    def from_arrays(
        cls,
        coordinates: np.ndarray,
        depth: np.ndarray,
        *,
        crs: "CRS | None",
        notes: tuple[str, ...] = (),
        **columns: Any,
    ) -> "Soundings":
        """Make soundings of plain arrays; missing depths and places are flagged.

        Parameters
        ----------
        coordinates : (n, 2) array
            Easting and northing, m.
        depth : (n,) array
            Metres below the datum water level, positive down.
        crs : CRS or None
            Projected, in metres; None is a plane.
        notes : tuple of str
            What was assumed on the way.
        **columns
            Further columns, such as ``time`` or ``line``.

        Returns
        -------
        Soundings
            With reason ``no depth`` or ``no position`` where these are missing.
        """
        import geopandas

        coordinates, depth = np.asarray(coordinates, float), np.asarray(depth, float)
        if coordinates.shape != (len(depth), 2) or depth.ndim != 1:
            raise LayerError(
                f"coordinates must have shape (n, 2) and depth (n,), got {coordinates.shape} and "
                f"{depth.shape}"
            )
        place = np.isfinite(coordinates).all(axis=1)
        data = {"depth": depth, **_faults(place, np.isfinite(depth)), **columns}
        points = points_at(coordinates)
        return cls(geopandas.GeoDataFrame(data, geometry=points, crs=crs), notes)

    @classmethod
    def joined(cls, parts: "Sequence[Soundings]") -> "Soundings":
        """Put several layers of one CRS together, in their order."""
        import pandas as pd

        if any(part.crs != parts[0].crs for part in parts):
            raise LayerError("soundings to join must be in one CRS, project them first")
        frame = pd.concat([part.frame for part in parts], ignore_index=True)
        return cls(frame, tuple(note for part in parts for note in part.notes))

    @property
    def crs(self) -> "CRS | None":
        """Coordinate reference system."""
        return self.frame.crs

    @property
    def depth(self) -> np.ndarray:
        """Depths, shape (n,), m below the datum water level."""
        return self.frame["depth"].to_numpy(float)

    @property
    def flag(self) -> np.ndarray:
        """Which are rejected, shape (n,)."""
        return self.frame["flag"].to_numpy(bool)

    @property
    def coordinates(self) -> np.ndarray:
        """Easting and northing, shape (n, 2), m, not to be written to; NaN where there is none."""
        return self.once(_coordinates)

    @property
    def kept(self) -> "Soundings":
        """The soundings that are not rejected."""
        return Soundings(self.frame[~self.flag], self.notes)

    def __len__(self) -> int:
        """Count all soundings, rejected ones too."""
        return len(self.frame)

    def once(self, find: "Callable[[Soundings], T]") -> T:
        """Return what a function finds, the same again when it is asked again.

        Parameters
        ----------
        find : callable
            Of a module, not made anew for each call. What it finds must not depend on what is
            flagged, since it also holds for all layers that come of this one by `reject`.

        Returns
        -------
        any
            Shared: not to be changed.
        """
        if find not in self._found:
            self._found[find] = find(self)
        return self._found[find]

    def reject(self, which: np.ndarray, reason: str) -> "Soundings":
        """Flag more soundings; those already flagged keep their reason.

        Parameters
        ----------
        which : (n,) array of bool
            The soundings to reject.
        reason : str
            Why, in a few words.

        Returns
        -------
        Soundings
            As many as before.
        """
        new = np.asarray(which, bool) & ~self.flag
        if not new.any():
            return self
        if not reason:
            raise LayerError(f"sounding {int(new.argmax())} is flagged without a reason")
        reasons = self.frame["reason"].mask(new, reason)
        rejected = copy.copy(self)  # all else holds as it did, and need not be checked again
        frame = self.frame.assign(flag=self.flag | new, reason=reasons)
        object.__setattr__(rejected, "frame", frame)
        return rejected

    def rejections(self) -> dict[str, int]:
        """Count the rejected soundings by reason."""
        counts = self.frame.loc[self.flag, "reason"].value_counts()
        return {str(reason): int(count) for reason, count in counts.items()}

    def to_crs(self, crs: "CRS") -> "Soundings":
        """Project to another CRS in metres."""
        if self.crs is None or self.crs == crs:
            return self
        moved = project(self.coordinates, self.crs, crs)
        points = points_at(moved)
        frame = self.frame.set_geometry(points, crs=crs)
        return Soundings(frame, self.notes)


def _faults(place: np.ndarray, known: np.ndarray) -> dict[str, Any]:
    """Return the columns of flags and reasons for what lacks a place or a depth."""
    if (place & known).all():
        return {"flag": False, "reason": ""}
    reason = np.where(place, np.where(known, "", "no depth"), "no position")
    return {"flag": reason != "", "reason": reason}


def points_at(coordinates: np.ndarray) -> np.ndarray:
    """Return points at coordinates, shape (n, 2); None where there is no place."""
    import shapely

    place = np.isfinite(coordinates).all(axis=1)
    if place.all():
        return np.asarray(shapely.points(coordinates))
    points = np.full(len(place), None, dtype=object)
    points[place] = shapely.points(coordinates[place])
    return points


def _coordinates(soundings: Soundings) -> np.ndarray:
    import shapely

    points = soundings.frame.geometry.to_numpy()
    place = np.column_stack([shapely.get_x(points), shapely.get_y(points)])
    place.flags.writeable = False
    return place
