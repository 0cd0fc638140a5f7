"""Colours of a page: ramps even to the eye, also to the colour-blind."""

import warnings

import numpy as np

from toolbox.report.drawing import depth_ramp

__all__ = ["ramps"]

_STOPS = 64
_PALEST, _DARKEST = 0.04, 0.86


def ramps() -> dict[str, list[str]]:
    """Return the ramps of depth, sd and slope, pale to dark, as colours of HTML."""
    from matplotlib.colors import to_hex

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
        import cmocean
    along = np.linspace(_PALEST, _DARKEST, _STOPS)
    made = {"depth": depth_ramp(), "sd": cmocean.cm.turbid, "slope": cmocean.cm.gray_r}
    return {name: [to_hex(colour) for colour in ramp(along)] for name, ramp in made.items()}
