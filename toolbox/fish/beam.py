"""Beam: how much water a sounder searches, and where in it fish can be told.

Ranges are distances from the transducer, m; beam angles are full widths in degrees. What the beam
does on the bed is in :mod:`toolbox.reduction.beam`.
"""

from dataclasses import dataclass, replace

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Tin
from toolbox.reduction.beam import dead_zone

__all__ = ["Beam", "near_field", "shell_volume", "swept_section"]

_Numbers = float | np.ndarray


def shell_volume(near: _Numbers, far: _Numbers, beam_angle: float) -> np.ndarray:
    """Return the volume of a conical beam between two ranges, whose ends are parts of spheres.

    Parameters
    ----------
    near, far : float or array
        Ranges, m.
    beam_angle : float
        Full width, degrees.

    Returns
    -------
    array
        (2 pi / 3) (1 - cos(angle / 2)) (far^3 - near^3), m3. A sounder tells how far a fish is, not
        how deep: this is what it searches between two ranges. Up to 20 degrees it is within
        2.3 % of the cone with flat ends.
    """
    cap = 1 - np.cos(np.radians(beam_angle / 2))
    return 2 * np.pi / 3 * cap * (np.asarray(far, float) ** 3 - np.asarray(near, float) ** 3)


def swept_section(
    near: _Numbers, far: _Numbers, beam_angle: float, spacing: _Numbers = 0.0
) -> np.ndarray:
    """Return the upright section of water, across the boat's way, in which fish are met.

    Parameters
    ----------
    near, far : float or array
        Ranges from the ping nearest to the fish, m.
    beam_angle : float
        Full width, degrees.
    spacing : float or array
        Distance between pings, m; 0 where they are as good as continuous.

    Returns
    -------
    array
        Mean width x band, m2; times the distance run it is the water in which a fish was in one
        ping at least. With pings close together it is the sector a (far^2 - near^2), a half the
        beam in radians, and with pings that never touch each has its :func:`shell_volume`.

    Notes
    -----
    Pings farther apart miss fish between them, most near the boat. Of the cap that a beam of half
    width a has at the range r, half the spacing s to either side of its middle belongs to a ping:
    4 r^2 g(u) / s across, u = s / 2 r but at most sin a, and g(u) = u acos(cos a / sqrt(1 - u^2))
    + atan(u cos a / sqrt(sin^2 a - u^2)) - cos a asin(u / sin a) (derived). It is integrated over
    range by Gauss' rule.
    """
    near, far = np.asarray(near, float), np.asarray(far, float)
    half, middle = (far - near) / 2, (far + near) / 2
    nodes, shares = np.polynomial.legendre.leggauss(8)
    return half * sum(
        share * _width(middle + half * node, np.radians(beam_angle / 2), spacing)
        for node, share in zip(nodes, shares, strict=True)
    )


def _width(reach: np.ndarray, angle: float, spacing: _Numbers) -> np.ndarray:
    """Return the mean width of a row of caps so far apart at a range, m."""
    apart = np.maximum(np.asarray(spacing, float), 1e-3 * reach + 1e-12)
    wide, deep = np.sin(angle), np.cos(angle)
    aside = np.full(apart.shape, wide)
    np.divide(apart, 2 * reach, out=aside, where=reach > 0)
    aside = np.minimum(aside, wide)
    rest = np.sqrt(np.maximum(wide**2 - aside**2, 0.0))
    across = aside * np.arccos(np.minimum(deep / np.sqrt(1 - aside**2), 1.0))
    across += np.arctan2(deep * aside, rest) - deep * np.arcsin(aside / wide)
    return 4 * reach**2 * across / apart


def near_field(beam_angle: float, frequency: float, speed: float = 1450.0) -> float:
    """Return the range nearer than which strengths and widths of the beam do not hold.

    Parameters
    ----------
    beam_angle : float
        Full width, degrees.
    frequency : float
        kHz.
    speed : float
        Of sound, m/s.

    Returns
    -------
    float
        Twice R = 4 a^2 / wavelength, m, where the radius of the transducer a is taken from the beam
        of a round piston, 1.6 / (k sin(angle / 2)), k = 2 pi / wavelength.

    Examples
    --------
    >>> round(near_field(7.0, 120.0), 2)
    1.68
    """
    wavelength = speed / (1000 * frequency)
    wave_number = 2 * np.pi / wavelength
    radius = 1.6 / (wave_number * np.sin(np.radians(beam_angle / 2)))
    return float(2 * 4 * radius**2 / wavelength)


@dataclass(frozen=True)
class Beam:
    """A sounder looking straight down from below the surface, and where it can tell fish.

    Parameters
    ----------
    angle : float
        Full width, degrees.
    frequency : float
        kHz.
    pulse : float
        s.
    depth : float
        Of the transducer, below the datum, m.
    blind : float
        Range within which echoes are not used, m; the near field, if that reaches farther.
    margin : float
        Kept off the bed beyond the dead zone, m.
    speed : float
        Of sound, m/s.
    """

    angle: float
    frequency: float = 200.0
    pulse: float = 0.0002
    depth: float = 0.0
    blind: float = 0.0
    margin: float = 0.0
    speed: float = 1450.0

    def __post_init__(self) -> None:
        if not 0 < self.angle < 180:
            raise ParameterError(f"beam_angle must be > 0 and < 180 degree, got {self.angle:g}")

    @property
    def first(self) -> float:
        """Range from which fish are counted, m."""
        return max(self.blind, near_field(self.angle, self.frequency, self.speed))

    @property
    def steepness(self) -> float:
        """Mean depth of what lies at a range, over the range: (1 + cos(angle / 2)) / 2 (derived).

        What answers from aside is not as deep as it is far: 0.992 with 20 degrees, 0.933 with 60.
        """
        return float(1 + np.cos(np.radians(self.angle / 2))) / 2

    @property
    def top(self) -> float:
        """Depth below the datum from which fish are counted, m."""
        return float(self.to_depth(self.first))

    def to_depth(self, ranges: _Numbers) -> _Numbers:
        """Return the mean depth below the datum of what lies at some ranges, m."""
        return self.depth + self.steepness * ranges

    def to_range(self, depth: _Numbers) -> _Numbers:
        """Return the range at which what is seen lies at a depth on average, m."""
        return (depth - self.depth) / self.steepness

    def last(self, bed_range: np.ndarray) -> np.ndarray:
        """Return the range up to which fish are counted over a bed so far off, m."""
        return bed_range - self._lost(bed_range)

    def reach(self, bed: Tin) -> Tin:
        """Return the bed raised by the dead zone: the floor of the water in which fish can be told.

        `bed` in depths below the datum. Its draws are raised alike.
        """
        lost = self._lost(bed.depth - self.depth)
        draws = bed.draws
        if draws is not None:
            draws = draws - self._lost(draws - self.depth).astype(draws.dtype)
        return replace(bed, depth=bed.depth - lost, draws=draws)

    def _lost(self, bed_range: np.ndarray) -> np.ndarray:
        off = np.maximum(bed_range, 0.0)
        return dead_zone(off, self.angle, self.pulse, self.speed) + self.margin
