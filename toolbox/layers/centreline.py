"""Centreline: lines along which a river or an arm runs."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected, project

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["Centreline"]


@dataclass(frozen=True, eq=False)
class Centreline:
    """Lines along which a water runs, in either direction.

    Parameters
    ----------
    lines : tuple of (k, 2) array
        Easting and northing along each line, m.
    crs : CRS or None
        Projected, in metres; None is a plane.
    notes : tuple of str
        What was assumed when the layer was read.

    Raises
    ------
    LayerError
        If there is no line, or one has fewer than two vertices, or one that is not finite.
    """

    lines: tuple[np.ndarray, ...]
    crs: "CRS | None"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_projected(self.crs, "centreline")
        if not self.lines:
            raise LayerError("a centreline needs at least one line, got none")
        for number, line in enumerate(self.lines):
            if line.ndim != 2 or line.shape[1] != 2 or len(line) < 2:
                raise LayerError(
                    f"centreline {number} must have shape (2 or more, 2), got {line.shape}"
                )
            if not np.isfinite(line).all():
                raise LayerError(f"centreline {number} must be finite: easting, northing")

    def to_crs(self, crs: "CRS") -> "Centreline":
        """Project to another CRS in metres."""
        if self.crs is None or self.crs == crs:
            return self
        moved = tuple(project(line, self.crs, crs) for line in self.lines)
        return Centreline(moved, crs, self.notes)
