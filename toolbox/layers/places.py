"""Places: points one asks about, such as docks and pegs, and what stands beside them."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected, project

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["Places"]


@dataclass(frozen=True, eq=False)
class Places:
    """Points and what stands beside them.

    Parameters
    ----------
    coordinates : (n, 2) array
        Easting and northing, m; NaN where missing.
    frame : DataFrame
        The other columns (of a vector file also the geometry, as it was), n rows.
    crs : CRS or None
        Projected, in metres; None is a plane.
    notes : tuple of str
        What was assumed.

    Raises
    ------
    LayerError
        If shapes disagree.
    """

    coordinates: np.ndarray
    frame: "pd.DataFrame"
    crs: "CRS | None"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_projected(self.crs, "places")
        place, count = np.asarray(self.coordinates, float), len(self.frame)
        if place.shape != (count, 2):
            raise LayerError(
                f"coordinates of {count} places must have shape ({count}, 2), got {place.shape}"
            )
        known = np.isfinite(place).all(axis=1)  # what is missing comes from a projection infinite
        object.__setattr__(self, "coordinates", np.where(known[:, None], place, np.nan))

    def __len__(self) -> int:
        """Count all places, those without coordinates too."""
        return len(self.frame)

    def to_crs(self, crs: "CRS") -> "Places":
        """Project to another CRS in metres."""
        if self.crs is None or self.crs == crs:
            return self
        return replace(self, coordinates=project(self.coordinates, self.crs, crs), crs=crs)
