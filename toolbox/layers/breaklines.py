"""Breaklines: lines of known depth that the bed must follow."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected, project

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["Breaklines"]


@dataclass(frozen=True, eq=False)
class Breaklines:
    """Lines with a depth at every vertex: isobaths, drop-off edges, thalwegs.

    Parameters
    ----------
    lines : tuple of (k, 3) array
        Easting, northing (m) and depth (m below the datum water level, positive down) along each
        line. A ring repeats its first vertex at its end.
    crs : CRS or None
        Projected, in metres; None is a plane.
    notes : tuple of str
        What was assumed or mended when the layer was read.

    Raises
    ------
    LayerError
        If a line has fewer than two vertices, or one that is not finite.
    """

    lines: tuple[np.ndarray, ...]
    crs: "CRS | None"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_projected(self.crs, "breaklines")
        for number, line in enumerate(self.lines):
            if line.ndim != 2 or line.shape[1] != 3 or len(line) < 2:
                raise LayerError(
                    f"breakline {number} must have shape (2 or more, 3), got {line.shape}"
                )
            if not np.isfinite(line).all():
                raise LayerError(f"breakline {number} must be finite: easting, northing, depth")

    def to_crs(self, crs: "CRS") -> "Breaklines":
        """Project to another CRS in metres."""
        if self.crs is None or self.crs == crs:
            return self
        here = self.crs
        moved = tuple(
            np.column_stack([project(line[:, :2], here, crs), line[:, 2]]) for line in self.lines
        )
        return Breaklines(moved, crs, self.notes)
