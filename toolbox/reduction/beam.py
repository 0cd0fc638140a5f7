"""The beam of an echo sounder: what part of the bed answers, and where it is not seen.

Angles are full beam widths in degrees, as instruments state them; depths are distances below the
transducer in metres. Every function takes numbers or arrays and is exact geometry.
"""

import numpy as np

from toolbox.errors import ParameterError

__all__ = ["dead_zone", "footprint", "range_resolution"]

_Numbers = float | np.ndarray


def footprint(depth: _Numbers, beam_angle: _Numbers) -> np.ndarray:
    """Return the diameter of the circle that a vertical beam lights on a level bed.

    Parameters
    ----------
    depth : float or array
        Below the transducer, m.
    beam_angle : float or array
        Full width, degrees, 0 to less than 180.

    Returns
    -------
    array
        2 depth tan(angle / 2), m.

    Examples
    --------
    >>> round(float(footprint(10.0, 20.0)), 3)
    3.527
    """
    return 2 * np.asarray(depth, float) * np.tan(_half(beam_angle))


def range_resolution(pulse: _Numbers, speed: _Numbers = 1450.0) -> np.ndarray:
    """Return how far apart two things must lie, one below the other, to be heard as two.

    Parameters
    ----------
    pulse : float or array
        Length of the pulse, s.
    speed : float or array
        Of sound, m/s; the default is that of fresh water of 11 degrees Celsius.

    Returns
    -------
    array
        speed x pulse / 2, m.
    """
    return np.asarray(speed, float) * pulse / 2


def dead_zone(
    depth: _Numbers, beam_angle: _Numbers, pulse: _Numbers, speed: _Numbers = 1450.0
) -> np.ndarray:
    """Return the height above a level bed in which nothing can be told from the bed.

    Parameters
    ----------
    depth : float or array
        Below the transducer, m.
    beam_angle : float or array
        Full width, degrees, 0 to less than 180.
    pulse : float or array
        Length of the pulse, s.
    speed : float or array
        Of sound, m/s; the default is that of fresh water of 11 degrees Celsius.

    Returns
    -------
    array
        depth (1 / cos(angle / 2) - 1) + speed x pulse / 2, m: at the edge of the beam a fish may
        swim above the bed and yet farther off than the bed under the axis, whose echo hides it.

    References
    ----------
    Ona & Mitson 1996, ICES Journal of Marine Science 53:677, "Acoustic sampling and signal
    processing near the seabed: the deadzone revisited", doi:10.1006/jmsc.1996.0087.
    """
    edge = np.asarray(depth, float) * (1 / np.cos(_half(beam_angle)) - 1)
    return edge + range_resolution(pulse, speed)


def _half(beam_angle: _Numbers) -> np.ndarray:
    """Half the beam, radians."""
    angle = np.asarray(beam_angle, float)
    wrong = (angle < 0) | (angle >= 180)
    if wrong.any():
        raise ParameterError(
            f"beam_angle must be >= 0 and < 180 degree, got {angle[wrong].flat[0]:g}"
        )
    return np.radians(angle) / 2
