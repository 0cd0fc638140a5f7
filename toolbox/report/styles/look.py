"""Look: what a style must know of the water it is made for."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.units import round_number

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["Look", "stepped"]

_SHEET = 0.25  # m, of a screen or sheet that shows all of the water
_STEPS = 24  # of a ramp, about


@dataclass(frozen=True, eq=False)
class Look:
    """The water's depths and size, and the features of the layer where they matter.

    Parameters
    ----------
    depths : tuple of float
        Least and greatest depth, m.
    across : float
        Longer side of the water, m.
    frame : GeoDataFrame, optional
        The features.
    """

    depths: tuple[float, float]
    across: float
    frame: "GeoDataFrame | None" = None

    @property
    def whole(self) -> float:
        """Scale denominator at which a screen shows all of the water."""
        return round_number(self.across / _SHEET, up=True)

    @property
    def near(self) -> float:
        """Scale denominator at which a screen shows a fifth of the water or less."""
        return round_number(self.across / _SHEET / 5, up=True)

    @property
    def kinds(self) -> set[str]:
        """Kinds of shapes, without regard to how many parts they have."""
        if self.frame is None:
            return set()
        found = self.frame.geometry.geom_type.dropna().str.removeprefix("Multi")
        return set(found.replace("LinearRing", "LineString"))


def stepped(least: float, most: float) -> np.ndarray:
    """Return values from the least to the most, by a round step between the two ends."""
    most = max(most, least + max(0.01, abs(least) * 1e-6))  # what is level has a ramp too
    step = round_number((most - least) / _STEPS, up=True)
    first, last = np.floor(least / step) + 1, np.ceil(most / step) - 1
    inner = np.arange(first, last + 1) * step
    clear = (inner > least + 0.05 * step) & (inner < most - 0.05 * step)
    return np.r_[least, np.round(inner[clear], 12), most]
