"""Colours: of signs, and ramps sampled from published ones that are even to the eye."""

import math
import warnings
from functools import cache
from typing import Any

import numpy as np

from toolbox.report.drawing import FAULT, INK, PAPER, depth_ramp

__all__ = [
    "EDGE",
    "FAULT",
    "FLOW",
    "FORMS",
    "GREEN",
    "HOLLOW",
    "INK",
    "LIGHT",
    "PAPER",
    "PLAN",
    "RISE",
    "SERIES",
    "at_depth",
    "ramp",
    "sampled",
]

EDGE, FLOW, RISE, HOLLOW, GREEN = "#8c2d04", "#08519c", "#762a83", "#08306b", "#1b7837"
"""Of forms and plants, alike on the page, on pictures and in a desktop GIS."""

FORMS = {
    "shelf": "#b8860b",
    "drop-off lip": EDGE,
    "drop-off foot": EDGE,
    "gully": FLOW,
    "gully axis": FLOW,
    "hole": HOLLOW,
    "hump": RISE,
    "bar": RISE,
    "plateau": RISE,
}
"""By kind of form."""

PLAN, LIGHT = "#cc79a7", "#f0e442"
SERIES = ("#0072b2", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#d55e00", "#f0e442", "#000000")
"""Of things without an order: Okabe & Ito 2008, "Color universal design", told apart by all."""


@cache
def ramp(name: str) -> Any:
    """Return a ramp by its name: ``depth`` as on the map, else one of cmocean's.

    References
    ----------
    Thyng et al. 2016, Oceanography 29(3):9, "True colors of oceanography",
    doi:10.5670/oceanog.2016.66.
    """
    if name == "depth":
        return depth_ramp()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
        import cmocean
    return getattr(cmocean.cm, name)


def sampled(name: str, shares: np.ndarray) -> list[str]:
    """Return colours of a ramp at shares of its length, as ``#rrggbb``."""
    from matplotlib.colors import to_hex

    return [to_hex(colour) for colour in ramp(name)(np.clip(shares, 0.0, 1.0).astype(float))]


def at_depth(depth: float, depths: tuple[float, float]) -> str:
    """Return the colour of a depth as on the map, whose ramp runs between the two depths."""
    least, most = min(0.0, depths[0]), depths[1]
    share = (depth - least) / max(most - least, 0.01) if math.isfinite(depth) else 0.0
    return sampled("depth", np.array([share]))[0]
