"""View: how places on the ground come onto paper, at a scale that is a round number."""

import math
from dataclasses import dataclass

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers.geodesy import areal_scale
from toolbox.report.sheet.paper import MM, Box

__all__ = [
    "MARGIN",
    "View",
    "fitting_scale",
    "ground_factor",
    "needed_scale",
    "round_scale",
    "scale_text",
]

Bounds = tuple[float, float, float, float]

_ROUND = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 10.0)
_LEAST = 100.0
MARGIN = 4 * MM
"""Between the water and the frame of its map, points."""


@dataclass(frozen=True)
class View:
    """Part of the ground on paper, grid north up.

    Parameters
    ----------
    box : Box
        Frame of the map, points.
    centre : tuple of float
        Easting and northing in the middle of the frame, m.
    scale : float
        1 m on paper stands for so many metres on the ground.
    factor : float
        Metres of the grid to one on the ground.
    """

    box: Box
    centre: tuple[float, float]
    scale: float
    factor: float = 1.0

    @property
    def points_to_metre(self) -> float:
        """Points to one metre of the grid."""
        return 1000 * MM / (self.scale * self.factor)

    @property
    def bounds(self) -> Bounds:
        """West, south, east and north of the frame, m."""
        easting, northing = self.centre
        across = self.box.width / 2 / self.points_to_metre
        up = self.box.height / 2 / self.points_to_metre
        return easting - across, northing - up, easting + across, northing + up

    def __call__(self, places: np.ndarray) -> np.ndarray:
        """Return where places, (n, 2) in metres, lie on paper, points."""
        return (np.asarray(places, float) - self.centre) * self.points_to_metre + self.box.centre

    def on_ground(self, points: float) -> float:
        """Return a length on paper as metres of the grid."""
        return points / self.points_to_metre


def ground_factor(crs: object, bounds: Bounds) -> float:
    """Return how many metres of the grid stand for one on the ground, amid the bounds."""
    west, south, east, north = bounds
    middle = np.array([[(west + east) / 2, (south + north) / 2]])
    return math.sqrt(float(areal_scale(crs, middle)[0]))  # type: ignore[arg-type]


def needed_scale(bounds: Bounds, frame: Box, factor: float) -> float:
    """Return the scale at which bounds just fill a frame."""
    west, south, east, north = bounds
    across = (east - west) / max(frame.width - 2 * MARGIN, MM)
    up = (north - south) / max(frame.height - 2 * MARGIN, MM)
    return max(across, up) * 1000 * MM / factor


def round_scale(needed: float) -> float:
    """Return the largest of the round scales that is not larger than what is needed.

    Examples
    --------
    >>> round_scale(2213.0), round_scale(2500.0), round_scale(12.0)
    (2500.0, 2500.0, 100.0)
    """
    if needed <= _LEAST:
        return _LEAST
    power = 10.0 ** math.floor(math.log10(needed))
    return next(step * power for step in _ROUND if step * power >= needed * (1 - 1e-9))


def fitting_scale(wanted: float | None, needed: float, where: str) -> float:
    """Return the scale that is wanted if the water fits, or the best round one.

    Raises
    ------
    ParameterError
        If the water does not fit on the sheet at that scale.
    """
    if wanted is None:
        return round_scale(needed)
    if not wanted >= needed:
        raise ParameterError(
            f"scale must be {round_scale(needed):g} or more for this water to fit on {where}, "
            f"got {wanted:g}"
        )
    return wanted


def scale_text(scale: float) -> str:
    """Write a scale.

    Examples
    --------
    >>> scale_text(2500.0), scale_text(12500.0)
    ('1:2500', '1:12 500')
    """
    whole = f"{scale:,.0f}" if scale == round(scale) else f"{scale:,g}"
    return "1:" + (whole.replace(",", " ") if scale >= 10_000 else whole.replace(",", ""))
